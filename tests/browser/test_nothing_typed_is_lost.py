"""What the finger typed is stored on its key, however busy the machine, or still marked.

36 readings in the one-key view and 12 in the grid, at three speeds, while every core is busy.
"""

from __future__ import annotations

import pytest
from finger import (
    busy_processor,
    nothing_marked,
    on_disk,
    type_in_grid,
    type_one_key,
    wait_until_saved,
    wrong,
)
from keys import panel
from lab import cell_errors, open_notebook, run_all, wait_idle
from playwright.sync_api import expect
from test_smoke import put_notebook

pytestmark = pytest.mark.usefixtures("demo_in_hand")

SPEEDS_MS = (40, 130, 200)

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
    typed = {}
    with busy_processor():
        for at, speed in enumerate(SPEEDS_MS):
            typed |= type_one_key(page, 12, speed, start=12 * at, seed=at)
        for at, speed in enumerate(SPEEDS_MS):
            typed |= type_in_grid(page, 4, speed, first=70 + 4 * at, seed=10 + at)
        wait_until_saved(page, 60)
    wait_idle(page)
    assert wrong(typed, on_disk(lab)) == {}
    nothing_marked(page)
    assert cell_errors(page) == [] and seen.console_errors == []


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
