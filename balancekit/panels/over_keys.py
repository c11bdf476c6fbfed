"""Charts over the keyboard with the drawn keyboard under them and the story of one key beside."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import ipywidgets as widgets
from bokeh.layouts import column

from balancekit.calculation.quantities import QUANTITIES, uncertainty_name
from balancekit.calculation.words import escape
from balancekit.charts.look import mark_key
from balancekit.charts.over_keys import Extra, over_keys_chart, over_keys_data, over_keys_limits
from balancekit.instrument.bench import Bench
from balancekit.panels.frame import button, words, wrong
from balancekit.panels.key_in_hand import KeyInHand
from balancekit.panels.with_keyboard import with_keyboard


class OverKeys(widgets.VBox):
    """Quantities over the keyboard, one chart each, alive on one bench.

    Parameters
    ----------
    bench : what is looked at.
    names : the columns of the table of keys to draw, from the top.
    related : for each column, the quantities whose flags are marked on it.
    """

    def __init__(
        self,
        bench: Bench,
        names: Sequence[str],
        *,
        related: Mapping[str, Sequence[str]] | None = None,
        height: int = 300,
    ) -> None:
        self.bench, self.names, self.height = bench, tuple(names), height
        self._related = related or {}
        self._shape: object = None
        super().__init__()
        bench.observe(lambda _: self._mark(), "key")
        bench.when_changed(self.refresh, "instrument", "visit")

    def _found(self, name: str) -> Extra:
        """Trend and flags of one column."""
        findings = self.bench.findings
        trend = findings.trends.get(name)
        flagged = findings.sentences(*self._related.get(name, (name,)))
        if trend is None:
            return Extra(flagged=flagged)
        return Extra(trend=trend.trend, trend_u=trend.trend_u, flagged=flagged)

    def refresh(self) -> None:
        """Draw the present state; figures are made anew only when the keyboard itself changed."""
        instrument = self.bench.instrument
        shape = (instrument.settings.key_count, instrument.settings.first_note, instrument.sections)
        if shape != self._shape:
            self._build()
            self._shape = shape
        else:
            table = self.bench.table
            with self.view.one_change():
                for name, chart in self.charts.items():
                    extra = self._found(name)
                    chart.show(over_keys_data(table, name, extra))
                    low, high = over_keys_limits(table, name, extra.target)
                    chart.figure.y_range.update(start=low, end=high)
        marks = self.bench.findings.sentences()
        self.keyboard.marks = {str(key): text for key, text in marks.items()}

    def _build(self) -> None:
        table, instrument = self.bench.table, self.bench.instrument
        sections = [(section.name, section.first_key) for section in instrument.sections]
        self.charts = {
            name: over_keys_chart(
                table, name, self._found(name), sections=sections, height=self.height,
                x_label="Key" if name == self.names[-1] else "",
            )
            for name in self.names
        }  # fmt: skip
        labels = ", ".join(QUANTITIES[name].label for name in self.names)
        figures = column(
            *[chart.figure for chart in self.charts.values()], sizing_mode="stretch_width"
        )
        name = f"Chart of {labels} over the keyboard."
        self.children = with_keyboard(self.bench, figures, table, name)
        self.view, self.keyboard, _ = self.children
        self._mark()

    def _mark(self) -> None:
        with self.view.one_change():
            for chart in self.charts.values():
                mark_key(chart.figure, self.bench.key)


class KeyStory(widgets.VBox):
    """The key in hand in words: its readings, results, what stands out, and its note."""

    def __init__(self, bench: Bench, names: Sequence[str]) -> None:
        self.bench, self.names = bench, tuple(names)
        self.hand = KeyInHand(bench, button("Next that stands out ▶", self._next_flag))
        self.story = words()
        bench.when_changed(self.refresh)
        super().__init__(self.hand.around(self.story))

    def _next_flag(self) -> None:
        keys = sorted(self.bench.findings.sentences())
        later = [key for key in keys if key > self.bench.key]
        if keys:
            self.bench.key = (later or keys)[0]

    def refresh(self) -> None:
        """Tell the story of the key that is in hand now."""
        bench = self.bench
        self.hand.show()
        line = bench.table.loc[bench.key]
        parts = [
            f"<b>Key {bench.key}, {escape(line['note_name'])}, {escape(line['colour'])}.</b> "
            + " · ".join(self._value(name, line) for name in self.names)
        ]
        if line["missing"]:
            labels = [QUANTITIES[name].label.lower() for name in line["missing"].split(", ")]
            parts.append(f"Not read: {escape(', '.join(labels))}.")
        if line["estimated"]:
            labels = [QUANTITIES[name].label.lower() for name in line["estimated"].split(", ")]
            named = escape(", ".join(labels))
            parts.append(f"Not read, taken from what all readings tell: {named}.")
        for doubt in bench.findings.of_key(bench.key):
            parts.append(f"{wrong(f'◆ {doubt.words}.')} {escape(doubt.advice)}")
        self.story.value = "<br>".join(parts)

    def _value(self, name: str, line: Mapping[str, float]) -> str:
        quantity = QUANTITIES[name]
        u = line.get(uncertainty_name(name), 0.0)
        text = f"{quantity.label} {quantity.text(line[name])}"
        return f"{text} ± {quantity.text(u)}" if u and u == u else text
