"""Whole journeys as the users make them: a technician's from a spreadsheet to the proof."""

from __future__ import annotations

import csv
import json

import pytest
from lab import (
    PROJECT,
    cell_errors,
    hide_sidebar,
    not_run,
    open_notebook,
    run_all,
    start_afresh,
    wait_idle,
)
from playwright.sync_api import Page, expect

from balancekit.instrument.demo import concert_grand
from balancekit.instrument.descriptor import to_files
from balancekit.sharing.report import build_report

SHEET = PROJECT / "data" / "chapel_grand.xlsx"
AFTER = PROJECT / "data" / "chapel_grand_after.csv"


@pytest.fixture(autouse=True)
def nothing_in_hand(lab):
    """Start with the demo in hand and no kernel running."""
    start_afresh(lab)


def opened(page: Page, lab, name: str) -> None:
    """Open a notebook as the user would, and run it all."""
    open_notebook(page, lab, f"notebooks/{name}.ipynb")
    hide_sidebar(page)
    run_all(page, timeout_s=120)
    wait_idle(page)


def ran_well(page: Page, seen) -> None:
    assert cell_errors(page) == [] and not_run(page) == []
    assert seen.console_errors == [] and seen.outside_requests == []


def press(page: Page, name: str) -> None:
    """Press the button with this name, with the keyboard."""
    button = page.get_by_role("button", name=name, exact=True).first
    button.focus()
    page.keyboard.press("Enter")
    wait_idle(page)


def choose_file(page: Page, path) -> None:
    """Choose a file on the place where readings are dropped."""
    with page.expect_file_chooser() as chooser:
        place = page.get_by_role("button", name="Drop a readings file here").first
        place.focus()
        page.keyboard.press("Enter")
    chooser.value.set_files(path)
    wait_idle(page)


def readings_of(folder, name="readings.csv"):
    with open(folder / name, newline="") as lines:
        return {row["key"]: row for row in csv.DictReader(lines)}


def test_a_technician_goes_from_a_spreadsheet_to_the_proof(lab, page, seen):
    opened(page, lab, "01_readings")
    page.get_by_text("Start a new instrument").first.click()
    page.get_by_label("Its name").fill("Chapel grand")
    press(page, "Start this instrument")
    folder = lab.home / "chapel_grand"
    expect(page.get_by_text("Saved in chapel_grand.").first).to_be_visible()

    choose_file(page, SHEET)
    expect(page.get_by_text("88 rows of readings").first).to_be_visible()
    press(page, "Put in place of the readings in hand")
    assert readings_of(folder)["17"]["down_weight_g"] < readings_of(folder)["17"]["up_weight_g"]

    # The exchanged columns and the lost decimal point are marked, and mended in the grid.
    wrong = page.locator("td.doubted[aria-label^='key 17, Down weight']").first
    expect(wrong).to_be_visible(timeout=10_000)
    down, up = (readings_of(folder)["17"][name] for name in ("up_weight_g", "down_weight_g"))
    wrong.click()
    page.keyboard.type(down)
    page.keyboard.press("Tab")
    page.keyboard.type(up)
    page.keyboard.press("Enter")
    lost = page.locator("td.doubted[aria-label^='key 52, Wippen weight']").first
    lost.click()
    page.keyboard.type(f"{float(readings_of(folder)['52']['wippen_weight_g']) * 10:.1f}")
    page.keyboard.press("Enter")
    wait_idle(page)
    # What is left was looked at, and is kept.
    page.wait_for_timeout(2500)
    while page.locator("td.doubted").count():
        before = page.locator("td.doubted").count()
        page.locator("td.doubted").first.click()
        page.keyboard.press("k")
        expect(page.locator("td.doubted")).to_have_count(before - 1, timeout=10_000)
    ran_well(page, seen)

    for name in ("02_friction", "03_balance"):
        opened(page, lab, name)
        ran_well(page, seen)
    expect(page.get_by_text("is the piano").first).to_be_visible()

    opened(page, lab, "04_hammer_mass")
    press(page, "Keep this choice")
    ran_well(page, seen)
    opened(page, lab, "05_lead_and_spring")
    press(page, "Keep this plan")
    ran_well(page, seen)
    choices = json.loads((folder / "datapackage.json").read_text())["balancekit"]["choices"]
    assert {"hammer_mass", "lead_and_spring"} <= set(choices)

    opened(page, lab, "06_bench_sheets")
    press(page, "Write page, PDF and tables")
    expect(page.get_by_text("Written to").first).to_be_visible()
    assert {path.suffix for path in (folder / "sheets").iterdir()} >= {".html", ".pdf", ".csv"}
    ran_well(page, seen)
    opened(page, lab, "01_readings")
    choose_file(page, AFTER)
    page.get_by_label("Called").fill("after the work")
    press(page, "Add as a new set of readings")
    assert len(readings_of(folder, "readings_2.csv")) == 88
    opened(page, lab, "07_after_the_work")
    ran_well(page, seen)
    panels = page.locator(".bench-panel")
    expect(panels.get_by_role("heading", name="Which keys meet the plan?").first).to_be_visible()
    expect(panels.filter(has_text="● meets the plan").first).to_be_visible()


def test_a_colleague_takes_the_instrument_out_of_a_shared_file(lab, page, seen, tmp_path):
    report = tmp_path / "report.html"
    report.write_text(build_report(concert_grand()), encoding="utf-8")
    opened(page, lab, "01_readings")
    choose_file(page, report)
    expect(page.get_by_text("holds a whole instrument").first).to_be_visible()
    press(page, "Put this instrument on the bench")
    folder = lab.home / "harbour_hall_concert_grand"
    files = to_files(concert_grand())
    assert {name: (folder / name).read_bytes() for name in files} == files
    opened(page, lab, "04_hammer_mass")
    page.get_by_role("slider", name="Most that may be trimmed (g)").first.focus()
    page.keyboard.press("ArrowRight")
    press(page, "Keep this choice")
    choices = json.loads((folder / "datapackage.json").read_text())["balancekit"]["choices"]
    assert "hammer_mass" in choices
    ran_well(page, seen)
