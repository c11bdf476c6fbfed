"""Each validation names what it guards: product code, in which a planted error is known to fail it.

That the errors do fail is seen by ``tests/benchmarks/planted_errors.py``, which plants them all.
"""

from __future__ import annotations

import ast
import re
from importlib import import_module
from pathlib import Path

import pytest

from tests.benchmarks.planted_errors import PLANTED, PROJECT, VALIDATION, file_of

MODULES = sorted(path.stem.removeprefix("test_") for path in VALIDATION.glob("test_*.py"))
PACKAGE = PROJECT / "balancekit"


def guards(validation: str) -> tuple[str, ...]:
    """Return what a validation says that it guards."""
    tree = ast.parse(file_of(validation).read_text(encoding="utf-8"))
    for node in tree.body:
        if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "GUARDS":
            return tuple(ast.literal_eval(node.value))
    return ()


def users(dotted: str) -> list[Path]:
    """Return the modules of the product, and notebooks, that name a function of another one."""
    module, _, name = dotted.rpartition(".")
    own = PROJECT / f"{module.replace('.', '/')}.py"
    files = [*PACKAGE.rglob("*.py"), *(PROJECT / "notebooks").glob("*.ipynb")]
    word = re.compile(rf"\b{name}\b")
    return [path for path in files if path != own and word.search(path.read_text("utf-8"))]


@pytest.mark.parametrize("validation", MODULES)
def test_a_validation_guards_what_the_product_uses(validation):
    named = guards(validation)
    assert named
    for dotted in named:
        module, _, name = dotted.rpartition(".")
        assert hasattr(import_module(module), name), dotted
        assert users(dotted), f"nothing in the product calls {dotted}"


@pytest.mark.parametrize("validation", MODULES)
def test_an_error_is_planted_for_every_validation(validation):
    assert [error for error in PLANTED if error.validation == validation]


@pytest.mark.parametrize("error", PLANTED, ids=str)
def test_a_planted_error_still_has_its_place(error):
    assert error.file.read_text(encoding="utf-8").count(error.right) == 1
    assert error.right != error.wrong and file_of(error.validation).is_file()


def test_nobody_is_said_to_use_what_is_never_called():
    assert users("balancekit.calculation.inertia.never_called_anywhere") == []
