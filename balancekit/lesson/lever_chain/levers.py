"""The levers of a lesson key as plain values for the drawing: sampled along the stroke."""

from __future__ import annotations

from typing import Any

import numpy as np

from balancekit.calculation.linkage.positions import Linkage

SAMPLES = 33
# Our own choice: between them the drawing goes straight, less than 0.01 mm off.


def lever_scene(linkage: Linkage) -> dict[str, object]:
    """Return the levers as plain values: turns in degrees and rises in mm along the stroke.

    Turns to the left are positive; all count from level, rises from rest.
    """
    at, it, h, centres = linkage.along(SAMPLES), linkage.distances, linkage.heights, linkage.centres
    strike = linkage.strike_height_mm(at)
    at_rest = centres["shank"] + linkage.parts["strike_point"][1] * np.exp(1j * at.shank[0])
    rises = {
        "front": -at.travel_mm,
        "heel": at.heel.point.imag - at.heel.point.imag[0],
        "strike": strike,
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
        "string": float(at_rest.imag + strike[-1]) + linkage.let_off_gap_mm,
        "gap": linkage.let_off_gap_mm,
        "heights": {
            "key": h.key_top,
            "capstan": h.capstan_top,
            "knuckle_radius": h.knuckle_radius,
            "knuckle_drop": h.knuckle_drop,
            "strike": h.strike,
        },
    }
