"""How many weighings a plan saves against reading every sixth key and the last."""

from __future__ import annotations

import numpy as np
import pandas as pd

from balancekit.calculation.course import EXPECTED, Sizes
from balancekit.calculation.keyboard import keyboard
from balancekit.calculation.weighing.weighing_knowledge import (
    READING_KINDS,
    UNKNOWNS,
    USUAL_ENDS,
    WeighingBasis,
    know,
    usual_basis,
)
from balancekit.calculation.weighing.weighing_plan import first_visit_plan

_SPREAD = 0.3
# Our own choice: sizes differ between the invented instruments by about a third.


def invented_bench(seed: int) -> WeighingBasis:
    """Invent how an instrument of 88 keys bends and scatters, and its usual values."""
    draw = np.random.default_rng(seed)
    sizes, usual = {}, {}
    for name in UNKNOWNS:
        one = EXPECTED[name]
        change, bend, step, scatter = np.exp(draw.normal(0, _SPREAD, 4))
        sizes[name] = Sizes(
            one.change * change, one.bend * bend, one.step * step, one.scatter * scatter
        )
        low, high = np.exp(draw.normal(0, 0.05, 2))
        usual[name] = (USUAL_ENDS[name][0] * low, USUAL_ENDS[name][1] * high)
    return usual_basis(keyboard(), sizes=sizes, usual=usual)


def compare_with_every_sixth(seeds: int = 50, nth: int = 6) -> pd.DataFrame:
    """Compare a plan with reading every sixth key, over invented instruments.

    Every sixth key from the first, and the last key, are read in full: without the last, the
    end of the keyboard would be known so badly that any plan would shine. The least known
    action ratio that
    this leaves becomes the goal of a plan, made for the same instrument with the same
    model. So both leave the same worst uncertainty, and the weighings are counted.

    Parameters
    ----------
    seeds : how many instruments.
    nth : 6 for every sixth key.

    Returns
    -------
    DataFrame by ``seed``: ``worst_u``, the standard uncertainty of the least known action
    ratio; ``every_nth``, ``planned`` and ``saved``, numbers of readings; ``keys_every_nth``
    and ``keys_planned``, numbers of keys; ``mean_u_every_nth`` and ``mean_u_planned``, the
    mean standard uncertainty over the keys. A plan that is only as good at the worst key
    knows the others less well: that is where it saves.
    """
    rows = []
    for seed in range(seeds):
        bench = invented_bench(seed)
        last = len(bench.keys) - 1
        in_full = {key: range(len(READING_KINDS)) for key in {*range(0, last, nth), last}}
        left = know(bench, in_full).ratio_u()
        worst = float(left.max())
        plan = first_visit_plan(bench, worst)
        read = len(in_full) * sum(len(kind) for kind in READING_KINDS)
        keys = plan.steps["key"].nunique()
        rows.append(
            (seed, worst, read, plan.readings, read - plan.readings, len(in_full), keys,
             float(left.mean()), float(plan.end_u.mean()))
        )  # fmt: skip
    columns = [
        "seed", "worst_u", "every_nth", "planned", "saved", "keys_every_nth", "keys_planned",
        "mean_u_every_nth", "mean_u_planned",
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=columns).set_index("seed")


def comparison_sentence(found: pd.DataFrame) -> str:
    """Say in a sentence what ``compare_with_every_sixth`` found."""
    low, middle, high = (round(x) for x in found["saved"].quantile([0.1, 0.5, 0.9]))
    return (
        f"Over {len(found)} invented instruments a plan reached the same worst uncertainty of the "
        f"action ratio with {found['planned'].median():.0f} readings (median) in place of "
        f"{found['every_nth'].median():.0f}: {middle} saved, {low} to {high} in 8 of 10. "
        f"The price: over all keys the mean uncertainty is "
        f"{found['mean_u_planned'].mean():.3f} in place of {found['mean_u_every_nth'].mean():.3f}."
    )
