"""Keys inside a panel belong to the panel: none edits the notebook, and Esc gives them back."""

from __future__ import annotations

from keys import sources, tab_to, to_cell
from lab import open_notebook, run_all, wait_idle
from playwright.sync_api import expect
from test_smoke import put_notebook

CONTROLS = """
import ipywidgets as widgets

from balancekit.panels.frame import button, panel, slider

listed = widgets.Dropdown(options=["one", "two", "three"], description="List")
kinds = widgets.ToggleButtons(options=["up", "down"], description="Way")
folded = widgets.Accordion([widgets.Text(description="Inside")], titles=("More",))
going = button("Go away", lambda: setattr(going.layout, "display", "none"))
panel("Controls", listed, kinds, slider("Weight", 30, 0, 80, 1, unit="g"), folded, going)
"""

LAB_WOULD = ("b", "d", "d", "x", "m", "ArrowDown", "ArrowUp")
"""Keys that insert, delete, cut, change or leave a cell when the notebook has them."""


def test_keys_in_a_panel_are_its_own_and_every_control_has_a_name(lab, page, seen):
    open_notebook(page, lab, put_notebook(lab, "controls.ipynb", CONTROLS, "1 + 1"))
    run_all(page)
    panel = page.locator(".bench-panel")
    before = sources(page)
    page.keyboard.press("ArrowUp")
    page.keyboard.press("ArrowUp")

    listed = tab_to(page, panel.get_by_label("List"))
    page.keyboard.press("ArrowDown")
    assert listed.evaluate("box => box.selectedIndex") == 1
    ways = panel.get_by_role("group", name="Way")
    down = tab_to(page, ways.get_by_role("button", name="down"))
    page.keyboard.press("Enter")
    expect(down).to_have_attribute("aria-pressed", "true")
    stops = [
        panel.get_by_role("slider", name="Weight (g)"),
        panel.get_by_role("textbox", name="Weight (g), to type"),
        panel.get_by_role("button", name="More"),
    ]
    for stop in stops:
        tab_to(page, stop)
        for key in LAB_WOULD if stop is not stops[1] else ():
            page.keyboard.press(key)
        expect(stop).to_be_focused()
    page.keyboard.press("Enter")
    expect(stops[-1]).to_have_attribute("aria-expanded", "true")
    tab_to(page, panel.get_by_label("Inside"))
    page.keyboard.type("bddx")
    expect(panel.get_by_label("Inside")).to_have_value("bddx")

    tab_to(page, panel.get_by_role("button", name="Go away"))
    page.keyboard.press("Enter")
    expect(panel.get_by_role("button", name="Go away")).to_be_hidden()
    to_cell(page)
    page.keyboard.press("ArrowDown")
    wait_idle(page)
    assert page.evaluate("window.jupyterapp.shell.currentWidget.content.activeCellIndex") == 1
    assert sources(page) == before
    assert seen.console_errors == []
