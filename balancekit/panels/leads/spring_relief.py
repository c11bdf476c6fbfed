"""The panel on spring relief: how much, along the stroke, and what it saves."""

from __future__ import annotations

from collections.abc import Sequence

import ipywidgets as widgets

from balancekit.calculation.problems import BalancekitError
from balancekit.charts.spring_relief import relief_chart, relief_data, relief_limit
from balancekit.instrument.bench import Bench
from balancekit.instrument.choices.lead_choice import CURVE, CURVES, FROM_HAMMERS, LEVEL
from balancekit.instrument.choices.lead_plan import LeadPlan
from balancekit.panels.frame import Later, beside, panel, row, words, working, wrong
from balancekit.panels.leads.lead_desk import lead_desk
from balancekit.panels.leads.lead_view import LeadLine, LeadView

_FROM = {FROM_HAMMERS: "as it is and as planned before", LEVEL: "one level", CURVE: "a curve"}
SAVED_AFTER_S = 0.3
"""Rest of the controls before the layouts with and without a spring are compared."""


class Relief(LeadView):
    """What springs carry over the keyboard, and what that saves."""

    def make(self) -> Sequence[widgets.Widget]:
        """Return sliders, chart and sentences."""
        self.saving, self.story = words(), words()
        self._saved = Later(SAVED_AFTER_S, self.say_saved)
        kind = self.toggles("spring_relief_from", _FROM, "Spring relief by")
        sliders = [self.slider(name) for name in ("spring_relief_g", *CURVES["spring_relief"])]
        self.chart_box = self.over_keys(
            {"relief": relief_chart(self.plan.stroke, sections=self.desk.sections)},
            "Spring relief over the keyboard, at rest, in the middle and at the end of the stroke.",
        )
        return [row(kind), *sliders, *self.chart_box, self.story, self.saving]

    def show(self) -> None:
        """Draw the relief."""
        assert self.view is not None
        kind = self.desk.choice.spring_relief_from
        self.seen(["spring_relief_g"], kind == LEVEL)
        self.seen(CURVES["spring_relief"], kind == CURVE)
        try:
            stroke = self.plan.stroke
        except BalancekitError as error:
            self.story.value = wrong(error)
            return
        some = bool(self.plan.spring_relief_g.any())
        for part in (*self.chart_box, self.story):
            part.layout.display = "" if some else "none"
        with self.view.one_change():
            self.charts["relief"].show(relief_data(stroke))
            self.charts["relief"].figure.y_range.end = relief_limit(stroke)
        if not some:
            self.saving.value = "No springs yet. Choose one level or a curve, and see."
        elif "saved" in vars(self.plan):
            self.saving.value = _saved_in_words(self.plan)
        else:
            self.saving.value = working(
                "Working: laying the plugs out with and without the springs."
            )
            self._saved.ask()

    def tell(self) -> None:
        """Say the relief of the key in hand."""
        self.show_key()

    def say_saved(self) -> None:
        """Say how much lead and inertia the springs save."""
        plan = self.plan
        if not self.desk.refusal and plan.spring_relief_g.any():
            beside(lambda: plan.saved, lambda _: self._say_saved(plan), self._not_saved)

    def _not_saved(self, why: str) -> None:
        self.saving.value = wrong(why)

    def _say_saved(self, plan: LeadPlan) -> None:
        if self.desk.refusal or plan is not self.plan:
            return
        self.saving.value = _saved_in_words(plan)
        self.show_key()

    def show_key(self) -> None:
        """Say the relief of the key in hand along its stroke."""
        self.mark()
        try:
            line = self.plan.stroke.loc[self.key]
        except BalancekitError:
            return
        slack = " <b>The spring lets go before the end.</b>" if line["goes_slack"] else ""
        saved = self.plan.saved if "saved" in vars(self.plan) else None
        told = (
            f" Lead saved here: {saved['lead_g'].to_dict()[self.key]:.0f} g."
            if saved is not None and self.key in saved.index
            else ""
        )
        self.story.value = (
            f"<b>{self.key_words}:</b> {line['relief_at_rest_g']:.1f} g at rest, "
            f"{line['relief_middle_g']:.1f} g in the middle, {line['relief_end_g']:.1f} g at the "
            f"end of the stroke. The balance weight grows by {line['change_g']:.1f} g on the way "
            f"down.{slack}{told}"
        )


def _saved_in_words(plan: LeadPlan) -> str:
    saved, keys = plan.saved.sum(), len(plan.saved)
    if not keys:
        return "No key has its plugs on record: what lead a spring would save is not known."
    without = plan.without_spring.keys["lead_g"].sum()
    return (
        f"<b>Against the same action without springs: {saved['lead_g'] / 1000:.2f} kg of lead "
        f"saved, of {without / 1000:.2f} kg, and {saved['lead_inertia_g'] / keys:.1f} g of "
        "inertia at the finger on average.</b> Both ways with the plugs laid out anew at the "
        "present place of the work slider."
    ).replace("-", "−")


def spring_relief_panel(bench: Bench) -> widgets.VBox:
    """How much of the weight springs should carry."""
    desk = lead_desk(bench)
    return panel(
        "How much should a spring carry?",
        words(
            "A support spring on the wippen takes grams off the key, so the key needs less lead. "
            "It lets go as the wippen rises: the key grows heavier on its way down. By how much "
            "depends on the spring, in the next panel."
        ),
        Relief(desk),
        LeadLine(desk, says_lead=True),
    )
