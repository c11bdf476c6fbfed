"""The scale and the hand: check weights, and what repeat readings say."""

from __future__ import annotations

import ipywidgets as widgets

from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.quantities import QUANTITIES
from balancekit.calculation.weighing.repeats import STATED_COUNTS
from balancekit.calculation.weighing.scale import (
    ON_THE_SCALE,
    SCALE_CORRECTED,
    correct_readings,
    fit_scale,
    judge_scale,
    last_digit_g,
)
from balancekit.calculation.weighing.session import drift_sentence
from balancekit.calculation.words import escape
from balancekit.charts.scale import scale_chart, scale_data
from balancekit.instrument.bench import Bench
from balancekit.instrument.table import averages
from balancekit.panels.chart_view import ChartView
from balancekit.panels.frame import button, panel, row, table_html, words, wrong
from balancekit.panels.table_entry import TableEntry


class Scale(widgets.VBox):
    """Check weights in, the scale's correction and a verdict out."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.verdict, self.said = words(), words()
        self.chart = scale_chart(None)
        self.view = ChartView(
            self.chart.figure,
            name="The scale's correction against its reading; the sentence says the same.",
        )
        ask = row(button("Correct the readings in hand", self.correct), self.said)
        super().__init__([TableEntry(bench, "check_weights"), self.verdict, self.view, ask])
        bench.when_changed(self.refresh, "instrument", "visit")

    def refresh(self) -> None:
        """Fit the scale anew and say whether it is fit for the work."""
        table = self.bench.instrument.table("check_weights")
        self.fit = None
        if table.empty:
            self.verdict.value = (
                "No check weights yet. Put on each, from the lightest load in the work to the "
                "heaviest, three or more; give its nominal mass, its class (F1, F2, M1, M2, M3 "
                "as its box says) and what the scale shows."
            )
        else:
            try:
                self.fit = fit_scale(
                    table["nominal_g"], table["weight_class"], table["reading_g"],
                    display_step_g=last_digit_g(table["reading_g"]),
                )  # fmt: skip
                self.verdict.value = f"<b>{escape(judge_scale(self.fit))}</b>"
            except BalancekitError as error:
                self.verdict.value = wrong(error)
        with self.view.one_change():
            self.chart.show(scale_data(self.fit))
        self.view.layout.display = "none" if self.fit is None else "block"

    def correct(self) -> None:
        """Correct the readings taken on the scale, once, and note it in every row."""
        bench = self.bench
        if self.fit is None:
            self.said.value = "Fit the scale first."
        elif bench.readings["note"].str.contains(SCALE_CORRECTED, regex=False).any():
            self.said.value = "These readings were corrected already. Undo takes it back."
        else:
            corrected = correct_readings(bench.readings, self.fit)
            bench.change(bench.instrument.with_readings(corrected, bench.visit))
            labels = ", ".join(QUANTITIES[name].label.lower() for name in ON_THE_SCALE)
            self.said.value = f"Corrected: {labels}. Each row says so. Undo takes it back."


class Hand(widgets.VBox):
    """What the scatter of repeat readings says of the hand, for each kind of reading."""

    def __init__(self, bench: Bench) -> None:
        self.bench, self.text = bench, words()
        super().__init__([self.text])
        bench.when_changed(self.refresh, "instrument", "visit")

    def refresh(self) -> None:
        """Say it for the readings in hand."""
        stated = self.bench.instrument.settings.reading_u
        rows, drifts = [], []
        for name, averaged in averages(self.bench.instrument, self.bench.visit).items():
            if averaged.drift:
                drifts.append(f"<li>{escape(drift_sentence(name, averaged.drift))}</li>")
            if averaged.freedom:
                rows.append(
                    (QUANTITIES[name].label, averaged.freedom, _fine(name, averaged.hand),
                     _fine(name, stated[name]), _fine(name, averaged.single_u))
                )  # fmt: skip
        drift = f"<ul>{''.join(drifts)}</ul>" if drifts else ""
        if not rows:
            self.text.value = (
                "No key has been read twice. Read some keys three times: the scatter of the "
                f"repeats then counts beside the stated uncertainty.{drift}"
            )
            return
        headings = ("Reading", "Repeats beyond the first", "Your scatter", "Stated", "Used")
        self.text.value = (
            f"{table_html(headings, rows)}What is used takes both together: the stated "
            f"uncertainty counts as much as {STATED_COUNTS} repeats.{drift}"
        )


def _fine(name: str, value: float) -> str:
    quantity = QUANTITIES[name]
    return f"{value:.{quantity.decimals + 1}f} {quantity.unit}".strip()


def scale_panel(bench: Bench) -> widgets.VBox:
    """Check the scale with weights that are known."""
    return panel(
        "Is the scale fit for the work?",
        words("The readings are corrected only if you ask for it, and then every row says so."),
        Scale(bench),
    )


def hand_panel(bench: Bench) -> widgets.VBox:
    """What your repeat readings say."""
    return panel("How steady is the hand?", Hand(bench))
