"""All quantities of all keys taken together: what the readings say of the true values.

Every quantity has a slow course, a step between naturals and sharps, shifts of its groups, and
each key's own deviation; see ``trend_grid``. Front, strike and wippen weight and key ratio are
read themselves. Down and up weight are read of the balance and the friction::

    down weight = balance weight + friction      up weight = balance weight - friction
    balance weight = wippen weight x key ratio + strike weight x action ratio
                     - front weight - spring relief

The balance equation is made linear about the current estimate, twice. All else is a joint
normal distribution, so what is read at one key tells of all quantities of all keys.

A key that stands out may be odd: its own deviation is then as wide as it needs, and its own
readings count for it. A reading that is a slip is left out, and the others tell of it.

References
----------
Rasmussen and Williams, Gaussian Processes for Machine Learning (2006), 2.2 and A.2.
JCGM 100:2008, 5.1.2, first order. West, Journal of the Royal Statistical Society B 46 (1984)
431, outliers as a mixture of a narrow and a wide normal; from memory.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy
from numpy.typing import NDArray

from balancekit.calculation.believed.groups import columns
from balancekit.calculation.irregularities.trend import EXPECTED, Trend, as_read
from balancekit.calculation.irregularities.trend_grid import Floats, Sizes, bend_shapes, lines
from balancekit.calculation.quantities import uncertainty_name

PARTS = (
    "front_weight_g",
    "strike_weight_g",
    "wippen_weight_g",
    "key_ratio",
    "action_ratio",
    "friction_g",
    "spring_relief_g",
)
"""The true values of a key that vary on their own."""

ODD_SHARE, ODD_SIZE = 0.01, 5.0
# Our own choice: one key in a hundred is odd, with five times the usual scatter.

_ROUNDS = 3
_USUAL_RATIO = 5.6
# From memory; only where the balance equation is first made linear.


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
class _Block:
    """One quantity: mean and covariance over its keys, its groups' shifts stacked behind."""

    mean: Floats
    cover: Floats


def condition(
    table: pd.DataFrame,
    trends: Mapping[str, Trend],
    *,
    slips: Collection[tuple[int, str]] = (),
    shared: Mapping[str, Floats] | None = None,
) -> Joint:
    """Work out what the readings of an instrument say, all of them together.

    Parameters
    ----------
    table : the table of keys as it was read, with uncertainties.
    trends : of the series; they tell how much each scatters and bends, its groups, and which
        keys stand out.
    slips : (key, quantity) of readings that are left out.
    shared : by reading, errors that its readings share, each a column (K, errors) of one
        standard deviation; for example an offset of the scale.
    """
    keys = table.index
    read = {name: as_read(table, name).astype(float).copy() for name in (
        "down_weight_g", "up_weight_g", *PARTS[:4], "spring_relief_g")}  # fmt: skip
    for key, name in slips:
        if name in read:
            read[name][key] = float("nan")
    spoiled = {key for key, name in slips if name != "friction_g"}
    naturals = (table["colour"] == "natural").to_numpy()
    errors = shared or {}
    spring = "spring_relief_g" in trends
    lever = all(read[name].notna().any() for name in PARTS[:4]) and bool(
        (read["down_weight_g"].notna() | read["up_weight_g"].notna()).any()
    )
    names = [name for name in PARTS[:4] if read[name].notna().any()]
    names += ["action_ratio"] if lever else []
    names += ["spring_relief_g"] if spring else []
    weights = read["down_weight_g"].notna().any() or read["up_weight_g"].notna().any()
    names += ["friction_g"] if weights else []
    if weights and not lever:
        names.append("balance_weight_g")
    blocks = {name: _prior(name, keys, naturals, trends.get(name), spoiled) for name in names}
    for name in names:
        if name in read:
            noise = np.asarray(table[uncertainty_name(name)], dtype=np.float64) ** 2
            _read_itself(blocks[name], np.asarray(read[name]), noise, errors.get(name))
    given = read["spring_relief_g"].fillna(0.0)
    relief = np.asarray(0.0 * given if spring else given, dtype=np.float64)
    if weights:
        mean, cover = _read_weights(blocks, names, table, read, relief, errors, lever)
    elif names:
        mean, cover = _stacked(blocks, names)
    else:
        mean, cover = np.zeros(0), np.zeros((0, 0))
    return _result(names, blocks, mean, cover, len(keys))


