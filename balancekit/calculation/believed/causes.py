"""What is off: one reading, or one part of the piano, that all other readings do not believe.

A down weight that is misread by 5 g moves friction and balance weight by 2.5 g each, and neither
alone stands out. Taken together they do: with Q the inverse covariance of all readings, r what is
left of them over the model, and h the pattern of one cause, a cause of free size explains::

    gain = (h'Qr)^2 / h'Qh        its size = h'Qr / h'Qh

For one misread reading h is 1 at that reading; the root of the gain is then its distance from what
all other readings lead one to expect, in standard units. A real peculiarity of the key has a
pattern too: a tight centre moves down and up weight apart. Whichever explains most is taken, then
the next, each beside those before: Q and Qr lose what the cause explains::

    Q - Qhh'Q / h'Qh              Qr - Qh (h'Qr) / h'Qh

References
----------
Cook and Weisberg, Residuals and Influence in Regression (1982), 2.2.2: the mean shift outlier
model; from memory. Rasmussen and Williams, Gaussian Processes for Machine Learning (2006), 5.4.2.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import scipy
from numpy.typing import NDArray

from balancekit.calculation.believed.expected_course import MOST_FAR
from balancekit.calculation.believed.following_leads import ways
from balancekit.calculation.believed.joint import STANDS_OUT_AT, System
from balancekit.calculation.course import Floats

MISREAD_BEYOND = {"down_weight_g": 3.3, "up_weight_g": 3.3}
"""Standard units beyond which all other readings together do not believe one, by column."""
# Our own choice: beyond it lie 10 of 10,000 by chance (standard normal table). What is set by hand
# is misread most easily.

_LEAST = 1e-6
# A cause that so little of its first strength is left of is the same as one that was taken.

_SAME = 1e-6
# Standard units within which two causes explain a key alike: the reading is then believed.


@dataclass(frozen=True)
class Cause:
    """One cause of what is off on a key.

    Attributes
    ----------
    name : the reading that is wrong, or the quantity that really is so.
    misread : whether it is a reading that is wrong.
    pattern : how far it moves each reading of its key for a size of 1, (n,).
    """

    name: str
    misread: bool
    pattern: Floats

    @property
    def beyond(self) -> float:
        """Standard units from which on it is said."""
        return _said_beyond(self.name, self.misread)


def _said_beyond(name: str, misread: bool) -> float:
    return MISREAD_BEYOND.get(name, STANDS_OUT_AT) if misread else STANDS_OUT_AT


@dataclass(frozen=True)
class KeyEvidence:
    """The readings of one key, held against those of all other keys.

    Attributes
    ----------
    names : the readings, (n,).
    off : how far each lies from what the other keys lead one to expect, in its unit, (n,).
    inverse : inverse covariance of that, (n, n).
    causes : what may be the matter; real ones first.
    """

    names: tuple[str, ...]
    off: Floats
    inverse: Floats
    causes: tuple[Cause, ...] = ()

    @property
    def squares(self) -> float:
        """How much there is to be explained, in squares of standard units."""
        return float(self.off @ self.inverse @ self.off)

    def explained(self) -> tuple[Cause, float, float] | None:
        """Return the cause that explains most, its size in its unit, and in standard units."""
        left, best = self.inverse @ self.off, None
        for cause in self.causes:
            held = float(cause.pattern @ self.inverse @ cause.pattern)
            pull = float(cause.pattern @ left)
            if held <= 1e-9 * float(cause.pattern**2 @ np.diagonal(self.inverse)):
                continue
            units = pull / held**0.5
            if best is None or abs(units) > abs(best[2]) + _SAME:
                best = cause, pull / held, units
        return best

    def with_read(self, more: Mapping[str, float]) -> KeyEvidence:
        """Return it with some readings larger by so much."""
        return replace(self, off=self.off + [more.get(name, 0.0) for name in self.names])

    def beside(self, cause: Cause) -> KeyEvidence:
        """Return what is left beside a cause."""
        lean = self.inverse @ cause.pattern
        held = float(cause.pattern @ lean)
        rest = tuple(each for each in self.causes if each is not cause)
        size = float(lean @ self.off) / held
        return KeyEvidence(self.names, self.off - size * cause.pattern,
                           self.inverse - np.outer(lean, lean) / held, rest)  # fmt: skip

    def of(self, sums: Sequence[Mapping[str, float]]) -> Floats:
        """Return how far sums of the readings are off, and their standard uncertainties, (2, m).

        Parameters
        ----------
        sums : by reading, how often it is counted; NaN comes back where one was not read.
        """
        by = np.array([
            [each.get(name, 0.0) if {*each} <= {*self.names} else np.nan for name in self.names]
            for each in sums
        ])  # fmt: skip
        square = np.sum((by @ np.linalg.inv(self.inverse)) * by, axis=1)
        return np.array([by @ self.off, np.sqrt(np.maximum(square, 0.0))])


@dataclass(frozen=True)
class Patterns:
    """Everything that may be the matter, real causes before misread readings; C causes.

    Attributes
    ----------
    names, misread : see ``Cause``, (C,).
    rows, weights : the readings that each moves, and how far, (C, 3); a weight of 0 fills up.
    beyond : standard units from which on each is said, (C,).
    """

    names: list[str]
    misread: NDArray[np.bool_]
    rows: NDArray[np.intp]
    weights: Floats
    beyond: Floats

    @classmethod
    def of(cls, system: System) -> Patterns:
        """Return what each part of each key moves, where it moves anything, and each reading."""
        moves = system.moves(system.begin()).tocsc()
        told, count = [rows.name for rows in system.rows for _ in rows.at], moves.shape[0]
        names: list[str] = []
        rows, weights = np.zeros((0, 3), dtype=np.intp), np.zeros((0, 3))
        for name, at in system.start.items():
            first, last = moves.indptr[at : at + system.count], moves.indptr[at + 1 :]
            size = last[: system.count] - first
            place = first[size > 0, None] + np.arange(3)
            inside = np.arange(3) < size[size > 0, None]
            place = np.where(inside, place, first[size > 0, None])
            rows = np.vstack([rows, moves.indices[place]])
            weights = np.vstack([weights, np.where(inside, moves.data[place], 0.0)])
            names += [name] * len(place)
        alone = np.column_stack([np.arange(count)] * 3)
        misread = np.arange(len(names) + count) >= len(names)
        names += told
        beyond = [_said_beyond(name, wrong) for name, wrong in zip(names, misread, strict=True)]
        return cls(names, misread, np.vstack([rows, alone]),
                   np.vstack([weights, np.ones((count, 3)) * [1.0, 0.0, 0.0]]),
                   np.array(beyond))  # fmt: skip

    def held(self, inverse: Floats) -> Floats:
        """Return h'Qh of every cause, (C,)."""
        inside = inverse[self.rows[:, :, None], self.rows[:, None, :]]
        return np.asarray(np.einsum("cw,cwv,cv->c", self.weights, inside, self.weights))

    def pull(self, left: Floats) -> Floats:
        """Return h'Qr of every cause, (C,)."""
        return np.asarray(np.sum(self.weights * left[self.rows], axis=1))

    def column(self, cause: int, count: int) -> Floats:
        """Return how far one cause moves each of so many readings, (count,)."""
        moved: Floats = np.zeros(count)
        np.add.at(moved, self.rows[cause], self.weights[cause])
        return moved


