"""All quantities of all keys taken together: what the readings say of the true values.

Every quantity has a slow course, a step between naturals and sharps, shifts of its groups, and
each key's own deviation; see ``course``. Front, strike and wippen weight and key ratio are
read themselves, as is any other quantity that does not bear on the balance. Down and up weight are
read of the balance and the friction::

    down weight = balance weight + friction      up weight = balance weight - friction
    balance weight = wippen weight x key ratio + strike weight x action ratio
                     - front weight - spring relief

The balance equation is made linear about the current estimate, twice. All else is a joint
normal distribution, so what is read at one key tells of all quantities of all keys. Errors that
readings share, as drift or the correction of a scale, enter once: they make the weighing errors
of these readings depend on each other. So do errors that neighbours share; see ``groups``.

A key that stands out may be odd: its own deviation is then as wide as it needs, and its own
readings count for it. A reading that is a slip is left out, and the others tell of it.

References
----------
Rasmussen and Williams, Gaussian Processes for Machine Learning (2006), 2.2 and A.2.
JCGM 100:2008, 5.1.2, first order. West, Journal of the Royal Statistical Society B 46 (1984)
431, outliers as a mixture of a narrow and a wide normal; from memory.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import pandas as pd
import scipy
from numpy.typing import NDArray

from balancekit.calculation.balance import slopes_of, solve_for_balance_weight
from balancekit.calculation.believed.expected_course import neighbour_errors
from balancekit.calculation.believed.one_series import Course, as_read
from balancekit.calculation.believed.runs import Run, columns
from balancekit.calculation.believed.usual import Usual
from balancekit.calculation.course import (
    EXPECTED,
    Floats,
    course_columns,
    lines,
)
from balancekit.calculation.quantities import READING_COLUMNS, uncertainty_name

MODEL_PARTS = (
    "front_weight_g",
    "strike_weight_g",
    "wippen_weight_g",
    "key_ratio",
    "action_ratio",
    "friction_g",
    "spring_relief_g",
)
"""The true values of a key that vary on their own."""

SIGNS = {"down_weight_g": 1.0, "up_weight_g": -1.0}
"""How friction enters the two weights that are read."""

STANDS_OUT_AT = 3.6
"""Standard units beyond which a reading is not believed by the others."""
# Our own choice: a normal deviate exceeds 3.6 three times in 10,000, and a fault of 6 falls
# below 3.6 by chance 8 times in 1,000 (standard normal table).

ODD_SHARE, ODD_SIZE = 0.01, 5.0
# Our own choice: one key in a hundred is odd, with five times the usual scatter.

_HUNG = ("wippen_weight_g", "key_ratio", "strike_weight_g", "action_ratio")

_ROUNDS = 2
_USUAL_RATIO = 5.6
# From memory; only where the balance equation is first made linear.


@dataclass(frozen=True)
class Known:
    """What is known of the readings as a whole, before each of them counts.

    Attributes
    ----------
    courses : how much each series scatters and bends; what is expected where there is none.
    runs : keys that are shifted together, by quantity.
    shared : by reading, errors that its readings share, each a column (K, errors) of one
        standard deviation. Column for column they are the same errors in every reading.
    usual : what is usual in one's own shop, by quantity.
    off : by quantity, how far each key lies from what the other keys lead one to expect, and the
        standard uncertainty of that, (K,) each; NaN where nothing tells. Without it none is odd.
    slips : (key, quantity) of readings that are left out.
    leads_follow : whether every key was weighed off by its leads; see ``following_leads``.
    hung : whether the hammers hang on the keys, so that the balance equation holds; not in an
        upright.
    """

    courses: Mapping[str, Course] = field(default_factory=dict)
    runs: Mapping[str, Sequence[Run]] = field(default_factory=dict)
    shared: Mapping[str, Floats] = field(default_factory=dict)
    usual: Mapping[str, Usual] = field(default_factory=dict)
    off: Mapping[str, tuple[Floats, Floats]] = field(default_factory=dict)
    slips: Collection[tuple[int, str]] = ()
    leads_follow: bool = False
    hung: bool = True


@dataclass(frozen=True)
class Joint:
    """What the readings say of the true values, as a joint normal.

    Attributes
    ----------
    names : the quantities that are known, in the order in which they are stacked.
    mean, cover : mean (names x keys,) and covariance of their true values, stacked.
    shifts : mean and standard uncertainty of each group's shift, by quantity, in order.
    """

    names: tuple[str, ...]
    mean: Floats
    cover: Floats
    shifts: Mapping[str, tuple[tuple[float, float], ...]]


@dataclass
class Block:
    """One quantity: mean and covariance over its keys, its groups' shifts stacked behind.

    ``odd`` is how much more a key varies that is likelier odd than not, as a variance, (K,).
    ``shapes`` are those of course and groups, each of one standard deviation, (K + groups, shapes).
    """

    mean: Floats
    cover: Floats
    odd: Floats
    shapes: Floats


@dataclass(frozen=True)
class Rows:
    """The readings of one column: where, what, how sure, and the sign of friction in them."""

    name: str
    at: NDArray[np.intp]
    values: Floats
    noise: Floats
    sign: float = 0.0


class System:
    """All readings as rows of one linear system about all true values.

    Parameters
    ----------
    table : the table of keys as it was read, with the uncertainties of each reading alone.
    known : what is known of the readings as a whole.
    """

    def __init__(self, table: pd.DataFrame, known: Known) -> None:
        self.table, self.known = table, known
        self.count = len(table)
        read = {
            name: as_read(table, name).astype(float).copy()
            for name in READING_COLUMNS
            if name in EXPECTED and name in table
        }
        for key, name in known.slips:
            if name in read:
                read[name][key] = float("nan")
        spring = read["spring_relief_g"].nunique() > 1
        weights = bool((read["down_weight_g"].notna() | read["up_weight_g"].notna()).any())
        hung = known.hung and all(read[name].notna().any() for name in MODEL_PARTS[:4])
        self.lever = weights and hung
        names = [
            name for name, values in read.items()
            if name not in SIGNS and values.notna().any() and (spring or name != "spring_relief_g")
        ]  # fmt: skip
        names += ["action_ratio"] if self.lever else []
        names += ["friction_g"] if weights else []
        names += ["balance_weight_g"] if weights and not self.lever else []
        relief = np.asarray(read["spring_relief_g"].fillna(0.0), dtype=np.float64)
        self.relief: Floats = 0.0 * relief if spring else relief
        self.rows = [self._rows(name, read[name]) for name in read if name in names]
        if weights:
            self.rows += [self._rows(name, read[name], sign) for name, sign in SIGNS.items()]
        self.take_blocks({name: prior_of(name, table, known) for name in names})

    def take_blocks(self, blocks: Mapping[str, Block]) -> None:
        """Set the quantities that are known, each with what is expected of it."""
        self.blocks, self.names = blocks, list(blocks)
        sizes = [len(block.mean) for block in self.blocks.values()]
        self.start = dict(zip(self.names, np.cumsum([0, *sizes])[:-1], strict=True))
        none = np.zeros(0)
        self.prior = np.concatenate([none, *(block.mean for block in self.blocks.values())])
        self.cover: Floats = scipy.linalg.block_diag(*(b.cover for b in self.blocks.values()))

    def _rows(self, name: str, read: pd.Series, sign: float = 0.0) -> Rows:
        values = read.to_numpy(dtype=np.float64)
        at = np.flatnonzero(np.isfinite(values))
        spread = self.table[uncertainty_name(name)].to_numpy(dtype=np.float64)[at]
        course = self.known.courses.get("friction_g" if sign else name)
        noise = neighbour_errors(at, course.neighbours if course else 0.0)
        return Rows(name, at, values[at], noise * spread[:, None] * spread, sign)

    @cached_property
    def noise(self) -> Floats:
        """Covariance of all weighing errors, (n, n)."""
        total: Floats = scipy.linalg.block_diag(*(rows.noise for rows in self.rows))
        if self.known.shared:
            width = max(each.shape[1] for each in self.known.shared.values())
            none = np.zeros((self.count, width))
            common = np.vstack([self.known.shared.get(r.name, none)[r.at] for r in self.rows])
            total = total + common @ common.T
        return total

    def slopes(self, rows: Rows, parts: Mapping[str, Floats]) -> dict[str, Floats]:
        """Return how some readings move with each quantity of their key."""
        if not rows.sign:
            return {rows.name: np.ones(len(rows.at))}
        one = np.ones(self.count)
        by = balance_slopes(parts) if self.lever else {"balance_weight_g": one}
        by = {name: slope[rows.at] for name, slope in by.items() if name in self.start}
        return {**by, "friction_g": rows.sign * one[rows.at]}

    def parts(self, mean: Floats) -> dict[str, Floats]:
        """Take the stacked values apart, by quantity."""
        return {name: mean[at : at + self.count] for name, at in self.start.items()}

    def told(self, rows: Rows, parts: Mapping[str, Floats]) -> Floats:
        """Return what some readings would be for given true values."""
        if not rows.sign:
            return parts[rows.name][rows.at]
        if self.lever:
            held = solve_for_balance_weight(front_weight_g=parts["front_weight_g"],
                                            **self.hung(parts))  # fmt: skip
        else:
            held = parts["balance_weight_g"]
        result: Floats = (held + rows.sign * parts["friction_g"])[rows.at]
        return result

    def course(self, name: str, parts: Mapping[str, Floats]) -> tuple[Floats, dict[str, Floats]]:
        """Return a quantity of every key for given parts, and how it moves with each of them.

        Parameters
        ----------
        name : a reading, a part, or the balance weight, which is half the sum of the two weights.
        """
        if name != "balance_weight_g":
            rows = Rows(name, np.arange(self.count), np.zeros(0), np.zeros(0), SIGNS.get(name, 0.0))
            return self.told(rows, parts), self.slopes(rows, parts)
        down, up = (self.course(weight, parts) for weight in SIGNS)
        slopes = {part: (slope + up[1][part]) / 2 for part, slope in down[1].items()}
        return (down[0] + up[0]) / 2, slopes

    def hung(self, parts: Mapping[str, Floats]) -> dict[str, Floats]:
        """Return what the balance equation asks for beside front weight and balance weight."""
        relief = parts.get("spring_relief_g", 0.0) + self.relief
        return {**{name: parts[name] for name in _HUNG}, "spring_relief_g": relief}

    def begin(self) -> Floats:
        """Return where the balance equation is first made linear: at what each series tells."""
        mean = self.prior.copy()
        for name, at in self.start.items():
            course = self.known.courses.get(name)
            if course is not None and course.guess is not None:
                mean[at : at + self.count] = course.guess
        return mean

    def moves(self, about: Floats) -> scipy.sparse.csr_array:
        """Return how all readings move with all true values about these, (n, values)."""
        parts = self.parts(about)
        first = np.cumsum([0, *(len(rows.at) for rows in self.rows)])
        entries = [
            (slope, np.arange(len(rows.at)) + begin, self.start[name] + rows.at)
            for rows, begin in zip(self.rows, first[:-1], strict=True)
            for name, slope in self.slopes(rows, parts).items()
        ]
        slope, reading, value = (np.concatenate(each) for each in zip(*entries, strict=True))
        shape = (first[-1], len(self.prior))
        return scipy.sparse.csr_array((slope, (reading, value)), shape=shape)

    def linear(self, about: Floats) -> tuple[Floats, Floats, Floats]:
        """Return covariance of readings and values, of the readings, and what is left of these.

        Shapes (n, values), (n, n) and (n,).
        """
        parts, moves = self.parts(about), self.moves(about)
        across = moves @ self.cover
        total = moves @ across.T
        total += self.noise
        left = [rows.values - self.told(rows, parts) for rows in self.rows]
        return across, total, np.concatenate(left) + moves @ (about - self.prior)

    def rooted(self, about: Floats) -> tuple[Floats, Floats, Floats]:
        """Return as ``linear`` does, but the lower root of the readings' covariance."""
        across, total, left = self.linear(about)
        root, _ = scipy.linalg.cho_factor(total, lower=True, overwrite_a=True, check_finite=False)
        return across, root, left

    @cached_property
    def at_first(self) -> tuple[Floats, Floats, Floats]:
        """What ``rooted`` returns where the balance equation is first made linear."""
        return self.rooted(self.begin())

    def solve(self) -> Joint:
        """Learn from all readings at once."""
        if not self.names:
            return Joint((), np.zeros(0), np.zeros((0, 0)), {})
        mean = self.begin()
        for turn in range(_ROUNDS):
            across, root, left = self.rooted(mean) if turn else self.at_first
            held = scipy.linalg.cho_solve((root, True), left, check_finite=False)
            mean = self.prior + held @ across
        half = scipy.linalg.blas.dtrsm(
            1.0, root, across.T, side=1, lower=1, trans_a=1, overwrite_b=1
        )
        cover = half @ half.T
        return self._result(mean, np.subtract(self.cover, cover, out=cover))

    def _result(self, mean: Floats, cover: Floats) -> Joint:
        """Part the true values of the keys from the shifts of the groups."""
        shifts: dict[str, tuple[tuple[float, float], ...]] = {}
        for name, start in self.start.items():
            tail = range(start + self.count, start + len(self.blocks[name].mean))
            shifts[name] = tuple((float(mean[k]), float(cover[k, k] ** 0.5)) for k in tail)
            if name in self.known.courses:
                own = slice(start, start + self.count)
                cover[own, own] += self.known.courses[name].left_open
        at = np.concatenate([np.arange(s, s + self.count) for s in self.start.values()])
        return Joint(tuple(self.names), mean[at], cover[np.ix_(at, at)], shifts)


