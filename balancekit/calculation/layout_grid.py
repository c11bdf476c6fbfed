"""Placing the plugs of a set along the key, level by level; the inner part of the search.

A *chain* is one set of new plugs in one order together with one way to treat the old ones.
A *state* is a chain whose first plugs are placed. See ``layout_search`` for the reason why
the sum of m (x - c)^2 is what is kept low.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from balancekit.calculation.layout_sets import Floats, Ints, Ways

Rows = Any
"""Row numbers, a mask, or a slice."""

NOWHERE = 1_000_000
"""A place that is beyond every key."""


@dataclass(frozen=True)
class Task:
    """One key, ready for the search.

    Attributes
    ----------
    low_g_mm, high_g_mm : least and greatest moment to be gained [g mm].
    arm_mm : balance pin to measuring point [mm].
    wood : which density of wood, a row of the tables in ``Sequences``.
    ways : what can be done with the old plugs.
    free : shape (s, p), where a new hole fits on the grid; old holes are not free.
    bored : by (old plug, plug), where a new hole fits beside the hole bored larger.
    """

    low_g_mm: float
    high_g_mm: float
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


class Holes:
    """Where a new hole fits, for each key and each choice of old holes that are bored larger."""

    def __init__(self, tasks: Sequence[Task], start_mm: int) -> None:
        self.tasks, self.start = tasks, start_mm
        self.kinds, self.places = tasks[0].free.shape
        self.known: dict[tuple[int, int], int] = {}
        self.free = np.zeros((0, self.kinds, self.places), dtype=bool)
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
        place = np.arange(self.places) + self.start
        ahead = np.full((*free.shape[:2], self.places + 1), NOWHERE)
        ahead[..., :-1] = np.minimum.accumulate(np.where(free, place, NOWHERE)[..., ::-1], axis=2)[
            ..., ::-1
        ]
        behind = np.full((*free.shape[:2], self.places + 1), -NOWHERE)
        behind[..., 1:] = np.maximum.accumulate(np.where(free, place, -NOWHERE), axis=2)
        self.free = np.concatenate([self.free, free])
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


class Limits:
    """How much moment the plugs still to be placed can add, at least and at most."""

    def __init__(self, part: Chains, front_mm: Floats, length: int) -> None:
        offset = np.zeros(part.mass[:, :length].shape)
        offset[:, 1:] = np.cumsum(part.gap[:, : length - 1], axis=1)
        self.part, self.front = part, front_mm
        self.mass, self.near, self.far = [], [], []
        for level in range(length):
            mass, after = part.mass[:, level + 1 : length], offset[:, level + 1 : length]
            self.mass.append(mass.sum(axis=1))
            self.near.append((mass * (after - offset[:, [level]])).sum(axis=1))
            self.far.append((mass * (offset[:, [-1]] - after)).sum(axis=1))

    def keep(self, level: int, chain: Ints, x: Ints, moment: Floats) -> NDArray[np.bool_]:
        """Tell which states can still end inside the wanted moment."""
        mass = self.mass[level][chain]
        most = moment + mass * self.front[chain] - self.far[level][chain]
        least = moment + mass * x + self.near[level][chain]
        inside: NDArray[np.bool_] = (most >= self.part.low[chain] - 1e-6) & (
            least <= self.part.high[chain] + 1e-6
        )
        return inside


class Grid:
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
        place = columns - holes.start
        on_key = (place >= 0) & (place < holes.places)
        np.clip(place, 0, holes.places - 1, out=place)
        square = (columns - part.centre[:, None]) ** 2
        self.through: list[Floats] = [square] * length
        later: Floats | None = None
        for level in reversed(range(length)):
            free = holes.free[pattern[:, None], part.size[:, [level]], place] & on_key
            cost = np.where(free, part.mass[:, [level]] * square, np.inf)
            if later is not None:
                cost += _moved(later, part.gap[:, level])
            self.through[level] = cost
            later = np.minimum.accumulate(cost[:, ::-1], axis=1)[:, ::-1]

    def begin(self, room: Floats, limits: Limits) -> States:
        """Place the first plug wherever a layout under the ceiling may start."""
        chain, column = np.nonzero(self.through[0] <= room[:, None])
        x = self.middle[chain] + column - self.half
        mass = self.part.mass[chain, 0]
        spread = mass * (x - self.part.centre[chain]) ** 2
        states = States(1, chain, x[:, None], spread, mass * x)
        return states.pick(limits.keep(0, chain, x, states.moment))

    def widths(self, states: States, room: Floats) -> Ints:
        """Return how many places each state has for its next plug."""
        chain, level = states.chain, states.level
        left = np.maximum(room[chain] - states.spread, -1.0)
        reach = np.sqrt(np.maximum(left, 0.0) / self.part.mass[chain, level])
        last = np.minimum(np.floor(self.part.centre[chain] + reach) - self.middle[chain], self.half)
        first = states.placed[:, -1] + self.part.gap[chain, level - 1] - self.middle[chain]
        count = last - np.maximum(first, -self.half) + 1
        whole: Ints = np.where(left < 0, 0, np.maximum(count, 0)).astype(np.int64)
        return whole

    def widen(self, states: States, width: Ints, room: Floats, limits: Limits) -> States:
        """Place the next plug of every state wherever a layout may go on."""
        level = states.level
        row = np.repeat(np.arange(len(width)), width)
        chain = states.chain[row]
        first = states.placed[:, -1] + self.part.gap[states.chain, level - 1]
        first = np.maximum(first - self.middle[states.chain] + self.half, 0)
        column = np.arange(len(row)) + np.repeat(first - (np.cumsum(width) - width), width)
        fits = states.spread[row] + self.through[level][chain, column] <= room[chain]
        row, chain, column = row[fits], chain[fits], column[fits]
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
