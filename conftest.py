"""What holds for every test: all that is written goes to a scratch folder; the demo is in hand."""

from __future__ import annotations

import compileall
import os
import shutil
import tempfile
from pathlib import Path

import pytest

import start

_SCRATCH = pytest.StashKey[Path]()


def pytest_configure(config: pytest.Config) -> None:
    """Give instruments and Jupyter an empty home before the package is imported."""
    scratch = Path(tempfile.mkdtemp(prefix="balancekit_test_"))
    config.stash[_SCRATCH] = scratch
    os.environ.update(start.lab_environment(scratch / "jupyter"))
    os.environ["BALANCEKIT_HOME"] = str(scratch / "home")
    if not hasattr(config, "workerinput"):
        # Where Python is told to keep nothing compiled, each kernel would compile the package anew.
        compileall.compile_dir(start.PROJECT / "balancekit", quiet=2)


def pytest_unconfigure(config: pytest.Config) -> None:
    """Remove the scratch folder."""
    shutil.rmtree(config.stash[_SCRATCH], ignore_errors=True)
