"""The house is clean: style, types, length of modules, and nothing of one machine in it."""

from __future__ import annotations

import ast
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import start

PROJECT = Path(__file__).resolve().parents[1]
LONGEST_MODULE = 400
LONGEST_GUIDE = 150
BINARY = {".png", ".gif", ".jpg", ".xlsx", ".zip", ".woff2", ".ttf"}
UNTRACKED = {
    ".git",
    ".venv",
    "node_modules",
    "instruments",
    "__pycache__",
    "build",
    "dist",
    ".hypothesis",
}

# Written in two parts, so that this file does not hold what it looks for.
OF_ONE_MACHINE = re.compile(
    "|".join(
        [
            "(?<![A-Za-z0-9_.])/" + "work/",
            "(?<![A-Za-z0-9_.])/" + "root/",
            "/opt/" + "wheels",
            "/opt/" + "pypi",
            "file:" + "///",
            "pypi" + r"\.org",
            "files" + r"\.pythonhosted",
            "registry" + r"\.npmjs",
            "deb" + r"\.debian\.org",
            "conda" + r"\.anaconda\.org",
        ]
    )
)
LINK = re.compile(r"\[[^\]]*\]\(([^)#\s]+)[^)]*\)")


def committed() -> list[Path]:
    """Return the project's own files: those that git tracks, or all in a copy without git."""
    listing = subprocess.run(["git", "ls-files", "-z"], cwd=PROJECT, capture_output=True, text=True)
    if listing.returncode == 0:
        found = [PROJECT / name for name in listing.stdout.split("\0") if name]
        return [path for path in found if path.is_file()]
    return [
        path
        for path in PROJECT.rglob("*")
        if path.is_file() and not UNTRACKED & set(path.relative_to(PROJECT).parts)
    ]


@pytest.mark.parametrize(
    "tool",
    [
        ["ruff", "check", "--no-cache", "."],
        ["ruff", "format", "--no-cache", "--check", "."],
    ],
    ids=["ruff check", "ruff format"],
)
def test_tool_finds_nothing(tool):
    done = subprocess.run(
        [sys.executable, "-m", *tool], cwd=PROJECT, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stdout + done.stderr


def test_no_module_is_too_long():
    lengths = {
        path.relative_to(PROJECT).as_posix(): len(path.read_text(encoding="utf-8").splitlines())
        for path in committed()
        if path.suffix in {".py", ".js", ".css"}
    }
    assert len(lengths) > 20
    assert {name: length for name, length in lengths.items() if length > LONGEST_MODULE} == {}


def either_way(source: str) -> list[int]:
    """Return the lines of assertions that hold an ``or``: one side may hide that the other fails.

    ``any`` over alternatives that are written out is an ``or`` too.

    >>> either_way("assert a or b")
    [1]
    >>> either_way("assert any((a, b))"), either_way("assert any(x in y for x in (a, b))")
    ([1], [1])
    >>> either_way("assert any(x > 1 for x in found)"), either_way("assert not any((a, b))")
    ([], [])
    """
    asserted = [node for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Assert)]
    return [node.lineno for node in asserted if any(map(_alternatives, _parts(node.test)))]


def _parts(test: ast.AST) -> Iterator[ast.AST]:
    """Yield what an assertion is made of; ``not any`` asks for all of it and is left out."""
    match test:
        case ast.UnaryOp(op=ast.Not(), operand=ast.Call(func=ast.Name(id="any"))):
            return
    yield test
    for part in ast.iter_child_nodes(test):
        yield from _parts(part)


def _alternatives(part: ast.AST) -> bool:
    """Whether a part of an assertion lets one of several written-out things be enough."""
    match part:
        case ast.Or():
            return True
        case ast.Call(func=ast.Name(id="any"), args=[ast.GeneratorExp(generators=[first, *_])]):
            return isinstance(first.iter, ast.Tuple | ast.List | ast.Set)
        case ast.Call(func=ast.Name(id="any"), args=[ast.Tuple() | ast.List() | ast.Set()]):
            return True
    return False


def test_no_assertion_has_an_or_that_cannot_fail():
    found = {path.relative_to(PROJECT).as_posix(): either_way(path.read_text("utf-8"))
             for path in committed() if path.suffix == ".py"}  # fmt: skip
    assert {name: lines for name, lines in found.items() if lines} == {}


def classes_of(source: str) -> list[str]:
    """Return the names of the classes that a source defines.

    >>> classes_of("class Sheet: ...")
    ['Sheet']
    """
    return [node.name for node in ast.walk(ast.parse(source)) if isinstance(node, ast.ClassDef)]


