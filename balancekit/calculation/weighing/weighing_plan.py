"""Which key to weigh next, so that the action ratio becomes known with fewest weighings.

A plan can be made beforehand, because what a weighing teaches does not depend on what the
scale will show; see ``weighing_knowledge``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import TypeAlias

import numpy as np
import pandas as pd

from balancekit.calculation.believed.one_series import as_read
from balancekit.calculation.course import Sizes
from balancekit.calculation.irregularities.trend import FEW, Trend
from balancekit.calculation.problems import refuse
from balancekit.calculation.quantities import QUANTITIES, uncertainty_name
from balancekit.calculation.weighing.weighing_knowledge import (
    AT_THE_KEY,
    READING_KINDS,
    UNKNOWNS,
    Knowledge,
    Weighed,
    WeighingBasis,
    know,
    usual_basis,
)

_CHOICES = tuple(
    choice
    for size in range(1, len(READING_KINDS) + 1)
    for choice in combinations(range(len(READING_KINDS)), size)
)

Step: TypeAlias = tuple[int, tuple[int, ...]]
"""A key, counted from 0, and the kinds of weighing done on it, by place in ``KINDS``."""

Begun: TypeAlias = Mapping[int, tuple[str, ...]]
"""Readings taken at the key where not all three were, by key counted from 0."""


@dataclass(frozen=True)
class WeighingPlan:
    """Which keys to weigh, in order, and what will be known.

    Attributes
    ----------
    steps : ``key``, ``quantities`` (names with commas between), ``readings`` (how many), and
        ``worst_u``, the largest standard uncertainty of an action ratio after the step.
    goal_u : wanted standard uncertainty of the action ratio of every key.
    start_u, end_u : standard uncertainty of the action ratio by key, before and after.
    reached : whether the goal is reached.
    remark : what to know about the plan, in a sentence or two.
    """

    steps: pd.DataFrame
    goal_u: float
    start_u: pd.Series
    end_u: pd.Series
    reached: bool
    remark: str

    @property
    def readings(self) -> int:
        """How many readings in all."""
        return int(self.steps["readings"].sum())


def first_visit_plan(bench: WeighingBasis, goal_u: float = 0.1) -> WeighingPlan:
    """Plan a first visit: few weighings after which every action ratio is known well enough.

    The key and the kinds of weighing that lower what lies above the goal most for each
    reading come first. At the end every weighing that can be spared is taken out again.

    Parameters
    ----------
    bench : from ``usual_bench``.
    goal_u : wanted standard uncertainty of the action ratio of each key. A 95 % band is
        about twice as wide to each side.

    Raises
    ------
    BalancekitError : a goal that is not above 0.
    """
    return _plan(bench, {}, {}, goal_u)


def weigh_next(
    table: pd.DataFrame, trends: Mapping[str, Trend], goal_u: float = 0.1
) -> WeighingPlan:
    """Plan what to weigh next, after what was weighed already.

    Parameters
    ----------
    table : the table of keys with readings and their uncertainties; what is named in its
        column ``estimated`` counts as not weighed.
    trends : from ``find_trends`` of the same table.
    goal_u : wanted standard uncertainty of the action ratio of each key.

    Returns
    -------
    plan whose first step is the next best key; no step if the goal is reached.

    Raises
    ------
    BalancekitError : a goal that is not above 0.
    """
    usual = usual_basis(table).usual
    sizes = dict(usual_basis(table).sizes)
    for name in UNKNOWNS:
        trend = trends.get(name)
        if trend is None:
            continue
        usual = {**usual, name: trend.trend.to_numpy()}
        if trend.count >= FEW:
            prior = sizes[name]
            sizes[name] = Sizes(prior.change, trend.bend, prior.step, trend.scatter)
    reading_u = {}
    for name in (*AT_THE_KEY, *UNKNOWNS[1:]):
        stated = table.loc[as_read(table, name).notna(), uncertainty_name(name)]
        reading_u[name] = float(
            stated.median() if len(stated) else QUANTITIES[name].reading_u or 0.0
        )
    weighed: dict[int, list[int]] = {}
    begun: dict[int, tuple[str, ...]] = {}
    names = (*AT_THE_KEY, *UNKNOWNS[1:])
    taken_at = pd.DataFrame({name: as_read(table, name).notna() for name in names})
    for row, (_, read) in enumerate(taken_at.iterrows()):
        taken = tuple(name for name in AT_THE_KEY if read[name])
        weighed[row] = [kind for kind, names in enumerate(READING_KINDS) if read[list(names)].all()]
        begun[row] = taken if len(taken) < len(AT_THE_KEY) else ()
    bench = WeighingBasis(table[["colour"]], usual, sizes, reading_u)
    return _plan(bench, weighed, begun, goal_u)


def _plan(bench: WeighingBasis, weighed: Weighed, begun: Begun, goal_u: float) -> WeighingPlan:
    if not goal_u > 0:
        raise refuse(f"The goal is {goal_u}.", "Give a standard uncertainty above 0, such as 0.1.")
    known = know(bench, weighed)
    done = {key: set(kinds) for key, kinds in weighed.items()}
    steps: list[Step] = []
    while known.ratio_u().max() > goal_u:
        step = _best_step(known, done, begun, goal_u)
        if step is None:
            break
        known.weigh(*step)
        done.setdefault(step[0], set()).update(step[1])
        steps.append(step)
    if steps:
        steps = _spare(bench, weighed, steps, goal_u)
    return _written(bench, weighed, begun, steps, goal_u)


def _cost(key: int, kinds: Sequence[int], begun: Begun) -> int:
    """How many readings some kinds of weighing take on a key."""
    return sum(len(READING_KINDS[kind]) for kind in kinds) - (
        len(begun.get(key, ())) if 0 in kinds else 0
    )


def _best_step(
    known: Knowledge, done: Mapping[int, set[int]], begun: Begun, goal_u: float
) -> Step | None:
    """The key and kinds that lower most, for each reading, what lies above the goal."""
    variance = known.ratio_u() ** 2
    above = np.maximum(variance - goal_u**2, 0.0).sum()
    best, most = None, 1e-9 * above
    for choice in _CHOICES:
        free = [k for k in range(len(variance)) if not done.get(k, set()).intersection(choice)]
        if not free:
            continue
        left = np.maximum(variance - known.learned(choice)[free] - goal_u**2, 0.0).sum(axis=1)
        gain = (above - left) / [_cost(key, choice, begun) for key in free]
        at = int(np.argmax(gain))
        if gain[at] > most:
            best, most = (free[at], choice), float(gain[at])
    return best


def _spare(bench: WeighingBasis, weighed: Weighed, steps: list[Step], goal_u: float) -> list[Step]:
    """Bring each key together, without what the goal is reached without, the last first."""
    rows = [(key, kind) for key, kinds in steps for kind in kinds]
    before = know(bench, weighed)
    seen, inside = before.seen(rows)
    start, kept = before.ratio_u() ** 2, list(range(len(rows)))
    for row in reversed(range(len(rows))):
        fewer = [k for k in kept if k != row]
        some = seen[:, fewer]
        learned = np.sum((some @ np.linalg.inv(inside[np.ix_(fewer, fewer)])) * some, axis=1)
        if (start - learned).max() <= goal_u**2:
            kept = fewer
    merged: dict[int, tuple[int, ...]] = {}
    for key, kind in (rows[k] for k in kept):
        merged[key] = (*merged.get(key, ()), kind)
    return [(key, tuple(sorted(kinds))) for key, kinds in merged.items()]


def _written(
    bench: WeighingBasis, weighed: Weighed, begun: Begun, steps: list[Step], goal_u: float
) -> WeighingPlan:
    """Write a plan down, step by step."""
    index, known = bench.keys.index, know(bench, weighed)
    start = known.ratio_u()
    rows = []
    for key, kinds in steps:
        known.weigh(key, kinds)
        names = [
            name for kind in kinds for name in READING_KINDS[kind] if name not in begun.get(key, ())
        ]
        worst = float(known.ratio_u().max())
        rows.append((int(index[key]), ", ".join(names), len(names), worst))
    end = known.ratio_u()
    reached = bool(end.max() <= goal_u * (1 + 1e-9))
    return WeighingPlan(
        pd.DataFrame(rows, columns=["key", "quantities", "readings", "worst_u"]), goal_u,
        pd.Series(start, index), pd.Series(end, index), reached,
        _remark(bench, goal_u, reached, float(end.max())),
    )  # fmt: skip


def _remark(bench: WeighingBasis, goal_u: float, reached: bool, worst: float) -> str:
    """Say what a goal asks for that cannot be had by weighing a few keys."""
    scatter = bench.sizes["action_ratio"].scatter
    if not reached:
        return (
            f"With every key weighed once the least known action ratio has a standard "
            f"uncertainty of {worst:.3f}, above the goal of {goal_u:g}. Repeat readings, or set "
            "a wider goal."
        )
    if goal_u <= scatter:
        return (
            f"The action ratio scatters by about {scatter:.2f} from key to key, no less than "
            "the goal, so every key must be weighed itself."
        )
    return ""
