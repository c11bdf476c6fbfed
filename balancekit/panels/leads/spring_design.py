"""The panel on the spring itself: wire, coil, turns and legs, and whether the wire holds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import degrees
from typing import Any

import ipywidgets as widgets
from bokeh.models import Row

from balancekit.calculation.leads.springs import WIRES
from balancekit.calculation.problems import BalancekitError
from balancekit.charts.spring_relief import (
    key_stroke_chart,
    key_stroke_data,
    stress_chart,
    stress_data,
    stress_limit,
)
from balancekit.instrument.bench import Bench
from balancekit.instrument.choices.lead_choice import LEVEL
from balancekit.instrument.choices.lead_plan import LeadPlan
from balancekit.panels.chart_table import ChartTable
from balancekit.panels.chart_view import ChartView
from balancekit.panels.frame import caution, panel, row, table_html, words, wrong
from balancekit.panels.leads.lead_desk import lead_desk
from balancekit.panels.leads.lead_view import LeadLine, LeadView

_SIZES = ("wire_mm", "coil_mm", "body_turns", "leg_1_mm", "leg_2_mm")
TRIAL_G = 10.0
"""Relief that a key without a spring is shown with; our own choice."""

_PLACE = ("wippen_arm_mm", "spring_turn_ratio")


class SpringDesign(LeadView):
    """A torsion spring that gives the relief of the key in hand."""

    def make(self) -> Sequence[widgets.Widget]:
        """Return sliders, pictures, numbers and the warning."""
        self.warning, self.numbers = words(), words()
        sliders = [self.slider(name) for name in (*_SIZES, *_PLACE)]
        material = self.toggles("material", {name: name for name in WIRES}, "Wire of")
        dip = self.desk.inputs.key_dip_mm
        self.charts = {
            "stroke": key_stroke_chart(self._stroke(), dip),
            "stress": stress_chart(self._share()),
        }
        for chart in self.charts.values():
            chart.figure.update(min_width=300, width=400)
        flow = Row(
            children=[chart.figure for chart in self.charts.values()],
            sizing_mode="stretch_width", styles={"flex-wrap": "wrap"}, spacing=8,
        )  # fmt: skip
        self.view = ChartView(flow, "Relief along the stroke, and the stress in the wire.")
        return [row(material), *sliders, self.warning, self.view, ChartTable(flow), self.numbers]

    @property
    def trial(self) -> bool:
        """Whether this key has no relief, so that one is taken for a trial."""
        return not self.plan.spring_relief_g.to_dict()[self.key] > 0

    @property
    def spring_plan(self) -> LeadPlan:
        """The plan that the spring is shown for."""
        if not self.trial:
            return self.plan
        choice = replace(self.desk.choice, spring_relief_from=LEVEL, spring_relief_g=TRIAL_G)
        return LeadPlan(self.desk.inputs, choice)

    @property
    def torque_n_mm(self) -> float:
        """Torque of this key's spring with the key at rest [N mm]."""
        return float(self.spring_plan.torque_n_mm.to_dict()[self.key])

    def _stroke(self) -> dict[Any, Any]:
        return self.spring_plan.stroke.loc[self.key].to_dict()

    def _share(self) -> float:
        spring = self.desk.choice.spring
        return float(spring.stress_mpa(self.torque_n_mm)) / spring.yield_mpa

    def show(self) -> None:
        """Work out the spring of the key in hand and draw it."""
        assert self.view is not None
        try:
            line, share = self._stroke(), self._share()
        except BalancekitError:
            return  # said in words
        with self.view.one_change():
            data = key_stroke_data(line, self.desk.inputs.key_dip_mm)
            self.charts["stroke"].show(data)
            top = float(max(data["places"]["y"]))
            self.charts["stroke"].figure.y_range.end = max(5.0, 1.3 * top)
            self.charts["stress"].show(stress_data(share))
            self.charts["stress"].figure.x_range.end = stress_limit(share)

    def tell(self) -> None:
        """Say whether the wire holds, and the numbers of the spring."""
        try:
            self._say(self._share())
        except BalancekitError as error:
            self.warning.value = wrong(error)
            self.numbers.value = ""

    def show_key(self) -> None:
        """Show and say the spring of the key in hand."""
        self.show()
        self.tell()

    def _say(self, share: float) -> None:
        spring, torque = self.desk.choice.spring, self.torque_n_mm
        warning = spring.warning(torque)
        told = (
            wrong(f"▲ {warning}")
            if warning
            else f"<b>The wire holds:</b> {share:.0%} of its yield stress."
        )
        if self.trial:
            told += f" This key has no relief yet; it is shown with {TRIAL_G:g} g for a trial."
        self.warning.value = told
        turned = degrees(torque / spring.rate_n_mm_rad)
        rows = [
            ("Rate, for one turn", f"{spring.rate_n_mm_turn:.0f} N mm"),
            ("Rate, for one degree", f"{spring.rate_n_mm_turn / 360:.2f} N mm"),
            ("Torque with the key at rest", f"{torque:.1f} N mm"),
            ("Wound up with the key at rest", f"{turned:.0f}°"),
            ("Stress at the inside of the coil", f"{float(spring.stress_mpa(torque)):.0f} MPa"),
            ("Yield stress of this wire", f"{spring.yield_mpa:.0f} MPa"),
            ("Greatest torque before it stays bent", f"{spring.greatest_torque_n_mm:.1f} N mm"),
            ("Inside of the coil when wound up", f"{float(spring.inside_mm(torque)):.2f} mm"),
        ]
        self.numbers.value = table_html(
            (f"Spring of {self.key_words[0].lower()}{self.key_words[1:]}", ""), rows
        )


def spring_design_panel(bench: Bench) -> widgets.VBox:
    """The torsion spring that gives the relief."""
    desk = lead_desk(bench)
    return panel(
        "Which spring gives it?",
        words(
            "The torque follows from the relief; wire, coil and turns say how stiff the spring is "
            "and how hard its wire works. A soft spring, wound up far, changes least along the "
            "stroke. Formulas of a machine design handbook, friction between the coils included."
        ),
        SpringDesign(desk),
        caution(
            "Springs stand under tension: wear eye protection, and keep fingers out of the way "
            "of the free leg."
        ),
        LeadLine(desk, says_lead=True),
    )
