"""The panel on the ceiling: how heavy the hammers may be, and the ways out where they are not."""

from __future__ import annotations

from collections.abc import Sequence

import ipywidgets as widgets

from balancekit.calculation.hammers.hammer_ceiling import SURE, ceiling_ways_out, ways_in_words
from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.words import escape, in_words, plural
from balancekit.charts.hammer_mass import hammers_chart, hammers_data, hammers_limits
from balancekit.instrument.bench import Bench
from balancekit.panels.frame import panel, row, words, wrong
from balancekit.panels.hammers.hammer_desk import hammer_desk
from balancekit.panels.hammers.hammer_view import DeskLine, HammerView, drawn_hammers

_BY_LEVELS = ("front_weight_first_g", "front_weight_last_g")
_BY_LEAD = ("lead_percent", "plug_distance_mm")


class Ceiling(HammerView):
    """The ceiling over the strike weights as found, with what it follows from."""

    def make(self) -> Sequence[widgets.Widget]:
        """Return sliders, chart, verdict and the key in hand."""
        kinds = {"levels": "two levels", "lead": "lead's part of the inertia"}
        self.verdict, self.story = words(), words()
        limits = self.toggles("front_weight_from", kinds, "Highest front weight by")
        sliders = [
            self.slider(name)
            for name in ("balance_weight_g", *_BY_LEVELS, *_BY_LEAD, "spring_relief_more_g")
        ]
        chart = hammers_chart(
            drawn_hammers(self.plan, target=False),
            title="Strike weight and its ceiling",
            sections=self.desk.sections,
            with_target=False,
        )
        views = self.over_keys(
            {"hammers": chart}, "Strike weights over the keyboard with their ceiling by leverage."
        )
        return [sliders[0], row(limits), *sliders[1:], *views, self.verdict, self.story]

    def show(self) -> None:
        """Draw the ceiling."""
        by_lead = self.desk.choice.front_weight_from == "lead"
        self.seen(_BY_LEVELS, not by_lead)
        self.seen(_BY_LEAD, by_lead)
        drawn = drawn_hammers(self.plan, target=False)
        with self.view.one_change():
            self.charts["hammers"].show(hammers_data(drawn))
            low, high = hammers_limits(drawn)
            self.charts["hammers"].figure.y_range.update(start=low, end=high)

    def tell(self) -> None:
        """Say what the ceiling means."""
        try:
            self._say()
        except BalancekitError as error:
            self.verdict.value = wrong(error)
        self.show_key()

    def _say(self) -> None:
        """Say which hammers are above, and how sure that is."""
        top = self.plan.ceiling
        by_verdict = {name: list(keys) for name, keys in top.groupby("verdict").groups.items()}
        above = by_verdict.get("above the ceiling", [])
        told = []
        if above:
            most = top.loc[above, "over_g"]
            told.append(
                f"<b>Too heavy: {plural(len(above), 'hammer')}</b>, {in_words(above)}; the most by "
                f"{most.max():.1f} g at key {most.idxmax()}."
            )
        else:
            told.append("<b>No hammer is surely above its ceiling.</b>")
        near = by_verdict.get("near the ceiling", [])
        if near:
            told.append(f"Too close to tell: {len(near)}. The rest has room.")
        for key, why in self.desk.inputs.doubted.items():
            told.append(f"Key {key} is not counted: {escape(why)}.")
        change = self.desk.choice.ratio_change_percent
        if change:
            told.append(
                f"The ceiling is that of the planned ratio, {change:+.1f} % from now.".replace(
                    "-", "−"
                )
            )
        self.verdict.value = " ".join(told)

    def show_key(self) -> None:
        """Say the ceiling of the key in hand, and the ways out if its hammer is above."""
        try:
            plan, line = self.plan, self.plan.ceiling.loc[self.key].to_dict()
        except BalancekitError:
            self.story.value = ""
            return
        choice, inputs, key = self.desk.choice, self.desk.inputs, self.key
        note = escape(inputs.table["note_name"][key])
        limit = float(plan.front_weight_limit_g[key])
        hammer = float(plan.estimate_g[key])
        known = "" if plan.hammers_g.notna()[key] else " (estimated)"
        text = (
            f"<b>Key {key}, {note}:</b> hammer {hammer:.1f} g{known}, ceiling "
            f"{line['ceiling_g']:.1f} ± {SURE * line['ceiling_u_g']:.1f} g with {limit:.1f} g "
            "front weight."
        )
        ways = ceiling_ways_out(
            plan.planned_table.loc[[key]].assign(strike_weight_g=hammer),
            hammer,
            balance_weight_g=choice.balance_weight_g,
            front_weight_g=limit,
            arm_mm=float(inputs.table["arm_mm"][key]),
            plug_distance_mm=float(plan.plug_distance_mm[key]),
            blow_distance_mm=inputs.blow_distance_mm,
            aftertouch_mm=inputs.aftertouch_mm,
        )
        if len(ways):
            items = "".join(f"<li>{escape(way)}</li>" for way in ways_in_words(ways.iloc[0]))
            text += f" Four ways out, each alone is enough:<ul style='margin:2px 0'>{items}</ul>"
        else:
            text += f" It has {line['ceiling_g'] - hammer:.1f} g of room."
        self.story.value = text


def hammer_ceiling_panel(bench: Bench) -> widgets.VBox:
    """How heavy the hammers may be, key by key."""
    desk = hammer_desk(bench)
    return panel(
        "How heavy may the hammers be?",
        words(
            "Set what you want and what you allow. The brown line is the heaviest hammer that the "
            "lever then carries. Its band is two standard uncertainties wide to each side."
        ),
        Ceiling(desk),
        DeskLine(desk),
    )
