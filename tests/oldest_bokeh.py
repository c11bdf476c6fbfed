"""Run the chart tests with the oldest Bokeh that is allowed; the other tests have the newest.

    .venv/bin/python tests/oldest_bokeh.py

That one package is put into a folder of its own, which Python looks into first.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

from packaging.requirements import Requirement

PROJECT = Path(__file__).resolve().parents[1]
TESTS = (
    "tests/charts",
    "tests/browser/test_other_bokeh.py",
    "tests/browser/test_smoke.py::test_a_slider_moves_a_chart",
)


def oldest(name: str) -> str:
    """Return the oldest version of a package that pyproject.toml allows.

    >>> oldest("ipywidgets")
    '8.1'
    """
    listed = tomllib.loads((PROJECT / "pyproject.toml").read_text(encoding="utf-8"))
    wanted = {one.name: one for one in map(Requirement, listed["project"]["dependencies"])}
    (bound,) = (each.version for each in wanted[name].specifier if each.operator == ">=")
    return str(bound)


def main() -> int:
    version = oldest("bokeh")
    with tempfile.TemporaryDirectory() as folder:
        install = ["-m", "pip", "install", "--quiet", "--no-deps", "--target", folder]
        subprocess.run([sys.executable, *install, f"bokeh=={version}"], check=True)
        path = os.pathsep.join([folder, *filter(None, [os.environ.get("PYTHONPATH")])])
        environment = {**os.environ, "PYTHONPATH": path}
        asked = "import bokeh; print(bokeh.__version__)"
        found = subprocess.run(
            [sys.executable, "-c", asked], env=environment, capture_output=True, text=True
        )
        if found.stdout.strip() != version:
            print(f"Bokeh {version} was not found, but {found.stdout.strip()}. {found.stderr}")
            return 1
        print(f"The chart tests with Bokeh {version}:", flush=True)
        command = [sys.executable, "-m", "pytest", "-q", *TESTS]
        return subprocess.run(command, cwd=PROJECT, env=environment).returncode


if __name__ == "__main__":
    sys.exit(main())