def _prior(
    name: str,
    keys: pd.Index,
    naturals: NDArray[np.bool_],
    trend: Trend | None,
    spoiled: Collection[int],
) -> _Block:
    """Return what is expected of a quantity before its readings, but for its sizes."""
    count, sizes = len(keys), EXPECTED[name]
    middle, scatter, bend, spread = _USUAL_RATIO, sizes.scatter, sizes.bend, sizes.change
    steps = np.zeros((count, 0))
    own = np.full(count, 1 + ODD_SHARE * (ODD_SIZE**2 - 1))
    if trend is not None:
        middle = float(trend.reading.median())
        scatter = float(np.hypot(trend.scatter, trend.scatter_u))
        bend = float(np.hypot(trend.bend, trend.bend_u))
        spread += float(np.ptp(trend.reading.dropna()))
        steps = columns(trend.groups, naturals)
        own = _odd(trend, scatter, own, spoiled)
    places = (np.arange(count) - (count - 1) / 2) / max(count - 1, 1)
    wide = [10 * spread, *_line_sizes(sizes)]
    course = np.hstack([lines(places, naturals) * wide, bend * bend_shapes(count)])
    shift = sizes.step * np.eye(steps.shape[1])
    front = np.vstack([np.hstack([course, steps @ shift]),
                       np.hstack([np.zeros((len(shift), course.shape[1])), shift])])  # fmt: skip
    cover = front @ front.T
    cover[np.arange(count), np.arange(count)] += scatter**2 * own
    return _Block(np.concatenate([np.full(count, middle), np.zeros(len(shift))]), cover)


def _line_sizes(sizes: Sizes) -> tuple[float, float]:
    return sizes.change, sizes.step


def _odd(trend: Trend, scatter: float, unread: Floats, spoiled: Collection[int]) -> Floats:
    """Return by how much each key's own variance is larger than usual, for what was read."""
    miss = (trend.reading - trend.expected).to_numpy()
    usual = np.maximum(trend.expected_u.to_numpy() ** 2, 1e-300)
    wide = usual + (ODD_SIZE**2 - 1) * scatter**2
    narrow = np.log1p(-ODD_SHARE) - 0.5 * (miss**2 / usual + np.log(usual))
    broad = np.log(ODD_SHARE) - 0.5 * (miss**2 / wide + np.log(wide))
    share = 1 / (1 + np.exp(np.clip(narrow - broad, -50, 50)))
    own = 1 + share * (ODD_SIZE**2 - 1)
    aside = np.isin(trend.reading.index, [key for key in trend.set_aside if key not in spoiled])
    own = np.where(aside, np.maximum(own, miss**2 / max(scatter, 1e-12) ** 2), own)
    known = np.isfinite(miss)
    if trend.reading.index.isin(list(spoiled)).any():
        known = known & ~trend.reading.index.isin(list(spoiled))
    return np.where(known, own, unread)


def _read_itself(block: _Block, values: Floats, noise: Floats, errors: Floats | None) -> None:
    """Learn from readings of the quantity itself."""
    at = np.flatnonzero(np.isfinite(values))
    total = block.cover[np.ix_(at, at)] + np.diag(noise[at])
    if errors is not None:
        total += errors[at] @ errors[at].T
    seen = block.cover[:, at]
    gain = np.linalg.solve(total, seen.T).T
    block.mean = block.mean + gain @ (values[at] - block.mean[at])
    block.cover = block.cover - gain @ seen.T


def _stacked(blocks: Mapping[str, _Block], names: list[str]) -> tuple[Floats, Floats]:
    """Stack what is known of each quantity alone."""
    sizes = [len(blocks[name].mean) for name in names]
    mean, cover = np.concatenate([blocks[name].mean for name in names]), np.zeros((sum(sizes),) * 2)
    start = 0
    for name, size in zip(names, sizes, strict=True):
        cover[start : start + size, start : start + size] = blocks[name].cover
        start += size
    return mean, cover


def balance_slopes(parts: Mapping[str, Floats]) -> dict[str, Floats]:
    """Return how the balance weight moves with each part, by key."""
    one = np.ones(len(parts["action_ratio"]))
    return {
        "front_weight_g": -one, "spring_relief_g": -one,
        "wippen_weight_g": parts["key_ratio"], "key_ratio": parts["wippen_weight_g"],
        "strike_weight_g": parts["action_ratio"], "action_ratio": parts["strike_weight_g"],
    }  # fmt: skip


