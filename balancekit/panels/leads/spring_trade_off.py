"""The panel on spring against lead: what more or less relief costs, this choice marked."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import ipywidgets as widgets
import pandas as pd
from bokeh.models import Row

from balancekit.calculation.leads.leads_plan import lead_totals
from balancekit.charts.trade_off import QUANTITIES_SHOWN, show_trade, trade_charts
from balancekit.instrument.bench import Bench
from balancekit.instrument.choices.lead_plan import LeadPlan
from balancekit.panels.chart_table import ChartTable
from balancekit.panels.chart_view import ChartView
from balancekit.panels.frame import Later, beside, panel, words, working, wrong
from balancekit.panels.leads.lead_desk import lead_desk
from balancekit.panels.leads.lead_view import LeadLine, LeadView

RELIEFS_G = tuple(range(0, 25, 2))
"""Reliefs that are tried; our own choice, up to what a strong spring carries."""

_START_AFTER_S = 1.5
"""Rest of the controls before reliefs are tried, and time for a page to open; our own choice."""


def sums_of(plan: LeadPlan, relief_g: float) -> dict[str, float]:
    """Return what the free layout comes to with the same relief on every key."""
    layout = plan.at_relief(relief_g)
    return {"relief_g": float(relief_g), **lead_totals(layout, plan.other_inertia_g)}


def sums_here(plan: LeadPlan) -> dict[str, float]:
    """Return what the free layout of this choice comes to."""
    relief = float(plan.spring_relief_g.mean())
    return {"relief_g": relief, **lead_totals(plan.free, plan.other_inertia_g)}


class TradeOff(LeadView):
    """Relief against lead, inertia, unevenness and work, tried one relief after the other."""

    def make(self) -> Sequence[widgets.Widget]:
        """Return pictures and a sentence."""
        self.told = words()
        self.table = pd.DataFrame(columns=["relief_g", *QUANTITIES_SHOWN], dtype=float)
        self._asked: object = None
        self._to_try: Iterator[int] = iter(())
        self._run: object = None
        self._start = Later(_START_AFTER_S, self.start)
        self.charts = trade_charts(self.table, None)
        flow = Row(
            children=[chart.figure for chart in self.charts.values()],
            sizing_mode="stretch_width", styles={"flex-wrap": "wrap"}, spacing=4,
        )  # fmt: skip
        self.view = ChartView(flow, "Lead, inertia, unevenness and work against spring relief.")
        return [self.told, self.view, ChartTable(flow)]

    def show(self) -> None:
        """Mark this choice; try the reliefs again only where the answer may have changed."""
        asked = self.plan.asked_without_spring
        if asked == self._asked:
            self._draw()
            return
        self._asked = asked
        self.told.value = working("<b>Working …</b>")
        self._run = None  # what is being tried for another choice is left
        self._start.ask()

    def start(self) -> None:
        """Begin to try the reliefs, the smallest first."""
        if self.desk.refusal:
            return
        self.table = self.table.iloc[:0]
        self._to_try, self._run = iter(RELIEFS_G), object()
        self.step()

    def step(self) -> None:
        """Try one relief beside the kernel."""
        if self.desk.refusal:
            return
        run = self._run
        relief = next(self._to_try, None)
        if relief is None:
            self._draw()
            return
        plan = self.plan

        def failed(why: str) -> None:
            self.told.value = wrong(why)

        beside(
            lambda: sums_of(plan, float(relief)), lambda sums: self.take(run, plan, sums), failed
        )

    def take(self, run: object, plan: LeadPlan, sums: dict[str, float]) -> None:
        """Take the sums of one relief, draw what is known, and go on."""
        if self.desk.refusal or run is not self._run:
            return
        if plan is not self.plan:  # a control moves: stop, and begin anew when it rests
            self._asked = self._run = None
            return
        line = pd.DataFrame([sums])
        self.table = line if self.table.empty else pd.concat([self.table, line])
        self._draw()
        self.told.value = working(
            f"<b>Working:</b> {len(self.table)} of {len(RELIEFS_G)} reliefs tried."
        )
        self.step()

    def _draw(self) -> None:
        assert self.view is not None
        here = sums_here(self.plan)
        with self.view.one_change():
            show_trade(self.charts, self.table, here)
        if len(self.table) < len(RELIEFS_G):
            return
        none = self.table.iloc[0]
        if here["relief_g"] == 0:
            self.told.value = (
                "<b>The diamond is your choice: no springs.</b> Each dot is the same relief on "
                "every key, with the plugs laid out anew."
            )
            return
        self.told.value = (
            f"<b>The diamond is your choice: {here['relief_g']:.1f} g of relief on average.</b> "
            f"Against no spring at all: {here['lead_g'] - none['lead_g']:+.0f} g of lead, "
            f"{here['mean_inertia_g'] - none['mean_inertia_g']:+.1f} g of inertia at the finger, "
            f"{here['operations'] - none['operations']:+.0f} operations. Each dot is the same "
            "relief on every key, with the plugs laid out anew."
        ).replace("-", "−")


def spring_trade_off_panel(bench: Bench) -> widgets.VBox:
    """Spring against lead: what each gram of relief brings, and what it costs."""
    desk = lead_desk(bench)
    return panel(
        "Spring or lead?",
        words(
            "Each picture has the spring relief below. Where a line has become flat, more spring "
            "brings nothing more."
        ),
        TradeOff(desk),
        LeadLine(desk, says_lead=True),
    )
