"""Run the notebooks and look at what a reader would see, panels included.

    python tests/notebook_runs.py                           renew all notebooks
    python tests/notebook_runs.py notebooks/02_friction.ipynb

Renewing runs a notebook on the demo, keeps the outputs of its checked cells
(tag ``nbval-check-output``), and strips all else that running leaves behind.
"""

from __future__ import annotations

import argparse
import os
import shutil
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import nbformat
from nbclient import NotebookClient
from nbformat import NotebookNode

PROJECT = Path(__file__).resolve().parents[1]
NOTEBOOKS = sorted((PROJECT / "notebooks").glob("*.ipynb"))
CHECKED = "nbval-check-output"
WIDGET_STATE = "application/vnd.jupyter.widget-state+json"
TRACEBACK = "Traceback (most recent call last)"
KERNEL = {"display_name": "Python 3 (ipykernel)", "language": "python", "name": "python3"}
KEPT_CELL_METADATA = ("tags", "jupyter")


def read(path: Path) -> NotebookNode:
    """Read a notebook as it is stored."""
    return nbformat.read(path, as_version=4)


def working_copy(folder: Path) -> Path:
    """Copy notebooks and demo data into a folder; return the copied notebooks' folder."""
    ignore = shutil.ignore_patterns(".ipynb_checkpoints")
    for name in ("notebooks", "data"):
        shutil.copytree(PROJECT / name, folder / name, ignore=ignore, dirs_exist_ok=True)
    return folder / "notebooks"


def execute(notebook: NotebookNode, folder: Path) -> NotebookNode:
    """Return a run copy of a notebook, with the state of its widgets; errors do not stop it."""
    ran = nbformat.from_dict(notebook)
    resources = {"metadata": {"path": str(folder)}}
    client = NotebookClient(
        ran, timeout=300, kernel_name="python3", allow_errors=True, resources=resources
    )
    client.execute()
    return ran


def is_checked(cell: NotebookNode) -> bool:
    """Tell whether the cell's output is compared with the stored one."""
    return CHECKED in cell.metadata.get("tags", [])


def code_cells(notebook: NotebookNode) -> list[NotebookNode]:
    """Return the code cells that hold something."""
    return [cell for cell in notebook.cells if cell.cell_type == "code" and cell.source.strip()]


def said_wrong(output: dict[str, Any]) -> Iterator[str]:
    """Yield what one output says of an error or a warning."""
    if output["output_type"] == "error":
        yield f"{output['ename']}: {output['evalue']}"
    elif output["output_type"] == "stream" and output["name"] == "stderr":
        yield f"stderr: {output['text'].strip()}"


def cell_errors(notebook: NotebookNode) -> list[str]:
    """Return the errors and warnings that stand below cells."""
    return [
        f"{cell.source.splitlines()[0]}: {text}"
        for cell in code_cells(notebook)
        if "raises-exception" not in cell.metadata.get("tags", [])
        for output in cell.outputs
        for text in said_wrong(output)
    ]


def hidden_errors(notebook: NotebookNode) -> list[str]:
    """Return the errors that a green run hides inside widgets.

    An exception under ``interact``, ``with Output()`` or ``@out.capture()`` ends up in
    the outputs of an Output widget; a panel may also show a traceback as text.
    """
    state = notebook.metadata.get("widgets", {}).get(WIDGET_STATE, {}).get("state", {})
    found = []
    for model in state.values():
        name, values = model["model_name"], model["state"]
        for output in values.get("outputs") or ():
            found += [f"{name}: {text}" for text in said_wrong(output)]
        texts = [text for text in values.values() if isinstance(text, str)]
        found += [f"{name}: {text[-300:]}" for text in texts if TRACEBACK in text]
    return found


def without_views(data: dict[str, Any]) -> dict[str, Any]:
    """Return the data of an output without the names of widgets, new with each run."""
    return {kind: value for kind, value in data.items() if "widget-view" not in kind}


def comparable(outputs: list[NotebookNode]) -> list[Any]:
    """Return what counts of some outputs: texts and data, streams in one piece."""
    parts: list[Any] = []
    for output in outputs:
        if output.output_type != "stream":
            parts.append(without_views(output.get("data", output)))
        elif parts and parts[-1][0] == output.name:
            parts[-1] = (output.name, parts[-1][1] + output.text)
        else:
            parts.append((output.name, output.text))
    return parts


def clean(notebook: NotebookNode) -> NotebookNode:
    """Return a notebook without all that running it leaves behind, checked outputs apart.

    Checked cells keep the number that Run All gives them: nbval takes a cell
    without a number for one that never ran.
    """
    kept = nbformat.from_dict(notebook)
    kept.metadata = NotebookNode(kernelspec=NotebookNode(KERNEL))
    numbers = {cell.id: number for number, cell in enumerate(code_cells(kept), start=1)}
    for cell in kept.cells:
        cell.metadata = NotebookNode(
            {name: cell.metadata[name] for name in KEPT_CELL_METADATA if name in cell.metadata}
        )
        if cell.cell_type == "code":
            cell.execution_count = numbers[cell.id] if is_checked(cell) else None
            cell.outputs = cell.outputs if is_checked(cell) else []
            for output in cell.outputs:
                if "execution_count" in output:
                    output.execution_count = cell.execution_count
    return kept


def main() -> int:
    parser = argparse.ArgumentParser(description="Run notebooks and keep their checked outputs.")
    parser.add_argument("notebooks", nargs="*", type=Path, default=NOTEBOOKS)
    failed = False
    with tempfile.TemporaryDirectory() as scratch:
        os.environ["BALANCEKIT_HOME"] = str(Path(scratch) / "home")
        folder = working_copy(Path(scratch))
        for path in parser.parse_args().notebooks:
            ran = execute(read(path), folder)
            wrong = cell_errors(ran) + hidden_errors(ran)
            print(f"{path.name}: " + ("\n  ".join(["", *wrong]) or "renewed"))
            failed = failed or bool(wrong)
            if not wrong:
                nbformat.write(clean(ran), path)
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
