"""Time ``balancekit report``: ``python tests/benchmarks/report_times.py``, in the project's folder.

Prints the processor time of the command on the demo grand, and of a second report in the same
process, both as ratios to importing the packages that a report was first made with. They are
fixed, so that an import that is spared counts as one. All are measured in this run, the shortest
of five.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

PROJECT = Path(__file__).resolve().parents[2]
TIMES = 5
PACKAGES = ("bokeh.models", "bokeh.plotting", "fpdf", "joblib", "markdown_it", "openpyxl", "pandas",
            "scipy.interpolate", "scipy.optimize", "scipy.stats")  # fmt: skip

COMMAND = """
import json, sys, time
from pathlib import Path
from balancekit.cli import main
main(["report", "data/studio_grand", "--to", sys.argv[1]])
once = time.process_time()
from balancekit.sharing.batch import report_one
from balancekit.sharing.receive import Settings
begin = time.process_time()
report_one(Path("data/studio_grand"), Path(sys.argv[1]), "second", Settings())
print(json.dumps([once, time.process_time() - begin]))
"""
IMPORT = """
import importlib, json, sys, time
for name in sys.argv[1:]:
    importlib.import_module(name)
print(json.dumps(time.process_time()))
"""


def told(code: str, *words: str) -> Any:
    """Run code in a fresh process; return what it prints last."""
    done = subprocess.run(
        [sys.executable, "-c", code, *words], cwd=PROJECT, text=True, check=True,
        stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
        env={**os.environ, "PYTHONPATH": str(PROJECT)},
    )  # fmt: skip
    return json.loads(done.stdout.splitlines()[-1])


def main() -> None:
    """Print the ratios."""
    runs, imports = [], []
    for _ in range(TIMES):
        with tempfile.TemporaryDirectory() as place:
            runs.append(told(COMMAND, place))
        imports.append(told(IMPORT, *PACKAGES))
    imported = min(imports)
    report, again = min(run[0] for run in runs), min(run[1] for run in runs)
    print(f"importing the packages that a report was first made with: {imported:.2f} s")
    print(
        f"report of the demo grand, imports among it: {report:.2f} s, {report / imported:.2f} times"
    )
    print(f"a second report in the same process: {again:.2f} s, {again / imported:.2f} times")


if __name__ == "__main__":
    main()