def prior_of(name: str, table: pd.DataFrame, known: Known) -> Block:
    """Return what is expected of a quantity before its readings, but for its sizes.

    Parameters
    ----------
    name, table, known : of what, on which keys, and what is known of them.
    """
    naturals = (table["colour"] == "natural").to_numpy()
    count, sizes = len(table), EXPECTED[name]
    middle, spread = _USUAL_RATIO, sizes.change
    read = as_read(table, name).dropna().to_numpy(dtype=float) if name in table else np.zeros(0)
    if name in known.courses:
        seen = known.courses[name]
        sizes = replace(sizes, scatter=seen.scatter, bend=seen.bend)
        read = read if seen.guess is None else seen.guess  # no slip makes the level wider
    if len(read):
        middle = float(np.median(read))
        spread += float(np.ptp(read))
    own = _odd(name, table.index, known, sizes.scatter) if known.off else np.ones(count)
    mean: Floats = np.full(count, middle)
    course = course_columns(naturals, sizes, 10 * spread)
    usual = known.usual.get(name)
    if usual is not None and usual.course is not None and usual.course_u is not None:
        mean, course[:, :3] = lines(naturals) @ usual.course, lines(naturals) * usual.course_u
    steps = columns(known.runs.get(name, ()), naturals)
    shift = sizes.step * np.eye(steps.shape[1])
    shapes = np.vstack([np.hstack([course, steps @ shift]),
                        np.hstack([np.zeros((len(shift), course.shape[1])), shift])])  # fmt: skip
    cover = shapes @ shapes.T
    cover[np.arange(count), np.arange(count)] += sizes.scatter**2 * own
    odd = np.where(own - 1 > (ODD_SIZE**2 - 1) / 2, sizes.scatter**2 * (own - 1), 0.0)
    return Block(np.concatenate([mean, np.zeros(len(shift))]), cover, odd, shapes)


