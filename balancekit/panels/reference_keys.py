"""Reference keys: read at the start, in the middle and at the end, they tell what drifts."""

from __future__ import annotations

from dataclasses import replace

import ipywidgets as widgets
import pandas as pd

from balancekit.calculation.quantities import QUANTITIES
from balancekit.calculation.weighing.drift_course import drift_course
from balancekit.calculation.weighing.session import DRIFTING, Drift, drift_sentence
from balancekit.calculation.words import escape, moment_in_words
from balancekit.charts.drift import drift_chart, drift_data
from balancekit.instrument.bench import Bench
from balancekit.instrument.entry import read_again
from balancekit.instrument.table import averages
from balancekit.panels.chart_view import ChartView
from balancekit.panels.frame import button, panel, row, table_html, words
from balancekit.panels.saving import Saving

REFERENCES = 3
"""Keys that are read again: one low, one in the middle, one high."""


class ReferenceKeys(widgets.VBox):
    """Chooses the keys, opens a new row for each, and shows what came of it over time."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self._drifts: dict[str, Drift] = {}
        most = bench.instrument.settings.key_count
        self.boxes = [
            widgets.BoundedIntText(
                value, min=1, max=most, description=text, style={"description_width": "initial"},
                layout=widgets.Layout(width="11em"),
            )
            for value, text in zip(proposed(most), ("Low", "Middle", "High"), strict=True)
        ]  # fmt: skip
        self.told, self.drift = words(), words()
        self.reading = widgets.Dropdown(
            description="Reading", style={"description_width": "initial"},
            layout=widgets.Layout(width="auto"),
        )  # fmt: skip
        self.off = widgets.Checkbox(
            bench.instrument.settings.drift_taken_off, indent=False,
            description="Take the drift off the readings",
        )  # fmt: skip
        self.chart = drift_chart()
        self.view = ChartView(
            self.chart.figure, name="Drift over time; the sentences say the same of its end."
        )
        points = words("Points: how far each reading of such a key is from its mean without drift.")
        self.over_time = widgets.VBox([row(self.reading, self.off), self.view, points, self.drift])
        super().__init__(
            [row(*self.boxes, button("Read these keys now", self.read, main=True)),
             self.over_time, self.told]
        )  # fmt: skip
        self.reading.observe(lambda _: self._draw(), "value")
        self.off.observe(lambda change: self.take_off(bool(change["new"])), "value")
        for box in self.boxes:
            box.observe(lambda _: self.refresh(), "value")
        bench.when_changed(self.refresh, "instrument", "visit")

    @property
    def chosen(self) -> list[int]:
        """The reference keys, each once, from the left."""
        return sorted({int(box.value) for box in self.boxes})

    def read(self) -> None:
        """Open a new row for each reference key that has a reading, and take the first in hand."""
        held, readings = self.bench.instrument, self.bench.readings
        read = set(readings.loc[readings[list(DRIFTING)].notna().any(axis=1), "key"])
        for key in self.chosen:
            if key in read:
                held = read_again(held, self.bench.visit, key)
        self.bench.change(held)
        self.bench.show(self.chosen[0], "down_weight_g")

    def take_off(self, off: bool) -> None:
        """Take the drift off the readings, or leave it in them."""
        held = self.bench.instrument
        if off != held.settings.drift_taken_off:
            settings = replace(held.settings, drift_taken_off=off)
            self.bench.change(replace(held, settings=settings))

    def refresh(self) -> None:
        """Show the readings of the reference keys over time, and what drifts."""
        most = self.bench.instrument.settings.key_count
        if most != self.boxes[-1].max:
            for box, value in zip(self.boxes, proposed(most), strict=True):
                box.max, box.value = most, value
        readings = self.bench.readings
        rows = readings[readings["key"].isin(self.chosen) & (readings["read_at"] != "")]
        names = [name for name in DRIFTING if rows[name].notna().any()]
        if rows.empty:
            self.told.value = (
                "No reading of these keys has its time yet. What is entered here gets it; a file "
                "may have a column read_at."
            )
        else:
            self.told.value = self._table(rows, names)
        found = averages(self.bench.instrument, self.bench.visit)
        self._drifts = {name: a.drift for name, a in found.items() if a.drift is not None}
        said = [drift_sentence(name, drift) for name, drift in self._drifts.items()]
        self.drift.value = "".join(f"<p>{escape(sentence)}</p>" for sentence in said)
        self.off.value = self.bench.instrument.settings.drift_taken_off
        options = tuple((QUANTITIES[name].label, name) for name in self._drifts)
        if options != self.reading.options:
            self.reading.options = options
            self.reading.value = options[0][1] if options else None
        self.over_time.layout.display = "flex" if options else "none"
        self._draw()

    def _draw(self) -> None:
        name = self.reading.value
        if name in self._drifts:
            course = drift_course(self.bench.readings, name, self._drifts[name])
            with self.view.one_change():
                self.chart.show(drift_data(course))

    def _table(self, rows: pd.DataFrame, names: list[str]) -> str:
        """List each reading with its time, and how far it is from the first of its key."""
        times = pd.to_datetime(rows["read_at"], format="ISO8601", utc=True)
        ordered = rows.assign(time=times).sort_values("time", kind="stable")
        first = ordered.groupby("key")[names].first()
        lines = []
        for line in ordered.to_dict("records"):
            cells = []
            for name in names:
                value, start = line[name], first.at[line["key"], name]
                off = f" ({value - start:+.1f})".replace("-", "\u2212") if value != start else ""
                cells.append("" if value != value else f"{QUANTITIES[name].text(value)}{off}")
            lines.append((moment_in_words(line["read_at"]), f"key {line['key']}", *cells))
        labels = [QUANTITIES[name].label for name in names]
        return table_html(("When", "Key", *labels), lines)


def proposed(key_count: int) -> tuple[int, int, int]:
    """Return one key of the low, the middle and the high third.

    >>> proposed(88)
    (15, 45, 74)
    """
    low, middle, high = (int((part * key_count) // (2 * REFERENCES)) + 1 for part in (1, 3, 5))
    return low, middle, high


def reference_keys_panel(bench: Bench) -> widgets.VBox:
    """What drifts while the piano is weighed."""
    return panel(
        "Does anything drift?",
        words(
            "Read three keys at the start, in the middle and at the end. Scale, hand and damp air "
            "drift; only keys that are read again tell it from the piano. What they tell is taken "
            "off every reading that has its time, unless you leave it in: then bands are wider."
        ),
        ReferenceKeys(bench),
        Saving(bench),
    )
