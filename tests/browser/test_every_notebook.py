"""Every notebook in a real JupyterLab: nothing fails, nothing is wide, nothing asks outside."""

from __future__ import annotations

import pytest
from accessibility import shuts_out
from lab import (
    PROJECT,
    cell_errors,
    hide_sidebar,
    not_run,
    open_notebook,
    run_all,
    start_afresh,
    wait_idle,
    wide_outputs,
)

NOTEBOOKS = sorted(path.name for path in (PROJECT / "notebooks").glob("*.ipynb"))
WORDS = """() =>
  [...document.querySelectorAll('.bench-panel')].map(box => box.innerText).join(' ')"""


@pytest.mark.parametrize("name", NOTEBOOKS)
def test_notebook_runs_and_every_control_can_be_used(lab, page, seen, name):
    """Accessibility by axe-core (WCAG 2 A and AA), an independent checker, on the panels."""
    start_afresh(lab)
    open_notebook(page, lab, f"notebooks/{name}")
    hide_sidebar(page)
    run_all(page)
    wait_idle(page)
    assert cell_errors(page) == [] and not_run(page) == []
    assert seen.console_errors == [] and seen.outside_requests == []
    shown = page.evaluate(WORDS)
    assert "NaN" not in shown and "nan " not in shown
    for width in (1280, 1024):
        page.set_viewport_size({"width": width, "height": 900})
        page.wait_for_timeout(400)
        assert wide_outputs(page) == []
    assert shuts_out(page, least=10, inside=".bench-panel") == []
