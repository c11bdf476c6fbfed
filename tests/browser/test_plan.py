"""From readings to a way for four hours, sheets, half of it ticked, planned again, the proof."""

from __future__ import annotations

import json

import pytest
from lab import open_notebook, ran_well, run_all, wait_idle
from playwright.sync_api import expect

pytestmark = pytest.mark.usefixtures("demo_in_hand")


def kept(lab):
    """The way that the user's own copy of the demo keeps."""
    (found,) = lab.home.glob("*/datapackage.json")
    return json.loads(found.read_text(encoding="utf-8"))["balancekit"]["choices"]["whole_plan"]


def test_a_way_is_chosen_ticked_planned_again_and_reaches_sheets_and_proof(lab, page, seen):
    open_notebook(page, lab, "notebooks/01_readings.ipynb")
    run_all(page)
    ran_well(page, seen)
    open_notebook(page, lab, "notebooks/04_plan.ipynb")
    run_all(page)
    front = page.locator(".bench-panel", has_text="What do the hours buy?").first
    expect(front.get_by_text("stay uneven").first).to_be_visible(timeout=30_000)
    expect(front.get_by_text("All of them in some seconds")).to_have_count(0, timeout=60_000)
    choose = front.get_by_role("button", name="Choose this way")
    choose.scroll_into_view_if_needed()
    choose.click()
    expect(front.get_by_text("Chosen:").first).to_be_visible()
    wait_idle(page)
    way = kept(lab)
    assert 0 < way["minutes"] <= 240 and way["keys"] and way["done"] == []

    half = [work["key"] for work in way["keys"]][::2]
    first = page.locator(".bench-panel", has_text="What first?").first
    field = first.get_by_role("textbox")
    field.scroll_into_view_if_needed()
    field.fill(", ".join(map(str, half)))
    field.press("Tab")
    first.get_by_role("button", name="Tick these as done").click()
    expect(first.get_by_text(f"{len(half)} keys of the way are done").first).to_be_visible()
    expect(front.get_by_text("All of them in some seconds")).to_have_count(0, timeout=60_000)
    wait_idle(page)
    assert kept(lab)["done"] == sorted(half)
    choose.scroll_into_view_if_needed()
    choose.click()
    wait_idle(page)
    again = kept(lab)
    before = {work["key"]: work for work in way["keys"]}
    assert all(before[w["key"]] == w for w in again["keys"] if w["key"] in half)
    assert again["done"] == sorted(half)
    ran_well(page, seen)

    open_notebook(page, lab, "notebooks/07_bench_sheets.ipynb")
    run_all(page)
    expect(page.get_by_text("by the chosen way").first).to_be_visible(timeout=30_000)
    ran_well(page, seen)
    open_notebook(page, lab, "notebooks/08_after_the_work.ipynb")
    run_all(page)
    ran_well(page, seen)
