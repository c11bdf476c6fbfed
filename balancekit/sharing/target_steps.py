"""Why a target steps from one key to the next; a curve that jumps without a word is doubted."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import pairwise

import pandas as pd

from balancekit.calculation.words import plural
from balancekit.sharing.work import Work

HAMMER_STEP_G = 0.5
_FRONT_STEP_G = 2.0
"""Steps beyond the curve's own fall that are explained; common practice, no source."""

MOST_TOLD = 6


def hammer_steps(work: Work) -> list[str]:
    """Return why what a hammer is to weigh steps from key to key, one sentence each."""
    if not len(work.hammers):
        return []
    return _told(
        work.expected["strike_weight_g"], HAMMER_STEP_G, "the hammer's weight",
        lambda left, right, _: _hammer_reason(work, left, right),
    )  # fmt: skip


def front_steps(work: Work) -> list[str]:
    """Return why the front weight to reach steps from key to key, one sentence each.

    The balance equation tells it: front weight = wippen weight x key ratio + strike weight x
    action ratio - balance weight - spring relief.
    """
    if not len(work.leads):
        return []
    return _told(
        work.expected["front_weight_g"], _FRONT_STEP_G, "the front weight",
        lambda left, right, step: _front_reason(work, left, right, step),
    )  # fmt: skip


def _told(
    target: pd.Series, least_g: float, what: str, reason: Callable[[int, int, float], str]
) -> list[str]:
    """Tell of the greatest steps, from the left, and say how many smaller ones there are."""
    found = sorted(_steps(target, least_g), key=lambda each: -abs(each[2]))
    told = [
        f"From key {left} to {right} {what} then {'rises' if step > 0 else 'falls'} by "
        f"{abs(step):.1f} g: {reason(left, right, step)}."
        for left, right, step in sorted(found[:MOST_TOLD])
    ]
    more = len(found) - MOST_TOLD
    return told + ([f"And {plural(more, 'smaller step')}."] if more > 0 else [])


def _steps(target: pd.Series, least_g: float) -> Iterator[tuple[int, int, float]]:
    """Find the steps between neighbours that differ from the usual one by so much."""
    known = target.dropna()
    keys = [int(str(key)) for key in known.index]
    usual = float(known.diff().median()) if len(known) > 1 else 0.0
    for left, right in pairwise(keys):
        step = float(known[right] - known[left])
        if right - left == 1 and abs(step - usual) >= least_g:
            yield left, right, step


def _hammer_reason(work: Work, left: int, right: int) -> str:
    for key in (left, right):
        if key in work.weigh_first:
            return (
                f"the hammer of key {key} stays as it is until its doubted reading is weighed again"
            )
    for key in (left, right):
        if key not in work.hammers.index:
            return f"the hammer of key {key} stays as it was found"
    return "what each can lose or gain stops there"


def _front_reason(work: Work, left: int, right: int, step: float) -> str:
    """Name the term of the balance equation that makes the most of a step."""
    for key in (left, right):
        if key in work.weigh_first:
            return f"key {key} stays as it is until its doubted reading is weighed again"
    expected, found = work.expected, work.found
    middle = {
        name: float(expected[name][[left, right]].mean())
        for name in ("strike_weight_g", "action_ratio")
    }
    lifted = found["wippen_weight_g"] * found["key_ratio"]

    def change(values: pd.Series) -> float:
        return float(values[right] - values[left])

    hammer, ratio = change(expected["strike_weight_g"]), change(expected["action_ratio"])
    wippen, balance = change(lifted), change(expected["balance_weight_g"])
    relief = change(expected["spring_relief_g"])
    parts = {
        f"the hammer is {abs(hammer):.1f} g {_word(hammer)}": hammer * middle["action_ratio"],
        f"the action ratio is {abs(ratio):.2f} {_level(ratio)}": ratio * middle["strike_weight_g"],
        f"the wippen presses {abs(wippen):.1f} g {_more(wippen)}": wippen,
        f"the balance weight there is {abs(balance):.1f} g {_level(balance)}": -balance,
        f"the spring carries {abs(relief):.1f} g {_more(relief)}": -relief,
    }
    sign = 1 if step > 0 else -1
    known = {words: sign * part for words, part in parts.items() if part == part}
    return max(known, key=lambda words: known[words]) if known else "the plan says so"


def _word(change: float) -> str:
    return "heavier" if change > 0 else "lighter"


def _level(change: float) -> str:
    return "higher" if change > 0 else "lower"


def _more(change: float) -> str:
    return "more" if change > 0 else "less"
