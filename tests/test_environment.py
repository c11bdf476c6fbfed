"""The lists of what is installed agree: pyproject.toml, environment.yml, constraints.txt."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from importlib import metadata
from pathlib import Path

import hub
import pytest
import yaml
from packaging.requirements import Requirement
from packaging.specifiers import SpecifierSet
from packaging.utils import canonicalize_name
from packaging.version import Version

import start

PROJECT = Path(__file__).resolve().parents[1]
PYPROJECT = tomllib.loads((PROJECT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
ENVIRONMENT = yaml.safe_load((PROJECT / "environment.yml").read_text(encoding="utf-8"))
CONSTRAINTS = (PROJECT / "constraints.txt").read_text(encoding="utf-8")

PIN = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*==[A-Za-z0-9.+!]+")
IMPORTED_AS = {
    "pillow": "PIL",
    "scikit-learn": "sklearn",
    "fpdf2": "fpdf",
    "markdown-it-py": "markdown_it",
    "pyserial": "serial",
}
NEVER_IMPORTED = {"jupyterlab", "jsonschema"}
"""What the package does not import: the screen it is shown on, and what that loads at its start."""
ONLY_IF_ASKED_FOR = {"distributed"}
"""What one option of a command uses; who wants that option installs it."""


def bounds(lines: list[str]) -> dict[str, SpecifierSet]:
    """Return the version bounds of some requirements by canonical name."""
    found = [Requirement(line) for line in lines]
    return {canonicalize_name(one.name): one.specifier for one in found}


def pins() -> dict[str, Version]:
    """Return the pinned version of each package by canonical name."""
    lines = [line for line in CONSTRAINTS.splitlines() if line and not line.startswith("#")]
    pairs = [line.split("==") for line in lines]
    return {canonicalize_name(name): Version(version) for name, version in pairs}


def needed_by_install(name: str, extras: frozenset[str]) -> set[str]:
    """Return the names of all that an installed package needs here, and what that needs."""
    needed: set[str] = set()
    waiting = [(name, extras)]
    seen = set()
    while waiting:
        one = waiting.pop()
        if one in seen:
            continue
        seen.add(one)
        for line in metadata.requires(one[0]) or []:
            requirement = Requirement(line)
            wanted = [{"extra": extra} for extra in (*one[1], "")]
            if requirement.marker and not any(map(requirement.marker.evaluate, wanted)):
                continue
            needed.add(canonicalize_name(requirement.name))
            waiting.append((requirement.name, frozenset(requirement.extras)))
    return needed


def test_conda_has_the_same_names_and_bounds():
    _, *conda, by_pip = ENVIRONMENT["dependencies"]
    conda += by_pip["pip"][:-1]
    expected = bounds(PYPROJECT["dependencies"])
    expected["pip"] = SpecifierSet()
    assert bounds(conda) == expected


def test_conda_has_the_python_that_the_versions_are_pinned_with():
    name, _, version = ENVIRONMENT["dependencies"][0].partition(" =")
    assert (name, version) == ("python", "{}.{}".format(*start.OLDEST_PYTHON))
    assert f"{version}.0" in SpecifierSet(PYPROJECT["requires-python"])


def test_conda_installs_the_project_itself():
    assert ENVIRONMENT["dependencies"][-1]["pip"][-1] == "-e ."
    assert ENVIRONMENT["channels"] == ["conda-forge"]


def test_every_line_of_the_constraints_is_one_plain_version():
    lines = [line for line in CONSTRAINTS.splitlines() if not line.startswith("#")]
    assert [line for line in lines if not PIN.fullmatch(line)] == []
    assert len(pins()) == len(lines), "a package is pinned twice"


def test_pins_lie_within_the_bounds():
    wanted = PYPROJECT["dependencies"] + PYPROJECT["optional-dependencies"]["test"]
    pinned = pins()
    for name, allowed in bounds(wanted).items():
        assert pinned[name] in allowed, name


def test_all_that_is_installed_for_the_tests_is_pinned():
    outside = {"pip", "setuptools", "wheel"}
    missing = needed_by_install("balancekit", frozenset({"test"})) - set(pins()) - outside
    assert missing == set()


def test_every_dependency_is_used():
    imported: set[str] = set()
    for path in (PROJECT / "balancekit").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                imported |= {alias.name.split(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
                imported.add(node.module.split(".")[0])
    declared = {IMPORTED_AS.get(name, name) for name in bounds(PYPROJECT["dependencies"])}
    declared = {name.replace("-", "_") for name in declared}
    used = imported - set(sys.stdlib_module_names) - {"balancekit"}
    # jupyter brings these; a declared bound would say nothing more.
    used -= {"IPython", "traitlets", "jinja2", "nbformat", "jupyter_server"}
    used -= {"_typeshed"}  # known to type checkers alone, and never loaded
    assert used >= ONLY_IF_ASKED_FOR
    used -= ONLY_IF_ASKED_FOR
    assert declared - NEVER_IMPORTED == used


@pytest.mark.parametrize("script", ["start.py"])
def test_the_starter_needs_only_the_standard_library(script):
    tree = ast.parse((PROJECT / script).read_text(encoding="utf-8"))
    names = {
        alias.name.split(".")[0]
        for node in ast.walk(tree)
        if isinstance(node, ast.Import)
        for alias in node.names
    }
    names |= {
        (node.module or "").split(".")[0]
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom)
    }
    assert names <= set(sys.stdlib_module_names)


def test_the_hub_of_the_tests_has_the_settings_of_the_readme():
    """What is measured for a class is what a teacher is told to set."""
    readme = (PROJECT / "README.md").read_text(encoding="utf-8")
    for part, settings in hub.FOR_A_CLASS.items():
        for name, value in settings.items():
            assert f"\nc.{part}.{name} = {value}\n" in readme
