"""Three of the people's files, those with the most to answer: to the bench, one to the report."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from keys import keep_picture, panel
from lab import Lab, open_notebook, ran_well, run_all, wait_idle
from playwright.sync_api import Locator, Page, expect

from balancekit.instrument.model import Instrument
from balancekit.instrument.store import open_folder
from balancekit.sharing.carry import from_report
from tests.instrument.people_files import (
    READ,
    Written,
    an_afternoon,
    in_another_language,
    with_doubts,
)

pytestmark = [pytest.mark.usefixtures("demo_in_hand"), pytest.mark.slow]

MOST_ANSWERS = 6

SAYS = {
    "key": "key number", "down_weight_g": "down weight (g)", "up_weight_g": "up weight (g)",
    "front_weight_g": "front weight (g)", "strike_weight_g": "strike weight (g)",
    "not read": "yes, nothing was read", "take": "take each number and mark it as doubtful",
}  # fmt: skip
"""What a person chooses on the page."""


def drop(page: Page, where: Locator, written: Written) -> None:
    """Drop the file as a hand does."""
    held = page.evaluate_handle(
        """([name, bytes]) => {
          const held = new DataTransfer();
          held.items.add(new File([Uint8Array.from(bytes)], name));
          return held;
        }""",
        [written.name, list(written.data)],
    )
    button = where.get_by_role("button", name=re.compile("Drop a readings file"))
    button.dispatch_event("drop", {"dataTransfer": held})
    expect(where).to_contain_text(f"{written.name}:")
    wait_idle(page)


def answer(page: Page, where: Locator, written: Written) -> int:
    """Answer what the page asks, guesses with one yes; return how many answers it took."""
    left = dict(written.answers)
    count = 0
    guesses = where.get_by_role("button", name="Yes, all guesses are right")
    if guesses.is_visible():
        guesses.click()
        wait_idle(page)
        count += 1
    for heading, meaning in list(left.items()):
        box = where.locator(f"""select[title="What the column '{heading}' is"]""")
        if box.count() == 0:
            continue
        del left[heading]
        chosen = box.locator("option:checked").inner_text().replace("\xa0", " ")
        if chosen.removeprefix("yes, ") != SAYS[meaning]:
            box.select_option(SAYS[meaning])
            wait_idle(page)
            count += 1
    for meaning in left.values():
        open_one = where.locator("select:visible").filter(
            has=page.locator("option:checked", has_text="please choose")
        )
        open_one.filter(has=page.locator("option", has_text=SAYS[meaning])).first.select_option(
            SAYS[meaning]
        )
        wait_idle(page)
        count += 1
    return count


@pytest.mark.parametrize(
    "writer", [an_afternoon, in_another_language, with_doubts], ids=lambda writer: writer.__name__
)
def test_a_file_goes_from_the_drop_to_the_bench(lab, page, seen, tmp_path, writer):
    """One goes on to the report: that a report carries all of the bench, ``test_carry`` holds."""
    written, title = writer(), f"Hall {writer.__name__}".replace("_", " ")
    open_notebook(page, lab, "notebooks/01_readings.ipynb")
    run_all(page)
    held = panel(page, "The instrument on the bench")
    held.get_by_role("button", name="Start a new instrument").click()
    held.get_by_label("Its name").fill(title)
    held.get_by_role("button", name="Start this instrument").click()
    expect(held).to_contain_text(f"Saved in {title.lower().replace(' ', '_')}.")
    where = panel(page, "Bring readings in")
    drop(page, where, written)
    where.scroll_into_view_if_needed()
    keep_picture(page, tmp_path, f"{writer.__name__}_asked")
    take = where.get_by_role("button", name="Put in place of the readings in hand")
    expect(take).to_be_hidden()
    assert 0 < answer(page, where, written) <= MOST_ANSWERS
    expect(take).to_be_visible()
    waiting = where.locator("select:visible option:checked", has_text="please choose")
    assert waiting.count() == 0, "nothing is asked any more"
    keep_picture(page, tmp_path, f"{writer.__name__}_answered")
    take.click()
    expect(where).to_contain_text("The readings are on the bench")
    wait_idle(page)
    ran_well(page, seen)

    folder = lab.home / title.lower().replace(" ", "_")
    are_as_read(open_folder(folder)[0], written)
    if writer is with_doubts:
        are_as_read(shared_by(page, lab, folder), written)
        keep_picture(page, tmp_path, "report")
        ran_well(page, seen)


def shared_by(page: Page, lab: Lab, folder: Path) -> Instrument:
    """Write the file to share; return the instrument in it."""
    open_notebook(page, lab, "notebooks/07_bench_sheets.ipynb")
    run_all(page)
    share = panel(page, "One file to share")
    share.get_by_role("button", name="Write the file to share").click()
    wait_idle(page)
    (report,) = folder.rglob("*.html")
    return from_report(report.read_bytes())


def are_as_read(instrument: Instrument, written: Written) -> None:
    """Hold that the readings are those of the file, but for what was left open there."""
    read = instrument.visits[0].readings.groupby("key").mean(numeric_only=True)
    assert read.index.tolist() == READ.index.tolist()
    for name in written.has:
        wrong = np.flatnonzero(~np.isclose(read[name], READ[name], rtol=0, atol=0.002))
        assert {(int(READ.index[row]), name) for row in wrong} <= written.open
