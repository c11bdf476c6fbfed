"""Placing the plugs of a set along the key, level by level; the inner part of the search.

A *chain* is one set of new plugs in one order together with one way to treat the old ones.
A *state* is a chain whose first plugs are placed. See ``layout.search`` for the reason why
the sum of m (x - c)^2 is what is kept low.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from balancekit.calculation.leads.layout.sets import Floats, Ints, Ways

Rows = Any
"""Row numbers, a mask, or a slice."""

NOWHERE = 1_000_000
"""A place that is beyond every key."""


@dataclass(frozen=True)
class KeyTask:
    """One key, ready for the search.

    Attributes
    ----------
    arm_mm : balance pin to measuring point [mm].
    wood : which density of wood, a row of the tables in ``Sequences``.
    ways : what can be done with the old plugs.
    free : shape (s, p), where a new hole fits on the grid; old holes are not free.
    bored : by (old plug, plug), where a new hole fits beside the hole bored larger.
    """

    arm_mm: float
    wood: int
    ways: Ways
    free: NDArray[np.bool_]
    bored: dict[tuple[int, int], NDArray[np.bool_]] = field(default_factory=dict)


@dataclass(frozen=True)
class Chains:
    """Sets of new plugs in one order, each with one way to treat the old plugs; shape (c, ...)."""

    key: Ints
    way: Ints
    size: Ints
    mass: Floats
    gap: Ints
    fixed_g: Floats  # cost beside sum m x^2
    price: Floats  # cost of 1 g mm2
    low: Floats
    high: Floats
    centre: Floats
    known: Floats  # E^2 / M

    def pick(self, rows: Rows) -> Chains:
        return Chains(*(getattr(self, name)[rows] for name in self.__dataclass_fields__))


@dataclass(frozen=True)
class States:
    """Chains with their first plugs placed, from back to front; shape (n, ...)."""

    level: int
    chain: Ints
    placed: Ints
    spread: Floats
    moment: Floats

    def pick(self, rows: Rows) -> States:
        return States(
            self.level, self.chain[rows], self.placed[rows], self.spread[rows], self.moment[rows]
        )


def free_ahead(free: NDArray[np.bool_], start_mm: int) -> Ints:
    """Return the nearest free place at each place or further to the front, shape (n, s, p + 1).

    >>> free_ahead(np.array([[[True, False, True]]]), 10)[0, 0].tolist()
    [10, 12, 12, 1000000]
    """
    place = np.arange(free.shape[2]) + start_mm
    ahead = np.full((*free.shape[:2], free.shape[2] + 1), NOWHERE)
    here = np.where(free, place, NOWHERE)[..., ::-1]
    ahead[..., :-1] = np.minimum.accumulate(here, axis=2)[..., ::-1]
    return ahead


def free_behind(free: NDArray[np.bool_], start_mm: int) -> Ints:
    """Return the nearest free place before each place, shape (n, s, p + 1).

    >>> free_behind(np.array([[[True, False, True]]]), 10)[0, 0].tolist()
    [-1000000, 10, 10, 12]
    """
    place = np.arange(free.shape[2]) + start_mm
    behind = np.full((*free.shape[:2], free.shape[2] + 1), -NOWHERE)
    behind[..., 1:] = np.maximum.accumulate(np.where(free, place, -NOWHERE), axis=2)
    return behind


class Holes:
    """Where a new hole fits, for each key and each choice of old holes that are bored larger."""

    def __init__(self, tasks: Sequence[KeyTask], start_mm: int) -> None:
        self.tasks, self.start = tasks, start_mm
        self.kinds, self.places = tasks[0].free.shape
        self.known: dict[tuple[int, int], int] = {}
        # Infinite where no hole fits, else 0; one key's length of margin at both ends.
        self.barred = np.zeros(0, dtype=np.float32)
        self.ahead = np.zeros((0, self.kinds, self.places + 1), dtype=np.int64)
        self.behind = np.zeros((0, self.kinds, self.places + 1), dtype=np.int64)

    def patterns(self, key: Ints, way: Ints, holes: Ints) -> Ints:
        """Return the row of the tables for each chain, adding rows as they are needed."""
        code = holes * len(self.tasks) + key
        _, first, row = np.unique(code, return_index=True, return_inverse=True)
        numbers, fresh = [], []
        for at in first:
            name = (int(key[at]), int(holes[at]))
            if name not in self.known:
                self.known[name] = len(self.known)
                fresh.append(self._free_of(name[0], int(way[at])))
            numbers.append(self.known[name])
        if fresh:
            self._add(np.array(fresh))
        return np.array(numbers, dtype=np.int64)[row]

    def _free_of(self, key: int, way: int) -> NDArray[np.bool_]:
        task = self.tasks[key]
        free = task.free
        for old, size in enumerate(task.ways.doing[way].tolist()):
            if size >= 0:
                free = free & task.bored[old, size]
        return free

    def _add(self, free: NDArray[np.bool_]) -> None:
        """Add rows, with the nearest free place ahead of and behind each place."""
        ahead, behind = free_ahead(free, self.start), free_behind(free, self.start)
        barred = np.full((*free.shape[:2], 3 * self.places), np.inf, dtype=np.float32)
        barred[..., self.places : 2 * self.places][free] = 0.0
        self.barred = np.concatenate([self.barred, barred.ravel()])
        self.ahead = np.concatenate([self.ahead, ahead])
        self.behind = np.concatenate([self.behind, behind])

    def next_free(self, pattern: Ints, size: Ints, x: Ints) -> Ints:
        """Return the nearest free place at x or further to the front [mm]."""
        found: Ints = self.ahead[pattern, size, np.clip(x - self.start, 0, self.places)]
        return found

    def last_free(self, pattern: Ints, size: Ints, x: Ints) -> Ints:
        """Return the nearest free place at x or further to the back [mm]."""
        found: Ints = self.behind[pattern, size, np.clip(x - self.start + 1, 0, self.places)]
        return found


class StillToPlace:
    """What the plugs still to be placed must do: carry the moment, and keep apart.

    With the first plugs at distances u from the centre c and P = sum m u of them, the rest of
    mass R must bring sum m u to q, the moment above the edge E, which is 0 to the width of the
    window. So the rest adds at least its own spread when packed, plus (q - P)^2 / R.
    """

    def __init__(self, part: Chains, front_mm: Floats, length: int) -> None:
        offset = np.zeros(part.mass[:, :length].shape)
        offset[:, 1:] = np.cumsum(part.gap[:, : length - 1], axis=1)
        self.part, self.front = part, front_mm
        self.window = np.where(part.centre > 0, 1.0, -1.0) * (part.high - part.low)
        self.mass, self.near, self.far, self.spread = [], [], [], []
        for level in range(length - 1):
            mass, after = part.mass[:, level + 1 : length], offset[:, level + 1 : length]
            total = mass.sum(axis=1)
            middle = (mass * after).sum(axis=1) / total
            self.mass.append(total)
            self.near.append(total * (middle - offset[:, level]))
            self.far.append(total * (offset[:, -1] - middle))
            self.spread.append((mass * (after - middle[:, None]) ** 2).sum(axis=1))

    def stretch(self, states: States, left: Floats) -> tuple[Floats, Floats]:
        """Return the stretch in which the next plug of each state must stand [mm].

        Parameters
        ----------
        left : shape (n,), what the next plug and all later ones may add at most [g mm2].
        """
        chain, level = states.chain, states.level
        mass, rest = self.part.mass[chain, level], self.mass[level][chain]
        centre = self.part.centre[chain]
        placed = states.moment - centre * (self.part.mass[chain, :level].sum(axis=1))
        window = self.window[chain]
        left = left - self.spread[level][chain]
        first, last = np.full(len(left), np.inf), np.full(len(left), -np.inf)
        for shift, more in ((0.0, 0.0), (window, window**2 / rest)):
            owed = placed - shift
            middle = -owed / (rest + mass)
            square = (left + more - owed**2 / (rest + mass)) * rest / (mass * (rest + mass))
            half = np.where(square >= 0, np.sqrt(np.maximum(square, 0.0)), -np.inf)
            first = np.minimum(first, middle - half)
            last = np.maximum(last, middle + half)
        return centre + first, centre + last

    def keep(self, level: int, chain: Ints, x: Ints, moment: Floats) -> NDArray[np.bool_]:
        """Tell which states can still end inside the wanted moment."""
        mass = self.mass[level][chain]
        most = moment + mass * self.front[chain] - self.far[level][chain]
        least = moment + mass * x + self.near[level][chain]
        inside: NDArray[np.bool_] = (most >= self.part.low[chain] - 1e-6) & (
            least <= self.part.high[chain] + 1e-6
        )
        return inside


class LeastSpread:
    """For each chain and place, the least sum of m (x - c)^2 from there to the front.

    ``through[level][chain, column]``: the plug of this level stands at the column, all later
    ones stand as well as they can. Columns are places about the chain's centre.
    """

    def __init__(self, part: Chains, pattern: Ints, holes: Holes, room: Floats, length: int):
        self.part = part
        lightest = part.mass[:, :length].min()
        reach = np.sqrt(max(float(room.max()), 0.0) / lightest)
        self.half = int(min(np.ceil(reach) + 1, holes.places))
        self.middle = np.rint(part.centre).astype(np.int64)
        columns = self.middle[:, None] + np.arange(-self.half, self.half + 1)
        square = (columns - part.centre[:, None]) ** 2
        columns += (pattern * holes.kinds * 3 * holes.places + holes.places - holes.start)[:, None]
        self.through: list[Floats] = [square] * length
        for level in reversed(range(length)):
            kind = part.size[:, [level]] * 3 * holes.places
            cost = part.mass[:, [level]] * square
            cost += holes.barred.take(columns + kind, mode="clip")
            if level < length - 1:
                ahead = np.minimum.accumulate(self.through[level + 1][:, ::-1], axis=1)[:, ::-1]
                cost += _moved(ahead, part.gap[:, level])
            self.through[level] = cost
        self.least: Floats = self.through[0].min(axis=1)

    def begin(self, room: Floats, limits: StillToPlace) -> States:
        """Place the first plug wherever a layout under the ceiling may start."""
        alive = np.nonzero(self.least <= room)[0]
        row, column = np.nonzero(self.through[0][alive] <= room[alive, None])
        chain = alive[row]
        x = self.middle[chain] + column - self.half
        mass = self.part.mass[chain, 0]
        spread = mass * (x - self.part.centre[chain]) ** 2
        states = States(1, chain, x[:, None], spread, mass * x)
        return states.pick(limits.keep(0, chain, x, states.moment))

    def reach(self, states: States, room: Floats, limits: StillToPlace) -> tuple[Ints, Ints]:
        """Return the first column for each state's next plug, and how many there are."""
        chain, level = states.chain, states.level
        left = room[chain] - states.spread
        first, last = limits.stretch(states, left)
        after = states.placed[:, -1] + self.part.gap[chain, level - 1]
        shift = self.middle[chain] - self.half
        begin = np.maximum(np.maximum(np.ceil(first - 1e-6), after) - shift, 0)
        end = np.minimum(np.floor(last + 1e-6) - shift, 2 * self.half)
        count = np.where(left < 0, 0, np.maximum(end - begin + 1, 0)).astype(np.int64)
        return np.where(count > 0, begin, 0).astype(np.int64), count

    def widen(
        self, states: States, begin: Ints, count: Ints, room: Floats, limits: StillToPlace
    ) -> States:
        """Place the next plug of every state wherever a layout may go on."""
        level, through = states.level, self.through[states.level]
        ends = np.cumsum(count)
        place = states.chain * through.shape[1] + begin - (ends - count)
        cell = np.arange(ends[-1] if len(ends) else 0) + np.repeat(place, count)
        left = np.repeat(room[states.chain] - states.spread, count)
        fits = np.nonzero(through.ravel().take(cell) <= left)[0]
        row = np.searchsorted(ends, fits, side="right")
        chain, column = np.divmod(cell[fits], through.shape[1])
        x = self.middle[chain] + column - self.half
        mass = self.part.mass[chain, level]
        moment = states.moment[row] + mass * x
        spread = states.spread[row] + mass * (x - self.part.centre[chain]) ** 2
        placed = np.column_stack([states.placed[row], x])
        wider = States(level + 1, chain, placed, spread, moment)
        return wider.pick(limits.keep(level, chain, x, moment))


def _moved(later: Floats, gap: Ints) -> Floats:
    """Return a table read ``gap`` columns further to the front; infinite beyond its end."""
    out = np.full_like(later, np.inf)
    for step in np.unique(gap):
        rows = gap == step
        if step < later.shape[1]:
            out[rows, : later.shape[1] - step] = later[rows, step:]
    return out
