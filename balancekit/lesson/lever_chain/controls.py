"""Sliders that change the parts of a lesson key, and the panels' common manners."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import ipywidgets as widgets

from balancekit.lesson.lever_chain.one_key import LessonKey
from balancekit.panels.frame import slider

LABEL_WIDTH = "12.5em"
TWO_COLUMNS = "repeat(auto-fit, minmax(360px, 1fr))"


@dataclass(frozen=True)
class Control:
    """What a slider changes: its words, its reach and its step."""

    label: str
    low: float
    high: float
    step: float
    unit: str


CONTROLS = {
    "strike_weight_g": Control("Strike weight", 4, 14, 0.1, "g"),
    "wippen_weight_g": Control("Wippen weight", 10, 26, 0.1, "g"),
    "capstan_mm": Control("Capstan to pin", 106, 136, 0.5, "mm"),
    "knuckle_mm": Control("Knuckle to centre", 13.5, 19, 0.1, "mm"),
    "key_ratio": Control("Key ratio", 0.42, 0.58, 0.005, ""),
    "action_ratio": Control("Action ratio", 4.5, 6.8, 0.05, ""),
    "lead_g": Control("Lead in the key", 0, 60, 0.1, "g"),
    "lead_mm": Control("Place of the lead", -100, 190, 1, "mm"),
    "spring_relief_g": Control("Spring relief", 0, 20, 0.5, "g"),
    "friction_g": Control("Friction", 0, 25, 0.5, "g"),
}
"""The parts that an apprentice changes, in the order of the sliders."""
# Reach from the usual values (from memory), and a little more.


MOVES: dict[str, Callable[[LessonKey, float], LessonKey]] = {
    "capstan_mm": LessonKey.with_capstan,
    "knuckle_mm": LessonKey.with_knuckle,
}
"""Parts whose place changes more than one number of the key."""


class KeyControls(widgets.GridBox):
    """Sliders for some parts of a key.

    Parameters
    ----------
    key : what it starts from.
    names : the parts with a slider.
    changed : called when the key has changed.
    extra : more sliders that stand in the same grid.
    """

    def __init__(
        self,
        key: LessonKey,
        names: Sequence[str],
        changed: Callable[[], None],
        extra: Sequence[widgets.Widget] = (),
    ) -> None:
        self.start = self.key = key
        self._changed, self._held = changed, False
        self.sliders: dict[str, Any] = {}
        for name in names:
            control = CONTROLS[name]
            made = slider(
                control.label,
                getattr(key, name),
                control.low,
                control.high,
                control.step,
                unit=control.unit,
            )
            made.style.description_width = LABEL_WIDTH
            made.observe(lambda change, name=name: self._moved(name, change["new"]), "value")
            self.sliders[name] = made
        super().__init__(
            [*self.sliders.values(), *extra],
            layout=widgets.Layout(
                grid_template_columns=TWO_COLUMNS, grid_gap="0 16px", width="100%"
            ),
        )

    def _moved(self, name: str, value: float) -> None:
        if self._held:
            return
        if name in MOVES:
            # A slider snaps to its steps; that alone does not move the part.
            if abs(value - getattr(self.key, name)) < 0.49 * CONTROLS[name].step:
                return
            self._held = True
            self.key = MOVES[name](self.key, float(value))
            self._show()
            self._held = False
        else:
            self.key = replace(self.key, **{name: float(value)})
        self._changed()

    def _show(self) -> None:
        """Let the sliders follow the key."""
        for name, made in self.sliders.items():
            made.value = getattr(self.key, name)

    def put(self, name: str, value: float) -> None:
        """Put one part to a value, as far as its slider goes."""
        made = self.sliders[name]
        made.value = min(max(value, made.min), made.max)

    def take(self, key: LessonKey) -> None:
        """Show another key; the sliders follow, and all is drawn once."""
        self._held, self.key = True, key
        self._show()
        self._held = False
        self._changed()

    def take_start(self) -> None:
        """Go back to the key that the lesson began with."""
        self.take(self.start)
