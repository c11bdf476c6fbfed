"""A scale on a pseudo-terminal, its panel in a running loop, and a page that answers it.

The page of these tests does what one_key.js does; the real one is in tests/browser.
"""

from __future__ import annotations

import asyncio
import time

import pytest

from balancekit.instrument.entry import entry_columns
from balancekit.instrument.weighing_scale.steady import BY_HAND, BY_ITSELF
from balancekit.panels.entry import EntryDesk, one_key_panel
from balancekit.panels.talking_scale import TalkingScale
from balancekit.panels.widgets import OneKey
from tests.instrument.scale_on_a_wire import ScaleOnAWire, with_marks, without_unit
from tests.panels.shown import inside

FRONT, RATIO, DOWN = 2, 5, 0


class Page:
    """Takes what is offered as one_key.js does: as typed, then the next key is asked for."""

    def __init__(self, desk: EntryDesk, view: OneKey) -> None:
        self.desk, self.view = desk, view
        self.number, self.draft, self.answers = 0, False, True
        view.send = self.hear
        self.say(kind="here", page="page")

    def say(self, **content) -> None:
        self.view._received(None, content, None)

    def take(self) -> None:
        self.say(kind="take", text=self.view.scale.get("text", ""))

    def hear(self, content) -> None:
        if content["kind"] != "offer" or not self.answers:
            return
        assert content["page"] == "page"
        why = "something is typed in the field." if self.draft else ""
        if not why:
            key, name = content["at"]["key"], self.view.columns[content["at"]["column"]]["name"]
            cell = {"row": f"{key}-0", "column": name, "value": float(content["text"])}
            self.number += 1
            self.say(kind="entries", page="page", number=self.number,
                     entries=[{"place": self.desk.place, "cells": [cell]}])  # fmt: skip
            self.say(kind="at", number=self.number, key=key + 1, column=content["at"]["column"])
        self.say(kind="offered", id=content["id"], why=why)


@pytest.fixture
def wire(tmp_path):
    scale = ScaleOnAWire(tmp_path / "scale", rate=30)
    yield scale
    scale.close()


@pytest.fixture
def talking(bench, wire):
    view = OneKey(columns=entry_columns(
        ["down_weight_g", "up_weight_g", "front_weight_g", "strike_weight_g", "wippen_weight_g",
         "key_ratio"]
    ))  # fmt: skip
    desk = EntryDesk(bench, view)
    page, panel = Page(desk, view), TalkingScale(view)
    panel.page = page
    bench.key, view.column = 30, FRONT
    panel.port.value = wire.name
    yield panel
    panel.let_go()


async def until(holds, seconds=20.0):
    end = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < end, "It did not come."
        await asyncio.sleep(0.02)


async def found(panel, trigger=BY_HAND, state="steady"):
    panel.find()
    await until(lambda: "Found" in panel.told.value)
    panel.trigger.value = trigger
    await until(lambda: panel.view.scale.get("state") == state)


def words(panel):
    return panel.view.scale.get("words", "")


def front(panel, key):
    return panel.page.desk.bench.readings.set_index("key").at[key, "front_weight_g"]


async def weigh(panel, wire, grams):
    """Put a key's front on, wait until it is taken, and take it off."""
    key = panel.view.key
    wire.load_g = grams
    await until(lambda: panel.view.key == key + 1)
    wire.load_g = 0.0
    await until(lambda: not panel.scale.why_not)


@pytest.mark.slow
def test_ten_readings_are_taken_by_themselves_each_for_its_key(talking, wire, bench):
    before = bench.instrument
    weights = [round(20.3 + at * 0.7, 1) for at in range(10)]

    async def session():
        await found(talking, BY_ITSELF)
        await until(lambda: not talking.scale.why_not)
        for grams in weights:
            await weigh(talking, wire, grams)

    asyncio.run(session())
    assert [front(talking, 30 + at) for at in range(10)] == weights
    for _ in weights:
        bench.undo()
    assert bench.instrument is before, "each is one step of undo, as if typed"


def test_one_is_taken_when_asked_and_doubted_as_a_typed_one(talking, wire, bench):
    async def session():
        await found(talking)
        wire.load_g = 140.0
        await until(lambda: talking.view.scale["text"] == "140.0")
        await until(lambda: talking.view.scale["state"] == "steady")
        assert bench.key == 30, "nothing is taken by itself"
        talking.page.take()

    asyncio.run(session())
    assert front(talking, 30) == 140.0 and bench.key == 31
    assert "expected" in talking.page.desk.view.marks["30-0:front_weight_g"]


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (b"ST,GS,     OL g\r\n", "it shows no weight"),
        (b"ST,GS,-   12.3 g\r\n", "less than nothing"),
        (b"US,GS,+   12.3 g\r\n", "still moves"),
    ],
    ids=["overload", "negative", "unsteady"],
)
def test_what_is_no_weight_is_not_taken_and_said(talking, wire, bench, raw, said):
    before = bench.instrument

    async def session():
        await found(talking)
        wire.form = lambda grams, steady=True: raw
        await until(lambda: talking.view.scale["state"] != "steady")
        talking.page.take()
        assert said in words(talking)
        talking.trigger.value = BY_ITSELF
        await asyncio.sleep(1.5)

    asyncio.run(session())
    assert bench.instrument is before


def test_garbled_lines_are_counted_and_change_nothing(talking, wire, bench):
    before = bench.instrument

    async def session():
        await found(talking)
        for raw in (b"ST,G\xffS,+ 99.9 g\r\n", b"ST,GS,+  99.9 g\r\n"):
            wire.say(raw)
        await until(lambda: "2 lines could not be read" in words(talking))
        assert talking.view.scale["text"] == "0.0"

    asyncio.run(session())
    assert bench.instrument is before


