"""Lessons write into an empty home."""

from __future__ import annotations

from pathlib import Path

import pytest


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty home for what is practised."""
    monkeypatch.setenv("BALANCEKIT_HOME", str(tmp_path / "home"))
    return tmp_path / "home"
