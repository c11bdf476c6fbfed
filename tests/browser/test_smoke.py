"""The fixtures themselves: a slider moves a chart, and what goes wrong is seen."""

from __future__ import annotations

import pytest
from lab import (
    cell_errors,
    not_run,
    open_notebook,
    put_away,
    ran_well,
    run_all,
    wait_idle,
    wide_outputs,
)
from nbformat import v4, write
from playwright.sync_api import expect

SLIDER_AND_CHART = """
from bokeh.plotting import figure
from ipywidgets import HTML, IntSlider, VBox

from balancekit.panels.chart_view import ChartView

chart = figure(height=200, width=400)
line = chart.line([1, 2, 3], [1, 4, 2])
slider, answer = IntSlider(description="key", value=3, max=88), HTML()


def moved(change):
    line.data_source.data = {"x": [1, 2, 3], "y": [1, change.new, 2]}
    answer.value = f"<b class='answer'>key {change.new} of 88</b>"


slider.observe(moved, "value")
VBox([slider, answer, ChartView(chart)])
"""

CHART_TOP = """() => {
  const sources = [...window.balancekitBokeh.documents[0]._all_models.values()];
  return sources.find(model => model.type === 'ColumnDataSource').data.y[1];
}"""


def put_notebook(lab, name: str, *sources: str) -> str:
    """Write a notebook of code cells beside the copied ones; return its name for Lab."""
    kernel = {"name": "python3", "display_name": "Python 3", "language": "python"}
    cells = [v4.new_code_cell(source.strip()) for source in sources]
    write(v4.new_notebook(cells=cells, metadata={"kernelspec": kernel}), lab.folder / name)
    return name


def test_a_slider_moves_a_chart(lab, page, seen):
    name = put_notebook(lab, "slider.ipynb", SLIDER_AND_CHART)
    open_notebook(page, lab, name)
    run_all(page)
    assert page.evaluate(CHART_TOP) == 4
    page.get_by_role("slider").focus()
    page.keyboard.press("ArrowRight")
    expect(page.locator(".answer")).to_have_text("key 4 of 88")
    page.keyboard.press("End")
    expect(page.locator(".answer")).to_have_text("key 88 of 88")
    wait_idle(page)
    assert page.evaluate(CHART_TOP) == 88
    ran_well(page, seen)
    put_away(page)
    assert page.evaluate("window.balancekitBokeh.documents.length") == 0


def test_an_error_hidden_in_a_panel_is_seen(lab, page, seen):
    name = put_notebook(
        lab,
        "hidden.ipynb",
        "from ipywidgets import Output\nout = Output()\nwith out:\n    raise ValueError('hidden')",
        "out",
    )
    open_notebook(page, lab, name)
    run_all(page)
    assert [text for text in cell_errors(page) if "ValueError" in text]


def test_cells_after_a_failing_one_are_named(lab, page):
    name = put_notebook(lab, "failing.ipynb", "1 / 0", "print('never')")
    open_notebook(page, lab, name)
    run_all(page)
    assert [text for text in cell_errors(page) if "ZeroDivisionError" in text]
    assert not_run(page) == ["print('never')"]


@pytest.mark.parametrize(
    ("script", "kept"),
    [
        ("console.error('a broken panel')", "console_errors"),
        ("setTimeout(() => { throw new Error('a broken panel') })", "console_errors"),
        ("fetch('http://a-broken-panel.invalid/').catch(() => 0)", "outside_requests"),
    ],
)
def test_what_goes_wrong_in_the_page_is_seen(page, seen, script, kept):
    page.evaluate(script)
    page.wait_for_timeout(300)
    assert [text for text in getattr(seen, kept) if "broken" in text]


def test_an_output_wider_than_the_page_is_seen(lab, page):
    wide = "from IPython.display import HTML\nHTML(\"<div style='width:5000px'>wide</div>\")"
    open_notebook(page, lab, put_notebook(lab, "wide.ipynb", wide))
    run_all(page)
    assert [text for text in wide_outputs(page) if "wide" in text]


def test_lab_writes_nothing_in_the_users_own_folder(lab, page):
    open_notebook(page, lab, put_notebook(lab, "plain.ipynb", "1 + 1"))
    run_all(page)
    page.keyboard.press("Control+s")
    wait_idle(page)
    assert list(lab.user_folder.rglob("*")) == []
