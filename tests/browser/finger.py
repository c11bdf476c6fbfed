"""A finger on the number keys while the processor is busy, and what the disk has afterwards."""

from __future__ import annotations

import csv
import os
import random
import subprocess
import sys
import time
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

_CATCH_UP = 4
"""Presses that a late finger may catch up with, one right after the other."""

_TYPED_AGAIN = 5
"""How often a reading is typed again that dialogs of Lab swallowed."""


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


class Finger:
    """Presses keys at a pace: where the machine was late, the next presses come sooner.

    Parameters
    ----------
    pace_ms : wanted from one press to the next.
    """

    def __init__(self, page: Page, pace_ms: float) -> None:
        self._keyboard, self._pace_s = page.keyboard, pace_ms / 1000
        self._due = time.monotonic()

    def press(self, *keys: str) -> None:
        """Press one key after the other."""
        for key in keys:
            time.sleep(max(0.0, self._due - time.monotonic()))
            self._due = max(self._due, time.monotonic() - _CATCH_UP * self._pace_s) + self._pace_s
            self._keyboard.press(key)


def value_for(name: str, seed: random.Random) -> str:
    """Return a possible reading of a quantity, with one decimal (a ratio with three)."""
    quantity = QUANTITIES[name]
    low, high = max(quantity.minimum, 0.0), quantity.maximum
    places = 1 if quantity.unit else 3
    return f"{seed.uniform(low + 0.1 * (high - low), low + 0.9 * (high - low)):.{places}f}"


def type_one_key(
    page: Page,
    count: int,
    delay_ms: float,
    *,
    start: int = 0,
    first: int = FIRST_KEY,
    seed: int,
    looking: bool = False,
) -> Typed:
    """Type readings into the one-key view from the place where it stands.

    Parameters
    ----------
    first : the key at which it stood first.
    start : how many readings were typed before, from ``first`` on.
    looking : whether the eye is on the screen, so that a reading that a dialog of Lab swallowed
        is typed again. Without it nothing is typed twice.
    """
    chance, typed = random.Random(seed), {}
    large = panel(page, "One key at a time").locator(".bench-one-input")
    large.focus()
    finger = Finger(page, delay_ms)
    for at in range(start, start + count):
        key, name = first + at // len(NAMED), NAMED[at % len(NAMED)]
        text = value_for(name, chance)
        finger.press(*text, "Enter")
        for _ in range(_TYPED_AGAIN if looking else 0):
            if not still_asked(page, key, name):
                break
            large.focus()
            finger.press("Control+A", *text, "Enter")
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
    large = panel(page, "One key at a time").locator(".bench-one-input")
    if closed_dialog(page):
        large.focus()
    asked = f"{QUANTITIES[name].label}, key {key}"
    return bool(large.get_attribute("aria-label") == asked)


def type_in_grid(page: Page, keys: range, delay_ms: float, *, seed: int) -> Typed:
    """Type all readings of some keys into the bench grid, from one cell to the next with Tab."""
    chance, typed = random.Random(seed), {}
    finger = Finger(page, delay_ms)
    for key in keys:
        to_key(page, key)
        for name in NAMED:
            text = value_for(name, chance)
            finger.press(*text, "Tab")
            typed[key, name] = text
    return typed


def to_key(page: Page, key: int) -> None:
    """Click on the first reading of a key in the bench grid."""
    cell = f"td[aria-label^='key {key}, {QUANTITIES[NAMED[0]].label}']"
    panel(page, "The bench grid").locator(cell).first.click()


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
        page.locator("td.not-saved, input.not-saved, textarea.not-saved, [data-not-saved]")
    ).to_have_count(0, timeout=30_000)