def _odd(name: str, keys: pd.Index, known: Known, scatter: float) -> Floats:
    """Return by how much each key's own variance is larger than usual.

    A key that is far off what the others lead one to expect is as wide as it needs.
    """
    unread = np.full(len(keys), 1 + ODD_SHARE * (ODD_SIZE**2 - 1))
    if name not in known.off:
        return unread
    miss, miss_u = known.off[name]
    usual = np.maximum(miss_u**2, 1e-300)
    wide = usual + (ODD_SIZE**2 - 1) * scatter**2
    narrow = np.log1p(-ODD_SHARE) - 0.5 * (miss**2 / usual + np.log(usual))
    broad = np.log(ODD_SHARE) - 0.5 * (miss**2 / wide + np.log(wide))
    share = 1 / (1 + np.exp(np.clip(narrow - broad, -50, 50)))
    own = 1 + share * (ODD_SIZE**2 - 1)
    far = np.abs(miss) > STANDS_OUT_AT * miss_u
    own = np.where(far, np.maximum(own, miss**2 / max(scatter, 1e-12) ** 2), own)
    slipped = np.isin(keys, [key for key, what in known.slips if what != "friction_g"])
    return np.where(np.isfinite(miss) & ~slipped, own, unread)


def balance_slopes(parts: Mapping[str, Floats]) -> dict[str, Floats]:
    """Return how the balance weight moves with each part, by key."""
    count = len(parts["action_ratio"])
    slopes = slopes_of("balance_weight_g", parts)
    return {name: np.broadcast_to(np.asarray(slope), count) for name, slope in slopes.items()}
