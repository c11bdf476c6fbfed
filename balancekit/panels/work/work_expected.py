"""The panels that simulate the work: every key before and after, and the evenness."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import ipywidgets as widgets
import pandas as pd

from balancekit.calculation.proof.evenness import EVENNESS_OF
from balancekit.calculation.proof.plateaus import Plateaus, sentences_by_occasion
from balancekit.calculation.quantities import QUANTITIES
from balancekit.calculation.words import escape
from balancekit.charts.before_after import BeforeAfter
from balancekit.charts.evenness import IN_GRAMS, bars_chart, bars_data, bars_limit
from balancekit.instrument.bench import Bench
from balancekit.panels.chart_view import ChartView
from balancekit.panels.frame import panel, table_html, words
from balancekit.panels.work.work_desk import work_desk
from balancekit.panels.work.work_view import BeforeAfterView, WorkView, compared
from balancekit.sharing.before_after import evenness_before_after

WEIGHED = ("down_weight_g", "up_weight_g", "balance_weight_g", "friction_g", "front_weight_g",
           "strike_weight_g")  # fmt: skip
"""What is drawn before and after, as far as a scale tells it."""

_DRAWN = (*WEIGHED, "inertia_g")

FORMULA = (
    "<b>One figure:</b> for neighbours of the same colour, step = root of the mean of (difference "
    "− mean difference)². Weighing error makes steps too: u² of both keys. So "
    "<b>the piano's own step = √(step² − weighing²)</b>, or 0."
)


def figure_text(name: str, value: float) -> str:
    """Return an evenness as text: two decimals, for the ratio three; nothing if not known."""
    digits = 1 if name == "inertia_g" else 2 if QUANTITIES[name].unit else 3
    return "" if value != value else f"{value:.{digits}f}"


def plateaus_html(found: Mapping[str, Plateaus]) -> str:
    """Return which runs of keys stand off together on each occasion, as a list."""
    lines = [f"<li>{escape(each)}</li>" for each in sentences_by_occasion(found)]
    if not lines:
        return ""
    return (
        "<b>Plateaus:</b> inside a run of keys that stands off as a whole, neighbours are alike, "
        f"so the step does not see it.<ul>{''.join(lines)}</ul>"
    )


class Expected(WorkView):
    """Each quantity over the keyboard, as found and as predicted."""

    def make(self) -> Sequence[widgets.Widget]:
        """Return the chart with its buttons, and a sentence."""
        self.told = words()
        self.chart = BeforeAfterView(self.bench, _DRAWN, self._drawn)
        self.chart.quantity.observe(lambda _: self._tell(), "value")
        return [self.chart, self.told]

    def show(self) -> None:
        """Draw the chosen quantity."""
        self.desk.work  # noqa: B018 - says why there is none, before anything is drawn
        self.chart.refresh()
        self._tell()

    def _drawn(self, name: str) -> BeforeAfter:
        drawn = compared(self.desk.work, name)
        if name == "inertia_g":
            return replace(drawn, before=self.desk.inertia_found_g())
        return drawn

    def _tell(self) -> None:
        work, name = self.desk.work, str(self.chart.quantity.value)
        quantity, after = QUANTITIES[name], work.expected[name].dropna()
        if after.empty:
            self.told.value = f"{quantity.label} is not known: some of what it needs was not read."
            return
        text = f"{quantity.label} after the work: {quantity.text(after.min())} to "
        text += f"{quantity.text(after.max())}, in the mean {quantity.text(after.mean())}."
        before = self._drawn(name).before.dropna()
        if len(before):
            text += f" Before: in the mean {quantity.text(before.mean())}."
        if name in ("friction_g", "down_weight_g", "up_weight_g"):
            text += f" {work.load_part.sentence}"
        if name == "inertia_g":
            text += " Inertia cannot be weighed on the key; it is worked out from its parts."
        self.told.value = text


class ExpectedEvenness(WorkView):
    """One figure for each quantity, now and then."""

    def make(self) -> Sequence[widgets.Widget]:
        """Return the formula, the chart and the table."""
        self.table, self.plateaus = words(), words()
        start = pd.DataFrame({"then": 0.0, "now": 0.0}, index=list(IN_GRAMS))
        self.bars = bars_chart(start, "as found", "expected after the work")
        self.view = ChartView(
            self.bars.figure, name="Bars of the piano's own step; the table has the same numbers."
        )
        return [words(FORMULA), self.view, self.table, self.plateaus]

    def show(self) -> None:
        """Fill the table and the bars."""
        work = self.desk.work
        even = evenness_before_after(work)
        steps = even.rename(columns={"found_real": "then", "expected_real": "now"})
        with self.view.one_change():
            self.bars.show(bars_data(steps))
            self.bars.figure.y_range.end = bars_limit(steps)
        columns = ("found_step", "found_weighing", "found_real", "expected_real")
        lines = even.to_dict("index")
        rows = [
            (QUANTITIES[name].axis_label, *(figure_text(name, lines[name][c]) for c in columns))
            for name in EVENNESS_OF
            if lines[name]["found_real"] == lines[name]["found_real"]
            or lines[name]["expected_real"] == lines[name]["expected_real"]
        ]
        headings = ("From key to key", "Step read", "Weighing makes", "Piano's own, as found",
                    "Piano's own, expected")  # fmt: skip
        self.table.value = table_html(headings, rows) if rows else "Too few neighbours were read."
        self.plateaus.value = plateaus_html(
            {"As found": work.plateaus, "Expected": work.expected_plateaus}
        )


def expected_panel(bench: Bench) -> widgets.VBox:
    """Every key before and after the work, simulated."""
    return panel("Every key, before and after", Expected(work_desk(bench)))


def expected_evenness_panel(bench: Bench) -> widgets.VBox:
    """How even the piano is, and is expected to be."""
    return panel("How even, and how even then?", ExpectedEvenness(work_desk(bench)))
