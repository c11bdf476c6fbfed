"""Which key to weigh next, so that the action ratio becomes known with fewest weighings.

Action ratio, strike weight, wippen weight and key ratio of every key are unknowns, each
with the prior of ``trend_grid``. Weighing a part tells one of them. Down weight, up weight
and front weight together tell, by the balance equation, a sum of all four::

    balance weight + front weight
        = wippen weight x key ratio + strike weight x action ratio

Taken to first order this is linear, and how well each action ratio will be known depends
on what is weighed and how well, not on what the scale will show. So a plan can be made
beforehand.

References
----------
JCGM 100:2008, 5.1.2 (first order). Rasmussen and Williams, Gaussian Processes for Machine
Learning (2006), 2.2 (what is known after readings) and A.3 (one more of them).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import TypeAlias

import numpy as np
import pandas as pd

from balancekit.calculation.problems import refuse
from balancekit.calculation.quantities import QUANTITIES, uncertainty_name
from balancekit.calculation.trend import EXPECTED, FEW, Trend, fit_table
from balancekit.calculation.trend_grid import Floats, Sizes, bend_shapes, lines

UNKNOWNS = ("action_ratio", "strike_weight_g", "wippen_weight_g", "key_ratio")
AT_THE_KEY = ("down_weight_g", "up_weight_g", "front_weight_g")
"""Weighed at the key; only the three together tell of the action ratio."""

KINDS: tuple[tuple[str, ...], ...] = (AT_THE_KEY, *((name,) for name in UNKNOWNS[1:]))
"""What is weighed in one go."""

_CHOICES = tuple(
    choice for size in range(1, len(KINDS) + 1) for choice in combinations(range(len(KINDS)), size)
)

USUAL: dict[str, tuple[float, float]] = {
    "action_ratio": (5.7, 5.5),
    "strike_weight_g": (11.0, 6.0),
    "wippen_weight_g": (18.0, 18.0),
    "key_ratio": (0.5, 0.5),
}
"""Usual values at the first and last key, for a plan made before anything is weighed."""
# From memory.


Step: TypeAlias = tuple[int, tuple[int, ...]]
"""A key, counted from 0, and the kinds of weighing done on it, by place in ``KINDS``."""

Weighed: TypeAlias = Mapping[int, Sequence[int]]
"""Kinds of weighing done already, by key counted from 0."""

Begun: TypeAlias = Mapping[int, tuple[str, ...]]
"""Readings taken at the key where not all three were, by key counted from 0."""


@dataclass(frozen=True)
class Bench:
    """What a plan stands on.

    Attributes
    ----------
    keys : indexed by key, with ``colour``.
    usual : value of each unknown by key, about which the balance equation is made linear.
    sizes : how much each unknown changes, bends, steps and scatters.
    reading_u : standard uncertainty of one reading, by reading.
    """

    keys: pd.DataFrame
    usual: Mapping[str, Floats]
    sizes: Mapping[str, Sizes]
    reading_u: Mapping[str, float]


def usual_bench(
    keys: pd.DataFrame,
    reading_u: Mapping[str, float] | None = None,
    sizes: Mapping[str, Sizes] | None = None,
    usual: Mapping[str, tuple[float, float]] | None = None,
) -> Bench:
    """Return what a plan stands on before anything is weighed.

    Parameters
    ----------
    keys : the keyboard, indexed by key, with ``colour``.
    reading_u : standard uncertainty of one reading; of the register where left out.
    sizes, usual : in place of ``EXPECTED`` and ``USUAL``, for the unknowns named.
    """
    names = (*AT_THE_KEY, *UNKNOWNS[1:])
    ends = {**USUAL, **(usual or {})}
    return Bench(
        keys,
        {name: np.linspace(*ends[name], len(keys)) for name in UNKNOWNS},
        {name: {**EXPECTED, **(sizes or {})}[name] for name in UNKNOWNS},
        {name: (reading_u or {}).get(name, QUANTITIES[name].reading_u or 0.0) for name in names},
    )


class Knowledge:
    """How well the four unknowns of every key are known: their covariance.

    ``cover`` has the shape (4, K, 4, K), unknown and key twice.
    """

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        count = len(bench.keys)
        naturals = (bench.keys["colour"] == "natural").to_numpy()
        places = (np.arange(count) - (count - 1) / 2) / max(count - 1, 1)
        self.cover = np.zeros((len(UNKNOWNS), count, len(UNKNOWNS), count))
        for row, name in enumerate(UNKNOWNS):
            size = bench.sizes[name]
            # The level is open: ten times the change over the keyboard.
            line = lines(places, naturals) * [10 * size.change, size.change, size.step]
            bends = size.bend * bend_shapes(count)
            self.cover[row, :, row, :] = (
                line @ line.T + bends @ bends.T + size.scatter**2 * np.eye(count)
            )
        self.slopes, self.noise = self._kinds()

    def _kinds(self) -> tuple[Floats, Floats]:
        """Slopes of each kind of weighing by the unknowns, (K, kinds, 4), and its variance."""
        usual, u = self.bench.usual, self.bench.reading_u
        slopes = np.zeros((len(self.bench.keys), len(KINDS), len(UNKNOWNS)))
        slopes[:, 0, :] = np.column_stack(
            [usual["strike_weight_g"], usual["action_ratio"], usual["key_ratio"],
             usual["wippen_weight_g"]]
        )  # fmt: skip
        for kind in range(1, len(KINDS)):
            slopes[:, kind, kind] = 1.0
        half = (u["down_weight_g"] ** 2 + u["up_weight_g"] ** 2) / 4
        rest = [u[name] ** 2 for name in UNKNOWNS[1:]]
        return slopes, np.array([half + u["front_weight_g"] ** 2, *rest])

    def ratio_u(self) -> Floats:
        """Standard uncertainty of the action ratio of every key, (K,)."""
        result: Floats = np.sqrt(np.maximum(np.diagonal(self.cover[0, :, 0, :]), 0.0))
        return result

    def weigh(self, key: int, kinds: Sequence[int]) -> None:
        """Learn from some kinds of weighing on one key, counted from 0."""
        slopes = self.slopes[key, list(kinds)]
        seen = self.cover[:, :, :, key] @ slopes.T
        inside = slopes @ self.cover[:, key, :, key] @ slopes.T + np.diag(self.noise[list(kinds)])
        flat = seen.reshape(-1, len(kinds))
        self.cover -= (flat @ np.linalg.inv(inside) @ flat.T).reshape(self.cover.shape)

    def seen(self, rows: Sequence[tuple[int, int]]) -> tuple[Floats, Floats]:
        """Covariance of the action ratios with some weighings, (K, n), and among these, (n, n).

        Parameters
        ----------
        rows : key counted from 0 and kind of each weighing.
        """
        keys, kinds = (list(each) for each in zip(*rows, strict=True))
        slopes = self.slopes[keys, kinds]
        by_all = np.einsum("akbn,nb->akn", self.cover[:, :, :, keys], slopes)
        inside = np.einsum("ma,amn->mn", slopes, by_all[:, keys, :])
        return by_all[0], inside + np.diag(self.noise[kinds])

    def learned(self, kinds: Sequence[int]) -> Floats:
        """Variance that each action ratio would lose by weighing each key, (weighed, K)."""
        slopes = self.slopes[:, list(kinds)]
        count = len(slopes)
        own = self.cover[:, np.arange(count), :, np.arange(count)]
        inside = slopes @ own @ np.swapaxes(slopes, 1, 2) + np.diag(self.noise[list(kinds)])
        seen = np.einsum("kbj,jmb->jkm", self.cover[0], slopes)
        result: Floats = np.sum((seen @ np.linalg.inv(inside)) * seen, axis=2)
        return result


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


def first_visit_plan(bench: Bench, goal_u: float = 0.1) -> WeighingPlan:
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
    return _plan(bench, {}, {}, goal_u, spare=True)


def weigh_next(
    table: pd.DataFrame, goal_u: float = 0.1, trends: Mapping[str, Trend] | None = None
) -> WeighingPlan:
    """Plan what to weigh next, after what was weighed already.

    Parameters
    ----------
    table : the table of keys with readings and their uncertainties, as weighed: gaps not filled.
    goal_u : wanted standard uncertainty of the action ratio of each key.
    trends : from ``fit_table`` of the same table, if at hand; fitted here if not.

    Returns
    -------
    plan whose first step is the next best key; no step if the goal is reached.

    Raises
    ------
    BalancekitError : a goal that is not above 0.
    """
    fitted = fit_table(table) if trends is None else trends
    usual = usual_bench(table).usual
    sizes = dict(usual_bench(table).sizes)
    for name in UNKNOWNS:
        trend = fitted.get(name)
        if trend is None:
            continue
        usual = {**usual, name: trend.trend.to_numpy()}
        if trend.count >= FEW:
            prior = sizes[name]
            sizes[name] = Sizes(prior.change, trend.bend, prior.step, trend.scatter)
    reading_u = {}
    for name in (*AT_THE_KEY, *UNKNOWNS[1:]):
        stated = table.loc[table[name].notna(), uncertainty_name(name)]
        reading_u[name] = float(
            stated.median() if len(stated) else QUANTITIES[name].reading_u or 0.0
        )
    weighed: dict[int, list[int]] = {}
    begun: dict[int, tuple[str, ...]] = {}
    for row, (_, read) in enumerate(table.notna().iterrows()):
        taken = tuple(name for name in AT_THE_KEY if read[name])
        weighed[row] = [kind for kind, names in enumerate(KINDS) if read[list(names)].all()]
        begun[row] = taken if len(taken) < len(AT_THE_KEY) else ()
    bench = Bench(table[["colour"]], usual, sizes, reading_u)
    return _plan(bench, weighed, begun, goal_u, spare=False)


def _plan(
    bench: Bench, weighed: Weighed, begun: Begun, goal_u: float, *, spare: bool
) -> WeighingPlan:
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
    if spare and known.ratio_u().max() <= goal_u:
        steps = _spare(bench, steps, goal_u)
    return _written(bench, weighed, begun, steps, goal_u)


def know(bench: Bench, weighed: Weighed) -> Knowledge:
    """Return how well the unknowns are known after some weighings."""
    known = Knowledge(bench)
    for key, kinds in weighed.items():
        if kinds:
            known.weigh(key, kinds)
    return known


def _cost(key: int, kinds: Sequence[int], begun: Begun) -> int:
    """How many readings some kinds of weighing take on a key."""
    return sum(len(KINDS[kind]) for kind in kinds) - (len(begun.get(key, ())) if 0 in kinds else 0)


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


def _spare(bench: Bench, steps: list[Step], goal_u: float) -> list[Step]:
    """Take out every kind of weighing without which the goal is reached too, the last first."""
    rows = [(key, kind) for key, kinds in steps for kind in kinds]
    before = Knowledge(bench)
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
    bench: Bench, weighed: Weighed, begun: Begun, steps: list[Step], goal_u: float
) -> WeighingPlan:
    """Write a plan down, step by step."""
    index, known = bench.keys.index, know(bench, weighed)
    start = known.ratio_u()
    rows = []
    for key, kinds in steps:
        known.weigh(key, kinds)
        names = [name for kind in kinds for name in KINDS[kind] if name not in begun.get(key, ())]
        worst = float(known.ratio_u().max())
        rows.append((int(index[key]), ", ".join(names), len(names), worst))
    end = known.ratio_u()
    reached = bool(end.max() <= goal_u * (1 + 1e-9))
    return WeighingPlan(
        pd.DataFrame(rows, columns=["key", "quantities", "readings", "worst_u"]), goal_u,
        pd.Series(start, index), pd.Series(end, index), reached,
        _remark(bench, goal_u, reached, float(end.max())),
    )  # fmt: skip


def _remark(bench: Bench, goal_u: float, reached: bool, worst: float) -> str:
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
