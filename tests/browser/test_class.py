"""A class on JupyterHub: all at once, each with a state of their own, nothing shipped written.

The hub, its proxy and its servers are the real ones. Only the log-in believes every name, and all
servers run as the same user: so nothing but the suite itself keeps the apprentices apart.
"""

from __future__ import annotations

import hashlib
import re
import subprocess
import sys
from contextlib import ExitStack
from pathlib import Path

import pytest
from hub import Hub, log_in, without_the_power_of_root
from lab import (
    Watch,
    cell_errors,
    not_run,
    open_notebook,
    run_all,
    wait_for_notebook,
    wait_idle,
    watch,
)
from playwright.sync_api import Browser, Locator, Page, expect

from balancekit.instrument.in_hand import instruments_in
from balancekit.instrument.store import open_folder
from balancekit.lesson.practice.exercises import exercise_row
from balancekit.lesson.practice.session import read_score

SEED = 2026
EXERCISE = exercise_row(SEED, 1)[0]


def digest(folder: Path) -> dict[str, str]:
    """Return every name below a folder, with what is in the files."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in folder.rglob("*")
        if path.is_file()
    }


@pytest.fixture
def apprentice(hub: Hub, browser: Browser):
    """Return a function that gives an apprentice a browser, on the page of the log-in."""
    with ExitStack() as ending:

        def begin(name: str, notebook: str) -> tuple[Page, Watch]:
            context = browser.new_context(viewport={"width": 1280, "height": 900})
            ending.callback(context.close)
            context.set_default_timeout(30_000)
            page = context.new_page()
            seen = watch(page)
            log_in(page, hub, name, f"notebooks/{notebook}.ipynb")
            return page, seen

        yield begin


def run_here(page: Page) -> None:
    run_all(page)
    assert cell_errors(page) == [] and not_run(page) == []


def answer(page: Page, exercise, value: float) -> None:
    page.get_by_label("Your answer").first.fill(exercise.show(value))
    page.keyboard.press("Enter")


def down_weight_of_key_40(page: Page) -> Locator:
    return page.locator("td[aria-label^='key 40, Down weight']").first


def save_score(page: Page, folder: Path) -> Path:
    """Save the score into a folder, under the name that it comes with."""
    with page.expect_download() as saved:
        page.get_by_role("link", name="Save the score").click()
    saved.value.save_as(folder / saved.value.suggested_filename)
    return folder / saved.value.suggested_filename


def drop_scores(page: Page, scores: list[Path]) -> None:
    """Choose the scores of the class on the teacher's panel, all at once."""
    with page.expect_file_chooser() as chooser:
        page.get_by_role("button", name="Drop the saved scores here").click()
    chooser.value.set_files(scores)


def test_what_is_shipped_cannot_be_written(hub):
    write = f"open({str(hub.shipped / 'notebooks' / 'new.txt')!r}, 'w')"
    done = subprocess.run(
        [*without_the_power_of_root(), sys.executable, "-c", write], capture_output=True, text=True
    )
    assert done.returncode == 1 and "PermissionError" in done.stderr


def begin_row(page: Page, name: str) -> None:
    """Give a name, and begin the row of the class's seed."""
    page.get_by_label("Your name").fill(name)
    page.get_by_label("Seed of the row").fill(str(SEED))
    page.get_by_role("button", name="Begin this row").click()
    expect(page.locator(".bench-panel").first).to_contain_text(EXERCISE.text)


def test_three_apprentices_work_at_once_and_see_only_their_own(hub, apprentice, tmp_path):
    before = digest(hub.shipped)
    begun = {
        notebook: apprentice(name, notebook)
        for name, notebook in (
            ("first", "00_practice"),
            ("second", "00_virtual_bench"),
            ("third", "01_readings"),
        )
    }
    for notebook, (page, _) in begun.items():
        wait_for_notebook(page, f"notebooks/{notebook}.ipynb", timeout_s=90)
        run_here(page)
    first, second, third = (page for page, _ in begun.values())

    begin_row(first, "First")
    answer(first, EXERCISE, EXERCISE.answer)
    expect(first.get_by_role("status").first).to_contain_text("Right", timeout=30_000)
    drop_scores(first, [save_score(first, tmp_path)])
    expect(first.locator("tr", has_text="First")).to_contain_text(str(SEED))

    second.get_by_role("button", name="Set it on the key at rest").first.click()
    # Three kernels at once: what is pressed may be answered late.
    expect(second.locator(".lesson-said").first).to_contain_text("key", timeout=30_000)

    # A reading is taken down: the demo becomes a copy in the third's own home.
    third.locator(".bench-one-input").click()
    third.keyboard.type("53")
    third.keyboard.press("Enter")
    expect(third.get_by_text("Saved in").first).to_be_visible(timeout=30_000)
    expect(down_weight_of_key_40(third)).to_have_text("53")
    wait_idle(third)
    own = hub.home("third") / "balancekit_instruments"
    (kept,) = (open_folder(folder)[0] for folder in instruments_in(own))
    assert 53 in kept.visits[0].readings.query("key == 40")["down_weight_g"].tolist()

    # Whoever opens the readings next finds the demo as it was shipped.
    first.goto(f"{hub.url}/user/first/lab/tree/notebooks/01_readings.ipynb?reset")
    wait_for_notebook(first, "notebooks/01_readings.ipynb")
    run_here(first)
    expect(down_weight_of_key_40(first)).to_have_text(re.compile(r"\d"))
    expect(down_weight_of_key_40(first)).not_to_have_text("53")
    expect(first.get_by_text("notebook is read-only")).to_be_visible()
    for name in ("first", "second"):
        assert instruments_in(hub.home(name) / "balancekit_instruments") == []

    for _, seen in begun.values():
        assert seen.console_errors == [] and seen.outside_requests == []
    assert digest(hub.shipped) == before


def test_two_browsers_on_one_server_have_a_score_each(lab, browser, tmp_path):
    """No hub, one shared machine: the kernel is one, what was answered is not."""
    with ExitStack() as ending:
        pages = []
        for name in ("First", "Second"):
            context = browser.new_context(viewport={"width": 1280, "height": 900})
            ending.callback(context.close)
            page = context.new_page()
            open_notebook(page, lab, "notebooks/00_practice.ipynb")
            run_here(page)
            begin_row(page, name)
            pages.append(page)
        answer(pages[0], EXERCISE, EXERCISE.answer)
        answer(pages[1], EXERCISE, EXERCISE.mistakes[0].value)
        expect(pages[0].get_by_role("status").first).to_contain_text("Right")
        expect(pages[1].get_by_role("status").first).to_contain_text(EXERCISE.mistakes[0].hint)
        paths = [save_score(page, tmp_path) for page in pages]
    names = [f"score_{name}_{SEED}.json" for name in ("first", "second")]
    assert [path.name for path in paths] == names
    first, second = (read_score(path.read_text(encoding="utf-8")) for path in paths)
    assert (first.name, first.counts()["right at once"]) == ("First", 1)
    assert (second.name, second.counts()["right at once"]) == ("Second", 0)
