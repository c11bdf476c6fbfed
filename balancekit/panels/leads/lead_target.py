"""The panel on the front weight that each key needs, and on keys where it cannot be."""

from __future__ import annotations

from collections.abc import Sequence

import ipywidgets as widgets
import pandas as pd

from balancekit.calculation.leads.front_weight import front_ways_in_words
from balancekit.calculation.words import escape, in_words, plural
from balancekit.charts.lead_target import (
    FrontWeights,
    target_chart,
    target_data,
    target_limits,
)
from balancekit.instrument.bench import Bench
from balancekit.instrument.choices.lead_choice import CURVE, CURVES, FROM_HAMMERS, LEVEL
from balancekit.panels.frame import panel, row, words
from balancekit.panels.leads.lead_desk import lead_desk
from balancekit.panels.leads.lead_view import LeadLine, LeadView

_FROM = {LEVEL: "one level", CURVE: "a curve"}
_HIGHEST = {LEVEL: "one level", FROM_HAMMERS: "as set with the hammers"}


class FrontWeight(LeadView):
    """Front weight targets over the keyboard, and the key in hand."""

    def make(self) -> Sequence[widgets.Widget]:
        """Return sliders, chart, verdict and the key in hand."""
        self.source, self.verdict, self.story = words(), words(), words()
        kind = self.toggles("balance_weight_from", _FROM, "Wanted balance weight by")
        names = ("balance_weight_g", *CURVES["balance_weight"])
        sliders = [self.slider(name) for name in names]
        highest = self.toggles("highest_from", _HIGHEST, "Highest front weight by")
        limit = self.slider("highest_front_weight_g")
        chart = target_chart(self._drawn(), sections=self.desk.sections)
        views = self.over_keys(
            {"target": chart}, "Front weight that each key needs, over the keyboard."
        )
        said = [self.verdict, self.story]
        return [self.source, row(kind), *sliders, row(highest), limit, *views, *said]

    def _drawn(self) -> FrontWeights:
        table, plan = self.desk.inputs.table, self.plan
        now = table["front_weight_g"]
        return FrontWeights(table["colour"], table["note_name"], plan.target, now, plan.limit_g)

    def show(self) -> None:
        """Draw the targets."""
        by_level = self.desk.choice.balance_weight_from == LEVEL
        self.seen(["balance_weight_g"], by_level)
        self.seen(CURVES["balance_weight"], not by_level)
        self.seen(["highest_front_weight_g"], self.desk.choice.highest_from == LEVEL)
        drawn = self._drawn()
        assert self.view is not None
        with self.view.one_change():
            self.charts["target"].show(target_data(drawn))
            low, high = target_limits(drawn)
            self.charts["target"].figure.y_range.update(start=low, end=high)

    def tell(self) -> None:
        """Say which keys ask for what cannot be."""
        self.source.value = self._say_source()
        self.verdict.value = self._say_verdict()
        target = self.plan.target.dropna()
        self.keyboard.marks = {
            str(key): front_ways_in_words(line)
            for key, line in target[target["beyond_g"] != 0].iterrows()
        }
        self.show_key()

    def _say_source(self) -> str:
        inputs, plan = self.desk.inputs, self.plan
        hammers = (
            "Hammers, ratio and wippens as decided in the chapter on hammer mass."
            if inputs.hammers_decided
            else "Nothing was decided about the hammers: they are taken as found."
        )
        relief = plan.spring_relief_g
        spring = (
            f"Springs carry {relief.min():.1f} to {relief.max():.1f} g; see further down."
            if relief.max() > 0
            else "No springs."
        )
        remark = f"<br>{escape(inputs.remark)}" if inputs.remark else ""
        return f"{hammers} {spring}{remark}"

    def _say_verdict(self) -> str:
        target = self.plan.target
        told = []
        above, below = target.index[target["beyond_g"] > 0], target.index[target["beyond_g"] < 0]
        if len(above):
            most = target["beyond_g"].idxmax()
            told.append(
                f"<b>Above the limit: {plural(len(above), 'key')}</b>, "
                f"{escape(in_words(list(above)))}; the most by "
                f"{target['beyond_g'].max():.1f} g at key {most}. "
                "They are laid out to the limit, and stay that much heavier to the finger."
            )
        if len(below):
            told.append(
                f"<b>Below 0: {plural(len(below), 'key')}</b>, "
                f"{escape(in_words(list(below)))}. Lead behind the balance pin would be needed."
            )
        if not told:
            told.append("<b>Every key asks for a front weight that can be.</b>")
        u = target["front_weight_u_g"].mean()
        told.append(
            f"The band is where the true need lies with about 95 %; it is about ±{2 * u:.1f} g. "
            "The last word has the scale."
        )
        return "<br>".join(told)

    def show_key(self) -> None:
        """Say what the key in hand needs, and the ways out if that cannot be."""
        self.mark()
        line, table = self.plan.target.loc[self.key].to_dict(), self.desk.inputs.table
        now = float(table["front_weight_g"].to_dict()[self.key])
        change = float(line["front_weight_g"]) - now
        told = (
            f"<b>{self.key_words}:</b> needs {line['front_weight_g']:.1f} g "
            f"({line['low_g']:.1f} to {line['high_g']:.1f} g); now {now:.1f} g, so "
            f"{change:+.1f} g. Hammer {table['strike_weight_g'][self.key]:.1f} g, ratio "
            f"{table['action_ratio'][self.key]:.2f}."
        )
        ways = front_ways_in_words(pd.Series(line))
        self.story.value = told.replace("-", "−") + (f"<br><b>{escape(ways)}</b>" if ways else "")


def lead_target_panel(bench: Bench) -> widgets.VBox:
    """The front weight that each key needs."""
    desk = lead_desk(bench)
    return panel(
        "How heavy must each key's front be?",
        words(
            "Set the balance weight that you want. The rest is known: hammer, ratio and wippen "
            "lift, so much front weight must press."
        ),
        FrontWeight(desk),
        LeadLine(desk),
    )
