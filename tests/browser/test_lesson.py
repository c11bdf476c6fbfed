"""A lesson in the browser: the levers are drawn true."""

from __future__ import annotations

import re

import pytest
from lab import cell_errors, not_run, open_notebook, run_all
from playwright.sync_api import expect

from balancekit.lesson.levers import levers_of
from balancekit.lesson.one_key import LessonKey

POINTS = """svg => {
  return Object.fromEntries(['measuring_point', 'jack_top', 'strike_point'].map(name => {
    const mark = svg.querySelector('.lesson-point.' + name);
    const at = svg.createSVGPoint();
    at.x = mark.cx.baseVal.value; at.y = mark.cy.baseVal.value;
    const own = mark.parentNode.transform.baseVal.consolidate();
    const placed = own ? at.matrixTransform(own.matrix) : at;
    return [name, [placed.x, 240 - placed.y]];
  }));
}"""
"""Where the drawn points are, in the drawing's own mm; 240 is its upper edge."""


def open_lesson(page, lab, source: str) -> None:
    """Run one line of a lesson in a notebook of its own."""
    from test_smoke import put_notebook

    open_notebook(page, lab, put_notebook(lab, "lesson.ipynb", source))
    run_all(page)
    assert cell_errors(page) == [] and not_run(page) == []


def test_the_drawn_levers_are_where_the_functions_say(lab, page, seen):
    open_lesson(page, lab, "import balancekit as bk\nbk.lesson.levers_panel()")
    panel = page.locator(".bench-panel")
    drawing = panel.locator("svg.lesson-levers")
    levers = levers_of(LessonKey())
    travel = panel.get_by_role("slider", name="Key pressed (mm)")
    for press, travel_mm in (("Home", 0.0), ("End", 8.3)):
        travel.focus()
        page.keyboard.press(press)
        expect(drawing).to_contain_text(f"key down {travel_mm:.1f} mm")
        drawn, placed = drawing.evaluate(POINTS), levers.points(travel_mm)
        for name, point in drawn.items():
            assert point == pytest.approx(placed[name], abs=0.05)
    expect(drawing).to_contain_text(f"hammer up {8.3 * 5.5:.1f} mm")
    panel.get_by_role("slider", name="Action ratio").focus()
    page.keyboard.press("ArrowRight")
    expect(drawing).to_contain_text("5.55 times as far")
    expect(drawing).to_have_attribute("aria-label", re.compile("strike 10.0 g"))
    assert seen.console_errors == []
