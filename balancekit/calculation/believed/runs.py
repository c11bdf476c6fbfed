"""Runs of neighbouring keys: which there are, and the evidence that each is shifted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from balancekit.calculation.believed.running_sums import of_runs
from balancekit.calculation.course import Floats

FEWEST_KEYS = 3
"""Fewer keys than this are no group, but odd keys."""

PRICE = 3.5
# Our own choice: log of the odds against any group in one series. Chance alone reaches it in one
# series of 33 at most (Markov's inequality); tests/benchmarks/believed.py counts how often.

_AT_ONCE = 500
# So many runs at all points of the grid stay in the processor's own memory.


@dataclass(frozen=True)
class Run:
    """A run of keys, counted from 0.

    Attributes
    ----------
    first, last : places of its first and last key.
    sharps : whether only the sharps of the run belong to it.
    odds : log of the odds that there is such a group, over none.
    """

    first: int
    last: int
    sharps: bool
    odds: float

    @property
    def place(self) -> tuple[int, int, bool]:
        """Which keys belong to it."""
        return self.first, self.last, self.sharps

    def column(self, naturals: NDArray[np.bool_]) -> Floats:
        """Return 1 for every key of the group and 0 for the others."""
        places = np.arange(len(naturals))
        inside = (places >= self.first) & (places <= self.last)
        return np.asarray(inside & ~naturals if self.sharps else inside, dtype=float)


@lru_cache(maxsize=32)
def _pairs(count: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return first and last of every run of so many readings that leaves enough beside it."""
    first, last = np.triu_indices(count, FEWEST_KEYS - 1)
    enough = count - (last - first + 1) >= FEWEST_KEYS
    return first[enough], last[enough]


@dataclass(frozen=True)
class Look:
    """All runs of one series at once: R runs, G points of the grid.

    Attributes
    ----------
    first, last : the readings at which each begins and ends, (R,).
    evidence : log evidence for a shift, summed over the grid, (R,).
    sharps : whether only sharps belong to them.
    """

    first: NDArray[np.intp]
    last: NDArray[np.intp]
    evidence: Floats
    sharps: bool

    @classmethod
    def of(
        cls,
        running: Floats,
        share: Floats,
        shift: float,
        readings: NDArray[np.intp],
        sharps: bool = False,
    ) -> Look:
        """Work the evidence out, some runs at a time at all points of the grid.

        Parameters
        ----------
        running, share : sums over the readings, and weight, of every point; see ``running_sums``.
        shift : prior size of a shift.
        readings : which of the readings the sums run over.
        sharps : whether these are the sharps only.
        """
        first, last = _pairs(len(readings))
        evidence = np.empty(len(first))
        for begin in range(0, len(first), _AT_ONCE):
            some = slice(begin, begin + _AT_ONCE)
            pull, held = of_runs(running, first[some], last[some])
            wide = 1 + shift**2 * held
            grown = (0.5 * shift**2) * pull**2 / wide
            most = grown.max(axis=0)
            evidence[some] = most + np.log(share @ (np.exp(grown - most) / np.sqrt(wide)))
        return cls(readings[first], readings[last], evidence, sharps)

    @property
    def odds(self) -> float:
        """Log odds that any run is a group."""
        return odds_of(self.evidence)


def odds_of(evidence: Floats) -> float:
    """Return the log odds that any run is a group."""
    if not len(evidence) or not np.isfinite(most := float(evidence.max())):
        return -np.inf
    return most + float(np.log(np.exp(evidence - most).mean())) - PRICE


def columns(runs: Sequence[Run], naturals: NDArray[np.bool_]) -> Floats:
    """Return one column of 0 and 1 for each run, (K, runs)."""
    return np.column_stack([run.column(naturals) for run in runs] or [np.zeros((len(naturals), 0))])


def mostly_inside(one: Sequence[int], other: Sequence[int], whole: bool = False) -> bool:
    """Whether half of the shorter of two runs lies in the other; ``whole``: half of the longer.

    >>> mostly_inside((1, 10), (6, 40)), mostly_inside((1, 10), (6, 40), whole=True)
    (True, False)
    """
    shared = min(one[1], other[1]) - max(one[0], other[0]) + 1
    long = [each[1] - each[0] + 1 for each in (one, other)]
    return shared >= (max(long) if whole else min(long)) / 2
