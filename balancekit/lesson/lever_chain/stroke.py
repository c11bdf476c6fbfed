"""How far the balance equation holds along the stroke, in words."""

from __future__ import annotations

import numpy as np

from balancekit.calculation.linkage.loads import account, held_g
from balancekit.lesson.lever_chain.lever_view import grams
from balancekit.lesson.lever_chain.one_key import LessonKey
from balancekit.panels.frame import table_html

PLACES = {"at rest": 0.0, "a quarter down": 0.25, "half stroke": 0.5, "three quarters": 0.75,
          "before let-off": 1.0}  # fmt: skip


def stroke_table(key: LessonKey) -> dict[str, dict[str, float]]:
    """Return what the levers say along the stroke, by place.

    >>> level = stroke_table(LessonKey())["half stroke"]
    >>> round(level["balance_weight_g"], 1), round(level["action_ratio"], 1)
    (37.0, 5.5)
    """
    linkage = key.linkage
    at = linkage.at(np.array(list(PLACES.values())) * float(linkage.stroke_mm))
    loads = key.loads
    columns = {
        "travel_mm": at.travel_mm,
        "action_ratio": linkage.action_ratio(at),
        "balance_weight_g": account(linkage, loads, at).balance_weight_g,
        "down_weight_g": held_g(linkage, loads, at, 1),
        "up_weight_g": held_g(linkage, loads, at, -1),
    }
    return {
        place: {name: float(values[row]) for name, values in columns.items()}
        for row, place in enumerate(PLACES)
    }


def stroke_words(key: LessonKey) -> str:
    """Say how far the equation holds along the stroke."""
    table = stroke_table(key)
    rows = [
        (
            place,
            f"{abs(row['travel_mm']):.1f}",
            f"{row['action_ratio']:.2f}",
            *(grams(row[name]) for name in ("balance_weight_g", "down_weight_g", "up_weight_g")),
        )
        for place, row in table.items()
    ]
    level = table["half stroke"]
    tilt = (level["down_weight_g"] + level["up_weight_g"]) / 2 - level["balance_weight_g"]
    spread = table["at rest"]["balance_weight_g"] - table["before let-off"]["balance_weight_g"]
    return (
        "<b>How far does the equation hold?</b> It is the levers' balance at half stroke. The "
        f"arms swing, so over the whole stroke the balance weight changes by {grams(abs(spread))}. "
        "So weigh every key at the same place of its stroke. Friction tilts the forces at the "
        f"contacts: half of the sum lies {grams(tilt)} above the balance weight."
        + table_html(
            ("The key", "Down (mm)", "Action ratio", "Balance weight", "Down weight", "Up weight"),
            rows,
        )
    )
