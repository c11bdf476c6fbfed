"""How well each action ratio is known, from what is weighed on which key.

Action ratio, strike weight, wippen weight and key ratio of every key are unknowns, each
with the prior of ``course``. Weighing a part tells one of them. Down weight, up weight
and front weight together tell, by the balance equation, a sum of all four::

    balance weight + front weight
        = wippen weight x key ratio + strike weight x action ratio

Taken to first order this is linear, and how well each action ratio will be known depends
on what is weighed and how well, not on what the scale will show.

References
----------
JCGM 100:2008, 5.1.2 (first order). Rasmussen and Williams, Gaussian Processes for Machine
Learning (2006), 2.2 (what is known after readings) and A.3 (one more of them).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import pandas as pd

from balancekit.calculation.course import EXPECTED, Floats, Sizes, course_columns
from balancekit.calculation.quantities import QUANTITIES

UNKNOWNS = ("action_ratio", "strike_weight_g", "wippen_weight_g", "key_ratio")
AT_THE_KEY = ("down_weight_g", "up_weight_g", "front_weight_g")
"""Weighed at the key; only the three together tell of the action ratio."""

READING_KINDS: tuple[tuple[str, ...], ...] = (AT_THE_KEY, *((name,) for name in UNKNOWNS[1:]))
"""What is weighed in one go."""

USUAL_ENDS: dict[str, tuple[float, float]] = {
    "action_ratio": (5.7, 5.5),
    "strike_weight_g": (11.0, 6.0),
    "wippen_weight_g": (18.0, 18.0),
    "key_ratio": (0.5, 0.5),
}
"""Usual values at the first and last key, for a plan made before anything is weighed."""
# From memory.


Weighed: TypeAlias = Mapping[int, Sequence[int]]
"""Kinds of weighing done already, by key counted from 0."""


@dataclass(frozen=True)
class WeighingBasis:
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


def usual_basis(
    keys: pd.DataFrame,
    reading_u: Mapping[str, float] | None = None,
    sizes: Mapping[str, Sizes] | None = None,
    usual: Mapping[str, tuple[float, float]] | None = None,
) -> WeighingBasis:
    """Return what a plan stands on before anything is weighed.

    Parameters
    ----------
    keys : the keyboard, indexed by key, with ``colour``.
    reading_u : standard uncertainty of one reading; of the register where left out.
    sizes, usual : in place of ``EXPECTED`` and ``USUAL_ENDS``, for the unknowns named.
    """
    names = (*AT_THE_KEY, *UNKNOWNS[1:])
    ends = {**USUAL_ENDS, **(usual or {})}
    return WeighingBasis(
        keys,
        {name: np.linspace(*ends[name], len(keys)) for name in UNKNOWNS},
        {name: {**EXPECTED, **(sizes or {})}[name] for name in UNKNOWNS},
        {name: (reading_u or {}).get(name, QUANTITIES[name].reading_u or 0.0) for name in names},
    )


class Knowledge:
    """How well the four unknowns of every key are known: their covariance.

    ``cover`` has the shape (4, K, 4, K), unknown and key twice.
    """

    def __init__(self, bench: WeighingBasis) -> None:
        self.bench = bench
        count = len(bench.keys)
        naturals = (bench.keys["colour"] == "natural").to_numpy()
        self.cover = np.zeros((len(UNKNOWNS), count, len(UNKNOWNS), count))
        for row, name in enumerate(UNKNOWNS):
            size = bench.sizes[name]
            # The level is open: ten times the change over the keyboard.
            course = course_columns(naturals, size, 10 * size.change)
            self.cover[row, :, row, :] = course @ course.T + size.scatter**2 * np.eye(count)
        self.slopes, self.noise = self._kinds()

    def _kinds(self) -> tuple[Floats, Floats]:
        """Slopes of each kind of weighing by the unknowns, (K, kinds, 4), and its variance."""
        usual, u = self.bench.usual, self.bench.reading_u
        slopes = np.zeros((len(self.bench.keys), len(READING_KINDS), len(UNKNOWNS)))
        slopes[:, 0, :] = np.column_stack(
            [usual["strike_weight_g"], usual["action_ratio"], usual["key_ratio"],
             usual["wippen_weight_g"]]
        )  # fmt: skip
        for kind in range(1, len(READING_KINDS)):
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


def know(bench: WeighingBasis, weighed: Weighed) -> Knowledge:
    """Return how well the unknowns are known after some weighings."""
    known = Knowledge(bench)
    for key, kinds in weighed.items():
        if kinds:
            known.weigh(key, kinds)
    return known
