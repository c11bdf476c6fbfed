"""The first steps of the lesson: one lever, two levers, what the scale says, a key that sticks."""

from __future__ import annotations

from typing import Any

import ipywidgets as widgets

from balancekit.lesson.lever_chain.controls import LABEL_WIDTH, KeyControls
from balancekit.lesson.lever_chain.holds import hold, key_holds, weight_hold
from balancekit.lesson.lever_chain.lever_view import (
    LeverView,
    Stacks,
    balance_stacks,
    grams,
    key_scene,
)
from balancekit.lesson.lever_chain.one_key import LessonKey, answer
from balancekit.panels.frame import button, panel, row, slider, words

REST_SHARE = 0.5
"""Share of the stroke at which a key that sticks is shown."""


def one_lever_panel() -> widgets.VBox:
    """The key alone on its pin: what a piece of lead presses at the front."""
    start = LessonKey(bare_front_weight_g=0.0, lead_g=13.6, lead_mm=120.0)
    view = LeverView(key_scene(start, show=["key"]), float(start.linkage.stroke_mm) / 2)
    said = words()

    def refresh() -> None:
        key = controls.key
        view.scene = key_scene(key, show=["key"])
        side = "lifts" if key.front_weight_g < 0 else "presses"
        said.value = (
            f"{grams(key.lead_g)} × {key.lead_mm:.0f} mm / {key.arm_mm:.0f} mm = "
            f"<b>{grams(key.lead_front_weight_g)}</b>: so much the lead {side} at the "
            "measuring point. (The wood itself is taken as balanced here.)"
        )

    controls = KeyControls(start, ["lead_g", "lead_mm"], refresh)
    hold(view, key_holds(controls))
    refresh()
    return panel("One lever: the key on its pin", view, said, controls)


def two_levers_panel() -> widgets.VBox:
    """Key and wippen: what the wippen costs at the finger."""
    start = LessonKey(bare_front_weight_g=0.0, lead_g=0.0)
    view = LeverView(key_scene(start, show=["key", "wippen"]))
    travel = slider("Key pressed", 0.0, 0.0, 8.0, 0.1, unit="mm")
    travel.style.description_width = LABEL_WIDTH
    travel.observe(lambda change: view.put_key(change["new"]), "value")
    said = words()

    def refresh() -> None:
        key = controls.key
        travel.max = int(float(key.linkage.stroke_mm) * 10) / 10
        view.scene = key_scene(
            key, show=["key", "wippen"], weight_g=key.wippen_lifts_g, weight_word="holds it level"
        )
        capstan_mm = key.key_ratio * key.arm_mm
        said.value = (
            f"Key ratio: {capstan_mm:.0f} mm / {key.arm_mm:.0f} mm = <b>{key.key_ratio:.3f}</b>. "
            f"The wippen of {grams(key.wippen_weight_g)} costs "
            f"{grams(key.wippen_weight_g)} × {key.key_ratio:.3f} = "
            f"<b>{grams(key.wippen_lifts_g)}</b> at the finger."
        )

    controls = KeyControls(start, ["wippen_weight_g", "capstan_mm"], refresh, [travel])
    hold(view, key_holds(controls))
    refresh()
    return panel("Two levers: key and wippen", view, said, controls)


_SAID = {
    "key": "The wippen is taken off. The key is tipped on its balance pin; the scale stands "
    "under the measuring point. It shows the <b>front weight</b>.",
    "wippen": "The wippen turns freely on its flange. The scale stands where the capstan "
    "would meet it. It shows the <b>wippen weight</b>.",
    "hammer": "The shank turns freely on its flange and lies level. The scale stands under the "
    "strike point. It shows the <b>strike weight</b>, not the mass of the hammer: a part of the "
    "shank hangs on the flange.",
}


def part_on_scale_panel() -> widgets.VBox:
    """What the scale says: one part after the other lies on a scale."""
    key = LessonKey()
    view, said = LeverView(key_scene(key, show=["key"], scale="key")), words(_SAID["key"])
    choice = widgets.ToggleButtons(
        options=[("key", "key"), ("wippen", "wippen"), ("hammer and shank", "hammer")],
        description="On the scale",
        style={"description_width": "initial"},
    )

    def chosen(change: dict[str, Any]) -> None:
        part = change["new"]
        view.scene = key_scene(key, show=[part], scale=part)
        said.value = _SAID[part]

    choice.observe(chosen, "value")
    return panel("What the scale says", choice, view, said)


class StickingKey(widgets.VBox):
    """A key that sticks until the weight on it is enough.

    The drawing moves as the key would: a few grams too many, and it falls.
    """

    def __init__(self, key: LessonKey | None = None) -> None:
        start = key or LessonKey()
        self.weight = slider("Weight on the key", 30, 0, 80, 1, unit="g", whole=True)
        self.weight.style.description_width = LABEL_WIDTH
        self.half_mm = float(start.linkage.stroke_mm) * REST_SHARE
        self.view = LeverView(self._scene(start), self.half_mm)
        self.stacks, self.said, self.sum = Stacks(), words(), words()
        self.controls = KeyControls(start, ["friction_g", "lead_g"], self.refresh)
        hold(self.view, weight_hold(self.weight))
        self.weight.observe(lambda _: self.refresh(), "value")
        again = button("Put the key to the middle and let go", self.refresh, main=True)
        super().__init__(
            [self.view, self.weight, self.said, self.controls, self.stacks, row(again), self.sum]
        )  # fmt: skip
        self.refresh()

    def _scene(self, key: LessonKey) -> dict[str, Any]:
        return key_scene(key, weight_g=float(self.weight.value), weight_word="weight on the key")

    @property
    def does(self) -> str:
        """What the key does: "sinks", "sticks" or "lifts"."""
        key = self.controls.key
        return answer(float(self.weight.value), key.down_weight_g, key.up_weight_g)

    def refresh(self) -> None:
        """Put the key to the middle of its stroke, let go, and say what it does."""
        key, weight = self.controls.key, float(self.weight.value)
        self.view.scene = self._scene(key)
        self.stacks.show(balance_stacks(key, weight_g=weight, weight_word="weight on the key"))
        self.view.put_key(self.half_mm)
        does, whole_mm = self.does, float(key.linkage.stroke_mm)
        if does != "sticks":
            end_mm = whole_mm if does == "sinks" else 0.0
            self.view.run_key(end_mm, key.seconds(weight, self.half_mm, end_mm))
        why = {
            "sinks": "The weight is enough: it overcomes balance and friction.",
            "sticks": "Friction holds the key where it is. Any weight in the hatched band does.",
            "lifts": "The key is strong enough to lift the weight, friction and all.",
        }[does]
        self.said.value = f'<div class="lesson-said" role="status">The key {does}. {why}</div>'
        self.sum.value = (
            f"balance weight ({grams(key.down_weight_g)} + {grams(key.up_weight_g)}) / 2 = "
            f"<b>{grams(key.balance_weight_g)}</b> · "
            f"friction ({grams(key.down_weight_g)} − {grams(key.up_weight_g)}) / 2 = "
            f"<b>{grams(key.friction_g)}</b>"
        )


def sticking_panel(key: LessonKey | None = None) -> widgets.VBox:
    """Down weight, up weight and friction at a key that sticks."""
    return panel(
        "A key that sticks",
        words(
            "Add gram by gram with the arrow keys, or pull the weight up. The hatched band is as "
            "wide as friction to both sides: in it the key stays where it is."
        ),
        StickingKey(key),
    )
