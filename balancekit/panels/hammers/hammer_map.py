"""The panel on ratio and hammer mass: three maps, and what a changed ratio asks of the action."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import ipywidgets as widgets
from bokeh.models import Row

from balancekit.calculation.hammers.ratio_map import (
    Lever,
    MapKey,
    RatioMap,
    front_weight_and_inertia,
    ratio_map,
)
from balancekit.calculation.levers import find_blow_distance_mm, find_dip_mm
from balancekit.calculation.linkage.moves import lever_moves
from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.words import escape
from balancekit.charts.look import Chart
from balancekit.charts.ratio_map import map_chart, map_data, point_data
from balancekit.instrument.bench import Bench
from balancekit.instrument.choices.hammer_choice import SPANS
from balancekit.panels.chart_view import ChartView
from balancekit.panels.frame import caution, panel, row, table_html, words, wrong
from balancekit.panels.hammers.hammer_desk import HammerDesk, hammer_desk
from balancekit.panels.hammers.hammer_view import LEVELS, TARGETS, DeskLine, HammerView

_ARMS = ("capstan_arm_mm", "heel_arm_mm", "top_arm_mm", "knuckle_arm_mm", "hammer_arm_mm")
_PLACES = (("Bass", 1 / 8), ("Middle", 1 / 2), ("Treble", 7 / 8))
_REACH_G = (2.8, 2.2)
_REACH = 0.17
# Our own choice: how far each map reaches around the instrument's point.


class Maps(HammerView):
    """Three maps of one key each, with the proposal and its consequences."""

    def __init__(self, desk: HammerDesk) -> None:
        self._drawn: dict[int, tuple[MapKey, str]] = {}
        self._maps: dict[int, RatioMap] = {}
        super().__init__(desk)

    def make(self) -> Sequence[widgets.Widget]:
        """Return sliders, maps, the table of consequences, and the levers."""
        count = len(self.desk.inputs.table)
        self.places = {max(1, round(count * part)): name for name, part in _PLACES}
        self._drawn, self._maps = {}, {}
        self.charts = {str(key): self._new_chart(key) for key in self.places}
        figures = [chart.figure for chart in self.charts.values()]
        flow = Row(
            children=figures, sizing_mode="stretch_width", styles={"flex-wrap": "wrap"}, spacing=4
        )
        self.view = ChartView(
            flow,
            "Maps of hammer mass and action ratio; the table below has the same numbers.",
        )
        self.table, self.levers = words(), words()
        kinds = {"knuckle": "moving the knuckle", "capstan": "moving the capstan"}
        above = [
            self.slider("ratio_change_percent"),
            row(self.toggles("lever", kinds, "Ratio changed by")),
            row(self.toggles("target", TARGETS, "Hammer mass")),
            *(self.slider(name) for name in LEVELS),
        ]
        fields = [self._arm_field(name) for name in _ARMS]
        measured = words("Measured in this action, at half stroke:")
        return [*above, self.view, self.table, measured, row(*fields), self.levers]

    def _arm_field(self, name: str) -> Any:
        span = SPANS[name]
        field = widgets.BoundedFloatText(
            self.value_of(name),
            min=span.low,
            max=span.high,
            step=span.step,
            description=f"{span.label} ({span.unit})",
            style={"description_width": "initial"},
            layout=widgets.Layout(width="330px"),
        )
        return self.bound(name, field)

    def _map(self, key: int) -> tuple[MapKey, RatioMap, bool]:
        """Return one key and its map, and whether the map is new."""
        here, lever = self.plan.map_key(key), self.desk.choice.lever
        new = self._drawn.get(key) != (here, lever)
        if new:
            low = max(0.6, here.strike_weight_g - _REACH_G[0])
            chosen: Lever = "capstan" if lever == "capstan" else "knuckle"
            self._maps[key] = ratio_map(
                here,
                strike_weight_g=(low, here.strike_weight_g + _REACH_G[1]),
                action_ratio=(here.action_ratio * (1 - _REACH), here.action_ratio * (1 + _REACH)),
                lever=chosen,
                steps=30,
            )
            self._drawn[key] = (here, lever)
        return here, self._maps[key], new

    def _proposed(self, key: int) -> tuple[float, float] | None:
        """Return the strike weight and ratio that are planned; None where there is no target."""
        if self.plan.problem is not None:
            return None
        ratio = float(self.plan.planned_table["action_ratio"][key])
        return float(self.plan.target_g[key]), ratio

    def _new_chart(self, key: int) -> Chart:
        here, mapped, _ = self._map(key)
        note = self.desk.inputs.table["note_name"][key]
        title = f"{self.places[key]}: key {key}, {note}"
        return map_chart(here, mapped, self._proposed(key), title=title)

    def show(self) -> None:
        """Move the arrows; draw the lines anew only where what they stand on has changed."""
        self.seen(LEVELS, self.levels_set)
        with self.view.one_change():
            for key in self.places:
                here, mapped, new = self._map(key)
                data = point_data(here, self._proposed(key))
                self.charts[str(key)].show(map_data(mapped) | data if new else data)

    def tell(self) -> None:
        """Say what the proposal comes to, and how the ratio is reached."""
        self._say_consequences()
        self._say_levers()

    def mark(self, *names: str) -> None:
        """There is no key in hand on a map."""

    def _say_consequences(self) -> None:
        columns = {key: self._column(key) for key in self.places}
        headings = ("Now → proposed", *(f"{n}, key {key}" for key, n in self.places.items()))
        names = next(iter(columns.values())).keys()
        rows = [(name, *(column[name] for column in columns.values())) for name in names]
        said = "" if self.plan.problem is None else "There is no target, so only the ratio moves."
        self.table.value = table_html(headings, rows) + said

    def _column(self, key: int) -> dict[str, str]:
        """Say what one key is and becomes."""
        here, inputs = self.plan.map_key(key), self.desk.inputs
        ratio = here.action_ratio * self.desk.choice.ratio_part
        strike_g = (self._proposed(key) or (here.strike_weight_g, ratio))[0]
        lever: Lever = "capstan" if self.desk.choice.lever == "capstan" else "knuckle"
        now = front_weight_and_inertia(here, here.strike_weight_g, here.action_ratio, lever)
        then = front_weight_and_inertia(here, strike_g, ratio, lever)
        blow, rest = inputs.blow_distance_mm, inputs.aftertouch_mm
        dips = [
            find_dip_mm(blow_distance_mm=blow, action_ratio=each, aftertouch_mm=rest)
            for each in (here.action_ratio, ratio)
        ]
        dip_blow = find_blow_distance_mm(key_dip_mm=dips[0], action_ratio=ratio, aftertouch_mm=rest)
        return {
            "Strike weight (g)": f"{here.strike_weight_g:.1f} → {strike_g:.1f}",
            "Action ratio": f"{here.action_ratio:.2f} → {ratio:.2f}",
            "Front weight needed (g)": f"{now[0]:.1f} → {then[0]:.1f}",
            "Inertia at the finger (g)": f"{float(now[1]):.0f} → {float(then[1]):.0f}",
            "Dip, blow kept (mm)": f"{dips[0]:.1f} → {dips[1]:.1f}",
            "or blow, dip kept (mm)": f"{blow:.1f} → {dip_blow:.1f}",
        }

    def _say_levers(self) -> None:
        choice, table = self.desk.choice, self.desk.inputs.table
        naturals = table[table["colour"] == "natural"]
        ratio = float(naturals["action_ratio"].mean())
        try:
            geometry = choice.geometry(float(naturals["arm_mm"].iloc[0]))
            capstan, knuckle = lever_moves(
                geometry, action_ratio=ratio, wanted_ratio=ratio * choice.ratio_part
            )
        except BalancekitError as error:
            self.levers.value = wrong(error)
            return
        told = (
            f"By the ruler a natural's ratio is {geometry.action_ratio:.2f}, by the weights "
            f"{ratio:.2f} on average. Only the change is taken from the ruler."
        )
        self.levers.value = (
            f"<b>{escape(capstan.sentence)}</b> Or: <b>{escape(knuckle.sentence)}</b><br>{told}"
        )


def ratio_map_panel(bench: Bench) -> widgets.VBox:
    """Hammer mass against action ratio, for a bass, a middle and a treble key."""
    desk = hammer_desk(bench)
    return panel(
        "Lighter hammers, or a lower ratio?",
        words(
            "The dot is this instrument; its outline holds the true point with about 95 %. The "
            'arrow is your proposal. <span style="color:#0072b2">Solid lines</span>: equal front '
            'weight (g), which means equal lead. <span style="color:#b34a00">Dashed lines</span>: '
            "equal inertia at the finger (g)."
        ),
        Maps(desk),
        caution(
            "A moved capstan or knuckle changes dip, blow and the jack's place under the "
            "knuckle. Try it on one key of each section, and regulate it, before any other."
        ),
        DeskLine(desk),
    )
