"""The long tables of a search: every way of every key, every set of plugs, and their bounds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from balancekit.calculation.leads.layout.bounds import Radii, row_at_the_front
from balancekit.calculation.leads.layout.grid import Holes, KeyTask
from balancekit.calculation.leads.layout.sets import Floats, Ints, Sequences


@dataclass(frozen=True)
class Prices:
    """What a layout costs, in grams at the finger.

    Attributes
    ----------
    inertia : for each gram of inertia.
    operation_g, new_hole_g : for each operation and for each new hole.
    """

    inertia: float
    operation_g: float
    new_hole_g: float


@dataclass
class Found:
    """The best layout of one key: its cost, and where it stands in the lists."""

    cost_g: float = np.inf
    way: int = -1
    sizes: tuple[int, ...] = ()
    distances_mm: tuple[int, ...] = ()


class WaysAndSets:
    """What can be done on all keys of a search, in long arrays.

    A *way* is one treatment of the old plugs of one key, a *set* some new plugs without
    order. ``way_low`` and ``way_high`` are the moment that new plugs must still bring [g mm],
    ``edge`` the one of them nearer to 0, or 0 where none is needed. Costs are in grams at the
    finger.

    Parameters
    ----------
    tasks : the keys.
    sequences : every set of new plugs in every order.
    net_mass_g : shape (w, s), plugs less wood, for each density of wood [g].
    diameter_mm : shape (s,), of the plugs [mm].
    gap_mm : shape (s, s), least distance between two new holes [mm].
    grid_start_mm : first place of the grid [mm].
    prices : what a layout costs.
    """

    def __init__(
        self,
        tasks: Sequence[KeyTask],
        sequences: Sequences,
        net_mass_g: Floats,
        diameter_mm: Floats,
        gap_mm: Ints,
        grid_start_mm: int,
        prices: Prices,
    ) -> None:
        self.tasks, self.sequences, self.prices = tasks, sequences, prices
        self.diameter_mm, self.net_mass_g = diameter_mm, net_mass_g
        self.gap_mm, self.start = gap_mm, grid_start_mm
        self.unit = prices.operation_g + prices.new_hole_g
        self.wood = np.array([task.wood for task in tasks], dtype=np.int64)
        self.price = np.array([prices.inertia / task.arm_mm**2 for task in tasks])
        self.holes = Holes(tasks, grid_start_mm)
        free = np.array([task.free for task in tasks])
        self.radii = Radii(free, grid_start_mm, np.diagonal(gap_mm), sequences.size.shape[1])
        self._list_ways()
        self._list_sets()
        self.aim(np.zeros(len(tasks)), np.zeros(len(tasks)))

    def aim(self, low_g_mm: Floats, high_g_mm: Floats) -> None:
        """Set the least and greatest moment that each key is to gain, shape (n,) [g mm]."""
        self.low, self.high = low_g_mm, high_g_mm
        self.way_low = low_g_mm[self.way_key] - self.way_gain
        self.way_high = high_g_mm[self.way_key] - self.way_gain
        self.edge = np.where(
            self.way_low > 0, self.way_low, np.where(self.way_high < 0, self.way_high, 0.0)
        )
        self._bound_ways()

    def _list_ways(self) -> None:
        """Put the ways of all keys into long arrays."""
        ways = [task.ways for task in self.tasks]
        counts = [len(way.gain_g_mm) for way in ways]
        self.way_key = np.repeat(np.arange(len(ways)), counts)
        self.way_number = np.concatenate([np.arange(count) for count in counts])
        self.way_gain = np.concatenate([way.gain_g_mm for way in ways])
        self.way_in = np.concatenate([way.plugs_in for way in ways])
        inertia = np.concatenate([way.inertia_g_mm2 for way in ways])
        work = np.concatenate([way.operations for way in ways])
        self.way_cost = self.price[self.way_key] * inertia + self.prices.operation_g * work
        kinds = self.net_mass_g.shape[1] + 1
        self.way_holes = np.concatenate(
            [(np.maximum(w.doing, -1) + 1) @ kinds ** np.arange(w.doing.shape[1]) for w in ways]
        ).astype(np.int64)

    def _list_sets(self) -> None:
        """Take the order-free facts of each set, and how far each may reach."""
        tables, first = self.sequences, self.sequences.first[:-1]
        self.set_count = tables.count[first]
        self.set_mass = tables.mass_g[:, first]
        self.set_own = tables.own_g_mm2[:, first]
        each = np.where(tables.size[first] >= 0, self.net_mass_g[:, tables.size[first]], 0.0)
        self.set_masses = -np.sort(-each, axis=2)
        there = tables.size[first] >= 0
        width = np.where(there, self.diameter_mm[tables.size[first]], np.inf)
        self.set_narrower = (width[:, None, :] < self.diameter_mm[:, None]).sum(axis=2)
        self.set_spread = np.minimum.reduceat(tables.spread_g_mm2, first, axis=1)
        place = width.argmin(axis=1)[:, None]
        self._list_reach(np.take_along_axis(tables.size[first], place, axis=1)[:, 0])
        # Least cost of a set beside what its moment needs, for each key.
        self.set_fixed = (
            self.unit * self.set_count
            + self.price[:, None] * (self.set_spread + self.set_own)[self.wood]
        )

    def _list_reach(self, narrowest: Ints) -> None:
        """Bound the moment that each set may bring at least and at most, for each key.

        As many plugs of the set's narrowest kind are pushed to one end as close as holes
        allow; the heaviest are taken to lie farthest out.
        """
        free = np.array([task.free for task in self.tasks])
        most = self.sequences.size.shape[1]
        own_gap = np.diagonal(self.gap_mm)
        front = row_at_the_front(free, own_gap, most) + self.start
        back = self.start + free.shape[2] - 1 - row_at_the_front(free[..., ::-1], own_gap, most)
        self.front = front[:, :, 0].max(axis=1)
        masses = self.set_masses[self.wood]
        with np.errstate(invalid="ignore"):
            self.set_most = np.where(masses > 0, masses * front[:, narrowest], 0.0).sum(axis=2)
            self.set_least = np.where(masses > 0, masses * back[:, narrowest], 0.0).sum(axis=2)

    def _bound_ways(self) -> None:
        """Bound the cost of each way with the best that any set could do."""
        most = int(self.set_count.max())
        counts = np.arange(most + 1)
        masses = self.set_mass[self.wood]
        heaviest = np.zeros((len(self.tasks), most + 1))
        high, low = np.zeros_like(heaviest), np.zeros_like(heaviest)
        for count in range(1, most + 1):
            same = self.set_count == count
            heaviest[:, count] = masses[:, same].max(axis=1)
            high[:, count] = self.set_most[:, same].max(axis=1)
            low[:, count] = self.set_least[:, same].min(axis=1)
        key = self.way_key
        with np.errstate(divide="ignore", invalid="ignore"):
            known = np.abs(self.edge)[:, None] ** 2 / heaviest[key]
        bound = self.unit * counts + self.price[key, None] * known
        bound[:, 0] = np.where(self.edge == 0, 0.0, np.inf)
        self.way_left = most - self.way_in
        bound[counts[None, :] > self.way_left[:, None]] = np.inf
        bound[(self.way_low[:, None] > high[key]) | (self.way_high[:, None] < low[key])] = np.inf
        self.way_bound = self.way_cost + bound.min(axis=1)

    def bound_by_holes(self, way: Ints, group: Ints, known: Floats) -> Floats:
        """Return the bound of each set from where holes are free at all.

        Holes beside an old hole that is bored larger are taken as free.
        """
        key = self.way_key[way]
        wood = self.wood[key]
        centre = self.edge[way] / self.set_mass[wood, group]
        spread = self.radii.spread_g_mm2(
            key, centre, self.set_masses[wood, group], self.set_narrower[group]
        )
        inertia = spread + known + self.set_own[wood, group]
        least: Floats = (
            self.way_cost[way] + self.unit * self.set_count[group] + self.price[key] * inertia
        )
        return least
