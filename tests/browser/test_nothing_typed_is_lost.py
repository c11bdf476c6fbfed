"""What the finger typed is stored on its key, however busy the machine, or still marked.

Readings are typed into the one-key view and into the grid while every core is busy: two keys by a
fast finger, one by a slow one. ``BALANCEKIT_TYPED`` names how many at each speed, with one more
speed between; ``nothing_lost.py typed`` has 500 typed.
"""

from __future__ import annotations

import csv
import math
import os
import re
import time
from itertools import product

import pytest
from finger import (
    NAMED,
    busy_processor,
    nothing_marked,
    on_disk,
    to_key,
    type_in_grid,
    type_one_key,
    wait_until_saved,
    wrong,
)
from keys import panel
from lab import cell_errors, open_notebook, run_all, wait_idle
from playwright.sync_api import expect
from test_smoke import put_notebook

from balancekit.calculation.quantities import QUANTITIES

pytestmark = pytest.mark.usefixtures("demo_in_hand")

TOLD = os.environ.get("BALANCEKIT_TYPED")
SPEEDS_MS = (40, 130, 200) if TOLD else (40, 200)
KEYS = math.ceil(int(TOLD or 12) / len(NAMED))
"""Keys whose readings are all typed, at each speed; one at the slow one unless told."""
MOST_KEYS = 88

FIELDS = """
import asyncio

import ipywidgets as widgets

from balancekit.panels.frame import panel, slider

fields = {
    "whole": widgets.BoundedIntText(5, 0, 900, description="whole"),
    "bounded": widgets.BoundedFloatText(5.0, min=0, max=900, description="bounded"),
    "free": widgets.FloatText(5.0, description="free"),
    "line": widgets.Text("five", description="line"),
    "at the end": widgets.Text("five", description="at the end", continuous_update=False),
    "note": widgets.Textarea("five", description="note", continuous_update=False),
    "slider": slider("slider", 5.0, 0.0, 900.0, 1.0),
}
answer = widgets.HTML()
written = {name: field.value for name, field in fields.items()}


async def write_into_the_fields():
    # What a busy panel does; once the page has sent a value of its own, that one stays.
    for turn in range(2000):
        for name, field in fields.items():
            field.layout.width = f"{400 + turn % 2}px"
            if field.value == written[name]:
                field.value = written[name] = type(field.value)(turn % 7)
        told = "|".join(f"{name}={field.value}" for name, field in fields.items())
        answer.value = f"<b class='told'>{told}</b>"
        await asyncio.sleep(0.05)


task = asyncio.get_running_loop().create_task(write_into_the_fields())
panel("Fields", *fields.values(), answer)
"""


def test_readings_typed_while_the_processor_is_busy_are_stored_on_their_keys(lab, page, seen):
    open_notebook(page, lab, "notebooks/01_readings.ipynb")
    run_all(page)
    with busy_processor():
        for at, (where, speed) in enumerate(product(("one key at a time", "grid"), SPEEDS_MS)):
            count = KEYS if TOLD or speed == min(SPEEDS_MS) else 1
            first = min(1 + at * KEYS, MOST_KEYS + 1 - KEYS)
            keys = range(first, first + count)
            to_key(page, first)
            began = time.monotonic()
            if where == "grid":
                typed = type_in_grid(page, keys, speed, seed=10 + at)
            else:
                at_first_reading(page, first)
                began = time.monotonic()
                typed = type_one_key(page, len(NAMED) * count, speed, first=first, seed=at)
            pressed = sum(len(text) + 1 for text in typed.values())
            each_ms = (time.monotonic() - began) / pressed * 1000
            wait_until_saved(page, 60)
            lost = wrong(typed, on_disk(lab))
            print(f"{where}, {speed} ms wanted, {each_ms:.0f} ms a press: {len(typed)} readings "
                  f"typed, {len(lost)} lost or elsewhere")  # fmt: skip
            assert lost == {}, where
    wait_idle(page)
    nothing_marked(page)
    assert cell_errors(page) == [] and seen.console_errors == []


