"""Sliders that change the parts of a lesson key, and the panels' common manners."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import ipywidgets as widgets

from balancekit.lesson.one_key import LessonKey
from balancekit.panels.frame import slider

LABEL_WIDTH = "11.5em"
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
    "key_ratio": Control("Key ratio", 0.42, 0.58, 0.005, ""),
    "action_ratio": Control("Action ratio", 4.5, 6.8, 0.05, ""),
    "lead_g": Control("Lead in the key", 0, 60, 0.1, "g"),
    "lead_mm": Control("Place of the lead", -100, 190, 1, "mm"),
    "spring_relief_g": Control("Spring relief", 0, 20, 0.5, "g"),
    "friction_g": Control("Friction", 0, 25, 0.5, "g"),
}
"""The parts that an apprentice changes, in the order of the sliders."""
# Reach from the usual values (from memory), and a little more.


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
        self.key = replace(self.key, **{name: float(value)})
        if not self._held:
            self._changed()

    def take(self, key: LessonKey) -> None:
        """Show another key; the sliders follow, and all is drawn once."""
        self._held = True
        for name, made in self.sliders.items():
            made.value = getattr(key, name)
        self._held = False
        self.key = key
        self._changed()

    def take_start(self) -> None:
        """Go back to the key that the lesson began with."""
        self.take(self.start)
