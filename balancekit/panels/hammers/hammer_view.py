"""What the hammer panels share: controls of the choice, charts over the drawn keyboard, undo."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import ipywidgets as widgets
import pandas as pd

from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.words import escape
from balancekit.charts.hammer_mass import Hammers
from balancekit.charts.look import Chart
from balancekit.instrument.choices.hammer_choice import OWN_HAMMERS, SPANS, HammerChoice
from balancekit.instrument.choices.hammer_plan import HammerPlan
from balancekit.panels.choice import ChoiceView
from balancekit.panels.frame import button, row, slider, words
from balancekit.panels.hammers.hammer_desk import HammerDesk
from balancekit.panels.saving import Saving

LEVELS = ("bass_g", "middle_g", "treble_g")
TARGETS = {
    "least work": "least work",
    "levels": "three levels",
    "fitted": "fitted to the hammers",
    "as found": "as found",
}
"""The words on the buttons, by the value of ``target``."""


class HammerView(ChoiceView):
    """One view of the hammer desk."""

    nothing = "Nothing can be chosen here yet."
    desk: HammerDesk

    @property
    def plan(self) -> HammerPlan:
        """What follows from the present choice."""
        return self.desk.plan

    def _key_changed(self) -> None:
        if not self.desk.refusal:
            self.mark()
            self.show_key()

    # Controls of the choice

    def value_of(self, name: str) -> Any:
        """Return what a control shows; a value that is not set shows what is used for it."""
        value = getattr(self.desk.choice, name)
        if value is None and name == "plug_distance_mm":
            return round(float(self.plan.plug_distance_mm.max()))
        if value is None:
            return self.plan.levels_g[name]
        return value

    def on_control(self, name: str) -> Any:
        """Return what a control can show of its value: a slider stands on a step."""
        return self._on_step(name, self.value_of(name))

    def _on_step(self, name: str, value: Any) -> Any:
        """Round a value to what its slider can show, or the browser would send it back rounded."""
        if not isinstance(value, float) or isinstance(
            self.controls.get(name), widgets.BoundedFloatText
        ):
            return value
        span = SPANS[name]
        rounded = span.low + round((value - span.low) / span.step) * span.step
        return round(min(max(rounded, span.low), span.high), 6)

    def slider(self, name: str) -> widgets.FloatSlider:
        """Return a slider for one number of the choice."""
        span = SPANS[name]
        made = slider(
            span.label, self.value_of(name), span.low, span.high, span.step, unit=span.unit
        )
        made.style.description_width = "17em"
        made.layout.max_width = "720px"
        self.controls[name] = made
        made.value = self._on_step(name, made.value)
        return self.bound(name, made)

    def same(self, name: str, value: Any) -> bool:
        """Whether a slider only echoes its value, rounded to its step by the browser."""
        if not isinstance(self.controls[name], widgets.FloatSlider):
            return False
        return bool(abs(value - self.value_of(name)) < 0.6 * SPANS[name].step)

    def changed(self, name: str, value: Any) -> HammerChoice:
        """Return the choice after a control was moved."""
        choice = self.desk.choice
        if name in LEVELS:
            return choice.with_level(name, value) if self.levels_set else choice
        if name == "target" and value == "levels" and None in self._levels():
            # Three levels start from the curve that is there.
            start: Any = {level: self._on_step(level, self.value_of(level)) for level in LEVELS}
            return replace(choice, target=value, **start)
        return replace(choice, **{name: value})

    @property
    def levels_set(self) -> bool:
        """Whether the target is one of three levels; only then their sliders are shown."""
        return bool(self.desk.choice.target == "levels")

    def _levels(self) -> list[float | None]:
        return [getattr(self.desk.choice, name) for name in LEVELS]

    # Charts over the keyboard

    def over_keys(
        self, charts: Mapping[str, Chart], name: str, marks: Mapping[str, str] | None = None
    ) -> list[widgets.Widget]:
        """Put charts over the keys into one view; keys whose hammer is doubted carry a mark."""
        doubted = self.desk.inputs.doubted.items()
        doubts = {str(key): f"strike weight {why}" for key, why in doubted}
        return super().over_keys(charts, name, marks or doubts)


def drawn_hammers(plan: HammerPlan, *, target: bool, clash: Sequence[int] = ()) -> Hammers:
    """Gather what is drawn of the hammers; without a ceiling where none is possible."""
    table = plan.inputs.table
    try:
        top: pd.DataFrame | None = plan.ceiling
    except BalancekitError:
        top = None
    doubted = plan.inputs.doubted if plan.choice.hammers == OWN_HAMMERS else {}
    remark = pd.Series([doubted.get(key, "") for key in plan.keys], plan.keys)
    return Hammers(
        table["colour"],
        table["note_name"],
        plan.hammers_g,
        plan.hammers_u_g,
        plan.estimate_g,
        None if top is None else top["ceiling_g"],
        None if top is None else top["ceiling_u_g"],
        plan.target_g if target and plan.problem is None else None,
        remark if top is None else top["verdict"].where(remark == "", remark),
        clash,
    )


class DeskLine(widgets.VBox):
    """Undo, redo, as found, and what happened to the choice."""

    def __init__(self, desk: HammerDesk) -> None:
        self.desk, self.text = desk, words()
        buttons = row(
            button("Keep this choice", desk.keep_now, main=True, hint="Save it with the piano"),
            button("↶ Undo", desk.undo, hint="Take the last change back"),
            button("↷ Redo", desk.redo, hint="Do again what was taken back"),
            button("As found", desk.as_found, hint="Leave hammers, ratio and springs as they are"),
            self.text,
        )
        super().__init__([buttons, Saving(desk.bench)])
        desk.observe(lambda _: self.refresh(), "said")
        self.refresh()

    def refresh(self) -> None:
        """Say how the choice is kept."""
        self.text.value = escape(self.desk.said or "A change is kept by itself when you pause.")
