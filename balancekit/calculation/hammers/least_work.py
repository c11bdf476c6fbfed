"""The target curve that needs the least trimming and adding, and why there may be none.

The curve is the solution of a linear programme. Unknown are the target strike weight t
of each key, and the grams trimmed and added there. The least of::

    sum of trim_cost x trimmed + add_cost x added

is sought, so that the curve never rises, bends by no more than a bound, stays under the
ceiling, and no hammer is trimmed or added to by more than is allowed. Naturals and sharps
lie on one curve. HiGHS solves it to a proven optimum: its dual gives a lower bound on the
work, and the two agree.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import ceil
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
import scipy
from numpy.typing import NDArray
from scipy import sparse

from balancekit.calculation.inertia import Values, refuse_below
from balancekit.calculation.problems import BalancekitError, Problem, refuse
from balancekit.calculation.quantities import QUANTITIES
from balancekit.calculation.words import in_words

Numbers = NDArray[np.float64]

LOWEST_G = QUANTITIES["strike_weight_g"].minimum
"""No target lies below the least strike weight that is possible [g]."""

_SOLVED, _IMPOSSIBLE = 0, 2
"""What ``scipy.optimize.linprog`` reports."""


class Kind(NamedTuple):
    """A kind of bound: its name and its loosening in a sentence, digits after the point."""

    bound: str
    loosened: str
    decimals: int


_KINDS = {
    "bend": Kind("the bend allowed", "a bend at a key", 4),
    "falling": Kind("the falling", "a rise from one key to the next", 3),
    "ceiling": Kind("the ceiling", "targets", 2),
    "most_trimmed": Kind("the most that may be trimmed", "trimming", 2),
    "most_added": Kind("the most that may be added", "adding", 2),
}
"""The kinds of bound, by the name of the limit."""

_HIDDEN = 1e-7
# Feasibility tolerance of HiGHS: a smaller multiplier or relaxation is nothing.


@dataclass(frozen=True)
class CurveBounds:
    """What the target curve must keep to; each limit a float, or one value a key.

    Attributes
    ----------
    bend_g : most that the step from key to key may change at a key [g].
    most_trimmed_g, most_added_g : most that may come off or go on a hammer [g].
    ceiling_g : heaviest strike weight that can be carried [g]; infinite or missing for none.
    trim_cost, add_cost : work for one gram trimmed and one gram added, in any unit.
    """

    # The numbers are our own choice, where a slider starts.
    bend_g: Values = 0.02
    most_trimmed_g: Values = 1.0
    most_added_g: Values = 0.5
    ceiling_g: Values = float("inf")
    trim_cost: float = 1.0
    add_cost: float = 1.0

    def __post_init__(self) -> None:
        for label, value in (
            ("Bend allowed at a key (g)", self.bend_g),
            ("Most that may be trimmed (g)", self.most_trimmed_g),
            ("Most that may be added (g)", self.most_added_g),
        ):
            refuse_below(label, np.where(np.isposinf(value), 0.0, value), 0)
        refuse_below("Work for one gram trimmed", self.trim_cost, 0, above=True)
        refuse_below("Work for one gram added", self.add_cost, 0, above=True)


@dataclass(frozen=True)
class LeastWork:
    """A target curve, with the proof that no other needs less work.

    Attributes
    ----------
    target_g : target strike weight of each key [g].
    trimmed_g, added_g : what comes off and goes on, 0 or more; NaN at keys not weighed [g].
    work : trim_cost x grams trimmed + add_cost x grams added.
    least_possible : no curve within the bounds needs less than this (the dual optimum).
    """

    target_g: pd.Series
    trimmed_g: pd.Series
    added_g: pd.Series
    work: float
    least_possible: float


@dataclass(frozen=True)
class Relaxation:
    """The least by which one kind of bound alone must give way.

    Attributes
    ----------
    kind : one of ``_KINDS``.
    more_g : how much more must be allowed, rounded up [g].
    limit_g : the new limit, where the old one is the same at every key; else None [g].
    sentence : what to allow, in words.
    """

    kind: str
    more_g: float
    limit_g: float | None
    sentence: str


class BoundsContradict(BalancekitError):
    """No curve keeps all the bounds.

    Attributes
    ----------
    clashes : the worst clash: by kind of bound, the keys whose bounds together cannot hold.
    relaxations : for each kind of bound in it, the least that lifts every clash by that kind
        alone; a kind that cannot is not there.
    """

    def __init__(
        self, clashes: dict[str, tuple[int, ...]], relaxations: tuple[Relaxation, ...]
    ) -> None:
        self.clashes, self.relaxations = clashes, relaxations
        parts = "; ".join(f"{_KINDS[kind].bound} at {in_words(clashes[kind])}" for kind in clashes)
        ways = "; or ".join(relaxation.sentence for relaxation in relaxations)
        super().__init__(
            Problem(f"These bounds cannot all hold: {parts}.", f"{ways[:1].upper()}{ways[1:]}.")
        )


@dataclass(frozen=True)
class _Rows:
    """All bounds as rows: matrix x target <= limit, with the kind and key of each row."""

    matrix: Any
    limit: Numbers
    kind: NDArray[np.str_]
    key: NDArray[np.int64]


def per_key(value: Values, keys: pd.Index) -> Numbers:
    """Return one value a key from a float, an array in key order, or a Series by key.

    Raises
    ------
    BalancekitError : an array of another length.

    >>> per_key(2.0, pd.RangeIndex(1, 4)).tolist()
    [2.0, 2.0, 2.0]
    """
    if isinstance(value, pd.Series):
        return value.reindex(keys).to_numpy(dtype=float)
    array = np.asarray(value, dtype=float)
    if array.ndim and array.shape != (len(keys),):
        raise refuse(
            f"{array.size} values were given for {len(keys)} keys.",
            "Give one value for all keys, or one for each key.",
        )
    return np.broadcast_to(array, (len(keys),)).copy()


def _rows(strike_g: Numbers, bounds: CurveBounds, keys: pd.Index) -> _Rows:
    """Put all bounds but the lowest target into rows; a bound that is not there has no row."""
    n = len(keys)
    number = keys.to_numpy(dtype=np.int64)
    bend_g = per_key(bounds.bend_g, keys)[1:-1]
    blocks = (
        ("bend", bend_g, number[1:-1]),
        ("bend", bend_g, number[1:-1]),
        ("falling", np.zeros(n - 1), number[1:]),
        ("ceiling", per_key(bounds.ceiling_g, keys), number),
        ("most_trimmed", per_key(bounds.most_trimmed_g, keys) - strike_g, number),
        ("most_added", per_key(bounds.most_added_g, keys) + strike_g, number),
    )
    limit = np.concatenate([block[1] for block in blocks])
    there = np.isfinite(limit)
    return _Rows(
        _all_rows(n)[there],
        limit[there],
        np.concatenate([np.full(len(block[1]), block[0]) for block in blocks])[there],
        np.concatenate([block[2] for block in blocks])[there],
    )


@lru_cache(maxsize=8)
def _all_rows(n: int) -> Any:
    """Return the coefficients of every bound on n targets, in the order of ``_rows``."""
    one = sparse.eye_array(n, format="csr")
    step = one[1:] - one[:-1]
    bend = step[1:] - step[:-1]
    return sparse.vstack([bend, -bend, step, one, -one, one], format="csr")


@lru_cache(maxsize=8)
def _work_rows(n: int, weighed: tuple[int, ...]) -> Any:
    """Return the rows that keep trimmed and added at what each weighed hammer needs."""
    pick = sparse.eye_array(n, format="csr")[list(weighed)]
    unit = sparse.eye_array(len(weighed), format="csr")
    return sparse.block_array([[-pick, -unit, None], [pick, None, -unit]], format="csr")


def _solve(cost: Numbers, matrix: Any, limit: Numbers, lower: Numbers) -> Any:
    """Solve min cost x, matrix x <= limit, x >= lower; refuse any end but solved or impossible."""
    bounds = [(low, None) for low in lower.tolist()]
    result = scipy.optimize.linprog(cost, A_ub=matrix, b_ub=limit, bounds=bounds, method="highs")
    if result.status not in (_SOLVED, _IMPOSSIBLE):
        raise refuse(
            f"The least work was not found: {result.message}",
            "Check the strike weights and bounds for a number that is far too large.",
        )
    return result


def least_work(strike_weight_g: pd.Series, bounds: CurveBounds) -> LeastWork:
    """Find the smooth, falling curve that needs the least trimming and adding.

    Parameters
    ----------
    strike_weight_g : as found, indexed by every key in order [g]; NaN where not weighed.
    bounds : what the curve must keep to.

    Returns
    -------
    the curve with its proof; at a key that was not weighed it has a target and no work.

    Raises
    ------
    BoundsContradict : no curve keeps all bounds; says which, where, and what lifts it.
    BalancekitError : no key was weighed, an impossible strike weight, or a ceiling that is
        below every possible hammer.

    References
    ----------
    HiGHS, called through ``scipy.optimize.linprog``.

    >>> found = pd.Series([10.0, 9.9, 10.2, 9.7, 9.6], index=pd.RangeIndex(1, 6, name="key"))
    >>> result = least_work(found, CurveBounds(bend_g=0.0))
    >>> result.target_g.round(6).tolist(), round(result.work, 6)
    ([10.0, 9.9, 9.8, 9.7, 9.6], 0.4)
    """
    keys = strike_weight_g.index
    strike_g = strike_weight_g.to_numpy(dtype=float)
    _check(strike_g, bounds, keys)
    rows = _rows(strike_g, bounds, keys)
    weighed = np.flatnonzero(np.isfinite(strike_g))
    work_rows = _work_rows(len(keys), tuple(weighed.tolist()))
    narrow, shape = rows.matrix, (len(rows.limit), len(keys) + 2 * len(weighed))
    wide = sparse.csr_array((narrow.data, narrow.indices, narrow.indptr), shape=shape)
    matrix = sparse.vstack([wide, work_rows], format="csr")
    limit = np.concatenate([rows.limit, -strike_g[weighed], strike_g[weighed]])
    lower = np.concatenate([np.full(len(keys), LOWEST_G), np.zeros(2 * len(weighed))])
    cost = np.concatenate(
        [
            np.zeros(len(keys)),
            np.full(len(weighed), bounds.trim_cost),
            np.full(len(weighed), bounds.add_cost),
        ]
    )
    result = _solve(cost, matrix, limit, lower)
    if result.status == _IMPOSSIBLE:
        raise _contradiction(rows, bounds, keys)
    target = pd.Series(result.x[: len(keys)], index=keys, name="target_strike_weight_g")
    change = target.to_numpy() - strike_g
    return LeastWork(
        target,
        pd.Series(np.maximum(-change, 0.0), index=keys, name="trimmed_g"),
        pd.Series(np.maximum(change, 0.0), index=keys, name="added_g"),
        float(result.fun),
        float(limit @ result.ineqlin.marginals + lower @ result.lower.marginals),
    )


def _check(strike_g: Numbers, bounds: CurveBounds, keys: pd.Index) -> None:
    if not np.isfinite(strike_g).any():
        raise refuse("No strike weight was weighed.", "Weigh at least one hammer on its shank.")
    refuse_below("Strike weight (g)", strike_g, LOWEST_G)
    low = per_key(bounds.ceiling_g, keys)
    below = low < LOWEST_G
    if below.any():
        raise refuse(
            f"The ceiling is {low[below].min():.1f} g at {in_words(keys[below].tolist())}: "
            "no hammer is that light.",
            "Allow more front weight, spring relief or balance weight, or a lower ratio.",
        )


def _contradiction(rows: _Rows, bounds: CurveBounds, keys: pd.Index) -> BoundsContradict:
    """Find the bounds that clash worst, and what lifts every clash.

    Let every row give way by the same grams and seek the least of it. The multipliers y of
    the rows are then a certificate: the rows with y > 0, added up y times each, ask for more
    than the lowest targets allow, so that they alone have no solution (Farkas's lemma).
    """
    n, m = len(keys), len(rows.limit)
    lower = np.append(np.full(n, LOWEST_G), 0.0)
    least_give = np.append(np.zeros(n), 1.0)

    def give(gives: NDArray[np.bool_]) -> Any:
        loose = sparse.csr_array(-gives.astype(float)[:, None])
        matrix = sparse.hstack([rows.matrix, loose], format="csr")
        return _solve(least_give, matrix, rows.limit, lower)

    active = -give(np.full(m, True)).ineqlin.marginals > _HIDDEN
    clashes = {
        kind: tuple(sorted({int(key) for key in rows.key[active & (rows.kind == kind)]}))
        for kind in _KINDS
        if (active & (rows.kind == kind)).any()
    }
    relaxations = []
    for kind in clashes:
        single = give(rows.kind == kind)
        if single.status == _SOLVED:
            relaxations.append(_relaxation(kind, float(single.fun), bounds, keys))
    return BoundsContradict(clashes, tuple(relaxations))


def _relaxation(kind: str, more_g: float, bounds: CurveBounds, keys: pd.Index) -> Relaxation:
    _, word, decimals = _KINDS[kind]
    limits = np.zeros(1) if kind == "falling" else per_key(getattr(bounds, f"{kind}_g"), keys)
    known = limits[np.isfinite(limits)]
    fine = 10**decimals
    if known.size and np.ptp(known) == 0:
        old = float(known[0])
        new = ceil((old + more_g) * fine - _HIDDEN) / fine
        text = f"allow {word} up to {new:.{decimals}f} g instead of {old:g} g"
        return Relaxation(kind, new - old, new, text)
    more = ceil(more_g * fine - _HIDDEN) / fine
    return Relaxation(
        kind, more, None, f"allow {word} up to {more:.{decimals}f} g more than now at each key"
    )
