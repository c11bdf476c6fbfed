"""The levers of a lesson key as plain values for the drawing: sampled along the stroke."""

from __future__ import annotations

from typing import Any

import numpy as np

from balancekit.calculation.linkage.loads import Loads, with_friction
from balancekit.calculation.linkage.positions import Linkage
from balancekit.lesson.one_key import LessonKey

SAMPLES = 33
# Our own choice: between them the drawing goes straight, less than 0.01 mm off.


def loads_of(key: LessonKey, linkage: Linkage) -> Loads:
    """Return what the levers of a lesson key carry; its spring keeps its torque."""
    parts = key.inertia_parts_g
    free = Loads(
        strike_weight_g=key.strike_weight_g,
        wippen_weight_g=key.wippen_weight_g,
        front_weight_g=key.front_weight_g,
        key_inertia_g=parts["key stick"] + parts["lead"],
        spring=key.spring,
    )
    return with_friction(linkage, free, key.friction_g)


def lever_scene(linkage: Linkage) -> dict[str, object]:
    """Return the levers as plain values: turns in degrees and rises in mm along the stroke.

    Turns to the left are positive; all count from level, rises from rest.
    """
    at, it, h, centres = linkage.along(SAMPLES), linkage.distances, linkage.heights, linkage.centres
    strike = centres["shank"] + linkage.parts["strike_point"][1] * np.exp(1j * at.shank)
    rises = {
        "front": -at.travel_mm,
        "heel": at.heel.point.imag - at.heel.point.imag[0],
        "strike": strike.imag - strike.imag[0],
    }
    hammer_x = float(centres["shank"].real) + it.hammer_arm_mm

    def plain(values: Any) -> list[float]:
        return [float(value) for value in values]

    return {
        "pivots": {name: [float(z.real), float(z.imag)] for name, z in centres.items()},
        "travel": plain(at.travel_mm),
        "turns": {
            name: plain(np.degrees(turned))
            for name, turned in (("key", at.key), ("wippen", at.wippen), ("shank", at.shank))
        },
        "rises": {name: plain(values) for name, values in rises.items()},
        "way": plain(linkage.hammer_rise_mm(at)),
        "ratios": plain(linkage.action_ratio(at)),
        "let_off": float(linkage.stroke_mm),
        "ratio": float(it.action_ratio),
        "arm": it.arm_mm,
        "capstan": it.arm_mm + it.capstan_arm_mm,
        "top": float(centres["wippen"].real) - it.top_arm_mm,
        "hammer": hammer_x,
        "string": float(strike.imag[-1]) + linkage.let_off_gap_mm,
        "gap": linkage.let_off_gap_mm,
        "heights": {
            "key": h.key_top,
            "capstan": h.capstan_top,
            "knuckle_radius": h.knuckle_radius,
            "knuckle_drop": h.knuckle_drop,
            "strike": h.strike,
        },
    }
