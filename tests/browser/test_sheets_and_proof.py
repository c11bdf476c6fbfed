"""Sheets and proof in a real JupyterLab: buttons write files that open, and keys are found."""

from __future__ import annotations

import re

import pytest
from lab import (
    open_notebook,
    ran_well,
    run_all,
    show_whole_page,
    wait_idle,
)
from playwright.sync_api import expect

pytestmark = pytest.mark.usefixtures("demo_in_hand")


def press(page, name):
    page.get_by_role("button", name=name).first.click()
    wait_idle(page)


def test_sheets_are_seen_written_and_opened(lab, page, seen):
    open_notebook(page, lab, "notebooks/07_bench_sheets.ipynb")
    run_all(page, timeout_s=180)
    show_whole_page(page, width=1280)
    preview = page.frame_locator("iframe[title^='Preview']")
    expect(preview.get_by_text("To have ready: plugs")).to_be_visible()
    press(page, re.compile("^Hammers$"))
    expect(preview.get_by_text("Is to weigh (g)")).to_be_visible()
    press(page, "Write page, PDF and tables")
    expect(page.get_by_text("Written to")).to_be_visible()
    folder = next(lab.home.glob("*/sheets"))
    assert {path.suffix for path in folder.iterdir()} == {".html", ".pdf", ".csv", ".xlsx"}
    with page.context.expect_page() as opened:
        page.get_by_role("button", name=re.compile("^Open: sheets.*html")).click()
    sheets = opened.value
    expect(sheets.get_by_role("heading", name="Bench sheets: Dance school")).to_be_visible()
    sheets.close()
    with page.expect_download() as saved:
        page.get_by_role("button", name=re.compile("^Save a copy: hammers")).click()
    assert saved.value.suggested_filename.startswith("hammers_")
    press(page, "Write the file to share")
    expect(page.get_by_role("button", name="Open: report.html")).to_be_visible()
    assert (folder.parent / "report.html").stat().st_size < 3_000_000
    ran_well(page, seen)


def test_the_proof_leads_to_the_keys_to_take_up_again(lab, page, seen):
    open_notebook(page, lab, "notebooks/08_after_the_work.ipynb")
    run_all(page, timeout_s=180)
    show_whole_page(page, width=1280)
    press(page, re.compile("^Key 58$"))
    expect(page.get_by_text("Key 58, F#5: ▲ take up again.")).to_be_visible()
    press(page, re.compile("^Friction$"))
    expect(page.get_by_text("The bands held.")).to_be_visible()
    ran_well(page, seen)
