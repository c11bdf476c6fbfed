"""The search for the layout of least cost, exact on a 1 mm grid, for all keys at once.

What is looked for, for each key::

    least   cost = inertia price x inertia of the leads + fixed price of what is done
    so that the moment gained lies between a low and a high value,
            and holes keep clear of each other, of the pin and of the edges

How it is found. For one way to treat the old plugs and one set of new plugs with masses m,
in one order along the key, let E be the moment that is needed at least, M the whole mass
and c = E / M. For every layout that gains E or more::

    sum m x^2 = sum m (x - c)^2 + 2 c (moment - E) + E^2 / M

The last term is known, the middle one is never negative, and the first is least where the
plugs lie close together about c. So E^2 / M plus that least first term is a bound that no
layout of the set can undercut, and it is nearly met. The search sets a ceiling just above
the lowest bound, lists every layout whose bound is under the ceiling, and raises the ceiling
for the keys where none was found. A layout found under the ceiling is the best of all,
because every other one has its bound above the ceiling. Where the needed moment is negative
the same holds with the signs turned round.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from balancekit.calculation.leads.layout.grid import Chains, LeastSpread, States, StillToPlace
from balancekit.calculation.leads.layout.reach import farthest
from balancekit.calculation.leads.layout.sets import Floats, Ints
from balancekit.calculation.leads.layout.tables import Found, WaysAndSets

FIRST_STEP_G_MM2 = 1500.0
# How far above the lowest bound the search looks first; only its speed depends on it.

LAST_STEP_G_MM2 = 1e7
# More than any layout of one key spreads: beyond it there is no ceiling.

STEP_GROWTH = 4.0
NEAR_GROWTH = 2.0
STEPS = 10
ASK_REACH = 2
# After so many raisings the ceiling is lifted altogether, and after so many a key without a
# layout is asked whether its moment can be reached at all; only speed depends on them.

UNLIMITED = 1e300
# A ceiling above every layout, yet finite, so that what is impossible stays above it.

WAVES = (0, 6, 40, 300, 10**9)
# Chains of one key are searched in this order of rank: what the first find cuts the rest.

MOST_CHAINS = 1000
MOST_STATES = 400_000
# What is held at one time; bounds the memory.


class LayoutSearch(WaysAndSets):
    """One search over many keys; see the module for how it works. ``aim`` it before a ``run``."""

    def run(self) -> list[Found]:
        """Search every key; a key without a layout keeps an infinite cost."""
        self.found = [Found() for _ in self.tasks]
        self.best = np.full(len(self.tasks), np.inf)
        self._take_ways_alone()
        lowest = np.full(len(self.tasks), np.inf)
        np.minimum.at(lowest, self.way_key, self.way_bound)
        open_keys = np.isfinite(lowest)
        step = FIRST_STEP_G_MM2
        ceiling = lowest
        for number in range(STEPS + 1):
            ceiling = (
                lowest + self.price * step if number < STEPS else np.full_like(lowest, UNLIMITED)
            )
            ceiling = np.minimum(ceiling, self.best)
            ceiling[~open_keys] = -np.inf
            lowest = np.maximum(lowest, self._try(ceiling))
            open_keys &= ~((self.best <= ceiling) | np.isinf(lowest))
            if number == ASK_REACH:
                self._close_out_of_reach(open_keys)
            if not open_keys.any():
                break
            step *= STEP_GROWTH
        return self.found

    def _close_out_of_reach(self, open_keys: NDArray[np.bool_]) -> None:
        """Give up the open keys that even the farthest layout does not bring to their moment."""
        for key in np.nonzero(open_keys & np.isinf(self.best))[0].tolist():
            low, high = self.low[key], self.high[key]
            moment, _ = farthest(self, key, up=low > 0)
            open_keys[key] = moment >= low - 1e-6 if low > 0 else moment <= high + 1e-6

    def _take_ways_alone(self) -> None:
        """Note the best way that needs no new plug at all."""
        for row in np.nonzero(self.edge == 0)[0]:
            key = self.way_key[row]
            if self.way_cost[row] < self.best[key]:
                self.best[key] = self.way_cost[row]
                self.found[key] = Found(float(self.way_cost[row]), int(self.way_number[row]))

    def _try(self, ceiling: Floats) -> Floats:
        """List every layout with a bound under the ceiling; return the lowest bound above it."""
        above = np.full(len(ceiling), np.inf)
        out = self.way_bound > ceiling[self.way_key]
        np.minimum.at(above, self.way_key[out], self.way_bound[out])
        rows = np.nonzero(~out & (self.edge != 0))[0]
        if not len(rows):
            return above
        key = self.way_key[rows]
        with np.errstate(divide="ignore"):
            known = (self.edge[rows] ** 2)[:, None] / self.set_mass[self.wood[key]]
        bound = self.way_cost[rows, None] + self.set_fixed[key] + self.price[key, None] * known
        bound[self.set_count[None, :] > self.way_left[rows, None]] = np.inf
        far = self.way_low[rows, None] > self.set_most[key]
        bound[far | (self.way_high[rows, None] < self.set_least[key])] = np.inf
        under = bound <= ceiling[key, None]
        beyond = np.where(under, np.inf, bound).min(axis=1)
        np.minimum.at(above, key, beyond)
        row, group = np.nonzero(under)
        if len(row):
            way, known = rows[row], known[row, group]
            bound = self.bound_by_holes(way, group, known)
            under = bound <= np.minimum(ceiling, self.best)[self.way_key[way]]
            np.minimum.at(above, self.way_key[way[~under]], bound[~under])
            way, group, bound = way[under], group[under], bound[under]
        if len(row) and len(way):
            np.minimum.at(above, *self._try_orders(way, group, bound, ceiling))
        return above

    def _try_orders(
        self, way: Ints, group: Ints, least: Floats, ceiling: Floats
    ) -> tuple[Ints, Floats]:
        """Put the sets into every order, and search the orders under the ceiling."""
        tables = self.sequences
        counts = (tables.first[1:] - tables.first[:-1])[group]
        way = np.repeat(way, counts)
        start = np.repeat(tables.first[group] - (np.cumsum(counts) - counts), counts)
        order = start + np.arange(len(start))
        key = self.way_key[way]
        wood = self.wood[key]
        fixed = (
            self.way_cost[way]
            + self.unit * tables.count[order]
            + self.price[key] * tables.own_g_mm2[wood, order]
        )
        mass = tables.mass_g[wood, order]
        known = self.edge[way] ** 2 / mass
        bound = fixed + self.price[key] * (known + tables.spread_g_mm2[wood, order])
        bound = np.maximum(bound, np.repeat(least, counts))
        under = bound <= ceiling[key]
        above_key, above = key[~under], bound[~under]
        way, order, key = way[under], order[under], key[under]
        size = tables.size[order]
        each = np.where(size >= 0, self.net_mass_g[wood[under][:, None], size], 0.0)
        gap = self.gap_mm[size[:, :-1], size[:, 1:]]
        chains = Chains(
            key, way, size, each, gap, fixed[under], self.price[key],
            self.way_low[way], self.way_high[way], self.edge[way] / mass[under], known[under],
        )  # fmt: skip
        keys, bounds = [above_key], [above]
        count, bound = tables.count[order], bound[under]
        rank = _rank_within(key, bound)
        for first, last in pairwise(WAVES):
            wave = (rank >= first) & (rank < last) & (bound <= self.best[key])
            for length in np.unique(count[wave]):
                rows = np.nonzero(wave & (count == length))[0]
                for begin in range(0, len(rows), MOST_CHAINS):
                    part = chains.pick(rows[begin : begin + MOST_CHAINS])
                    keys.append(part.key)
                    bounds.append(self._place(part, int(length), ceiling))
        return np.concatenate(keys), np.concatenate(bounds)

    def _place(self, part: Chains, length: int, ceiling: Floats) -> Floats:
        """Place the plugs of each chain; return a bound for what was not looked at."""
        pattern = self.holes.patterns(part.key, self.way_number[part.way], self.way_holes[part.way])
        if length == 1:
            nobody = np.zeros(len(part.key))
            nowhere = np.zeros((len(part.key), 0), dtype=np.int64)
            start = States(0, np.arange(len(part.key)), nowhere, nobody, nobody)
            self._close(part, pattern, start)
            return np.full(len(part.key), np.inf)
        grid = LeastSpread(part, pattern, self.holes, self._room(part, ceiling), length)
        bound = part.fixed_g + part.price * (part.known + grid.least)
        limits = StillToPlace(part, self.front[part.key], length)
        lowest = np.full(len(ceiling), np.inf)
        np.minimum.at(lowest, part.key, bound)
        here = np.unique(part.key)
        step = FIRST_STEP_G_MM2
        while True:
            near = np.minimum(lowest + self.price * step, np.minimum(ceiling, self.best))
            self._descend(part, pattern, grid, limits, near)
            if np.all(near[here] >= np.minimum(ceiling, self.best)[here]):
                break
            step = step * NEAR_GROWTH if step < LAST_STEP_G_MM2 else np.inf
        return np.where(
            ceiling[part.key] >= UNLIMITED, np.inf, np.maximum(bound, ceiling[part.key])
        )

    def _room(self, part: Chains, ceiling: Floats) -> Floats:
        """Return the greatest sum of m (x - c)^2 that stays under ceiling and best [g mm2]."""
        limit = np.minimum(ceiling, self.best)[part.key]
        room = (limit - part.fixed_g) / part.price - part.known
        # Finite, so that a place that is not free stays out.
        finite: Floats = np.minimum(room * (1 + 1e-12) + 1e-6, UNLIMITED)
        return finite

    def _descend(
        self, part: Chains, pattern: Ints, grid: LeastSpread, limits: StillToPlace, ceiling: Floats
    ) -> None:
        """Place one plug after the other, wherever a layout under the ceiling may stand."""
        length = len(grid.through)
        stack = [grid.begin(self._room(part, ceiling), limits)]
        while stack:
            states = stack.pop()
            if not len(states.chain):
                continue
            if states.level == length - 1:
                self._close(part, pattern, states)
                continue
            room = self._room(part, ceiling)
            begin, count = grid.reach(states, room, limits)
            if count.sum() > MOST_STATES and len(count) > 1:
                middle = len(count) // 2
                stack += [states.pick(slice(middle, None)), states.pick(slice(0, middle))]
            else:
                stack.append(grid.widen(states, begin, count, room, limits))

    def _close(self, part: Chains, pattern: Ints, states: States) -> None:
        """Put the last plug of each state where it costs least within the wanted moment."""
        chain, level = states.chain, states.level
        mass, size = part.mass[chain, level], part.size[chain, level]
        low = np.ceil((part.low[chain] - states.moment) / mass - 1e-9).astype(np.int64)
        high = np.floor((part.high[chain] - states.moment) / mass + 1e-9).astype(np.int64)
        if level:
            low = np.maximum(low, states.placed[:, -1] + part.gap[chain, level - 1])
        for ahead in (True, False):
            if ahead:
                x = self.holes.next_free(pattern[chain], size, np.maximum(low, 0))
                good = x <= high
            else:
                x = self.holes.last_free(pattern[chain], size, np.minimum(high, -1))
                good = x >= low
            rows = np.nonzero(good)[0]
            if len(rows):
                self._note(part, states.pick(rows), x[rows])

    def _note(self, part: Chains, states: States, x: Ints) -> None:
        """Keep the best finished layout of each key."""
        chain, level = states.chain, states.level
        mass, centre = part.mass[chain, level], part.centre[chain]
        moment = states.moment + mass * x
        edge = centre * part.mass[chain].sum(axis=1)
        spread = states.spread + mass * (x - centre) ** 2
        inertia = spread + 2 * centre * (moment - edge) + part.known[chain]
        cost = part.fixed_g[chain] + part.price[chain] * inertia
        key = part.key[chain]
        order = np.lexsort((cost, key))
        firsts = order[np.unique(key[order], return_index=True)[1]]
        for row in firsts[cost[firsts] < self.best[key[firsts]]]:
            number = chain[row]
            self.best[key[row]] = cost[row]
            self.found[key[row]] = Found(
                float(cost[row]),
                int(self.way_number[part.way[number]]),
                tuple(part.size[number, : level + 1].tolist()),
                (*(int(place) for place in states.placed[row]), int(x[row])),
            )


def _rank_within(key: Ints, value: Floats) -> Ints:
    """Return the rank of each value among those of the same key, from 0.

    >>> _rank_within(np.array([0, 1, 0]), np.array([5.0, 1.0, 2.0])).tolist()
    [1, 0, 0]
    """
    order = np.lexsort((value, key))
    ordered = key[order]
    start = np.searchsorted(ordered, ordered)
    rank = np.empty(len(key), dtype=np.int64)
    rank[order] = np.arange(len(key)) - start
    return rank
