"""A lesson in the browser: the levers are drawn true."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np
import pytest
from keys import stands_still
from lab import Lab, Watch, cell_errors, not_run, open_notebook, run_all, watch
from playwright.sync_api import Browser, Page, expect
from test_smoke import put_notebook

from balancekit.lesson.lever_chain.one_key import LessonKey
from balancekit.lesson.lever_chain.parts import DRAWN_PARTS, WEIGHING_WORDS
from balancekit.lesson.toy.piano import WORKS_MJ, play, uneven_keys

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


MM_WIDE = 622
"""Width of the drawing in its own mm; see lever_view.js."""


PUT_SOURCE = """source => {
  const [cell] = window.jupyterapp.shell.currentWidget.content.widgets;
  cell.model.clearExecution();
  cell.model.sharedModel.setSource(source);
}"""
"""Put a source in place of that of the only cell, as if it had never run."""


@pytest.fixture(scope="module")
def visit(lab: Lab, browser: Browser) -> Iterator[tuple[Page, Watch]]:
    """One notebook of one cell for all tests, with what its page says; each runs its own panel."""
    context = browser.new_context()
    context.set_default_timeout(20_000)
    page = context.new_page()
    seen = watch(page)
    open_notebook(page, lab, put_notebook(lab, "lesson.ipynb", "import balancekit as bk"))
    yield page, seen
    context.close()


@pytest.fixture
def page(visit: tuple[Page, Watch]) -> Page:
    """The page of the visit, in its usual size, with the pointer out of the way."""
    page, _ = visit
    page.set_viewport_size({"width": 1280, "height": 900})
    page.mouse.move(0, 0)
    return page


@pytest.fixture
def seen(visit: tuple[Page, Watch]) -> Watch:
    """Errors of the whole visit: one that comes late still fails a test."""
    return visit[1]


def open_lesson(page: Page, source: str) -> None:
    """Make a panel of the lesson anew, alone on the page."""
    page.evaluate(PUT_SOURCE, source)
    run_all(page)
    expect(page.locator(".bench-panel")).to_have_count(1)
    assert cell_errors(page) == [] and not_run(page) == []


def test_the_drawn_levers_are_where_the_functions_say(page, seen):
    open_lesson(page, "import balancekit as bk\nbk.lesson.levers_panel()")
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
    # Wippen weight and spring relief act where the capstan meets the heel; the stacks have an axis.
    spring = panel.get_by_role("slider", name="Spring relief (g)")
    spring.focus()
    page.keyboard.press("PageUp")
    arrows = drawing.locator('.lesson-follow[data-rise="heel"]')
    expect(arrows).to_have_count(2)
    capstan_x = middle(drawing.locator('.held[data-part="capstan"]'))[0]
    px_for_mm = drawing.bounding_box()["width"] / MM_WIDE
    for arrow in arrows.all():
        assert abs(middle(arrow)[0] - capstan_x) < 15 * px_for_mm
    expect(panel.locator(".lesson-axis-tick").first).to_have_text("0")
    assert seen.console_errors == []


def middle(locator) -> tuple[float, float]:
    """Where the middle of a part stands in the window."""
    box = locator.bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def drag(page, drawing, part: str, by_mm: float, down_mm: float) -> None:
    """Drag a part of the drawing with the mouse."""
    px_for_mm = drawing.bounding_box()["width"] / MM_WIDE
    x, y = middle(drawing.locator(f'.held[data-part="{part}"]'))
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + by_mm * px_for_mm, y + down_mm * px_for_mm, steps=8)
    page.mouse.up()


def test_parts_are_dragged_with_the_mouse(page, seen):
    """The capstan goes with the pointer, to the millimetre; the hammer grows when pulled down."""
    open_lesson(page, "import balancekit as bk\nbk.lesson.levers_panel()")
    panel = page.locator(".bench-panel")
    drawing = panel.locator("svg.lesson-levers")
    drawing.scroll_into_view_if_needed()
    for part, slider, by_mm, down, expected in (
        ("capstan", "Capstan to pin (mm)", 4.0, 0.0, LessonKey().capstan_mm + 4.0),
        ("plug", "Place of the lead (mm)", -10.0, 0.0, LessonKey().lead_mm + 10.0),
        ("hammer", "Strike weight (g)", 0.0, 10.0, LessonKey().strike_weight_g + 1.0),
    ):
        drag(page, drawing, part, by_mm, down)
        handle = panel.get_by_role("slider", name=slider)
        step = 1.01 if part == "plug" else 0.51 if part == "capstan" else 0.11
        page.wait_for_timeout(600)
        assert float(handle.get_attribute("aria-valuenow")) == pytest.approx(expected, abs=step)
    assert seen.console_errors == []


def test_what_was_expected_is_marked_on_the_axis(page, seen):
    """The answer stays out of sight until a guess is given; then both stand on one axis."""
    open_lesson(page, "import balancekit as bk\nbk.lesson.levers_panel()")
    panel = page.locator(".bench-panel")
    equation, stacks = panel.locator(".lesson-equation"), panel.locator(".lesson-stacks")
    panel.get_by_role("checkbox", name="Let me say what I expect first").check()
    expect(equation).to_be_hidden()
    expect(stacks).to_be_hidden()
    strike = panel.get_by_role("slider", name="Strike weight (g)")
    strike.focus()
    for _ in range(10):
        page.keyboard.press("ArrowRight")
    expect(strike).to_have_attribute("aria-valuenow", "11.0")
    expect(equation).to_be_hidden()
    panel.get_by_label("I expect a balance weight of (g)").fill("38")
    panel.get_by_role("button", name="Now show it").click()
    # By hand: one gram of hammer costs 5.5 g.
    expect(panel).to_contain_text("You expected 38.0 g, it is 42.5 g. It is 4.5 g more.")
    expect(equation).to_be_visible()
    tick = stacks.locator(".lesson-axis-tick")
    low, high = (middle(tick.filter(has_text=re.compile(f"^{at}$")))[0] for at in (60, 70))
    # The front weight of 27 g lies before it on the axis: 65 g, half-way.
    for mark in stacks.locator(".lesson-guess, .lesson-tick.guess").all():
        assert middle(mark)[0] == pytest.approx((low + high) / 2, abs=3)
    assert stacks.locator(".lesson-guess").count() == 2
    assert seen.console_errors == []


def test_the_weight_on_a_key_is_pulled_up_gram_by_gram(page, seen):
    """Two millimetres of the drawing for a gram; far enough up, and the key sinks."""
    open_lesson(page, "import balancekit as bk\nbk.lesson.sticking_panel()")
    panel = page.locator(".bench-panel")
    drawing = panel.locator("svg.lesson-levers")
    drawing.scroll_into_view_if_needed()
    expect(panel).to_contain_text("The key sticks")
    drag(page, drawing, "weight", 0.0, -50.0)
    weight = panel.get_by_role("slider", name="Weight on the key (g)")
    expect(weight).to_have_attribute("aria-valuenow", "55.0")
    expect(panel).to_contain_text("The key sinks")
    assert seen.console_errors == []


SEEN_POINT = """node => {
  for (const child of [node, ...node.querySelectorAll('*')]) {
    const box = child.getBoundingClientRect();
    for (let place = 0; place < 100; place += 1) {
      const across = 0.05 + 0.1 * (place % 10), down = 0.05 + 0.1 * Math.floor(place / 10);
      const [x, y] = [box.x + across * box.width, box.y + down * box.height];
      if (node.contains(document.elementFromPoint(x, y))) return [x, y];
    }
  }
  return null;
}"""
"""A place in the window where a part of the drawing lies on top."""


def test_every_part_says_its_name_where_it_is_pointed_at(page, seen):
    """In the drawing and in the list; a part of the equation lights up its term."""
    open_lesson(page, "import balancekit as bk\nbk.lesson.levers_panel()")
    panel = page.locator(".bench-panel")
    spring = panel.get_by_role("slider", name="Spring relief (g)")
    spring.focus()
    page.keyboard.press("PageUp")
    drawing, caption = panel.locator("svg.lesson-levers"), panel.locator(".lesson-caption").first
    drawing.scroll_into_view_if_needed()
    # With the spring the equation has one more term, and what is below moves.
    stands_still(page, drawing.locator(".lesson-part").last)
    for name, part in DRAWN_PARTS.items():
        place = drawing.locator(f'.lesson-part[data-part="{name}"]').last
        point = place.evaluate(SEEN_POINT)
        assert point is not None, f"{name} cannot be pointed at"
        page.mouse.move(*point)
        expect(caption).to_have_text(f"{part.word}: {part.meaning}")
        if part.term:
            term = panel.locator(f'.lesson-equation [data-term="{part.term}"]')
            expect(term).to_have_class(re.compile(r"\blit\b"))
        panel.locator(f'.lesson-chip[data-part="{name}"]').hover()
        expect(place).to_have_class(re.compile(r"\blit\b"))
    assert seen.console_errors == []


def test_stacks_equation_and_sliders_are_on_one_screen(page, seen):
    """At 1280 x 720, with Lab's own bars around the notebook."""
    page.set_viewport_size({"width": 1280, "height": 720})
    open_lesson(page, "import balancekit as bk\nbk.lesson.levers_panel()")
    panel = page.locator(".bench-panel")
    panel.locator(".lesson-stacks").evaluate("node => node.scrollIntoView({ block: 'end' })")
    shown = page.locator(".jp-WindowedPanel-outer").first.bounding_box()
    parts = [panel.get_by_role("slider", name="Strike weight (g)"),
             panel.locator(".lesson-equation"), panel.locator(".lesson-stacks")]  # fmt: skip
    for part in parts:
        box = part.bounding_box()
        assert box["y"] >= shown["y"] - 1
        assert box["y"] + box["height"] <= shown["y"] + shown["height"] + 1
    assert seen.console_errors == []


