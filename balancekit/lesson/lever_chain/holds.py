"""Parts that are taken hold of in the drawing move the sliders, and the other way round."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Any

from balancekit.lesson.lever_chain.controls import CONTROLS, KeyControls
from balancekit.lesson.lever_chain.lever_view import LeverView


@dataclass(frozen=True)
class Hold:
    """How a part is moved by hand.

    Attributes
    ----------
    slider : what it moves.
    along : "x" or "y", its direction in the drawing.
    sign : from the drawing, to the right or up, to the slider.
    unit : of the slider.
    put : puts the slider to a value.
    """

    slider: Any
    along: str
    sign: float
    unit: str
    put: Callable[[float], None]


_PARTS = {
    "plug": ("lead_mm", "x", -1.0),
    "capstan": ("capstan_mm", "x", 1.0),
    "knuckle": ("knuckle_mm", "x", 1.0),
    "hammer": ("strike_weight_g", "y", -1.0),
}
"""Each part's control, its direction in the drawing, and the sign from drawing to control.

Lead counts from the pin towards the front, which lies on the left. A hammer that is pulled down
becomes heavier.
"""


def key_holds(controls: KeyControls) -> dict[str, Hold]:
    """Return the parts of a key that can be moved, as far as there are sliders for them."""
    return {
        part: Hold(
            controls.sliders[name], way, sign, CONTROLS[name].unit,
            partial(controls.put, name),
        )
        for part, (name, way, sign) in _PARTS.items()
        if name in controls.sliders
    }  # fmt: skip


def weight_hold(slider: Any) -> dict[str, Hold]:
    """Return the weight on the key: pulled up it grows, gram by gram."""

    def put(value: float) -> None:
        slider.value = min(max(round(value), slider.min), slider.max)

    return {"weight": Hold(slider, "y", 1.0, "g", put)}


def hold(view: LeverView, held: dict[str, Hold]) -> None:
    """Let the parts of a drawing be moved by hand."""

    def show(*_: Any) -> None:
        view.holds = {
            part: {
                "along": how.along,
                "step": how.slider.step,
                "value": how.slider.value,
                "text": f"{how.slider.value:g} {how.unit}",
            }
            for part, how in held.items()
        }

    def moved(change: Any) -> None:
        how = held[change["new"]["name"]]
        how.put(float(change["new"]["from"]) + how.sign * float(change["new"]["by"]))

    for slider in {id(how.slider): how.slider for how in held.values()}.values():
        slider.observe(show, "value")
    view.observe(moved, "dragged")
    show()
