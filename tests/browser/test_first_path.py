"""The first whole path in a real JupyterLab: readings typed and pasted, friction, balance."""

from __future__ import annotations

import csv

import pytest
from keys import panel
from lab import (
    open_notebook,
    ran_well,
    run_all,
    wait_idle,
)
from playwright.sync_api import expect

HELD_KEYS = """() => {
  const roots = window.balancekitBokeh.index.roots;
  const figures = (view) => view.canvas_view ? [view] : (view.child_views ?? []).flatMap(figures);
  return roots.flatMap(figures)
    .flatMap(view => [...view.canvas_view.shadow_el.querySelectorAll('[data-key]')])
    .filter(mark => mark.style.display === 'block' && mark.offsetWidth > 2)
    .map(mark => Number(mark.dataset.key));
}"""


pytestmark = pytest.mark.usefixtures("demo_in_hand")


def saved(lab, name="readings.csv"):
    """The rows of the newest saved instrument."""
    folders = [path.parent for path in lab.home.glob("*/datapackage.json")]
    folder = max(folders, key=lambda path: path.stat().st_mtime)
    with open(folder / name, newline="") as lines:
        return list(csv.DictReader(lines))


def cell(page, key, column):
    return page.locator(f"[aria-label^='key {key}, {column}']").first


def takes_a_reading_and_asks_for_the_next(page):
    """The one-key view, as it stands on the demo."""
    large = page.locator(".bench-one-input")
    large.scroll_into_view_if_needed()
    large.click()
    page.keyboard.type("53")
    page.keyboard.press("Enter")
    expect(page.locator(".bench-one-asked")).to_have_text("Up weight")
    expect(page.locator(".bench-one-said").first).to_contain_text(
        "Taken: key 40, down weight 53 g."
    )


def test_readings_are_typed_pasted_doubted_and_saved(lab, page, seen):
    open_notebook(page, lab, "notebooks/01_readings.ipynb")
    run_all(page)
    takes_a_reading_and_asks_for_the_next(page)
    grid = page.locator(".bench-grid").first
    grid.scroll_into_view_if_needed()
    cell(page, 2, "Down weight").click()
    page.keyboard.type("55")
    page.keyboard.press("Enter")
    page.keyboard.type("54")
    page.keyboard.press("Tab")
    page.keyboard.type("27,5")
    page.keyboard.press("Enter")
    expect(page.get_by_text("Saved in").first).to_be_visible()
    wait_idle(page)
    rows = {row["key"]: row for row in saved(lab)}
    assert rows["2"]["down_weight_g"] == "55"
    assert (rows["3"]["down_weight_g"], rows["3"]["up_weight_g"]) == ("54", "27.5")

    cell(page, 6, "Down weight").click()
    page.keyboard.type("abc")
    page.keyboard.press("Enter")
    expect(page.locator(".bench-grid-message").first).to_contain_text('"abc" is not a number')
    page.keyboard.type("5.1")
    page.keyboard.press("Enter")
    expect(page.locator("td.doubted[aria-label^='key 6, Down weight']").first).to_be_visible()

    page.evaluate("text => navigator.clipboard.writeText(text)", "51\t25\n52\t26\n")
    cell(page, 10, "Down weight").click()
    page.keyboard.press("Control+v")
    expect(page.locator(".bench-grid-message").first).to_contain_text("Pasted 4 cells.")
    wait_idle(page)
    rows = {row["key"]: row for row in saved(lab)}
    assert (rows["10"]["down_weight_g"], rows["11"]["up_weight_g"]) == ("51", "26")

    cell(page, 12, "Down weight").click()
    page.keyboard.press("Control+z")
    expect(cell(page, 11, "Up weight")).not_to_have_text("26")
    wait_idle(page)
    assert {row["key"]: row for row in saved(lab)}["11"]["up_weight_g"] != "26"
    assert {row["key"]: row for row in saved(lab)}["6"]["down_weight_g"] == "5.1"

    wrong = panel(page, "What looks wrong")
    for way in ("take 51 g", "keep it"):
        expect(wrong.get_by_role("button", name=f"{way}: Key 6,")).to_be_visible()
    wrong.get_by_role("button", name="show this key: Key 6,").click()
    expect(cell(page, 6, "Down weight")).to_be_focused()
    expect(cell(page, 6, "Down weight")).to_be_in_viewport()
    ran_well(page, seen)


@pytest.mark.parametrize("name", ["02_friction", "03_balance"])
def test_the_key_in_hand_moves_through_every_chart(lab, page, seen, name):
    open_notebook(page, lab, f"notebooks/{name}.ipynb")
    run_all(page)
    handle = page.get_by_role("slider", name="Key in hand").first
    expect(handle).to_be_visible()
    before = page.locator(".bench-chart").first.screenshot()
    page.locator(".bench-keyboard").first.focus()
    page.keyboard.press("ArrowRight")
    expect(page.get_by_text("Key 41, C#4, sharp.").first).to_be_visible()
    wait_idle(page)
    assert set(page.evaluate(HELD_KEYS)) == {41}
    page.locator(".noUi-handle").first.focus()
    page.keyboard.press("End")
    expect(page.get_by_text("Key 88, C8, natural.").first).to_be_visible()
    wait_idle(page)
    assert set(page.evaluate(HELD_KEYS)) == {88}
    assert page.locator(".bench-chart").first.screenshot() != before
    ran_well(page, seen)
