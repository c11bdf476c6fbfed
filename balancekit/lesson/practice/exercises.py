"""Exercises made from a seed: the same seed gives the same row, and none comes twice."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from itertools import islice
from zlib import crc32

import numpy as np

from balancekit.calculation.problems import refuse
from balancekit.lesson.practice import exercises_levers as levers
from balancekit.lesson.practice import exercises_weights as weights
from balancekit.lesson.practice.exercise import Exercise

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

FORMULAS: Mapping[str, str] = {
    "friction": "(down_weight_g - up_weight_g) / 2",
    "balance weight": "(down_weight_g + up_weight_g) / 2",
    "down weight": "balance_weight_g + friction_g",
    "key ratio": "capstan_arm_mm / arm_mm",
    "lead": "mass_g * (distance_mm / arm_mm)",
    "action ratio": "(balance_weight_g + front_weight_g + spring_relief_g"
    " - wippen_weight_g * key_ratio) / strike_weight_g",
    "front weight": "wippen_weight_g * key_ratio + strike_weight_g * action_ratio"
    " - balance_weight_g - spring_relief_g",
    "place of lead": "front_weight_g / mass_g * arm_mm",
    "strike weight": "(balance_weight_g + front_weight_g - wippen_weight_g * key_ratio)"
    " / action_ratio",
    "hammer travel": "action_ratio * travel_mm",
    "spring relief": "(down_without_g + up_without_g) / 2 - (down_with_g + up_with_g) / 2",
    "key dip": "blow_distance_mm / action_ratio + aftertouch_mm",
    "inertia of lead": "mass_g * (distance_mm / arm_mm)^2",
    "inertia of the hammer": "strike_weight_g * action_ratio^2",
    "uncertainty": "sqrt(down_weight_u_g^2 + up_weight_u_g^2) / 2",
}
"""Each answer as an apprentice works it out: tells which number was rounded on the way."""

MOST_SEED = 999_999
_MOST_DRAWS = 500


def fresh_seed() -> int:
    """Return a seed that nobody chose, so that no two rows are alike."""
    return secrets.randbelow(MOST_SEED + 1)


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
            return replace(made, formula=FORMULAS[kind])
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
