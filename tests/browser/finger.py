"""A finger on the number keys while the processor is busy, and what the disk has afterwards."""

from __future__ import annotations

import csv
import os
import random
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from keys import panel
from lab import Lab
from playwright.sync_api import Page, expect

from balancekit.calculation.quantities import OPTIONAL_COLUMNS, QUANTITIES, READING_COLUMNS

NAMED = [name for name in READING_COLUMNS if name not in OPTIONAL_COLUMNS]
"""What the one-key view asks for, in its order."""

FIRST_KEY = 40
"""The key in hand when the demo is opened."""

Typed = dict[tuple[int, str], str]

_WAITS = """() => !window.balancekitOutbox ||
  window.balancekitOutbox.entries.filter(entry => entry.what.cells).length === 0"""

_BURN = "while True: pass"


@contextmanager
def busy_processor() -> Iterator[None]:
    """Hold every core busy until the end of the ``with``."""
    burners = [subprocess.Popen([sys.executable, "-c", _BURN]) for _ in range(os.cpu_count() or 1)]
    try:
        yield
    finally:
        for burner in burners:
            burner.kill()
            burner.wait()


def value_for(name: str, seed: random.Random) -> str:
    """Return a possible reading of a quantity, with one decimal (a ratio with three)."""
    quantity = QUANTITIES[name]
    low, high = max(quantity.minimum, 0.0), quantity.maximum
    places = 1 if quantity.unit else 3
    return f"{seed.uniform(low + 0.1 * (high - low), low + 0.9 * (high - low)):.{places}f}"


def type_one_key(
    page: Page, count: int, delay_ms: float, *, start: int, seed: int, looking: bool = False
) -> Typed:
    """Type readings into the one-key view from the place where it stands.

    Parameters
    ----------
    start : how many readings were typed before, from ``FIRST_KEY`` on.
    looking : whether the eye is on the screen, so that a reading that a dialog of Lab swallowed
        is typed again. Without it nothing is typed twice.
    """
    chance, typed = random.Random(seed), {}
    large = panel(page, "One key at a time").locator(".bench-one-input")
    large.focus()
    for at in range(start, start + count):
        key, name = FIRST_KEY + at // len(NAMED), NAMED[at % len(NAMED)]
        text = value_for(name, chance)
        page.keyboard.type(text, delay=delay_ms)
        page.keyboard.press("Enter")
        if looking and still_asked(page, key, name):
            large.focus()
            page.keyboard.press("Control+A")
            page.keyboard.type(text, delay=delay_ms)
            page.keyboard.press("Enter")
        typed[key, name] = text
    return typed


def closed_dialog(page: Page) -> bool:
    """Close the dialog in which Lab says that server or kernel are away; tell if there was one.

    It takes the focus, so that keys reach no field; whoever types sees it.
    """
    dialog = page.locator(".jp-Dialog")
    if not dialog.count():
        return False
    page.keyboard.press("Escape")
    expect(dialog).to_have_count(0)
    return True


def still_asked(page: Page, key: int, name: str) -> bool:
    """Close a dialog if one came; tell whether the view still asks for what was just typed."""
    closed_dialog(page)
    asked = f"{QUANTITIES[name].label}, key {key}"
    large = panel(page, "One key at a time").locator(".bench-one-input")
    return bool(large.get_attribute("aria-label") == asked)


def type_in_grid(page: Page, count: int, delay_ms: float, *, first: int, seed: int) -> Typed:
    """Type readings into the bench grid, down and up weight of one key after the other."""
    chance, typed = random.Random(seed), {}
    grid = panel(page, "The bench grid")
    for key in range(first, first + (count + 1) // 2):
        grid.locator(f"td[aria-label^='key {key}, Down weight']").first.click()
        for name in ("down_weight_g", "up_weight_g"):
            text = value_for(name, chance)
            page.keyboard.type(text, delay=delay_ms)
            page.keyboard.press("Tab")
            typed[key, name] = text
    return typed


def wait_until_saved(page: Page, timeout_s: float) -> None:
    """Wait until the page holds nothing that the kernel has not answered."""
    page.wait_for_function(_WAITS, timeout=timeout_s * 1000)


def on_disk(lab: Lab) -> Typed:
    """Return every reading that the folder of the instrument holds."""
    files = lab.home.glob("*/readings.csv")
    return readings_in(max(files, key=lambda path: path.stat().st_mtime))


def readings_in(path: Path) -> Typed:
    """Return the first reading of each key in a file."""
    found: Typed = {}
    with path.open(encoding="utf-8") as lines:
        for row in csv.DictReader(lines):
            for name in NAMED:
                found.setdefault((int(row["key"]), name), row[name])
    return found


def wrong(typed: Typed, stored: Typed) -> dict[tuple[int, str], tuple[str, str]]:
    """Return what was typed and what is stored, where they differ."""
    return {
        place: (text, stored.get(place, "nothing"))
        for place, text in typed.items()
        if stored.get(place, "") == "" or abs(float(stored[place]) - float(text)) > 1e-9
    }


def nothing_marked(page: Page) -> None:
    """Hold that no cell or field is marked as not saved."""
    expect(
        page.locator("td.not-saved, .bench-one-input.not-saved, [data-not-saved]")
    ).to_have_count(0, timeout=30_000)