def test_a_lost_cable_is_said_and_what_lay_on_the_scale_is_not_taken_after_it(talking, wire, bench):
    before = bench.instrument

    async def session():
        await found(talking, BY_ITSELF)
        await until(lambda: not talking.scale.why_not)
        wire.load_g = 12.3
        await until(lambda: talking.view.scale["text"] == "12.3")
        wire.unplug()
        await until(lambda: talking.view.scale["state"] == "lost")
        assert "cable is lost" in words(talking) and "was not taken" in words(talking)
        talking.page.take()
        wire.plug_in()
        await until(lambda: talking.view.scale["state"] == "steady")
        await asyncio.sleep(1.5)
        assert "The scale is back" in words(talking)
        assert "Take everything off" in words(talking)

    asyncio.run(session())
    assert bench.instrument is before


def test_a_tare_in_between_waits_for_an_empty_scale(talking, wire, bench):
    before = bench.instrument

    def net(grams, steady=True):
        return with_marks(grams, steady).replace(b"GS", b"NT")

    async def session():
        await found(talking, BY_ITSELF)
        await until(lambda: not talking.scale.why_not)
        wire.form, wire.load_g = net, 12.3
        await until(lambda: talking.view.scale["text"] == "12.3")
        await asyncio.sleep(1.5)
        assert "tare was changed" in words(talking) and bench.instrument is before
        wire.load_g = 0.0
        await until(lambda: not talking.scale.why_not)
        await weigh(talking, wire, 9.9)

    asyncio.run(session())
    assert front(talking, 30) == 9.9


def test_a_loss_at_the_page_is_said(talking, wire, bench, monkeypatch):
    before = bench.instrument
    monkeypatch.setattr("balancekit.panels.talking_scale._ANSWER_S", 0.1)
    page, view = talking.page, talking.view

    async def session():
        await found(talking)
        wire.load_g = 12.3
        await until(lambda: view.scale["text"] == "12.3" and view.scale["state"] == "steady")
        page.draft = True
        page.take()
        assert "12.3 g was not taken: something is typed" in words(talking)
        page.draft, view.column = False, RATIO
        page.take()
        assert "Key ratio is not weighed: type it." in words(talking)
        view.column, page.answers = FRONT, False
        page.take()
        page.say(kind="take", text="11.0")
        assert "It showed 11.0 g when it was asked, and 12.3 g now" in words(talking)
        await until(lambda: "page has not answered" in words(talking))
        view._page = ""
        page.take()
        assert "no page shows the field" in words(talking)

    asyncio.run(session())
    assert bench.instrument is before


def test_what_was_taken_off_while_the_kernel_was_busy_is_not_taken(talking, wire, bench):
    before = bench.instrument

    async def session():
        await found(talking, BY_ITSELF)
        await until(lambda: not talking.scale.why_not)
        wire.load_g = 12.3
        time.sleep(1.6)
        wire.load_g = 0.0
        time.sleep(0.3)
        await until(lambda: "came while other work was done" in words(talking))
        await until(lambda: not talking.scale.why_not)
        wire.load_g = 9.9
        time.sleep(2)
        await until(lambda: talking.view.key == 31)

    asyncio.run(session())
    assert front(talking, 30) == 9.9
    bench.undo()
    assert bench.instrument is before


def test_a_number_waits_until_the_page_has_answered_for_the_one_before(talking, wire, bench):
    page, view, offers = talking.page, talking.view, []

    async def session():
        await found(talking)
        wire.load_g = 12.3
        await until(lambda: view.scale["text"] == "12.3" and view.scale["state"] == "steady")
        view.send = offers.append
        page.take()
        page.take()
        assert len(offers) == 1, "one is on its way"
        view.send = page.hear
        page.hear(offers[0])

    asyncio.run(session())
    assert [front(talking, key) for key in (30, 31)] == [12.3, 12.3] and view.key == 32


def test_down_weight_is_taken_when_asked_alone(talking, wire, bench):
    before = bench.instrument

    async def session():
        await found(talking, BY_ITSELF)
        talking.view.column = DOWN
        await until(lambda: not talking.scale.why_not)
        wire.load_g = 52.0
        await until(lambda: "set with weights on the key" in words(talking))
        assert bench.instrument is before
        talking.page.take()

    asyncio.run(session())
    assert bench.readings.set_index("key").at[30, "down_weight_g"] == 52


def test_without_a_unit_it_is_asked_for(talking, wire, bench):
    wire.form = without_unit

    async def session():
        await found(talking, state="unit")
        assert "names no unit" in words(talking)
        talking.page.take()
        wire.load_g, talking.unit.value = 0.4, "oz"
        await until(lambda: talking.view.scale.get("state") == "steady")
        await until(lambda: talking.view.scale["text"] == "11")
        talking.page.take()

    asyncio.run(session())
    assert front(talking, 30) == 11


def test_without_a_scale_the_panel_is_as_before(bench):
    panel = one_key_panel(bench)
    (view,) = [each for each in inside(panel) if isinstance(each, OneKey)]
    (talking,) = [each for each in inside(panel) if isinstance(each, TalkingScale)]
    assert view.scale == {}
    talking.port.value = "no port of this name"

    async def session():
        talking.find()
        await until(lambda: "No scale was found" in talking.told.value)

    asyncio.run(session())
    assert view.scale == {} and "cannot be opened" in talking.told.value
    assert "types like a keyboard" in talking.told.value
    talking.let_go()
    assert talking.told.value == ""
