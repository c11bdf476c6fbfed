"""Every notebook runs on the demo, shows no error anywhere, and is stored clean."""

from __future__ import annotations

import json
import re
import warnings
from dataclasses import dataclass
from pathlib import Path

import pytest
from nbformat import NotebookNode, v4
from notebook_runs import (
    NOTEBOOKS,
    cell_errors,
    clean,
    code_cells,
    comparable,
    execute,
    hidden_errors,
    is_checked,
    read,
    working_copy,
)

import start

LONGEST_CELL = 15
USUAL_CELLS = range(20, 36)
MACHINE_PATH = re.compile(r"(?<![\w.])/(home|root|tmp|work|Users|usr|private|var)/|\b[A-Z]:\\\\")

every_notebook = pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)


@dataclass(frozen=True)
class Run:
    """A notebook as it is stored and as it comes out of a run."""

    stored: NotebookNode
    ran: NotebookNode


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return working_copy(tmp_path_factory.mktemp("project"))


@pytest.fixture(scope="module", params=NOTEBOOKS, ids=lambda path: path.stem)
def run(request: pytest.FixtureRequest, folder: Path) -> Run:
    stored = read(request.param)
    return Run(stored, execute(stored, folder))


def test_the_first_notebook_is_there():
    assert Path(start.FIRST_NOTEBOOK).name in [path.name for path in NOTEBOOKS]


def test_no_cell_shows_an_error(run):
    assert cell_errors(run.ran) == []


def test_no_widget_hides_an_error(run):
    assert hidden_errors(run.ran) == []


def test_every_cell_ran(run):
    assert [cell.source for cell in code_cells(run.ran) if cell.execution_count is None] == []


def test_checked_cells_have_a_stored_output_and_it_holds(run):
    for stored, ran in zip(code_cells(run.stored), code_cells(run.ran), strict=True):
        if is_checked(stored):
            assert stored.outputs, f"checked, but nothing stored: {stored.source}"
            assert comparable(stored.outputs) == comparable(ran.outputs), stored.source


@every_notebook
def test_each_notebook_has_a_checked_cell(path):
    assert any(is_checked(cell) for cell in code_cells(read(path)))


@every_notebook
def test_stored_notebook_is_clean(path):
    stored = read(path)
    assert stored == clean(stored), "run: python tests/notebook_runs.py"


@every_notebook
def test_stored_outputs_name_no_path_of_a_machine(path):
    outputs = [cell.outputs for cell in code_cells(read(path))]
    assert MACHINE_PATH.search(json.dumps(outputs)) is None


@every_notebook
def test_first_cell_is_the_title(path):
    first = read(path).cells[0]
    assert first.cell_type == "markdown" and re.match(r"# \S", first.source)


@every_notebook
def test_code_cells_are_short(path):
    long = [
        cell.source for cell in code_cells(read(path)) if cell.source.count("\n") >= LONGEST_CELL
    ]
    assert long == []


@every_notebook
@pytest.mark.filterwarnings("default::UserWarning")
def test_number_of_cells_is_usual(path):
    count = len(read(path).cells)
    assert count > 1
    if count not in USUAL_CELLS:
        warnings.warn(f"{path.name} has {count} cells; usual are 20 to 35.", stacklevel=1)


HIDDEN = {
    "interact": """
from ipywidgets import interact
@interact(key=(1, 88))
def show(key):
    raise ValueError("under interact")""",
    "with Output": """
from ipywidgets import Output
out = Output()
with out:
    raise ValueError("under with Output")
out""",
    "capture": """
from ipywidgets import Output
out = Output()
@out.capture()
def show():
    raise ValueError("under capture")
show()
out""",
    "stderr": """
import sys
from ipywidgets import Output
out = Output()
with out:
    print("under stderr", file=sys.stderr)
out""",
    "traceback as text": """
import traceback
from ipywidgets import HTML
try:
    1 / 0
except ZeroDivisionError:
    panel = HTML(f"<pre>under traceback as text {traceback.format_exc()}</pre>")
panel""",
}


@pytest.fixture(scope="module")
def planted(folder: Path) -> NotebookNode:
    """A run of one notebook with every kind of broken panel, and none that fails in the open."""
    button = "from ipywidgets import Button\nbutton = Button()\n"
    button += "button.on_click(lambda _: 1 / 0)\nbutton.click()"
    cells = [v4.new_code_cell(source.strip()) for source in (*HIDDEN.values(), button)]
    return execute(v4.new_notebook(cells=cells), folder)


@pytest.mark.parametrize("kind", HIDDEN)
def test_an_error_hidden_in_a_widget_is_found(planted, kind):
    assert [text for text in hidden_errors(planted) if f"under {kind}" in text]


def test_an_error_of_a_button_is_found(planted):
    assert ["ZeroDivisionError" in text for text in cell_errors(planted)] == [True]


def test_a_sound_panel_is_not_blamed(folder):
    source = (
        "from ipywidgets import interact\n@interact(key=(1, 88))\ndef show(key):\n    print(key)"
    )
    ran = execute(v4.new_notebook(cells=[v4.new_code_cell(source)]), folder)
    assert ran.metadata.widgets and hidden_errors(ran) == [] and cell_errors(ran) == []


def test_what_a_run_leaves_behind_is_stripped(folder):
    tag = {"tags": ["nbval-check-output"], "collapsed": False}
    cells = [v4.new_code_cell("print(2)"), v4.new_code_cell("1 + 1", metadata=tag)]
    stripped = clean(execute(v4.new_notebook(cells=cells), folder))
    assert [len(cell.outputs) for cell in stripped.cells] == [0, 1]
    assert [cell.execution_count for cell in stripped.cells] == [None, 2]
    assert "widgets" not in stripped.metadata and "collapsed" not in stripped.cells[1].metadata
