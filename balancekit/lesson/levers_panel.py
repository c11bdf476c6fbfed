"""The lever chain: every part on a slider, the levers moving, the equation with numbers."""

from __future__ import annotations

import ipywidgets as widgets

from balancekit.calculation.balance import TERMS
from balancekit.lesson.controls import CONTROLS, LABEL_WIDTH, KeyControls
from balancekit.lesson.lever_view import (
    LeverView,
    Stacks,
    balance_stacks,
    equation_html,
    grams,
    key_scene,
)
from balancekit.lesson.levers import levers_of
from balancekit.lesson.one_key import LessonKey
from balancekit.panels.frame import button, panel, row, slider, words

STROKE_S = 1.4
# Our own choice: slow enough to follow with the eye.


class LeverChain(widgets.VBox):
    """The drawing, the stacks, the equation and the sliders of one key.

    Parameters
    ----------
    key : what it starts from.
    """

    def __init__(self, key: LessonKey | None = None) -> None:
        start = key or LessonKey()
        self.view = LeverView(key_scene(start, weight_g=max(start.balance_weight_g, 0.0)))
        self.stacks, self.equation, self.said = Stacks(), words(), words()
        self.travel = slider("Key pressed", 0.0, 0.0, 10.0, 0.1, unit="mm")
        self.travel.style.description_width = LABEL_WIDTH
        self.travel.observe(lambda change: self.view.put_key(change["new"]), "value")
        self.controls = KeyControls(start, list(CONTROLS), self.refresh, [self.travel])
        super().__init__(
            [
                self.view,
                # Between drawing and stacks: who moves a slider sees both.
                self.controls,
                self.stacks,
                self.equation,
                self.said,
                row(
                    button("Play the key once", self.play, main=True),
                    button("Back to the start", self.controls.take_start),
                ),
            ]
        )
        self.refresh()

    @property
    def key(self) -> LessonKey:
        """The key as the sliders have it."""
        return self.controls.key

    def refresh(self) -> None:
        """Draw and say the key as it is now."""
        key = self.key
        self.travel.max = int(levers_of(key).let_off_mm * 10) / 10
        self.view.scene = key_scene(key, weight_g=max(key.balance_weight_g, 0.0))
        self.stacks.show(balance_stacks(key))
        self.equation.value = equation_html({name: getattr(key, name) for name in TERMS})
        self.said.value = (
            f"Down weight <b>{grams(key.down_weight_g)}</b> = balance weight + friction. "
            f"Up weight <b>{grams(key.up_weight_g)}</b> = balance weight − friction. "
            f"The finger sets <b>{grams(key.inertia_g, 0)}</b> going. {_remark(key)}"
        )

    def play(self) -> None:
        """Press the key once and let it come back."""
        self.view.put_key(0.0)
        self.view.run_key(levers_of(self.key).let_off_mm, STROKE_S, back=True)


def _remark(key: LessonKey) -> str:
    """Say what would go wrong at such a key, or nothing."""
    if key.balance_weight_g <= 0:
        return '<span class="bench-bad">The key falls by itself: too much presses it down.</span>'
    if key.up_weight_g <= 0:
        return '<span class="bench-bad">The key stays down: friction holds it.</span>'
    return ""


def levers_panel(key: LessonKey | None = None) -> widgets.VBox:
    """The lever chain of one key, alive."""
    return panel(
        "The lever chain",
        words(
            "Three levers lie one on the other. Change a part and see what it does to the rest. "
            "A <b>solid</b> frame is weighed or measured at the bench, a <b>dashed</b> one is "
            "computed from the others."
        ),
        LeverChain(key),
    )
