"""Every notebook in a real JupyterLab: it runs, everyone can use it, and a reload loses nothing."""

from __future__ import annotations

import re
from typing import Any

import pytest
from accessibility import shuts_out
from finger import wait_until_saved
from keys import WIDTHS
from lab import (
    PROJECT,
    cell_errors,
    hide_sidebar,
    not_run,
    open_notebook,
    run_all,
    start_afresh,
    wait_for_notebook,
    wait_idle,
    wide_outputs,
)
from playwright.sync_api import ElementHandle, Page, expect
from test_first_path import HELD_KEYS

NOTEBOOKS = sorted(path.name for path in (PROJECT / "notebooks").glob("*.ipynb"))

DRAW_ALL = ".bench-panel { content-visibility: visible !important; }"
"""What is out of sight is not drawn, and a checker would pass over it."""

WORDS = """() =>
  [...document.querySelectorAll('.bench-panel')].map(box => box.innerText).join(' ')"""

TOLD_ASIDE = """() => [...document.querySelectorAll('.bench-panel')].flatMap(panel => {
  const title = panel.querySelector('.bench-title').textContent;
  return [...panel.querySelectorAll('.bench-chart')].map(chart => [
    title, chart.getAttribute('aria-label'),
    panel.querySelectorAll('.bench-numbers').length,
    [...panel.querySelectorAll('.bench-words td')].length,
  ]);
})"""
"""Of each chart: its panel, its name, folded tables and cells of plain tables in the panel."""

THEME = "theme => window.jupyterapp.commands.execute('apputils:change-theme', {theme})"

STATE = """() => [...document.querySelectorAll('.bench-panel')].map(panel => ({
  text: (copy => {
    copy.querySelectorAll('.bench-numbers-place, .lesson-caption').forEach(place => place.remove());
    return copy.textContent;
  })(panel.cloneNode(true)),
  handles: [...panel.querySelectorAll('.noUi-handle')].map(e => e.getAttribute('aria-valuetext')),
  lists: [...panel.querySelectorAll('select')].map(e => e.selectedOptions[0]?.textContent),
  typed: [...panel.querySelectorAll('input, textarea')].map(e => e.checked + e.value),
  pressed: [...panel.querySelectorAll('[aria-pressed=true]')].map(e => e.textContent),
  drawn: [...panel.querySelectorAll('svg')].map(e => e.getAttribute('aria-label')),
}))"""

"""What every panel says and holds; a folded table is made only while it is open.

What is said of the part that is pointed at just now is no state.
"""

DATA = """() => (window.balancekitBokeh?.documents ?? []).flatMap(document =>
  [...document._all_models.values()].filter(model => model.type === 'ColumnDataSource')
    .map(source => JSON.stringify(Object.entries(source.data).map(
      ([name, column]) => [name, Array.from(column)]).sort()))).sort()"""
"""Everything that is drawn in charts, without the order of charts."""

CHANGE = """panel => {
  const seen = node => node.offsetParent !== null;
  for (const kind of ['.noUi-handle', 'select', '.widget-toggle-buttons button', 'textarea',
    '[type=text]']) {
    const found = [...panel.querySelectorAll(kind)].filter(seen)
      .filter(node => kind !== 'select' || node.options.length > 1);
    if (found.length) { found[kind.includes('button') ? 1 : 0].focus(); return kind; }
  }
  return '';
}"""
"""Focus what can be changed in a panel, and say what that is."""

FIELDS = ".jp-OutputArea :is(input, textarea, [contenteditable=true])"
NOT_TYPED = ":is([type=checkbox], [type=radio], [type=file], [type=range], [readonly])"
TOLD_TWICE = ".bench-grid-root, .bench-one, .bench-note"
"""Views that keep what is typed in their own way, which other tests hold."""

READ = "field => field.value ?? field.textContent"
WRITE = """(field, text) => {
  if ('value' in field) field.value = text; else field.textContent = text;
}"""
"""What a panel does to a field of its own when the kernel sends a value."""

ANSWERS = """() => window.jupyterapp.shell.currentWidget.sessionContext.session.kernel
  .requestKernelInfo()"""
LONGEST_PAUSE_MS = 1800

WAYS = {
    ".noUi-handle": ("ArrowRight",),
    "select": ("ArrowDown",),
    ".widget-toggle-buttons button": ("Enter",),
    "textarea": ("x", "Tab"),
    "[type=text]": ("x", "Tab"),
}


@pytest.mark.parametrize("name", NOTEBOOKS)
def test_a_notebook_runs_everyone_can_use_it_and_a_reload_loses_nothing(lab, page, seen, name):
    start_afresh(lab)
    open_notebook(page, lab, f"notebooks/{name}")
    hide_sidebar(page)
    run_all(page)
    drawn = page.add_style_tag(content=DRAW_ALL)
    rests(page)
    assert cell_errors(page) == [] and not_run(page) == []
    shown = page.evaluate(WORDS)
    assert "NaN" not in shown and "nan " not in shown
    shuts_nobody_out(page)
    drawn.evaluate("style => style.remove()")
    tells_charts_in_numbers(page)
    drawn = keeps_its_state(page, f"notebooks/{name}")
    drawn.evaluate("style => style.remove()")
    keeps_what_is_typed(page)
    assert cell_errors(page) == []
    assert seen.console_errors == [] and seen.outside_requests == []


