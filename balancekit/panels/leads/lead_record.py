"""The panel that records which plugs are in the keys: by click, by copy, over a range, by count."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import ipywidgets as widgets
import pandas as pd

from balancekit.calculation.leads.plugs import Plug, plugs_from_table
from balancekit.calculation.problems import BalancekitError, refuse
from balancekit.calculation.words import escape, plural
from balancekit.instrument.bench import Bench
from balancekit.instrument.choices.hammer_inputs import hammer_inputs
from balancekit.instrument.findings import Findings
from balancekit.instrument.leads_record import (
    FoundPlug,
    LeadTotal,
    key_sticks,
    lead_by_key,
    lead_total,
    plugs_in,
    recorded_keys,
    with_plugs,
    without_record,
)
from balancekit.instrument.model import Instrument
from balancekit.panels.frame import Later, beside, button, caution, panel, row, words, wrong
from balancekit.panels.leads.drawn_key import DrawnKey, draw_key
from balancekit.panels.leads.lead_notes import NotedPlugs
from balancekit.panels.saving import Saving
from balancekit.panels.table_entry import TableEntry

_WIDE = {"description_width": "initial"}
_PLACES = "100, 115, 131"
_TOTAL_AFTER_S = 0.5
"""Pause after the last change before the lead of all keys is worked out anew."""


class LeadRecord(widgets.VBox):
    """What is in the key in hand and in all keys, and the ways to record it."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.drawn = DrawnKey(self.press)
        self.state, self.total = words(), words()
        stock = plugs_from_table(bench.instrument.table("plug_stock"))
        self.size = widgets.Dropdown(
            options=[(_size_words(plug), plug) for plug in stock],
            value=stock[len(stock) - 1], description="Plug", style=_WIDE,
        )  # fmt: skip
        self.places = widgets.Text(
            _PLACES, description="Places from the front edge (mm)", style=_WIDE,
            continuous_update=False, layout=widgets.Layout(width="30em", max_width="100%"),
        )  # fmt: skip
        most = bench.instrument.settings.key_count
        self.first = widgets.BoundedIntText(1, min=1, max=most, description="Keys", style=_WIDE)
        self.last = widgets.BoundedIntText(most, min=1, max=most, description="to", style=_WIDE)
        self.which = widgets.Dropdown(options=("all", "naturals", "sharps"), description="Which",
                                      style=_WIDE)  # fmt: skip
        one = row(
            button("Copy from the key before", self.copy, hint="C in the picture"),
            button("No plug in this key", lambda: self.fill([bench.key], 0)),
            button("Not looked into", lambda: self.forget([bench.key])),
            button("◀ Key", lambda: self.step(-1)), button("Key ▶", lambda: self.step(1)),
            button("Undo", bench.undo),
        )  # fmt: skip
        many = row(
            self.first, self.last, self.which,
            button("Fill these keys", lambda: self.fill(self.range), main=True),
            button("No plug in these keys", lambda: self.fill(self.range, 0)),
            button("These were not looked into", lambda: self.forget(self.range)),
        )  # fmt: skip
        self._later = Later(_TOTAL_AFTER_S, self._show_total)
        super().__init__([self.state, self.drawn, one, row(self.size, self.places), many,
                          self.total])  # fmt: skip
        bench.when_changed(self.refresh)

    # What is asked for

    @property
    def range(self) -> list[int]:
        """The keys that the range names."""
        keys = self.bench.instrument.keys.loc[self.first.value : self.last.value]
        wanted = self.which.value.removesuffix("s")
        return [int(k) for k in keys.index[(keys["colour"] == wanted) | (wanted == "all")]]

    def pattern(self, count: int | None = None) -> list[FoundPlug]:
        """Return the plugs that size and places name, the first few of them if a count is given.

        Raises
        ------
        BalancekitError : a place that is no number, or fewer places than plugs.
        """
        plug: Plug = self.size.value
        places = []
        for word in self.places.value.replace("/", ",").replace(";", ",").split(","):
            try:
                places += [float(word)] if word.strip() else []
            except ValueError:
                raise refuse(
                    f"'{word.strip()}' is not a place.",
                    "Write millimetres from the front edge, with commas, as 100, 115, 131.",
                ) from None
        if count is not None and count > len(places):
            raise refuse(
                f"{plural(len(places), 'place')} for {plural(count, 'plug')}.",
                "Write a place for each plug, as 100, 115, 131.",
            )
        return [FoundPlug(place, plug.diameter_mm, plug.mass_g) for place in places[:count]]

    # What is done

    def press(self, content: dict[str, Any]) -> None:
        """Do what was pressed in the picture."""
        kind = content.get("kind")
        if kind == "step":
            self.step(int(content["by"]))
        elif kind == "copy":
            self.copy()
        elif kind == "count":
            self.fill([self.bench.key], int(content["count"]), then_next=True)
        elif kind in ("put", "take"):
            self._press(float(content["place"]), kind == "put")

    def _press(self, place: float, put: bool) -> None:
        plug: Plug = self.size.value
        held = list(plugs_in(self.bench.instrument, self.bench.key, self._sticks))
        if put:
            held.append(FoundPlug(place, plug.diameter_mm, plug.mass_g))
        else:
            held = [each for each in held if abs(each.from_front_mm - place) > 0.01]
        self._record([self.bench.key], held)

    def fill(self, keys: Iterable[int], count: int | None = None, then_next: bool = False) -> None:
        """Record the pattern, or its first few plugs, in some keys."""
        try:
            plugs = self.pattern(count) if count != 0 else []
        except BalancekitError as error:
            self.drawn.said = str(error)
            return
        if self._record(keys, plugs) and then_next:
            self.step(1)

    def copy(self) -> None:
        """Record in the key in hand what is on record of the key before it."""
        before = self.bench.key - 1
        if before not in recorded_keys(self.bench.instrument):
            self.drawn.said = f"Nothing is on record of a key {before}."
            return
        self._record([self.bench.key], plugs_in(self.bench.instrument, before, self._sticks))

    def forget(self, keys: Iterable[int]) -> None:
        """Say that nobody looked into some keys: they are unknown."""
        self.bench.change(without_record(self.bench.instrument, keys))

    def step(self, by: int) -> None:
        """Take the next key in hand, or the one before."""
        self.bench.key += by

    def _record(self, keys: Iterable[int], plugs: Sequence[FoundPlug]) -> bool:
        try:
            self.bench.change(with_plugs(self.bench.instrument, keys, plugs, self._sticks))
        except BalancekitError as error:
            more = len(error.problems) - 1
            self.drawn.said = f"{error.problems[0]}" + (f" And {more} more." if more else "")
            return False
        return True

    # What is shown

    def refresh(self) -> None:
        """Draw the key in hand, and say what is on record."""
        bench = self.bench
        table, held = bench.instrument, bench.key
        most = table.settings.key_count
        if most != self.last.max:
            self.first.max = self.last.max = most
            self.first.value, self.last.value = 1, most
        self._sticks = key_sticks(table, bench.table["key_ratio"])
        plugs = plugs_in(table, held, self._sticks)
        known = recorded_keys(table)
        draw_key(self.drawn, table, self._sticks, held, plugs, _state(held, known, plugs))
        note = table.keys["note_name"][held]
        self.state.value = (
            f"<b>Key {held}, {escape(note)}:</b> {escape(self.drawn.state)}. On record: "
            f"{len(known)} of {plural(table.settings.key_count, 'key')}."
        )
        self._later.ask()

    def _show_total(self) -> None:
        instrument, visit, table = self.bench.instrument, self.bench.visit, self.bench.table
        findings = self.bench.findings

        def show(total: LeadTotal) -> None:
            if instrument is self.bench.instrument:
                self.total.value = f"<b>All keys.</b> {escape(total.sentence)}"

        def failed(why: str) -> None:
            self.total.value = wrong(why)

        beside(lambda: total_of(instrument, visit, findings, table), show, failed)


