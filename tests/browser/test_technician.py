"""A technician's journey in one piece, by the keyboard alone: from a spreadsheet to the proof."""

from __future__ import annotations

import csv
import io
import json
import re
from pathlib import Path
from random import Random
from time import monotonic, sleep

import pypdf
import pytest
from keys import (
    choose_file,
    keep_picture,
    opened,
    press,
    shown,
    tab_to,
    to_cell,
    to_panel,
    to_reading,
    type_into,
    went_well,
)
from lab import PROJECT, start_afresh, wait_idle
from playwright.sync_api import Locator, Page, expect

from balancekit.instrument.demo_spreadsheet import LOST_POINT_KEY, SHEET_EXCHANGED_KEY

SHEET = PROJECT / "data" / "chapel_grand.xlsx"
FORGOTTEN_KEY = 50
"""Key whose lead is forgotten, so that it comes out too heavy by this much:"""
FORGOTTEN_G = 5.0


@pytest.fixture(autouse=True)
def nothing_before(lab):
    """Start with the demo in hand and no kernel running."""
    start_afresh(lab)


def readings_of(folder: Path, name: str = "readings.csv") -> dict[str, dict[str, str]]:
    return {row["key"]: row for row in rows_of(folder, name)}


def rows_of(folder: Path, name: str = "readings.csv") -> list[dict[str, str]]:
    with open(folder / name, newline="") as lines:
        return list(csv.DictReader(lines))


def held_until(holds, timeout_s: float = 10) -> None:
    """Wait until what was pressed has reached the disk."""
    until = monotonic() + timeout_s
    while not holds():
        assert monotonic() < until, "What was pressed did not reach the disk."
        sleep(0.05)


def choices_of(folder: Path) -> dict:
    return json.loads((folder / "datapackage.json").read_text())["balancekit"]["choices"]


def test_a_technician_goes_from_a_spreadsheet_to_the_proof(lab, page, seen, tmp_path):
    opened(page, lab, "01_readings")
    folder = starts_an_instrument(page, lab)
    brings_readings_in(page, folder)
    mends_what_is_marked(page, folder, tmp_path)
    went_well(page, seen, lab, "01_readings")

    opened(page, lab, "02_friction")
    tight = notes_a_tight_key(page, folder)
    went_well(page, seen, lab, "02_friction")
    opened(page, lab, "03_balance")
    balance = to_panel(page, "Balance weight and action ratio over the keyboard")
    expect(balance).to_contain_text("is the piano")
    went_well(page, seen, lab, "03_balance")
    opened(page, lab, "05_hammer_mass")
    chooses_hammers(page, folder)
    went_well(page, seen, lab, "05_hammer_mass")
    opened(page, lab, "06_lead_and_spring")
    chooses_leads_and_springs(page, folder)
    went_well(page, seen, lab, "06_lead_and_spring")

    opened(page, lab, "07_bench_sheets")
    prints_sheets(page, folder, tight, tmp_path)
    went_well(page, seen, lab, "07_bench_sheets")
    opened(page, lab, "01_readings")
    brings_in_what_came_out(page, folder, tmp_path)
    opened(page, lab, "08_after_the_work")
    sees_the_proof(page, tmp_path)
    went_well(page, seen, lab, "08_after_the_work")


def starts_an_instrument(page: Page, lab) -> Path:
    """Start an empty instrument of one's own."""
    where = to_panel(page, "The instrument on the bench")
    tab_to(page, where.get_by_role("button", name="Start a new instrument"))
    page.keyboard.press("Enter")
    expect(where.get_by_label("Its name")).to_be_visible()
    type_into(page, where, "Its name", "Chapel grand")
    press(page, where, "Start this instrument")
    expect(where).to_contain_text("Saved in chapel_grand.")
    return lab.home / "chapel_grand"


def brings_readings_in(page: Page, folder: Path) -> None:
    """Take a messy spreadsheet, slips of the pen included."""
    where = to_panel(page, "Bring readings in")
    choose_file(page, where, "Drop a readings file here", SHEET)
    expect(where).to_contain_text("88 rows of readings")
    press(page, where, "Put in place of the readings in hand")
    wrong = readings_of(folder)[str(SHEET_EXCHANGED_KEY)]
    assert float(wrong["down_weight_g"]) < float(wrong["up_weight_g"])


