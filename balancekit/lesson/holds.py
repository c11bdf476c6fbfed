"""Parts that are taken hold of in the drawing move the sliders, and the other way round."""

from __future__ import annotations

from typing import Any

from balancekit.lesson.controls import CONTROLS, KeyControls
from balancekit.lesson.lever_view import LeverView

HOLDS = {
    "plug": ("lead_mm", "x", -1.0),
    "capstan": ("capstan_mm", "x", 1.0),
    "knuckle": ("knuckle_mm", "x", 1.0),
    "hammer": ("strike_weight_g", "y", -1.0),
}
"""Each part's control, its direction in the drawing, and the sign from drawing to control.

Lead counts from the pin towards the front, which lies on the left. A hammer that is pulled down
becomes heavier.
"""


def hold(view: LeverView, controls: KeyControls) -> None:
    """Let the parts of a drawing be moved by hand, as far as there are sliders for them."""
    held = {part: how for part, how in HOLDS.items() if how[0] in controls.sliders}

    def show(*_: Any) -> None:
        view.holds = {
            part: {
                "along": way,
                "step": CONTROLS[name].step,
                "value": controls.sliders[name].value,
                "text": f"{controls.sliders[name].value:g} {CONTROLS[name].unit}",
            }
            for part, (name, way, _) in held.items()
        }

    def moved(change: Any) -> None:
        name, _, sign = held[change["new"]["name"]]
        controls.move(name, sign * float(change["new"]["by"]))

    for name in {how[0] for how in held.values()}:
        controls.sliders[name].observe(show, "value")
    view.observe(moved, "dragged")
    show()
