"""Which one cause explains best what is off on a key.

A key is described by quantities that vary on their own in a piano: front weight, strike
weight, wippen weight, key ratio, friction and action ratio. Each is so many standard
units off. A real cause puts one of them off. A misread weight puts several off, in
proportions that follow from the balance equation. The cause that leaves the smallest
sum of squares is the likely one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from balancekit.calculation import balance
from balancekit.calculation.quantities import TOUCH_COLUMNS

_PARTS = ("front_weight_g", "strike_weight_g", "wippen_weight_g", "key_ratio")


@dataclass(frozen=True)
class Cause:
    """One cause: a reading that is off by so much, or a quantity that really stands out.

    Attributes
    ----------
    name : the quantity.
    misread : whether one reading is wrong; else the quantity itself stands out.
    by : how far the reading is off, in its unit.
    gain : how much of the sum of squares it explains.
    """

    name: str
    misread: bool
    by: float = 0.0
    gain: float = 0.0


def results_of(read: Mapping[str, float]) -> dict[str, float]:
    """Compute friction, balance weight and action ratio of a key, as far as it was read.

    >>> results_of({"down_weight_g": 50.0, "up_weight_g": 26.0})
    {'friction_g': 12.0, 'balance_weight_g': 38.0}
    """
    if not all(name in read for name in TOUCH_COLUMNS):
        return {}
    weights = {name: read[name] for name in TOUCH_COLUMNS}
    results = {
        "friction_g": float(balance.find_friction(**weights)),
        "balance_weight_g": float(balance.find_balance_weight(**weights)),
    }
    if all(name in read for name in _PARTS):
        results["action_ratio"] = float(
            balance.solve_for_action_ratio(
                balance_weight_g=results["balance_weight_g"],
                spring_relief_g=read.get("spring_relief_g", 0.0),
                **{name: read[name] for name in _PARTS},
            )
        )
    return results


def independent(names: Mapping[str, float]) -> list[str]:
    """Name the quantities that vary on their own, among those known of a key.

    >>> independent({"down_weight_g": 50.0, "up_weight_g": 26.0, "friction_g": 12.0,
    ...              "balance_weight_g": 38.0})
    ['friction_g', 'balance_weight_g']
    """
    own = [name for name in (*_PARTS, "spring_relief_g") if name in names]
    if "friction_g" not in names:
        return own + [name for name in TOUCH_COLUMNS if name in names]
    return [*own, "friction_g", "action_ratio" if "action_ratio" in names else "balance_weight_g"]


def effects(name: str, read: Mapping[str, float]) -> dict[str, float]:
    """Return by how much each quantity is off if a reading is off by 1 unit.

    >>> effects("up_weight_g", {"friction_g": 12.0, "balance_weight_g": 38.0})
    {'up_weight_g': 1.0, 'friction_g': -0.5, 'balance_weight_g': 0.5}
    """
    moved = {name: 1.0}
    lifted = {"front_weight_g": 1.0, "spring_relief_g": 1.0, "down_weight_g": 0.5,
              "up_weight_g": 0.5}  # fmt: skip
    if name in TOUCH_COLUMNS:
        moved["friction_g"] = 0.5 if name == "down_weight_g" else -0.5
        moved["balance_weight_g"] = 0.5
    if "action_ratio" in read:
        gram = {
            **lifted,
            "wippen_weight_g": -read["key_ratio"],
            "key_ratio": -read["wippen_weight_g"],
            "strike_weight_g": -read["action_ratio"],
        }[name]
        moved["action_ratio"] = gram / read["strike_weight_g"]
    return moved


def likely_cause(
    off: Mapping[str, float], expected_u: Mapping[str, float], read: Mapping[str, float]
) -> Cause:
    """Return the one cause that leaves least to be explained.

    Parameters
    ----------
    off : standard units by which each independent quantity is off.
    expected_u : standard uncertainty of each, in its unit.
    read : readings and results of the key.

    >>> tight = {"friction_g": 6.0, "balance_weight_g": 0.3}
    >>> sizes = {"friction_g": 1.0, "balance_weight_g": 1.0}
    >>> key = {"down_weight_g": 56.0, "up_weight_g": 20.0, "friction_g": 18.0,
    ...        "balance_weight_g": 38.0}
    >>> likely_cause(tight, sizes, key)
    Cause(name='friction_g', misread=False, by=0.0, gain=36.0)
    >>> likely_cause({"friction_g": 6.0, "balance_weight_g": 6.0}, sizes, key)
    Cause(name='down_weight_g', misread=True, by=12.0, gain=72.0)
    """
    found = [Cause(name, False, 0.0, size**2) for name, size in off.items()]
    for name in (*TOUCH_COLUMNS, *_PARTS):
        if name not in read:
            continue
        pull = {q: slope / expected_u[q] for q, slope in effects(name, read).items() if q in off}
        if len(pull) > 1:
            strength = sum(each**2 for each in pull.values())
            along = sum(pull[q] * off[q] for q in pull)
            found.append(Cause(name, True, along / strength, along**2 / strength))
    return max(found, key=lambda cause: cause.gain, default=Cause("", False))