def total_of(
    instrument: Instrument, visit: int, findings: Findings, table: pd.DataFrame
) -> LeadTotal:
    """Return the lead of all keys, as the notebook of hammers counts it.

    Parameters
    ----------
    table : table of keys; taken where the hammers cannot be chosen yet, as on an upright.
    """
    try:
        return lead_total(hammer_inputs(instrument, visit, findings).table)
    except BalancekitError:  # nothing to choose hammers with; the front weights alone will do
        sticks = key_sticks(instrument, table["key_ratio"])
        weight, spread = table["front_weight_g"], table["front_weight_u_g"]
        return lead_total(lead_by_key(instrument, weight, spread, sticks))


def _state(key: int, known: frozenset[int], plugs: Sequence[FoundPlug]) -> str:
    if key not in known:
        return "unknown, nobody looked into it"
    if not plugs:
        return "no plug in it"
    each = ", ".join(f"{p.diameter_mm:g} mm at {p.from_front_mm:.0f}" for p in plugs)
    return f"{plural(len(plugs), 'plug')}: {each} mm from the front edge"


def _size_words(plug: Plug) -> str:
    return f"{plug.name}, {plug.diameter_mm:g} mm, {plug.mass_g:.1f} g"


def lead_record_panel(bench: Bench) -> widgets.VBox:
    """Record which plugs are in the keys."""
    folded = widgets.Accordion(
        [TableEntry(bench, "leads"), TableEntry(bench, "leads_seen")],
        titles=("The plugs as a table", "Keys that were looked into"),
        selected_index=None,
    )
    return panel(
        "What is in the keys now?",
        words(
            "Click into the key where a plug is, and on a plug to take it off the record. With the "
            "keyboard: <b>arrows</b> move the line, <b>Enter</b> records, a <b>digit</b> takes so "
            "many of the places below and goes on, <b>C</b> copies the key before. A key that "
            "nobody looked into is <b>unknown</b>, never empty: nothing is planned in it."
        ),
        caution(
            "Old plugs are lead: gloves, wet wiping, wash before food, and keep children and "
            "pregnant people away."
        ),
        LeadRecord(bench),
        NotedPlugs(bench),
        folded,
        Saving(bench),
    )
