"""Exercises made from a seed: the same seed gives the same row, and none comes twice."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from itertools import islice
from zlib import crc32

import numpy as np

from balancekit.calculation import balance
from balancekit.calculation.inertia import hammer_inertia_g, plug_inertia_g
from balancekit.calculation.levers import find_dip_mm
from balancekit.calculation.problems import refuse
from balancekit.lesson import exercises_levers as levers
from balancekit.lesson import exercises_weights as weights
from balancekit.lesson.exercise import Exercise

KINDS: Mapping[str, Callable[[np.random.Generator], Exercise]] = {
    "friction": weights.friction,
    "balance weight": weights.balance_weight,
    "down weight": weights.down_weight,
    "key ratio": levers.key_ratio,
    "lead": levers.lead,
    "action ratio": weights.action_ratio,
    "front weight": weights.front_weight,
    "place of lead": levers.place_of_lead,
    "strike weight": weights.strike_weight,
    "hammer travel": levers.hammer_travel,
    "spring relief": weights.spring_relief,
    "key dip": levers.dip,
    "inertia of lead": levers.inertia_of_lead,
    "inertia of the hammer": levers.inertia_of_hammer,
    "uncertainty": weights.doubt,
}
"""Every kind of exercise, from the first lesson to the last."""

SOLVE: Mapping[str, Callable[[Mapping[str, float]], float]] = {
    "key ratio": lambda g: g["capstan_arm_mm"] / g["arm_mm"],
    "lead": lambda g: g["mass_g"] * g["distance_mm"] / g["arm_mm"],
    "place of lead": lambda g: g["front_weight_g"] * g["arm_mm"] / g["mass_g"],
    "action ratio": lambda g: float(balance.solve_for_action_ratio(**g)),
    "front weight": lambda g: float(balance.solve_for_front_weight(**g)),
    "strike weight": lambda g: float(balance.solve_for_strike_weight(**g)),
    "hammer travel": lambda g: g["action_ratio"] * g["travel_mm"],
    "key dip": lambda g: float(find_dip_mm(**g)),
    "inertia of lead": lambda g: float(plug_inertia_g(**g)),
    "inertia of the hammer": lambda g: float(hammer_inertia_g(shank_mass_g=0.0, **g)),
}
"""The answer from other given numbers, where rounding one of them changes it."""

MOST_SEED = 999_999
_MOST_DRAWS = 500


def make_exercise(kind: str, seed: int, number: int = 0) -> Exercise:
    """Make one exercise.

    Parameters
    ----------
    kind : one of ``KINDS``.
    seed, number : the same two always give the same exercise.

    Returns
    -------
    an exercise whose mistakes can be told apart by what they give.

    Raises
    ------
    BalancekitError : an unknown kind, or a seed that is not a whole number from 0 to 999999.

    >>> one = make_exercise("friction", 7)
    >>> one.answer == (one.given["down_weight_g"] - one.given["up_weight_g"]) / 2
    True
    """
    if kind not in KINDS:
        raise refuse(f"'{kind}' is not a kind of exercise.", f"Choose one of: {', '.join(KINDS)}.")
    if isinstance(seed, bool) or seed != int(seed) or not 0 <= seed <= MOST_SEED:
        raise refuse(f"{seed} is not a seed.", f"Give a whole number from 0 to {MOST_SEED}.")
    draw = np.random.default_rng([int(seed), number, crc32(kind.encode())])
    for _ in range(_MOST_DRAWS):
        made = KINDS[kind](draw)
        if made.told_apart:
            return replace(made, solve=SOLVE.get(kind))
    raise AssertionError(f"no exercise of kind {kind} can be told apart from its mistakes")


def exercises(seed: int) -> Iterator[Exercise]:
    """Yield exercises without end, kind after kind, none twice.

    Raises
    ------
    BalancekitError : a seed that is not a whole number from 0 to 999999, or one whose
        exercises are used up, after some thousand of them.
    """
    seen: set[str] = set()
    number = 0
    while True:
        for kind in KINDS:
            made = make_exercise(kind, seed, number)
            again = 0
            while made.text in seen:
                again += 1
                if again > _MOST_DRAWS:
                    raise refuse(
                        f"Seed {seed} has no new exercise on {kind} after {len(seen)} exercises.",
                        "Begin anew with another seed.",
                    )
                made = make_exercise(kind, seed, number + 1_000_000 * again)
            seen.add(made.text)
            yield made
        number += 1


def exercise_row(seed: int, count: int) -> tuple[Exercise, ...]:
    """Return the first exercises of a seed.

    Raises
    ------
    BalancekitError : a count below 1, or a bad seed.

    >>> [each.kind for each in exercise_row(7, 2)]
    ['friction', 'balance weight']
    """
    if count < 1:
        raise refuse(f"{count} exercises are none.", "Give 1 or more.")
    return tuple(islice(exercises(seed), count))
