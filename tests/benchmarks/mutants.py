"""Change the calculations in every small way, one at a time, and see which changes no test sees.

    python tests/benchmarks/mutants.py MODULE TEST [TEST ...]
    python tests/benchmarks/mutants.py hammers/hammer_sets tests/calculation/test_hammer_sets.py

mutmut makes the changes in a copy of the project, so no file here is touched. A change of words
alone, such as a message, is counted apart: a test that holds every word would only hold them.
Ends with 1 if less than 95 of 100 of the other changes are seen, or some were not tried to the
end; each that is not seen is printed. About 1.5 changes a second on two cores. It needs mutmut:
``pip install -c constraints.txt -e ".[mutation]"``.

What a test module computes while it is loaded is computed before the change, and so is what it
keeps from a first run: compute inside the test. ``-m "not slow"`` goes with the tests.

Of 100 changes seen when last measured, with the quick tests of that name in tests/calculation:
balance 96.3 (with test_uncertainty and tests/validation/test_uncertainties_package), ratios 96.8
(with the latter), proof/evenness 90.7 (with test_plateaus), levers 97.7, friction_account 97.4,
hammers/hammer_curve 96.8; with those of tests/validation too: inertia 99.1 (test_plug_masses,
test_rigid_bodies), leads/plugs 97.4 (test_plug_masses), leads/springs 96.9 (test_torsion_spring),
proof/prediction 97.4 (test_prediction), weighing/scale 95.9 (test_oiml_r111, test_straight_line),
believed/causes 96.5 (test_outliers_by_statsmodels).

What is not seen there changes no result:

- ``dtype`` left out: numpy finds the kind of number by itself;
- ``strict`` of a ``zip`` over columns of one table, ``index=None`` for ``False``;
- ``<`` for ``<=`` against an uncertainty that was computed and is never met exactly;
- the sign of a slope that is squared; work on a change of 0 g, which is always left;
- ``or 0`` where a quantity has usual limits; "LEAD", which is made small before it is looked up;
- least squares without ``bvls``: the other method finds the same curve to nine digits;
- words of an advice;
- what lies along a cause that was taken: nothing is left of it in any direction that is looked at.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

PROJECT = Path(__file__).resolve().parents[2]
COPIED = ("balancekit", "tests", "data", "conftest.py", "start.py", "pyproject.toml")
GOAL = 0.95
UNSEEN = {0, 33, 5}
"""Exit codes that mutmut notes where all tests passed, or none ran the changed lines."""
UNTRIED = {None, 2, 34, 35}
"""What it notes where a change was not tried, was broken off, was skipped, or ended strangely."""


def prepare(place: Path, module: str, tests: list[str]) -> Path:
    """Copy the project and say what is to be changed; return the file where mutmut notes it."""
    ignored = shutil.ignore_patterns("__pycache__", "node_modules", "browser")
    for name in COPIED:
        source = PROJECT / name
        if source.is_dir():
            shutil.copytree(source, place / name, ignore=ignored)
        else:
            shutil.copy(source, place / name)
    path = f"balancekit/calculation/{module}.py"
    if not (PROJECT / path).is_file():
        raise SystemExit(f"{path} is not there.")
    settings = {
        "source_paths": ["balancekit/"],
        "only_mutate": [path],
        "also_copy": [name for name in COPIED if name != "balancekit"],
        "pytest_add_cli_args_test_selection": tests,
    }
    lines = [f"{name} = {json.dumps(value)}" for name, value in settings.items()]
    with (place / "pyproject.toml").open("a", encoding="utf-8") as out:
        out.write("\n[tool.mutmut]\n" + "\n".join(lines) + "\n")
    return place / "mutants" / f"{path}.meta"


SHOW = """
import json, sys
from mutmut.mutation.diff_apply import get_diff_for_mutant
json.dump({name: get_diff_for_mutant(name) for name in json.load(sys.stdin)}, sys.stdout)
"""
"""Shows all at once; ``mutmut show`` takes a second for each."""


def differences(place: Path, names: list[str]) -> dict[str, list[str]]:
    """Return the lines that each change takes out and puts in."""
    shown = subprocess.run(
        [sys.executable, "-c", SHOW],
        cwd=place, input=json.dumps(names), capture_output=True, text=True, check=True,
    )  # fmt: skip
    return {
        name: [
            line
            for line in text.splitlines()
            if line[:1] in ("+", "-") and line[:3] not in ("+++", "---")
        ]
        for name, text in json.loads(shown.stdout).items()
    }


def only_words(lines: list[str]) -> bool:
    """Whether a change is one of words alone.

    >>> only_words(['-    raise refuse("Too few.")', '+    raise refuse("XXToo few.XX")'])
    True
    >>> only_words(["-    return a + b", "+    return a - b"])
    False
    """
    return "".join(map(_without_words, _side(lines, "-"))) == "".join(
        map(_without_words, _side(lines, "+"))
    )


def _side(lines: list[str], sign: str) -> list[str]:
    return [line[1:].strip() for line in lines if line.startswith(sign)]


def _without_words(line: str) -> str:
    """Return a line with its texts emptied; a name of a column is a text too and stays."""
    quoted = [part for part in line.split('"')[1::2] if " " in part or part.startswith("XX")]
    for part in quoted:
        line = line.replace(f'"{part}"', '""')
    return line


def columns_stay(lines: list[str]) -> bool:
    """Whether the words that changed are a sentence, and not the name of a column.

    >>> columns_stay(['-  table["friction_g"]', '+  table["XXfriction_gXX"]'])
    False
    """
    before = [part for line in _side(lines, "-") for part in line.split('"')[1::2]]
    after = [part for line in _side(lines, "+") for part in line.split('"')[1::2]]
    changed = [one for one, other in zip(before, after, strict=False) if one != other]
    return all(" " in each for each in changed)


def main(module: str, tests: list[str]) -> int:
    """Run all changes of one module against some tests."""
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        notes = prepare(place, module, tests)
        subprocess.run([sys.executable, "-m", "mutmut", "run"], cwd=place, stdout=sys.stderr)
        codes = json.loads(notes.read_text(encoding="utf-8"))["exit_code_by_key"]
        unseen = differences(place, [name for name, code in codes.items() if code in UNSEEN])
    words = [n for n, lines in unseen.items() if only_words(lines) and columns_stay(lines)]
    counted = len(codes) - len(words)
    untried = [name for name, code in codes.items() if code in UNTRIED]
    seen = sum(code not in UNSEEN | UNTRIED for code in codes.values())
    for name, lines in unseen.items():
        if name not in words:
            print(name, *lines, sep="\n")
    for name in untried:
        print(f"{name}: not tried to its end")
    share = seen / counted if counted else 1.0
    print(f"{module}: {seen} of {counted} changes seen, {share:.1%}; {len(words)} of words alone.")
    return 0 if share >= GOAL and not untried else 1


if __name__ == "__main__":
    if len(sys.argv) < 3:
        raise SystemExit(__doc__)
    sys.exit(main(sys.argv[1], sys.argv[2:]))