def mends_what_is_marked(page: Page, folder: Path, tmp_path) -> None:
    """Mend exchanged columns and a lost decimal point in the grid; keep the rest as read."""
    grid = to_panel(page, "The bench grid")
    before = readings_of(folder)
    exchanged, lost = before[str(SHEET_EXCHANGED_KEY)], before[str(LOST_POINT_KEY)]
    cell = to_reading(page, grid, SHEET_EXCHANGED_KEY, "Down weight")
    expect(cell).to_have_class(re.compile("doubted"), timeout=10_000)
    keep_picture(page, tmp_path, "technician_slip")
    page.keyboard.type(exchanged["up_weight_g"])
    page.keyboard.press("Tab")
    page.keyboard.type(exchanged["down_weight_g"])
    page.keyboard.press("Enter")
    cell = to_reading(page, grid, LOST_POINT_KEY, "Wippen weight")
    expect(cell).to_have_class(re.compile("doubted"))
    page.keyboard.type(f"{float(lost['wippen_weight_g']) * 10:.1f}")
    page.keyboard.press("Enter")
    wait_idle(page)
    page.wait_for_timeout(2000)  # marks are made anew a little after the last entry
    keeps_the_others(page, grid)
    after = readings_of(folder)
    assert after[str(SHEET_EXCHANGED_KEY)]["down_weight_g"] == exchanged["up_weight_g"]
    assert float(after[str(LOST_POINT_KEY)]["wippen_weight_g"]) > 10
    # Esc and Tab lead out of the grid, backwards too.
    page.keyboard.press("Escape")
    press(page, grid, "Read this key again", back=True)
    held_until(lambda: len(rows_of(folder)) == len(after) + 1)
    press(page, grid, "Undo", back=True)
    held_until(lambda: len(rows_of(folder)) == len(after))
    assert readings_of(folder) == after


def keeps_the_others(page: Page, grid: Locator) -> None:
    """Look at each reading that is still doubted, and keep it with K."""
    doubted = grid.locator("td.doubted")
    while count := doubted.count():
        label = doubted.first.get_attribute("aria-label").split(". Doubtful")[0]
        key, column = label.removeprefix("key ").split(", ")
        to_reading(page, grid, int(key), column)
        page.keyboard.press("k")
        expect(doubted).to_have_count(count - 1, timeout=10_000)


def notes_a_tight_key(page: Page, folder: Path) -> str:
    """Step to a key that stands out with the drawn keyboard, and write a note on it."""
    where = to_panel(page, "Friction over the keyboard")
    board = tab_to(page, where.get_by_role("slider", name="Key in hand").first)
    page.keyboard.press("Home")
    page.keyboard.press("n")
    wait_idle(page)
    key = board.get_attribute("aria-valuenow")
    assert key != "1" and "◆" in where.inner_text()
    type_into(page, where, "Note on this key", "ease the bushing")
    assert readings_of(folder, "key_notes.csv")[key] == {"key": key, "note": "ease the bushing"}
    return key


def chooses_hammers(page: Page, folder: Path) -> None:
    """Let the curve bend a little more, and keep it."""
    where = to_panel(page, "Which curve, with the least work?")
    told = where.inner_text()
    bend = tab_to(page, where.get_by_role("slider", name=re.compile("Bend allowed")))
    page.keyboard.press("PageUp")
    page.keyboard.press("PageUp")
    wait_idle(page)
    assert where.inner_text() != told
    press(page, where, "Keep this choice")
    expect(where).to_contain_text("Saved in")
    wanted = float(bend.get_attribute("aria-valuetext"))
    assert choices_of(folder)["hammer_mass"]["bend_g"] == pytest.approx(wanted)


def chooses_leads_and_springs(page: Page, folder: Path) -> None:
    """Look into the keys; ask for a lighter balance weight, less inertia of lead, a soft spring."""
    where = to_panel(page, "What is in the keys now?")
    press(page, where, "No plug in these keys")
    expect(where).to_contain_text("On record: 88 of 88 keys")
    where = to_panel(page, "How heavy must each key's front be?")
    type_into(page, where, "Wanted balance weight (g), to type", "32")
    where = to_panel(page, "Which plugs, and exactly where?")
    tab_to(page, where.get_by_role("slider", name="Least work → least inertia (%)"))
    page.keyboard.press("PageUp")
    wait_idle(page)
    where = to_panel(page, "How much should a spring carry?")
    press(page, where, "one level")
    type_into(page, where, "Spring relief (g), to type", "2")
    expect(where).to_contain_text("lead saved", ignore_case=True, timeout=30_000)
    press(page, where, "Keep this plan")
    # "Saved in" may still be that of the level before, which was kept in a pause.
    held_until(lambda: choices_of(folder)["lead_and_spring"]["spring_relief_g"] == 2)
    kept = choices_of(folder)["lead_and_spring"]
    assert kept["spring_relief_from"] == "level"
    assert (kept["balance_weight_g"], kept["layout"]) == (32, "free")