def test_the_uneven_piano_is_played_by_mouse_and_keys(page, seen):
    """The struck key's terms appear as Python says them; louder keys have higher bars."""
    open_lesson(page, "import balancekit as bk\nbk.lesson.uneven_piano_panel()")
    panel = page.locator(".bench-panel")
    tones = panel.locator(".lesson-tone")
    expect(tones).to_have_count(13)
    notes = {n: play(n, key, WORKS_MJ["middle"]) for n, key in uneven_keys().items()}

    def told(key: int) -> str:
        return f"{notes[key].name} throws the hammer at {notes[key].speed_m_s:.2f}"

    tones.nth(5).click()
    expect(panel).to_contain_text(told(45))
    tones.nth(5).focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    expect(panel).to_contain_text(told(46))
    high = tones.locator("i").evaluate_all("bars => bars.map(bar => parseFloat(bar.style.height))")
    order = sorted(range(13), key=lambda place: notes[40 + place].speed_m_s)
    assert high[order[0]] < high[order[-1]] and high[order[-1]] == max(high)
    assert seen.console_errors == []


def test_every_part_has_a_small_picture(page, seen):
    open_lesson(page, "import balancekit as bk\nbk.lesson.parts_panel()")
    pictures = page.locator(".lesson-pictures figure")
    expect(pictures).to_have_count(len(DRAWN_PARTS) + len(WEIGHING_WORDS))
    for word in WEIGHING_WORDS:
        expect(page.get_by_role("img", name=f"Picture: {word}", exact=True)).to_be_visible()
    for name, part in DRAWN_PARTS.items():
        card = pictures.filter(has=page.locator("b", has_text=re.compile(f"^{part.word}$")))
        expect(card.locator("svg")).to_have_count(1)
        lit = card.locator(f'svg [data-part="{name}"].lit').first
        # The whole part is in the picture, not a piece of it.
        part_box, picture = lit.bounding_box(), card.locator("svg").bounding_box()
        for start, size in (("x", "width"), ("y", "height")):
            assert part_box[start] >= picture[start] - 2, name
            end = part_box[start] + part_box[size]
            assert end <= picture[start] + picture[size] + 2, name
    assert seen.console_errors == []