def test_a_class_name_means_one_thing():
    places: dict[str, list[str]] = {}
    for path in sorted((PROJECT / "balancekit").rglob("*.py")):
        for name in classes_of(path.read_text(encoding="utf-8")):
            places.setdefault(name, []).append(path.relative_to(PROJECT).as_posix())
    assert len(places) > 200
    assert {name: where for name, where in places.items() if len(where) > 1} == {}


def public_names(source: str) -> set[str]:
    """Return the public functions and constants that a module names at its top.

    >>> sorted(public_names("A = 1; _B = 2; c = 3; C: int = 4; D, E = 5, 6"))
    ['A', 'C', 'D', 'E']
    """
    body, names = ast.parse(source).body, set()
    for node in body:
        if isinstance(node, ast.FunctionDef):
            names.add(node.name)
        named = node.targets if isinstance(node, ast.Assign) else [getattr(node, "target", node)]
        parts = [
            part for target in named if isinstance(target, ast.expr) for part in ast.walk(target)
        ]
        names |= {each.id for each in parts if isinstance(each, ast.Name) and each.id.isupper()}
    return {name for name in names if not name.startswith("_")}


def test_a_public_name_means_one_thing():
    """The choices of the chapters are of one shape, and the front door repeats what it opens."""
    places: dict[str, list[str]] = {}
    for path in sorted((PROJECT / "balancekit").rglob("*.py")):
        if path.parent.name == "choices" or path.stem in ("front_door", "__main__"):
            continue
        for name in public_names(path.read_text(encoding="utf-8")):
            places.setdefault(name, []).append(path.relative_to(PROJECT).as_posix())
    assert len(places) > 1000
    assert {name: where for name, where in places.items() if len(where) > 1} == {}


def test_part_of_the_reading_columns_has_a_name():
    cut = re.compile(r"READING_COLUMNS" + r"\[[^\]]*:")
    assert [path.name for path in committed()
            if path.suffix == ".py" and cut.search(path.read_text("utf-8"))] == []  # fmt: skip


def test_nothing_of_one_machine_is_committed():
    found = []
    for path in committed():
        if path.suffix not in BINARY:
            text = path.read_text(encoding="utf-8")
            found += [
                f"{path.relative_to(PROJECT)}: {hit.group()}"
                for hit in OF_ONE_MACHINE.finditer(text)
            ]
    assert found == []


@pytest.mark.parametrize("planted", ["cd /" + "work/x", "see file:" + "///x", "pypi" + ".org"])
def test_what_belongs_to_one_machine_is_found(planted):
    assert OF_ONE_MACHINE.search(planted)


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md"])
def test_links_of_the_guides_lead_somewhere(name):
    links = LINK.findall((PROJECT / name).read_text(encoding="utf-8"))
    inside = [link for link in links if not link.startswith(("http:", "https:", "mailto:"))]
    assert [link for link in inside if not (PROJECT / link).exists()] == []


def test_readme_opens_with_the_job():
    title, job, *_ = (PROJECT / "README.md").read_text(encoding="utf-8").split("\n\n")
    assert title.startswith("# balancekit")
    assert len(job.split()) >= 30 and job[0].isalpha()
    for word in ("piano", "friction", "action ratio"):
        assert word in job


def test_readme_shows_how_to_start_and_to_test():
    text = (PROJECT / "README.md").read_text(encoding="utf-8")
    assert "python3 start.py\n" in text and "python3 start.py test\n" in text
    assert start.FIRST_NOTEBOOK.split("/")[-1].removesuffix(".ipynb") in text


def test_developers_guide_stays_short():
    lines = (PROJECT / "DEVELOPERS.md").read_text(encoding="utf-8").splitlines()
    assert len(lines) <= LONGEST_GUIDE


@pytest.mark.slow
@pytest.mark.parametrize(("ci", "code", "word"), [("true", 1, "error"), ("", 0, "skipped")])
def test_a_missing_browser_fails_where_it_must_and_is_skipped_elsewhere(ci, code, word, tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-rs", "tests/browser/test_smoke.py",
         "-k", "moves_a_chart"],
        cwd=PROJECT, env={**os.environ, "CI": ci, "PATH": str(tmp_path)},
        capture_output=True, text=True,
    )  # fmt: skip
    assert done.returncode == code, done.stdout + done.stderr
    assert f"1 {word}" in done.stdout
    assert "no browser found; install one of chromium" in done.stdout