def shuts_nobody_out(page: Page) -> None:
    """Accessibility by axe-core (WCAG 2.1 A and AA), an independent checker, on the panels.

    All rules once; in a wider window those that a width can break, in the dark those of colours.
    """
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 900})
        page.wait_for_timeout(400)
        assert wide_outputs(page) == []
        rules = "all" if width == WIDTHS[0] else "all but contrast"
        assert shuts_out(page, least=11, inside=".bench-panel", rules=rules) == []
    page.evaluate(THEME, "JupyterLab Dark")
    expect(page.locator("body")).to_have_attribute("data-jp-theme-light", "false")
    assert shuts_out(page, inside=".bench-panel", rules="colours") == []
    page.evaluate(THEME, "JupyterLab Light")
    expect(page.locator("body")).to_have_attribute("data-jp-theme-light", "true")


def tells_charts_in_numbers(page: Page) -> None:
    """Each chart has its numbers in words or in a table, which a keyboard can open."""
    for title, name, folded, cells in page.evaluate(TOLD_ASIDE):
        assert name, f"{title}: a chart without a name"
        said = len(re.findall("says? the same", name))
        assert said + folded + cells > 0, f"{title}: nothing tells what {name!r} shows"
    for fold in page.locator(".bench-numbers").all():
        fold.locator("summary").focus()
        page.keyboard.press("Enter")
        if fold.is_visible():
            expect(fold.locator("td").first).to_be_attached()
        page.keyboard.press("Enter")


def lost(before: list[dict[str, Any]], after: list[dict[str, Any]]) -> list[str]:
    """Say for each panel what is another thing after the page was loaded again."""
    return [
        f"{one['text'][:30]}: {name}: {difference(str(one[name]), str(other[name]))}"
        for one, other in zip(before, after, strict=True)
        for name in one
        if one[name] != other[name]
    ]


def difference(one: str, other: str) -> str:
    """Return the first place where two texts part, with a little of both."""
    at = next((i for i, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), 0)
    return f"{one[max(at - 20, 0) : at + 60]!r} was {other[max(at - 20, 0) : at + 60]!r}"


def keeps_its_state(page: Page, name: str) -> ElementHandle:
    """Change something in each panel, load the page again, and find everything as it was.

    Returns what makes the page draw everything.
    """
    panels = page.locator(".bench-panel")
    ways = []
    for panel in panels.all():
        ways.append(panel.evaluate(CHANGE))
        for key in WAYS.get(ways[-1], ()):
            page.keyboard.press(key)
    rests(page)
    before, drawn = page.evaluate(STATE), page.evaluate(DATA)
    held = page.evaluate(HELD_KEYS) if drawn else []
    page.evaluate("() => window.jupyterapp.commands.execute('docmanager:save')")
    page.goto(page.url.replace("&reset", ""))
    wait_for_notebook(page, name)
    expect(page.locator(".bench-title")).to_have_count(len(ways), timeout=30_000)
    draws_all = page.add_style_tag(content=DRAW_ALL)
    page.wait_for_function(f"count => ({DATA})().length === count", arg=len(drawn))
    rests(page)
    assert lost(before, page.evaluate(STATE)) == []
    assert page.evaluate(DATA) == drawn
    if drawn:
        assert page.evaluate(HELD_KEYS) == held
    shown = " ".join(page.locator(".jp-Notebook .jp-OutputArea").all_text_contents()).lower()
    assert "model not found" not in shown
    return draws_all


def keeps_what_is_typed(page: Page) -> None:
    """Type into each field that is seen: it keeps that, whatever is written into it, until Esc."""
    for field in page.query_selector_all(FIELDS):
        if field.evaluate(f"field => field.matches('{NOT_TYPED}') || !field.isConnected "
                          f"|| Boolean(field.closest('{TOLD_TWICE}'))"):  # fmt: skip
            continue
        if not field.is_visible() or not field.is_enabled():
            continue
        name = field.get_attribute("aria-label") or field.evaluate("field => field.outerHTML")
        before = field.evaluate(READ)
        field.focus()
        page.keyboard.press("End")
        page.keyboard.type("7")
        field.evaluate(WRITE, before)
        assert field.evaluate(READ) != before, f"{name}: what was typed is overwritten"
        page.keyboard.press("Escape")
        assert field.evaluate(READ) == before, f"{name}: Esc does not give up what was typed"


def rests(page: Page) -> None:
    """Wait until nothing is being worked out any more, so that what is shown stays.

    What a kernel does a little later, of itself, is not told by its state: it is asked for an
    answer, and what is shown must be the same twice, longer apart than any pause of a panel.
    """
    before = None
    for _ in range(40):
        wait_until_saved(page, 60)
        wait_idle(page)
        page.evaluate(ANSWERS)
        page.wait_for_function(
            "() => !document.querySelector('.bench-panel .bench-working')", timeout=60_000
        )
        now = page.evaluate(STATE)
        if now == before:
            return
        before = now
        page.wait_for_timeout(LONGEST_PAUSE_MS)
    raise AssertionError("The page does not come to rest.")