@dataclass(frozen=True)
class Readings:
    """All readings, held against each other, beside the causes of what is off.

    Attributes
    ----------
    system : what they are readings of.
    at, names : key, counted from 0, and column of each reading, (n,).
    patterns : what may be the matter.
    whole, whole_left : inverse covariance Q, and Qr, beside no cause, (n, n) and (n,).
    inverse, left : the same beside all causes that were taken.
    taken : how far each of these moves the readings, (n, causes); ``keys`` are their keys.
    density : log density of the readings beside them, but for what no system changes.
    """

    system: System
    at: NDArray[np.intp]
    names: list[str]
    patterns: Patterns
    whole: Floats
    whole_left: Floats
    inverse: Floats
    left: Floats
    taken: Floats
    keys: tuple[int, ...]
    density: float

    @classmethod
    def of(cls, system: System, patterns: Patterns) -> Readings:
        """Hold the readings of a system against each other, and take what is off."""
        _, root, left = system.at_first
        half, _ = scipy.linalg.lapack.dpotri(root, lower=1)
        whole: Floats = np.where(np.tri(len(half), dtype=bool), half, half.T)
        whole_left = whole @ left
        at = np.concatenate([rows.at for rows in system.rows])
        names = patterns.names[-len(at) :]
        inverse, rest = whole.copy(), whole_left.copy()
        taken: list[Floats] = []
        keys: list[int] = []
        density = -0.5 * float(left @ whole_left) - float(np.log(np.diagonal(root)).sum())
        places, least = at[patterns.rows[:, 0]], _LEAST * patterns.held(whole)
        most = MOST_FAR * len(np.unique(at))
        while len({*keys}) < most:
            held, pull = patterns.held(inverse), patterns.pull(rest)
            units = np.abs(pull) / np.sqrt(np.where(held > least, held, np.inf))
            far = units / patterns.beyond
            if far.max() <= 1:
                break
            own = np.flatnonzero(places == places[int(np.argmax(far))])
            best = int(own[np.argmax(units[own])])
            pattern = patterns.column(best, len(at))
            lean = inverse @ pattern
            density += 0.5 * float(pull[best] ** 2 / held[best] - np.log(held[best]))
            rest = rest - lean * (pull[best] / held[best])
            inverse -= np.outer(lean, lean) / held[best]
            taken.append(pattern)
            keys.append(int(places[best]))
        columns = np.array(taken).T if taken else np.zeros((len(at), 0))
        return cls(system, at, names, patterns, whole, whole_left, inverse, rest, columns,
                   tuple(keys), density)  # fmt: skip

    def units(self) -> Floats:
        """Standard units between each reading and what all others lead one to expect, (n,)."""
        result: Floats = self.whole_left / np.sqrt(np.diagonal(self.whole))
        return result

    def beyond(self) -> Floats:
        """Return from how many standard units on each reading is doubted, (n,)."""
        return self.patterns.beyond[self.patterns.misread]

    def told_apart(self, share: float = 0.8) -> Floats:
        """Return how far each reading must be off to be doubted with this probability, (n,).

        It is the information limit: the best that any method can do with these readings, if it
        doubts as few clean ones.
        """
        reach = self.beyond() + float(scipy.special.ndtri(share))
        result: Floats = reach / np.sqrt(np.diagonal(self.whole))
        return result

    @cached_property
    def by_key(self) -> dict[int, KeyEvidence]:
        """Each key that was read, counted from 0, held against the others beside their causes."""
        found = {}
        for place in np.unique(self.at).tolist():
            own = np.flatnonzero(self.at == place)
            if place in self.keys:
                others = self.taken[:, [key != place for key in self.keys]]
                inverse, left = _beside(self.whole, self.whole_left, others, own)
            else:
                inverse, left = self.inverse[np.ix_(own, own)], self.left[own]
            names = tuple(self.names[row] for row in own)
            found[place] = KeyEvidence(names, np.asarray(np.linalg.solve(inverse, left)), inverse)
        return found

    def case(self, place: int) -> KeyEvidence:
        """Return one key with all that may be the matter with it."""
        own, patterns = np.flatnonzero(self.at == place), self.patterns
        return replace(self.by_key[place], causes=tuple(
            Cause(patterns.names[c], bool(patterns.misread[c]),
                  patterns.column(int(c), len(self.at))[own])
            for c in np.flatnonzero(self.at[patterns.rows[:, 0]] == place)
        ))  # fmt: skip


def _beside(
    whole: Floats, left: Floats, taken: Floats, own: NDArray[np.intp]
) -> tuple[Floats, Floats]:
    """Return Q and Qr of some readings beside causes, (n, causes)."""
    lean = whole @ taken
    inside = np.linalg.solve(taken.T @ lean, np.column_stack([lean[own].T, taken.T @ left]))
    inverse = whole[np.ix_(own, own)] - lean[own] @ inside[:, :-1]
    return inverse, left[own] - lean[own] @ inside[:, -1]


def find_causes(system: System) -> Readings:
    """Hold all readings against each other, by the likelier of the ways that leads were set."""
    patterns = Patterns.of(system)
    return max((Readings.of(each, patterns) for each in ways(system)), key=lambda one: one.density)
