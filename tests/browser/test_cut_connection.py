"""The connection is pulled for ten seconds, or the kernel dies, while readings are typed.

What was typed is stored afterwards, or its field still shows that it is not saved.
"""

from __future__ import annotations

import os
import signal
from dataclasses import replace

import psutil
import pytest
from cable import through_a_cable
from finger import closed_dialog, nothing_marked, on_disk, type_one_key, wait_until_saved, wrong
from keys import panel
from lab import cell_errors, open_notebook, run_all, wait_idle
from playwright.sync_api import expect

pytestmark = pytest.mark.usefixtures("demo_in_hand")

PULLED_MS = 10_000


def kernels() -> list[psutil.Process]:
    """Return the kernels that were started from here."""
    below = psutil.Process().children(recursive=True)
    return [each for each in below if "ipykernel_launcher" in " ".join(each.cmdline())]


def test_readings_typed_while_the_cable_is_pulled_are_stored_afterwards(lab, page):
    with through_a_cable(lab.url) as cable:
        open_notebook(page, replace(lab, url=cable.url), "notebooks/01_readings.ipynb")
        run_all(page)
        typed = type_one_key(page, 4, 60, start=0, seed=1)
        cable.pull()
        typed |= type_one_key(page, 6, 100, start=4, seed=2, looking=True)
        one = panel(page, "One key at a time")
        expect(one.locator(".bench-one .bench-not-saved")).to_contain_text("not saved yet")
        assert len(wrong(typed, on_disk(lab))) >= 6
        page.wait_for_timeout(PULLED_MS - 3000)
        cable.put_back()
        closed_dialog(page)
        typed |= type_one_key(page, 4, 60, start=10, seed=3, looking=True)
        wait_until_saved(page, 60)
        assert wrong(typed, on_disk(lab)) == {}
        nothing_marked(page)
        assert cell_errors(page) == []


def test_readings_typed_when_the_kernel_dies_are_marked_and_stored_after_run_all(lab, page):
    open_notebook(page, lab, "notebooks/01_readings.ipynb")
    run_all(page)
    (kernel,) = kernels()
    typed = type_one_key(page, 4, 60, start=0, seed=4)
    os.kill(kernel.pid, signal.SIGKILL)
    typed |= type_one_key(page, 5, 100, start=4, seed=5, looking=True)
    one = panel(page, "One key at a time")
    large = one.locator(".bench-one-input")
    page.wait_for_timeout(2500)
    closed_dialog(page)
    large.focus()
    page.keyboard.type("12.")
    expect(large).to_have_value("12.")
    page.wait_for_timeout(4000)
    lost = wrong(typed, on_disk(lab))
    assert lost and set(list(typed)[-5:]) <= set(lost)
    expect(one.locator(".bench-one .bench-not-saved")).to_contain_text("not saved yet")
    grid = panel(page, "The bench grid")
    expect(grid.locator("td.not-saved").first).to_be_attached()
    expect(large).to_have_value("12.")
    run_all(page)
    wait_until_saved(page, 60)
    wait_idle(page)
    assert wrong(typed, on_disk(lab)) == {}
    nothing_marked(page)
    assert cell_errors(page) == []
