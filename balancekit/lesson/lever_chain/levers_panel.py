"""The lever chain: every part on a slider, the levers moving, the equation with numbers."""

from __future__ import annotations

import ipywidgets as widgets

from balancekit.calculation.balance import TERMS
from balancekit.lesson.lever_chain.controls import LABEL_WIDTH, KeyControls
from balancekit.lesson.lever_chain.expect import Expectation
from balancekit.lesson.lever_chain.holds import hold, key_holds
from balancekit.lesson.lever_chain.lever_view import (
    LeverView,
    Stacks,
    balance_stacks,
    equation_html,
    grams,
    key_scene,
)
from balancekit.lesson.lever_chain.one_key import LessonKey
from balancekit.lesson.lever_chain.parts import parts_list_html
from balancekit.lesson.lever_chain.stroke import stroke_words
from balancekit.panels.frame import button, panel, row, slider, words, wrong

PARTS_MOVED = (
    "strike_weight_g", "wippen_weight_g", "capstan_mm", "knuckle_mm", "lead_g", "lead_mm",
    "spring_relief_g", "friction_g",
)  # fmt: skip

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
        self.stacks = Stacks()
        self.equation, self.said, self.stroke = words(), words(), words()
        self.travel = slider("Key pressed", 0.0, 0.0, 10.0, 0.1, unit="mm")
        self.travel.style.description_width = LABEL_WIDTH
        self.travel.observe(lambda change: self.view.put_key(change["new"]), "value")
        self.expects = Expectation("balance weight", self.refresh)
        self.controls = KeyControls(start, PARTS_MOVED, self._moved, [self.travel])
        hold(self.view, key_holds(self.controls))
        super().__init__(
            [
                self.view,
                words(parts_list_html()),
                # Stacks, equation and sliders close together: who moves one sees the others.
                self.expects,
                self.controls,
                self.equation,
                self.stacks,
                self.said,
                self.stroke,
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

    def _moved(self) -> None:
        self.expects.changed()
        self.refresh()

    def refresh(self) -> None:
        """Draw and say the key as it is now."""
        key = self.key
        stroke_mm = float(key.linkage.stroke_mm)
        self.travel.max = int(stroke_mm * 10) / 10
        self.view.scene = key_scene(key, weight_g=max(key.balance_weight_g, 0.0))
        hides = self.expects.hides
        stacks = balance_stacks(key)
        if self.expects.first.value and self.expects.guess_g is not None:
            others = key.front_weight_g + key.spring_relief_g
            stacks["marks"] = [*stacks["marks"], self.expects.mark(others + self.expects.guess_g)]
        # While a guess is asked for, all that would give it away stays out of sight.
        for answer in (self.stacks, self.equation, self.said, self.stroke):
            answer.layout.display = "none" if hides else ""
        if hides:
            self.view.scene = key_scene(key, hidden=True)
            return
        self.expects.compare(key.balance_weight_g)
        self.stacks.show(stacks)
        self.equation.value = equation_html({name: getattr(key, name) for name in TERMS})
        self.said.value = (
            f"Down weight <b>{grams(key.down_weight_g)}</b> = balance weight + friction. "
            f"Up weight <b>{grams(key.up_weight_g)}</b> = balance weight − friction. "
            f"The finger sets <b>{grams(key.inertia_g, 0)}</b> going. {_remark(key)}"
        )
        self.stroke.value = stroke_words(key)
        # A key that falls by itself lies at the bottom.
        self.view.put_key(stroke_mm if key.down_weight_g <= 0 else self.travel.value)

    def play(self) -> None:
        """Press the key once and let it come back."""
        self.view.put_key(0.0)
        self.view.run_key(float(self.key.linkage.stroke_mm), STROKE_S, back=True)


def _remark(key: LessonKey) -> str:
    """Say what would go wrong at such a key, or nothing."""
    if key.down_weight_g <= 0:
        return wrong("The key falls by itself: too much presses it down.")
    if key.up_weight_g <= 0:
        return wrong("The key stays down: friction holds it.")
    return ""


def levers_panel(key: LessonKey | None = None) -> widgets.VBox:
    """The lever chain of one key, alive."""
    return panel(
        "The lever chain",
        words(
            "Three levers lie one on the other. Take hold of lead, capstan, knuckle or hammer "
            "in the drawing, or move a slider, and see what it does to the rest. "
            "A <b>solid</b> frame is weighed or measured at the bench, a <b>dashed</b> one is "
            "computed from the others."
        ),
        LeverChain(key),
    )