def prints_sheets(page: Page, folder: Path, tight: str, tmp_path) -> None:
    """Write the sheets, open page and PDF, and print the page; the tight key is the first work."""
    where = to_panel(page, "Write the sheets")
    press(page, where, "Write page, PDF and tables")
    expect(where).to_contain_text("Written to")
    written = {path.suffix: path for path in (folder / "sheets").iterdir()}
    assert set(written) == {".html", ".pdf", ".csv", ".xlsx"}
    sheets = opens(page, where, written[".html"].name)
    expect(sheets.get_by_role("heading", name="Bench sheets: Chapel grand")).to_be_visible()
    friction = sheets.get_by_role("region", name="Friction").get_by_role("row")
    here = friction.filter(has=sheets.get_by_role("cell", name=tight, exact=True))
    expect(here).to_contain_text("ease")
    keep_picture(sheets, tmp_path, "technician_sheets")
    printed = pypdf.PdfReader(io.BytesIO(sheets.pdf(prefer_css_page_size=True)))
    assert len(printed.pages) >= 3
    sheets.close()
    own = pypdf.PdfReader(written[".pdf"])
    text = " ".join(page.extract_text() for page in own.pages)
    for words in ("Chapel grand", "Hammers", "Springs", "Leads", "At the scale"):
        assert words in text
    opens(page, where, written[".pdf"].name).close()


def opens(page: Page, where: Locator, name: str) -> Page:
    """Open a file that was written in a tab of its own."""
    to_cell(page)
    tab_to(page, where.get_by_role("button", name=f"Open: {name}", exact=True))
    with page.context.expect_page() as made:
        page.keyboard.press("Enter")
    made.value.wait_for_url(re.compile("^blob:"))
    page.bring_to_front()
    return made.value


def weighed_again(folder: Path) -> str:
    """Return what the scale shows after the work, as a text with decimal commas.

    Each key shows what its sheet says, but for the weighing, and for a lead that was forgotten.
    """
    (written,) = (folder / "sheets").glob("expected_*.csv")
    chance = Random(7)
    lines = ["Key;Down weight (g);Up weight;Front weight;Strike weight;Spring relief (g)"]
    names = ("down_weight_g", "up_weight_g", "front_weight_g", "strike_weight_g",
             "spring_relief_g")  # fmt: skip
    for key, row in readings_of(written.parent, written.name).items():
        less = FORGOTTEN_G if key == str(FORGOTTEN_KEY) else 0.0
        sides = (less, less, -less, 0.0, 0.0)
        hand = (0.5, 0.5, 0.1, 0.05, 0.0)
        shown = [
            float(row[name]) + side + chance.gauss(0.0, u)
            for name, side, u in zip(names, sides, hand, strict=True)
        ]
        cells = [f"{shown[0]:.0f}", f"{shown[1]:.0f}", *(f"{value:.1f}" for value in shown[2:])]
        lines.append(";".join([key, *cells]).replace(".", ","))
    return "\n".join(lines)


def brings_in_what_came_out(page: Page, folder: Path, tmp_path) -> None:
    """Add the second readings."""
    after = tmp_path / "weighed again.csv"
    after.write_text(weighed_again(folder), encoding="utf-8")
    where = to_panel(page, "Bring readings in")
    choose_file(page, where, "Drop a readings file here", after)
    type_into(page, where, "Called", "after the work")
    press(page, where, "Add as a new set of readings")
    assert len(readings_of(folder, "readings_2.csv")) == 88


def sees_the_proof(page: Page, tmp_path) -> None:
    """See which keys meet the plan, and read the numbers of the chart as a table."""
    where = to_panel(page, "Which keys meet the plan?")
    expect(where).to_contain_text("● meets the plan")
    met = int(re.search(r"(\d+)\s*● meets the plan", where.text_content()).group(1))
    # Within two standard uncertainties lie about 95 of 100 in each of two weights.
    assert met >= 75
    row = where.get_by_role("row").filter(has_text=f"{FORGOTTEN_KEY}, A#4")
    expect(row).to_contain_text("▲ take up again")
    expect(row).to_contain_text("lead")
    tab_to(page, where.locator("summary").first)
    page.keyboard.press("Enter")
    rows = where.locator(".bench-numbers tbody tr")
    expect(rows).to_have_count(88)
    expect(rows.first).to_contain_text("1 A0")
    keep_picture(page, tmp_path, "technician_proof")
    expect(shown(page).get_by_text("Did the bands hold?")).to_be_visible()