def at_first_reading(page, key):
    """Wait until the one-key view asks for the first reading of a key."""
    large = panel(page, "One key at a time").locator(".bench-one-input")
    label = f"{QUANTITIES[NAMED[0]].label}, key {key}"
    panel(page, "One key at a time").get_by_label("Reading", exact=True).select_option(index=0)
    expect(large).to_have_attribute("aria-label", label)


def test_a_field_keeps_what_is_typed_while_the_kernel_writes_into_it(lab, page, seen):
    open_notebook(page, lab, put_notebook(lab, "fields.ipynb", FIELDS))
    run_all(page)
    fields = panel(page, "Fields")
    told = fields.locator(".told")
    names = {"whole": "417", "bounded": "41.7", "free": "41.75", "line": "first words",
             "at the end": "other words", "note": "a note", "slider, to type": "418"}  # fmt: skip
    for name, text in names.items():
        field = fields.get_by_label(name, exact=True)
        field.focus()
        page.keyboard.press("Control+A")
        page.keyboard.type(text, delay=90)
        shown = field.evaluate("field => field.value ?? field.textContent")
        assert shown == text, name
        page.keyboard.press("Tab")
        expect(told).to_contain_text(f"{name.partition(',')[0]}={text}")
    for name, text in names.items():
        field = fields.get_by_label(name, exact=True)
        assert field.evaluate("field => field.value ?? field.textContent") == text, name
    nothing_marked(page)
    assert cell_errors(page) == [] and seen.console_errors == []


KEYS_THAT_MOVE = """
import asyncio

import balancekit as bk
from balancekit.panels.frame import panel
from balancekit.panels.key_in_hand import KeyInHand

bench = bk.open_bench()
hand = KeyInHand(bench)
bench.when_changed(hand.show)


async def walk():
    for turn in range(2000):
        bench.key = 20 + turn % 60
        await asyncio.sleep(0.15)


task = asyncio.get_running_loop().create_task(walk())
panel("A note", hand.key, hand.note)
"""


def test_a_note_is_stored_on_the_key_it_was_typed_for(lab, page, seen):
    open_notebook(page, lab, put_notebook(lab, "moving.ipynb", KEYS_THAT_MOVE))
    run_all(page)
    field, wanted = panel(page, "A note").locator(".bench-note-field"), {}
    for text in ("rubs on the left", "clicks", "felt is worn"):
        field.focus()
        page.keyboard.press("Control+A")
        page.keyboard.type(text, delay=60)
        expect(field).to_have_value(text)
        expect(field).to_have_attribute("aria-label", re.compile("Note on key [0-9]+"))
        wanted[field.get_attribute("aria-label").split()[-1]] = text
        page.keyboard.press("Enter")
        expect(field).to_have_attribute("aria-label", "Note on this key")
    field.focus()
    page.keyboard.type("given up")
    page.keyboard.press("Escape")
    expect(field).not_to_have_value("given up")
    wait_until_saved(page, 60)
    (kept,) = lab.home.glob("*/key_notes.csv")
    with kept.open(encoding="utf-8") as lines:
        assert {row["key"]: row["note"] for row in csv.DictReader(lines)} == wanted
    nothing_marked(page)
    assert cell_errors(page) == [] and seen.console_errors == []


def test_esc_gives_up_what_is_typed_in_a_field(lab, page, seen):
    source = FIELDS.replace("range(2000)", "range(1)")
    open_notebook(page, lab, put_notebook(lab, "given_up.ipynb", source))
    run_all(page)
    field = panel(page, "Fields").get_by_label("bounded", exact=True)
    field.focus()
    page.keyboard.type("777")
    page.keyboard.press("Escape")
    expect(field).to_have_value("0")
    expect(field).to_be_focused()
    page.keyboard.press("Tab")
    wait_idle(page)
    expect(panel(page, "Fields").locator(".told")).to_contain_text("bounded=0.0")
    assert seen.console_errors == []
