"""A colleague's journey in one piece: a report opened offline, and the instrument taken on from it.

The network is cut for the report, and every request is listed. Then the instrument in it goes on
the bench, a choice is changed, and a new report tells of it.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from keys import (
    choose_file,
    keep_picture,
    opened,
    press,
    tab_to,
    to_cell,
    to_panel,
    type_into,
    went_well,
)
from lab import start_afresh, wait_idle
from playwright.sync_api import Browser, Locator, Page, expect
from test_report import Offline

from balancekit.instrument.demo import studio_grand
from balancekit.instrument.descriptor import identified, to_files
from balancekit.instrument.in_hand import instruments_in
from balancekit.instrument.model import Instrument
from balancekit.instrument.notes import Note
from balancekit.instrument.store import open_folder
from balancekit.sharing.carry import from_report
from balancekit.sharing.report import build_report
from balancekit.sharing.story import Story
from balancekit.sharing.what_if import front_weight_needed_g, what_if_inputs

SLIDERS = {"balance": (-6, 0.5), "relief": (4, 0.5), "hammer": (-5, 0.1)}
"""Steps with the arrow keys, and the size of a step [g]."""


@pytest.fixture(autouse=True)
def nothing_before(lab):
    """Start with the demo in hand and no kernel running."""
    start_afresh(lab)


def test_a_colleague_moves_sliders_offline_then_goes_on_and_shares(
    lab, browser, page, seen, tmp_path
):
    report = tmp_path / "report.html"
    story = Story(before_the_work())
    report.write_text(build_report(story.instrument, story=story), encoding="utf-8")
    said_before = reads_offline(browser, report, story, tmp_path)

    opened(page, lab, "01_readings")
    folder = puts_it_on_the_bench(page, lab, report)
    went_well(page, seen, lab, "01_readings")
    opened(page, lab, "05_hammer_mass")
    bend_g = changes_a_choice(page)
    went_well(page, seen, lab, "05_hammer_mass")
    opened(page, lab, "07_bench_sheets")
    new = shares_it_again(page, folder)
    keep_picture(page, tmp_path, "colleague_shares")
    went_well(page, seen, lab, "07_bench_sheets")

    shared = from_report(new.read_bytes())
    assert shared.choices["hammer_mass"]["bend_g"] == bend_g
    again = Offline(browser)
    said = again.open(new).locator("#hammer_mass").text_content()
    assert Story(shared).work.totals["hammers"] in said and said != said_before
    assert again.errors == [] and again.requests == [new.as_uri()]
    again.context.close()


def before_the_work() -> Instrument:
    """The demo as it was before the work: a plan to be talked over, and no second readings."""
    grand = studio_grand()
    return replace(grand, visits=grand.visits[:1])


def reads_offline(browser: Browser, report: Path, story: Story, tmp_path) -> str:
    """Move each slider with the keyboard, at both widths; return the chapter on hammers."""
    inputs = what_if_inputs(story.work)
    for width in (1024, 1280):
        seen = Offline(browser, width)
        page = seen.open(report)
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        wish = {}
        for name, (steps, size) in SLIDERS.items():
            slider = page.locator(f"#slider-{name}")
            start = float(slider.input_value())
            tab_through(page, f"#slider-{name}")
            for _ in range(abs(steps)):
                page.keyboard.press("ArrowRight" if steps > 0 else "ArrowLeft")
            wish[name] = float(slider.input_value())
            assert wish[name] == pytest.approx(start + steps * size)
        needed = front_weight_needed_g(
            inputs, balance_weight_g=wish["balance"], spring_relief_more_g=wish["relief"],
            hammer_more_g=wish["hammer"],
        )  # fmt: skip
        shown = page.evaluate("window.balancekitNeeded")
        assert shown == pytest.approx(needed.tolist(), abs=1e-9)
        expect(page.locator("#what-if-answer")).to_contain_text(f"{needed.mean():.1f} g on average")
        page.wait_for_timeout(400)  # the page glides to where the focus went
        keep_picture(page, tmp_path, f"colleague_report_{width}")
        told = page.locator("#hammer_mass").text_content()
        assert seen.errors == [] and seen.requests == [report.as_uri()]
        seen.context.close()
    return told


def tab_through(page: Page, wanted: str, most: int = 60) -> None:
    """Press Tab until a control of the report has the focus; every stop must be outlined."""
    for _ in range(most):
        page.keyboard.press("Tab")
        there, outlined, name = page.evaluate(
            """wanted => {
              let node = document.activeElement;
              const there = node.matches(wanted);
              while (node.shadowRoot?.activeElement) node = node.shadowRoot.activeElement;
              const look = getComputedStyle(node);
              return [there, look.outlineStyle !== 'none' && parseFloat(look.outlineWidth) >= 2,
                `${node.tagName} ${node.className} ${node.textContent.trim().slice(0, 40)}`];
            }""",
            wanted,
        )
        assert outlined, f"The focus cannot be seen on {name}"
        if there:
            return
    raise AssertionError(f"{most} times Tab did not lead to {wanted}, but to {name}.")


def puts_it_on_the_bench(page: Page, lab, report: Path) -> Path:
    """Take the instrument out of the report: byte for byte what was shared."""
    where = to_panel(page, "Bring readings in")
    choose_file(page, where, "Drop a readings file here", report)
    expect(where).to_contain_text("holds a whole instrument")
    press(page, where, "Put this instrument on the bench")
    expect(where).to_contain_text("is on the bench")
    folder = lab.home / "dance_school_studio_grand"
    files = to_files(before_the_work())
    assert {name: (folder / name).read_bytes() for name in files} == files
    return folder


def changes_a_choice(page: Page) -> float:
    """Let the curve of the hammers bend more, and keep that; return how much [g]."""
    where = to_panel(page, "Which curve, with the least work?")
    slider = where.get_by_role("slider", name="Bend allowed at a key (g)")
    wanted = round(float(slider.get_attribute("aria-valuetext")) + 0.1, 2)
    type_into(page, where, "Bend allowed at a key (g), to type", f"{wanted}")
    press(page, where, "Keep this choice")
    expect(where).to_contain_text("Saved in")
    return wanted


def shares_it_again(page: Page, folder: Path) -> Path:
    """Write the file to share."""
    where = to_panel(page, "One file to share")
    press(page, where, "Write the file to share")
    expect(where.get_by_role("button", name="Open: report.html")).to_be_visible()
    to_cell(page)
    tab_to(page, where.get_by_role("button", name="Open: report.html"))
    return folder / "report.html"


def test_an_answered_file_is_dropped_on_the_readings_and_taken_note_by_note(
    lab, page, seen, tmp_path
):
    answers = (
        Note("friction", "tight centre", "Ben", "2026-06-01", 12, 12),
        Note("balance", "lighter, please", "Ben", "2026-06-01"),
    )
    answered = identified(before_the_work()).with_notes(*answers)
    report = tmp_path / "back.html"
    report.write_text(build_report(answered), encoding="utf-8")
    opened(page, lab, "01_readings")
    where = to_panel(page, "Bring readings in")
    drop_file(page, where.get_by_role("button", name="Drop a readings file here").first, report)
    expect(where).to_contain_text("things in the file are new")
    expect(where).to_contain_text("tight centre")
    keep_picture(page, tmp_path, "colleague_answers")
    where.get_by_label("Note by Ben, 2026-06-01 on friction, Key 12").check()
    press(page, where, "Take what is ticked")
    expect(page.get_by_text("Saved in").first).to_be_visible()
    (folder,) = instruments_in(lab.home)
    assert open_folder(folder)[0].notes == answers[:1]
    went_well(page, seen, lab, "01_readings")


def drop_file(page: Page, place: Locator, path: Path) -> None:
    """Drag a file from outside the browser onto a place, and let it go there."""
    place.scroll_into_view_if_needed()
    box = place.bounding_box()
    at = {"x": box["x"] + box["width"] / 2, "y": box["y"] + box["height"] / 2}
    data = {"items": [], "files": [str(path)], "dragOperationsMask": 1}
    browser = page.context.new_cdp_session(page)
    for step in ("dragEnter", "dragOver", "drop"):
        browser.send("Input.dispatchDragEvent", {"type": step, **at, "data": data})
    page.wait_for_timeout(200)
    wait_idle(page)
