"""The panels on evenness then and now, and over the years."""

from __future__ import annotations

from collections.abc import Sequence

import ipywidgets as widgets
import pandas as pd

from balancekit.calculation.proof.evenness import EVENNESS_OF, compare_evenness, evenness_table
from balancekit.calculation.proof.meeting_plan import TAKE_UP
from balancekit.calculation.quantities import QUANTITIES
from balancekit.calculation.words import plural
from balancekit.charts.evenness import (
    bars_chart,
    bars_data,
    bars_limit,
    friction_years_chart,
    history_chart,
)
from balancekit.instrument.bench import Bench
from balancekit.panels.chart_view import ChartView
from balancekit.panels.frame import panel, table_html, words
from balancekit.panels.work.after_proof import proof_of
from balancekit.panels.work.work_desk import WorkDesk, work_desk
from balancekit.panels.work.work_expected import FORMULA, figure_text, plateaus_html
from balancekit.panels.work.work_view import WorkView
from balancekit.sharing.story import Proof

_SHARES = {"low": 0.0, "quarter": 0.25, "middle": 0.5, "upper": 0.75, "high": 1.0}
"""Share of the keys below each line of the box."""


class ThenAndNow(WorkView):
    """The piano's own step before and after, quantity by quantity."""

    def make(self) -> Sequence[widgets.Widget]:
        """Return the formula, the bars and the table."""
        self.place, self.table, self.told = widgets.VBox(), words(), words()
        self.plateaus = words()
        return [words(FORMULA), self.place, self.told, self.table, self.plateaus]

    def show(self) -> None:
        """Draw the bars and fill the table."""
        desk, proof = self.desk, proof_of(self.desk)
        then, now = desk.visit_name(desk.before), desk.visit_name(desk.after)
        both = compare_evenness({then: proof.work.found, now: proof.read})
        wide = both.pivot(index="quantity", columns="occasion", values="real")
        steps = wide.rename(columns={then: "then", now: "now"})
        chart = bars_chart(steps, then, now)
        chart.show(bars_data(steps))
        chart.figure.y_range.end = bars_limit(steps)
        view = ChartView(chart.figure, name="Bars of the piano's own step, before and after.")
        self.place.children = (view,)
        self.told.value = _without(proof, both, now)
        self.table.value = table_html(
            ("From key to key", "Step read, before", "Piano's own, before", "Step read, now",
             "Weighing makes, now", "Piano's own, now"),
            _rows(both, then, now),
        )  # fmt: skip
        before = desk.bench.occasion(desk.before).plateaus
        self.plateaus.value = plateaus_html({"Before": before, "Now": proof.later.plateaus})


def _without(proof: Proof, both: pd.DataFrame, now: str) -> str:
    """Say how even the balance weight is without the keys that are taken up again."""
    again = proof.verdicts.index[proof.verdicts["verdict"] == TAKE_UP]
    if not len(again):
        return ""
    name = "balance_weight_g"
    rest = evenness_table(proof.read.drop(index=again), (name,))["real"].get(name, float("nan"))
    whole = both[(both["quantity"] == name) & (both["occasion"] == now)]["real"]
    if rest != rest or whole.isna().all():
        return ""
    return (
        f"A few keys weigh heavily here. Balance weight now: {figure_text(name, whole.iloc[0])} g; "
        f"<b>without the {plural(len(again), 'key')} to take up again "
        f"{figure_text(name, rest)} g</b>."
    )


def _rows(both: pd.DataFrame, then: str, now: str) -> list[tuple[str, ...]]:
    rows = []
    for name in EVENNESS_OF:
        own = both[both["quantity"] == name].set_index("occasion").to_dict("index")
        if then in own and now in own:
            cells = [own[then]["step"], own[then]["real"], own[now]["step"],
                     own[now]["weighing"], own[now]["real"]]  # fmt: skip
            rows.append((QUANTITIES[name].axis_label, *(figure_text(name, c) for c in cells)))
    return rows


def friction_by_visit(desk: WorkDesk) -> pd.DataFrame:
    """Return the friction of all keys on every occasion, as the parts of a box [g].

    Returns
    -------
    DataFrame indexed by occasion: ``low, quarter, middle, upper, high``.
    """
    rows = {}
    for number, visit in enumerate(desk.bench.instrument.visits):
        if not visit.readings.empty:
            friction = desk.bench.occasion(number).without_slips["friction_g"].dropna()
            if len(friction):
                rows[desk.visit_name(number)] = {
                    part: float(friction.quantile(share)) for part, share in _SHARES.items()
                }
    return pd.DataFrame.from_dict(rows, orient="index", columns=list(_SHARES))


class Years(WorkView):
    """Every occasion in turn: evenness and friction."""

    def make(self) -> Sequence[widgets.Widget]:
        """Return a place for the charts, and the table."""
        self.told, self.place, self.table = words(), widgets.VBox(), words()
        return [self.told, self.place, self.table]

    def show(self) -> None:
        """Draw every occasion."""
        desk = self.desk
        history, friction = desk.history, friction_by_visit(desk)
        occasions = list(friction.index)
        count = len(occasions)
        self.told.value = (
            "One set of readings so far. Weigh again after the work, and after a year: each set "
            "adds a point here."
            if count < 2
            else f"{count} sets of readings."
        )
        charts = [
            ChartView(history_chart(history, occasions).figure,
                      name="Lines of the piano's own step; the table has the same numbers."),
            ChartView(friction_years_chart(friction).figure,
                      name="Boxes of the friction of all keys; the table has the same numbers."),
        ] if count else []  # fmt: skip
        self.place.children = tuple(charts)
        rows: list[tuple[str, ...]] = []
        for name in EVENNESS_OF:
            own = history[history["quantity"] == name].set_index("occasion")["real"]
            if own.notna().any():
                cells = [figure_text(name, float(own.get(o, float("nan")))) for o in occasions]
                rows.append((f"{QUANTITIES[name].axis_label}, own step", *cells))
        middle = [f"{value:.1f}" for value in friction["middle"]]
        rows.append(("Friction of the middle key (g)", *middle))
        self.table.value = table_html(("Quantity", *occasions), rows)


def then_and_now_panel(bench: Bench) -> widgets.VBox:
    """How even the piano was, and is."""
    return panel("Evenness, then and now", ThenAndNow(work_desk(bench)))


def years_panel(bench: Bench) -> widgets.VBox:
    """Every visit to the instrument, over the years."""
    return panel("Over the years", Years(work_desk(bench)))