def _balance(parts: Mapping[str, Floats], relief: Floats) -> Floats:
    lifted = parts["wippen_weight_g"] * parts["key_ratio"]
    lifted = lifted + parts["strike_weight_g"] * parts["action_ratio"]
    return lifted - parts["front_weight_g"] - parts.get("spring_relief_g", 0.0) - relief


def _read_weights(
    blocks: Mapping[str, _Block],
    names: list[str],
    table: pd.DataFrame,
    read: Mapping[str, pd.Series],
    relief: Floats,
    errors: Mapping[str, Floats],
    lever: bool,
) -> tuple[Floats, Floats]:
    """Learn from down and up weight; return mean and covariance of all, stacked."""
    count = len(table)
    down, up = (read[name].to_numpy() for name in ("down_weight_g", "up_weight_g"))
    rows = [
        (name, np.flatnonzero(np.isfinite(values)), values, sign)
        for name, values, sign in (("down_weight_g", down, 1.0), ("up_weight_g", up, -1.0))
    ]
    values = np.concatenate([each[at] for _, at, each, _ in rows])
    noise = _noise(rows, table, errors)
    before, cover = _stacked(blocks, names)
    start = dict(zip(names, np.cumsum([0, *(len(blocks[n].mean) for n in names)]), strict=False))
    mean = before
    for _ in range(_ROUNDS):
        parts = {name: mean[at : at + count] for name, at in start.items()}
        slopes = balance_slopes(parts) if lever else {"balance_weight_g": np.ones(count)}
        slopes = {name: slope for name, slope in slopes.items() if name in start}
        seen, told = [], []
        for _, at, _, sign in rows:
            block = {name: blocks[name].cover[:, at] * slope[at] for name, slope in slopes.items()}
            block["friction_g"] = sign * blocks["friction_g"].cover[:, at]
            empty = {name: np.zeros((len(blocks[name].mean), len(at))) for name in names}
            seen.append(np.vstack([block.get(name, empty[name]) for name in names]))
            balance = _balance(parts, relief) if lever else parts["balance_weight_g"]
            was = {name: before[s : s + count] for name, s in start.items()}
            moved = sum((slopes[n] * (was[n] - parts[n]) for n in slopes), np.zeros(count))
            told.append((balance + moved + sign * was["friction_g"])[at])
        across = np.hstack(seen)
        inside = np.vstack([
            sum(slope[at, None] * across[start[n] + at] for n, slope in slopes.items())
            + sign * across[start["friction_g"] + at]
            for _, at, _, sign in rows
        ])  # fmt: skip
        root = np.linalg.cholesky((inside + inside.T) / 2 + noise)
        half = scipy.linalg.solve_triangular(root, across.T, lower=True)
        miss = values - np.concatenate(told)
        mean = before + half.T @ scipy.linalg.solve_triangular(root, miss, lower=True)
    return mean, cover - half.T @ half


def _noise(rows: list[tuple[str, NDArray[np.intp], Floats, float]], table: pd.DataFrame,
           errors: Mapping[str, Floats]) -> Floats:  # fmt: skip
    """Return the covariance of the weighing errors of down and up weight."""
    spread = [table[uncertainty_name(name)].to_numpy(dtype=float)[at] for name, at, _, _ in rows]
    noise = np.diag(np.concatenate(spread) ** 2)
    if errors:
        none = np.zeros((len(table), 0))
        common = np.vstack([errors.get(name, none)[at] for name, at, _, _ in rows])
        noise += common @ common.T
    return noise


def _result(
    names: list[str], blocks: Mapping[str, _Block], mean: Floats, cover: Floats, count: int
) -> Joint:
    """Part the true values of the keys from the shifts of the groups."""
    kept: list[NDArray[np.intp]] = []
    shifts: dict[str, tuple[tuple[float, float], ...]] = {}
    start = 0
    for name in names:
        size = len(blocks[name].mean)
        kept.append(np.arange(start, start + count))
        tail = range(start + count, start + size)
        shifts[name] = tuple((float(mean[k]), float(cover[k, k] ** 0.5)) for k in tail)
        start += size
    at = np.concatenate(kept) if kept else np.zeros(0, dtype=np.intp)
    return Joint(tuple(names), mean[at], cover[np.ix_(at, at)], shifts)
