"""The farthest a key can be brought: the layout of greatest, or of least, moment."""

from __future__ import annotations

import numpy as np

from balancekit.calculation.leads.layout.grid import NOWHERE
from balancekit.calculation.leads.layout.sets import Floats, Ints
from balancekit.calculation.leads.layout.tables import Found, WaysAndSets


def farthest(tables: WaysAndSets, key: int, *, up: bool) -> tuple[float, Found]:
    """Find the layout that gives one key the greatest moment, or the least.

    Each pair of a way and a set has a bound from ``Tables``. The pairs are tried from the
    highest bound down, in every order of their plugs, all pushed to the end as close as holes
    allow; once the best found reaches the next bound, it is the best of all.

    Parameters
    ----------
    tables : the long tables of a search.
    key : place of the key among the tasks.
    up : True for the greatest moment, False for the least.

    Returns
    -------
    the moment gained, with old plugs taken out and new ones put in [g mm], and the layout.
    """
    sign = 1.0 if up else -1.0
    ways = np.nonzero(tables.way_key == key)[0]
    gain = tables.tasks[key].ways.gain_g_mm
    reach = tables.set_most[key] if up else tables.set_least[key]
    bound = sign * (gain[:, None] + reach[None, :])
    bound[tables.set_count[None, :] > tables.way_left[ways][:, None]] = -np.inf
    best, found = -np.inf, Found()
    for pair in np.argsort(-bound, axis=None, kind="stable"):
        way, group = divmod(int(pair), bound.shape[1])
        if bound[way, group] <= best + 1e-9:
            break
        moment, sizes, places = _pushed(tables, key, int(ways[way]), group, up)
        if sign * (gain[way] + moment) > best:
            best = sign * (gain[way] + moment)
            cost = _cost(tables, key, int(ways[way]), sizes, places)
            found = Found(cost, way, tuple(sizes.tolist()), tuple(places.tolist()))
    return sign * best, found


def _pushed(
    tables: WaysAndSets, key: int, way: int, group: int, up: bool
) -> tuple[float, Ints, Ints]:
    """Push one set to an end in every order; return the best moment, its order and places."""
    first, last = tables.sequences.first[group : group + 2]
    count = int(tables.set_count[group])
    orders = tables.sequences.size[first:last, :count]
    one = np.full(1, key), tables.way_number[[way]], tables.way_holes[[way]]
    pattern = np.repeat(tables.holes.patterns(*one), len(orders))
    places = np.zeros_like(orders)
    at = np.full(len(orders), NOWHERE if up else -NOWHERE)
    levels = range(count)
    for level in reversed(levels) if up else levels:
        size = orders[:, level]
        if up:
            if level < count - 1:
                at = places[:, level + 1] - tables.gap_mm[size, orders[:, level + 1]]
            places[:, level] = tables.holes.last_free(pattern, size, at)
        else:
            if level:
                at = places[:, level - 1] + tables.gap_mm[orders[:, level - 1], size]
            places[:, level] = tables.holes.next_free(pattern, size, at)
    fits = (np.abs(places) < NOWHERE / 2).all(axis=1)
    mass = tables.net_mass_g[tables.wood[key]][orders]
    moment = np.where(fits, (mass * places).sum(axis=1), -np.inf if up else np.inf)
    row = int(moment.argmax() if up else moment.argmin())
    return float(moment[row]), orders[row], places[row]


def _cost(tables: WaysAndSets, key: int, way: int, sizes: Ints, places: Ints) -> float:
    """Return the cost of one layout in grams at the finger."""
    mass: Floats = tables.net_mass_g[tables.wood[key]][sizes]
    inertia = mass @ (places**2 + tables.diameter_mm[sizes] ** 2 / 8)
    new = tables.unit * len(sizes) + tables.price[key] * inertia
    return float(tables.way_cost[way] + new)
