"""A series of readings as it looks with a course of given size: every run of it at once.

With Q the inverse covariance of the readings, what is asked of a run h is h'Qy and h'Qh. Both are
differences of sums of Q that run from the first reading on, so all runs cost no more than one. Q
itself is never written out: the readings, the shapes of the course and the running ones are turned
to the axes of the errors, where a scatter of any size is only another divisor, and the course is
taken off by Woodbury's identity.

References
----------
Rasmussen and Williams, Gaussian Processes for Machine Learning (2006), A.3: Woodbury's identity
and the determinant lemma.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from balancekit.calculation.believed.expected_course import Axes
from balancekit.calculation.course import Floats


@dataclass(frozen=True)
class Turned:
    """Readings turned to the axes of their errors, with scatters and courses of several sizes.

    Attributes
    ----------
    both : the readings and behind them the shapes of the course, turned, (n, 1 + r).
    sums : sums of the first 0, 1 ... n readings, and behind them the readings, turned, (n, n + 2).
    divisors : one over error and scatter squared on each axis, for each scatter, (s, n).
    halves : lower root of what the shapes are known by, for each scatter and course, (s, b, r, r).
    weight : log likelihood of the readings, up to a constant, (s, b).
    """

    both: Floats
    sums: Floats
    divisors: Floats
    halves: Floats
    weight: Floats

    @classmethod
    def of(
        cls, errors: Axes, values: Floats, shapes: Floats, scatter: Floats, known: Floats
    ) -> Turned:
        """Turn readings.

        Parameters
        ----------
        errors : squares (n,) and axes (n, n) of the covariance of the weighing errors.
        values, shapes : readings (n,) and shapes of the course (n, r).
        scatter : sizes of the scatter, (s,).
        known : one over the mean square of each shape, for each size of the course, (b, r).
        """
        square, axes = errors
        both = axes.T @ np.column_stack([values, shapes])
        sums = np.column_stack([np.cumsum(np.pad(axes.T, ((0, 0), (1, 0))), axis=1), both[:, 0]])
        divisors: Floats = 1 / (np.maximum(square, 0.0) + scatter[:, None] ** 2)
        inner = (both.T * divisors[:, None, :]) @ both
        eye = np.eye(known.shape[1])
        seen: Floats = inner[:, None, 1:, 1:] + known[:, :, None] * eye
        halves = np.asarray(np.linalg.cholesky(seen), dtype=np.float64)
        course = np.linalg.solve(halves, inner[:, None, 1:, :1])
        size = -0.5 * np.log(divisors).sum(axis=1)[:, None] - 0.5 * np.log(known).sum(axis=1)
        size = size + np.log(np.diagonal(halves, axis1=2, axis2=3)).sum(axis=2)
        fit = inner[:, :1, 0] - np.sum(course**2, axis=(2, 3))
        return cls(both, sums, divisors, halves, -size - 0.5 * fit)

    def running(self, kept: NDArray[np.bool_]) -> Iterator[Floats]:
        """Return the sums of Q, and of Qy behind them, at the points (s, b) that are kept.

        The first n + 1 rows and columns are sums over 0, 1 ... n readings, the last is y's.
        """
        for divisors, halves, own in zip(self.divisors, self.halves, kept, strict=True):
            if own.any():
                white = self.sums * np.sqrt(divisors)[:, None]
                whole, seen = white.T @ white, (self.both[:, 1:].T * divisors) @ self.sums
                for course in np.linalg.inv(halves[own]) @ seen:
                    yield whole - course.T @ course


def steps_of(column: Floats) -> Floats:
    """Return z so that z'S is the sum of the rows of Q by a column h: h'Q, run along.

    >>> steps_of(np.array([0.0, 1.0, 1.0, 0.0]))
    array([ 0., -1.,  0.,  1.,  0.,  0.])
    """
    result: Floats = np.zeros(len(column) + 2)
    result[1:-1] = column
    result[1:-2] -= column[1:]
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


def of_runs(
    running: Floats, first: NDArray[np.intp], last: NDArray[np.intp]
) -> tuple[Floats, Floats]:
    """Return h'Qy and h'Qh of runs at every point, (G, R) each."""
    after = last + 1
    held = running[:, after, after] + running[:, first, first] - 2 * running[:, first, after]
    return running[:, after, -1] - running[:, first, -1], np.maximum(held, 0.0)
