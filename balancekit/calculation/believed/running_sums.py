"""A series of readings as it looks with a course of given size: every run of it at once.

With Q the inverse covariance of the readings, what is asked of a run h is h'Qy and h'Qh. Both are
differences of sums of Q that run from the first reading on, so all runs cost no more than one. Q
itself is never written out: the readings, the shapes of the course and the running ones are made
white by one triangular root, and the course is taken off by Woodbury's identity.

References
----------
Rasmussen and Williams, Gaussian Processes for Machine Learning (2006), A.3: Woodbury's identity
and the determinant lemma.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from balancekit.calculation.irregularities.trend_grid import Floats


@dataclass(frozen=True)
class White:
    """The readings made white by their errors and scatter, with courses of several sizes.

    Attributes
    ----------
    root : lower root of the covariance of errors and scatter, (n, n).
    values : white readings, (n,).
    shapes : white shapes of the course, (n, r).
    halves : lower root of what the shapes are known by, for each size of the course, (b, r, r).
    weight : log likelihood of the readings for each size, up to a constant, (b,).
    """

    root: Floats
    values: Floats
    shapes: Floats
    halves: Floats
    weight: Floats

    @classmethod
    def of(cls, cover: Floats, values: Floats, shapes: Floats, known: Floats) -> White:
        """Make readings white.

        Parameters
        ----------
        cover : covariance of errors and scatter, (n, n).
        values, shapes : readings (n,) and shapes of the course (n, r).
        known : one over the mean square of each shape, for each size of the course, (b, r).
        """
        root = scipy.linalg.cholesky(cover, lower=True, check_finite=False)
        both, _ = scipy.linalg.lapack.dtrtrs(root, np.column_stack([values, shapes]), lower=1)
        square = both.T @ both
        halves = np.linalg.cholesky(square[1:, 1:] + known[:, :, None] * np.eye(known.shape[1]))
        size = np.log(np.diagonal(root)).sum() - 0.5 * np.log(known).sum(axis=1)
        size = size + np.log(np.diagonal(halves, axis1=1, axis2=2)).sum(axis=1)
        course = np.linalg.solve(halves, np.broadcast_to(square[1:, :1], (*known.shape, 1)))
        fit = square[0, 0] - np.sum(course**2, axis=(1, 2))
        return cls(root, both[:, 0], both[:, 1:], halves, -size - 0.5 * fit)

    def running(self, sizes: NDArray[np.bool_]) -> list[Floats]:
        """Return the sums of Q, and of Qy behind them, for some sizes of the course.

        The first n + 1 rows and columns are sums over 0, 1 ... n readings, the last is y's.
        """
        count = len(self.values)
        sums, _ = scipy.linalg.lapack.dtrtrs(
            self.root, np.triu(np.ones((count, count + 1)), 1), lower=1
        )
        sums = np.column_stack([sums, self.values])
        whole, seen = sums.T @ sums, self.shapes.T @ sums
        found = []
        for half in self.halves[sizes]:
            course, _ = scipy.linalg.lapack.dtrtrs(half, seen, lower=1)
            found.append(whole - course.T @ course)
        return found


def steps_of(column: Floats) -> Floats:
    """Return z so that z'S is the sum of the rows of Q by a column h: h'Q, run along.

    >>> steps_of(np.array([0.0, 1.0, 1.0, 0.0]))
    array([ 0., -1.,  0.,  1.,  0.,  0.])
    """
    padded = np.pad(column, 1)
    result: Floats = np.pad(padded[:-1] - padded[1:], (0, 1))
    result[0] = 0.0
    return result


def of_some(running: Floats, readings: NDArray[np.intp]) -> Floats:
    """Return the sums that run over some of the readings only, for every point (G, ., .)."""
    count = len(readings)
    rows = running[:, readings + 1] - running[:, readings]
    result: Floats = np.zeros((len(running), count + 2, count + 2))
    inside = result[:, 1:-1, 1:-1]
    np.cumsum(rows[:, :, readings + 1] - rows[:, :, readings], axis=1, out=inside)
    np.cumsum(inside, axis=2, out=inside)
    np.cumsum(rows[:, :, -1], axis=1, out=result[:, 1:-1, -1])
    return result


def of_runs(sums: Floats, first: NDArray[np.intp], last: NDArray[np.intp]) -> tuple[Floats, Floats]:
    """Return h'Qy and h'Qh of many runs at one point, (R,) each."""
    count = len(sums) - 1
    at = first * count + last + 1
    pull, corner = sums[:-1, -1], np.diagonal(sums)[:-1]
    between = corner[:, None] + corner
    between -= 2 * sums[:-1, :-1]
    apart = pull - pull[:, None]
    return apart.ravel().take(at), np.maximum(between.ravel().take(at), 0.0)


def of_few(
    running: Floats, first: NDArray[np.intp], last: NDArray[np.intp]
) -> tuple[Floats, Floats]:
    """Return h'Qy and h'Qh of a few runs at every point, (G, R) each."""
    after = last + 1
    held = running[:, after, after] + running[:, first, first] - 2 * running[:, first, after]
    return running[:, after, -1] - running[:, first, -1], np.maximum(held, 0.0)
