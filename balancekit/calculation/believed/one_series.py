"""One series by itself: how it runs, scatters and bends, before all readings are taken together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy

from balancekit.calculation.believed.expected_course import neighbour_errors
from balancekit.calculation.believed.runs import columns
from balancekit.calculation.believed.search import Search
from balancekit.calculation.course import Floats, Sizes, course_columns

_CHANCE = 3.84
# Chi square with one degree of freedom exceeds it in 5 of 100 (standard table).


@dataclass(frozen=True)
class Course:
    """How much one series scatters and bends, and how far its errors are those of neighbours.

    Attributes
    ----------
    scatter, bend : root mean squares of what the readings leave open.
    neighbours : part of the weighing errors' variance that neighbouring keys share.
    left_open : covariance of the keys' true values because these sizes are open, (K, K).
    scatter_told : log likelihood of the scatter by itself; see ``usual.UsualEvidence``.
    scatter_u : standard uncertainty of the scatter, what is usual of it counted in.
    guess, guess_u : what this series by itself tells of the true values, (K,).
    """

    scatter: float
    bend: float
    neighbours: float
    left_open: Floats | float = 0.0
    scatter_told: Sequence[float] | Floats = ()
    scatter_u: float = 0.0
    guess: Floats | None = None
    guess_u: Floats | None = None

    @property
    def scatter_shows(self) -> bool:
        """Whether the readings by themselves tell the scatter from none.

        They do where twice the log likelihood falls by more than what chance exceeds in 5 of 100
        (chi square, one degree of freedom: 3.84).
        """
        told = np.asarray(self.scatter_told)
        return bool(len(told)) and 2 * float(told.max() - told[0]) > _CHANCE


def course_of(search: Search) -> Course:
    """Return the course of a series, with the groups that were found in it.

    The guess is that of a Gaussian process with these sizes (Rasmussen and Williams, 2.3); far
    readings are brought near their neighbours first, so that none draws it away.
    """
    scatter, bend, neighbours, scatter_u = search.mixed()
    expected, at = search.expected, search.where
    sizes = Sizes(expected.change, bend, expected.step, scatter)
    level = 10 * (float(np.ptp(search.values)) + expected.change)
    steps = expected.step * columns(search.runs, search.naturals)
    shapes = np.hstack([course_columns(search.naturals, sizes, level), steps])
    middle = float(np.median(search.values))
    true = shapes @ shapes.T + scatter**2 * np.eye(len(shapes))
    each = np.sqrt(search.noise)
    noise = neighbour_errors(at, neighbours) * each[:, None] * each
    total = true[np.ix_(at, at)] + noise + 1e-9 * scatter**2 * np.eye(len(at))
    root = scipy.linalg.cholesky(total, lower=True)
    drawn = scipy.linalg.solve_triangular(root, true[at], lower=True)
    off = scipy.linalg.solve_triangular(root, search.values - middle, lower=True)
    left = np.diagonal(true) - np.sum(drawn**2, axis=0)
    return Course(
        scatter, bend, neighbours, search.left_open(), search.scatter_told(), scatter_u,
        middle + search.middle + off @ drawn, np.sqrt(np.maximum(left, 0.0)),
    )  # fmt: skip


def as_read(table: pd.DataFrame, name: str) -> pd.Series:
    """Return a column of the table of keys without what was estimated in it.

    >>> table = pd.DataFrame({"key_ratio": [0.5, 0.51], "estimated": ["", "key_ratio"]})
    >>> as_read(table, "key_ratio").tolist()
    [0.5, nan]
    """
    column: pd.Series = table[name]
    if "estimated" in table and (table["estimated"].to_numpy() != "").any():
        estimated = [name in str(words).split(", ") for words in table["estimated"]]
        column = column.where(~np.array(estimated, dtype=bool))
    return column
