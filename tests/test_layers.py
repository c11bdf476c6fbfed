"""Imports point one way, and the lower layers need nothing that draws."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "balancekit"

MAY_IMPORT = {
    "calculation": set(),
    "instrument": {"calculation"},
    "charts": {"calculation", "instrument"},
    "sharing": {"calculation", "instrument", "charts"},
    "panels": {"calculation", "instrument", "charts", "sharing"},
    "lesson": {"calculation", "instrument", "charts", "sharing", "panels"},
}
"""Each layer, and the layers below it that it may use; cli and front_door may use all."""

DRAWING = ("bokeh", "jupyter_bokeh", "ipywidgets", "anywidget", "IPython")
HEAVY = (*DRAWING, "sklearn", "pandas", "numpy", "scipy")


def imported_names(source: str, module: str) -> set[str]:
    """Return the full names of all modules that a source imports, wherever it does so.

    >>> sorted(imported_names("from balancekit.panels import grid", "balancekit.cli"))
    ['balancekit.panels', 'balancekit.panels.grid']
    >>> sorted(imported_names("def f():\\n    from . import bench", "balancekit.panels.grid"))
    ['balancekit.panels', 'balancekit.panels.bench']
    """
    names = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            above = module.split(".")[: -node.level] if node.level else []
            origin = ".".join([*above, *([node.module] if node.module else [])])
            names |= {origin} | {f"{origin}.{alias.name}" for alias in node.names}
    return names


def upward_imports(source: str, module: str) -> set[str]:
    """Return the layers that a module of the package uses but may not."""
    layer = module.split(".")[1]
    used = {
        name.split(".")[1]
        for name in imported_names(source, module)
        if name.startswith("balancekit.")
    }
    return (used & (set(MAY_IMPORT) | {"cli", "front_door"})) - MAY_IMPORT[layer] - {layer}


def modules_of(*layers: str) -> list[str]:
    """Return the dotted names of all modules of some layers."""
    files = [path for layer in layers for path in sorted((PACKAGE / layer).rglob("*.py"))]
    parts = [path.relative_to(PACKAGE.parent).with_suffix("").parts for path in files]
    return [".".join(part for part in names if part != "__init__") for names in parts]


def source_of(module: str) -> str:
    path = PACKAGE.parent.joinpath(*module.split("."))
    path = path / "__init__.py" if path.is_dir() else path.with_suffix(".py")
    return path.read_text(encoding="utf-8")


def run_python(code: str) -> str:
    """Run code in a fresh Python and return what it printed."""
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=PACKAGE.parent
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


def test_every_folder_of_the_package_is_a_layer():
    folders = {path.parent.name for path in PACKAGE.glob("*/__init__.py")}
    assert folders == set(MAY_IMPORT)


@pytest.mark.parametrize("module", modules_of(*MAY_IMPORT))
def test_no_module_imports_upward(module):
    assert upward_imports(source_of(module), module) == set()


@pytest.mark.parametrize(
    ("source", "module", "found"),
    [
        ("import balancekit.panels.grid", "balancekit.charts.friction", {"panels"}),
        ("def f():\n    from balancekit import charts", "balancekit.instrument.x", {"charts"}),
        ("from ..instrument import model", "balancekit.calculation.x", {"instrument"}),
        ("from balancekit.cli import main", "balancekit.lesson.x", {"cli"}),
        ("from balancekit import front_door", "balancekit.panels.x", {"front_door"}),
        ("from balancekit.calculation import balance", "balancekit.instrument.x", set()),
    ],
)
def test_an_upward_import_is_found(source, module, found):
    assert upward_imports(source, module) == found


LESSON_MAY_IMPORT = {
    "lever_chain": set(),
    "practice": {"lever_chain"},
    "toy": {"lever_chain"},
    "measure": {"lever_chain", "practice"},
    "faults": {"lever_chain", "practice"},
    "classroom": {"lever_chain", "practice", "measure", "faults"},
}
"""The topics of the lessons, and those below them that each may use."""


def test_topics_of_the_lessons_import_one_way():
    for module in modules_of("lesson"):
        topic = module.split(".")[2] if module.count(".") > 2 else ""
        if topic:
            names = imported_names(source_of(module), module)
            used = {n.split(".")[2] for n in names if n.startswith("balancekit.lesson.")}
            assert (used & set(LESSON_MAY_IMPORT)) - LESSON_MAY_IMPORT[topic] <= {topic}, module


def test_calculation_opens_no_file():
    for module in modules_of("calculation"):
        tree = ast.parse(source_of(module))
        calls = {node.func.id for node in ast.walk(tree) if _is_plain_call(node)}
        assert "open" not in calls, module
        assert "pathlib" not in imported_names(source_of(module), module), module


def _is_plain_call(node: ast.AST) -> bool:
    return isinstance(node, ast.Call) and isinstance(node.func, ast.Name)


def test_calculation_and_instrument_need_nothing_that_draws():
    modules = modules_of("calculation", "instrument")
    assert len(modules) > 10
    printed = run_python(
        "import importlib, sys\n"
        f"for name in {DRAWING}: sys.modules[name] = None\n"
        f"for name in {modules}: importlib.import_module(name)\n"
        "print('all')"
    )
    assert printed == "all"


def test_importing_the_package_loads_nothing_heavy():
    printed = run_python(
        f"import sys, balancekit\nprint([name for name in {HEAVY} if name in sys.modules])"
    )
    assert printed == "[]"


def test_no_module_loads_a_part_of_scipy_before_it_is_used():
    """Importing all of the package leaves its largest part, ``scipy.stats``, unloaded."""
    every = modules_of(*MAY_IMPORT)
    printed = run_python(
        "import importlib, sys\n"
        f"for name in {every}: importlib.import_module(name)\n"
        "print([name for name in sys.modules if name == 'scipy.stats'])"
    )
    assert printed == "[]"
