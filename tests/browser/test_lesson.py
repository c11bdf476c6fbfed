"""A lesson in the browser: the levers are drawn true."""

from __future__ import annotations

import re

import numpy as np
import pytest
from lab import cell_errors, not_run, open_notebook, run_all
from playwright.sync_api import expect

from balancekit.lesson.lever_chain.one_key import LessonKey

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
    linkage = LessonKey().linkage
    travel = panel.get_by_role("slider", name="Key pressed (mm)")
    for press, travel_mm in (("Home", 0.0), ("End", 8.0)):
        travel.focus()
        page.keyboard.press(press)
        expect(drawing).to_contain_text(f"key down {travel_mm:.1f} mm")
        drawn, at = drawing.evaluate(POINTS), linkage.at(travel_mm)
        lever, arm = linkage.parts["strike_point"]
        strike = linkage.centres[lever] + arm * np.exp(1j * at.shank)
        assert drawn["strike_point"] == pytest.approx([strike.real, strike.imag], abs=0.05)
    expect(drawing).to_contain_text(f"hammer up {float(linkage.hammer_rise_mm(at)):.1f} mm")
    # A part is taken hold of with the keys; both ratios follow the capstan.
    panel.locator('.held[data-part="capstan"]').focus()
    page.keyboard.press("ArrowRight")
    expect(drawing).to_contain_text(
        f"at half stroke {LessonKey().with_capstan(120.5).action_ratio:.2f}"
    )
    expect(drawing).to_have_attribute("aria-label", re.compile("strike 10.0 g"))
    # A term of the equation lights up its part.
    panel.locator('[data-term="strike_weight_g"]').focus()
    expect(panel.locator('.lesson-part[data-part="hammer"]')).to_have_class(re.compile("lit"))
    expect(panel.locator(".lesson-caption").first).to_contain_text("hammer:")
    assert seen.console_errors == []
