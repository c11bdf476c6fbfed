"""What plugs in lines cost at each key, with the one plug that adjusts it.

The lines are given here: which plugs, and where they cross each key. ``rows`` looks for good
ones, ``on_lines`` keeps to those that were found for other front weights.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from balancekit.calculation.leads.layout.bench import LayoutBench
from balancekit.calculation.leads.layout.grid import free_ahead, free_behind
from balancekit.calculation.leads.layout.sets import Floats, Ints, gaps_mm
from balancekit.calculation.leads.layout.tables import Found, Prices

EXCEPTION_G = 1e6
# What a key out of line counts: more than all work together.


@dataclass(frozen=True)
class LineGroup:
    """The keys of one section and colour, as arrays of shape (k, ...)."""

    rows: Ints
    low: Floats
    high: Floats
    price: Floats
    mass: Floats
    own: Floats
    free: NDArray[np.bool_]
    next_free: tuple[Ints, Ints]
    """Nearest free place towards the front edge, and towards the back; see ``free_ahead``."""


@dataclass(frozen=True)
class LinesFound:
    """What was found for some candidates of lines: cost and adjusting plug of each key."""

    cost: Floats
    kind: Ints
    place: Ints


def gather_group(
    bench: LayoutBench, rows: Ints, target: Floats, prices: Prices, doing: int
) -> tuple[LineGroup, Ints, Floats]:
    """Gather the keys of one group with all old plugs kept, or all taken out."""
    tasks = [bench.tasks[row] for row in rows]
    ways = np.array([int(np.nonzero((t.ways.doing == doing).all(axis=1))[0][0]) for t in tasks])
    gain = np.array([t.ways.gain_g_mm[w] for t, w in zip(tasks, ways, strict=True)])
    arm = np.array([t.arm_mm for t in tasks])
    need = (target - bench.front_weight_now_g[rows]) * arm - gain
    window = bench.rules.tolerance_g * arm
    density = bench.wood_densities[bench.wood[rows]]
    price = prices.inertia / arm**2
    fixed = np.array([t.ways.inertia_g_mm2[w] for t, w in zip(tasks, ways, strict=True)]) * price
    fixed += prices.operation_g * np.array(
        [t.ways.operations[w] for t, w in zip(tasks, ways, strict=True)]
    )
    free = np.array([t.free for t in tasks])
    group = LineGroup(
        rows,
        need - window,
        need + window,
        price,
        np.array([bench.stock.net_mass_g(d) for d in density]),
        np.array([bench.stock.net_own_g_mm2(d) for d in density]),
        free,
        (free_ahead(free, bench.grid_start_mm), free_behind(free, bench.grid_start_mm)),
    )
    return group, ways, fixed


def found_on(
    chosen: tuple[int, ...], places: Ints, lines: LinesFound, i: int, way: int, fixed_g: float
) -> Found:
    """Return the layout of one key of a group: its line plugs and its adjusting plug.

    Parameters
    ----------
    places : of the lines, shape (lines, k) [mm].
    lines : of one candidate, each of shape (k,).
    i : which key of the group; ``way`` and ``fixed_g`` are its treatment of old plugs.
    """
    sizes, at = list(chosen), places[:, i].tolist()
    if lines.kind[i] >= 0:
        sizes, at = [*sizes, int(lines.kind[i])], [*at, int(lines.place[i])]
    order = np.argsort(at)
    return Found(
        float(lines.cost[i] + fixed_g),
        way,
        tuple(sizes[j] for j in order),
        tuple(int(at[j]) for j in order),
    )


def price_lines(
    bench: LayoutBench, group: LineGroup, chosen: tuple[int, ...], places: Ints, prices: Prices
) -> LinesFound:
    """Price every candidate at every key, with the best adjusting plug; shape (c, k).

    Parameters
    ----------
    chosen : plugs of the lines, by their places in the stock.
    places : where each line crosses each key, shape (c, lines, k) [mm].
    """
    unit = prices.operation_g + prices.new_hole_g
    here = np.arange(len(group.rows))
    shape = (len(places), len(here))
    moment, cost, clear = np.zeros(shape), np.zeros(shape), np.ones(shape, dtype=bool)
    for line, size in enumerate(chosen):
        x = places[:, line, :]
        clear &= _is_free(group, size, x, bench.grid_start_mm, here)
        moment += group.mass[:, size] * x
        cost += unit + group.price * (group.mass[:, size] * x**2 + group.own[:, size])
    low, high = group.low - moment, group.high - moment
    enough = (low <= 0) & (high >= 0)
    best = np.where(enough, 0.0, EXCEPTION_G)
    kind, place = np.full(shape, -1), np.zeros(shape, dtype=np.int64)
    candidate, at_key = np.nonzero(clear & ~enough)
    wanting = (candidate.astype(np.int64), at_key.astype(np.int64))
    gap = gaps_mm(bench.stock.diameter_mm, bench.rules.hole_clearance_mm)
    for size in range(len(bench.plugs)):
        at, x = _nearest_fit(bench, group, size, wanting, (low, high), places, gap[size, [*chosen]])
        mass, own = group.mass[at[1], size], group.own[at[1], size]
        price = unit + group.price[at[1]] * (mass * x**2 + own)
        better = price < best[at]
        at, x = (at[0][better], at[1][better]), x[better]
        best[at], kind[at], place[at] = price[better], size, x
    return LinesFound(
        np.where(clear, np.minimum(cost + best, EXCEPTION_G), EXCEPTION_G), kind, place
    )


def _nearest_fit(
    bench: LayoutBench,
    group: LineGroup,
    size: int,
    wanting: tuple[Ints, Ints],
    window: tuple[Floats, Floats],
    places: Ints,
    gap: Ints,
) -> tuple[tuple[Ints, Ints], Ints]:
    """Return the place nearest the pin where an adjusting plug does enough, where there is one.

    The inertia rises with the distance, so the nearest place is the cheapest of its size.
    """
    line, key = wanting
    mass = group.mass[key, size]
    low, high = window[0][wanting], window[1][wanting]
    ahead = low > 0
    x = np.where(ahead, np.ceil(low / mass - 1e-9), np.floor(high / mass + 1e-9)).astype(np.int64)
    step = np.where(ahead, 1, -1)
    found: list[tuple[Ints, Ints, Ints]] = []
    while len(x):
        spot = _next_free(group, size, x, bench.grid_start_mm, key, ahead)
        for number in range(places.shape[1]):
            line_at = places[line, number, key]
            clash = np.abs(spot - line_at) < gap[number]
            spot = np.where(clash, line_at + step * gap[number], spot)
        inside = np.where(ahead, spot * mass <= high + 1e-9, spot * mass >= low - 1e-9)
        fits = inside & (spot == x)
        found.append((line[fits], key[fits], x[fits]))
        on = inside & ~fits
        line, key, x, step, ahead, mass, low, high = (
            each[on] for each in (line, key, spot, step, ahead, mass, low, high)
        )
    lines, keys, spots = (np.concatenate([each[i] for each in found]) if found
                          else np.zeros(0, dtype=np.int64) for i in range(3))  # fmt: skip
    return (lines, keys), spots


def _is_free(group: LineGroup, size: int, x: Ints, start_mm: int, key: Ints) -> NDArray[np.bool_]:
    """Tell where a plug fits at x on a key; x and key have the same shape, or key (k,)."""
    place = x - start_mm
    inside = (place >= 0) & (place < group.free.shape[2])
    at = np.clip(place, 0, group.free.shape[2] - 1)
    fits: NDArray[np.bool_] = inside & group.free[key, size, at]
    return fits


def _next_free(
    group: LineGroup, size: int, x: Ints, start_mm: int, key: Ints, ahead: NDArray[np.bool_]
) -> Ints:
    """Return the nearest place where a plug fits, at x or further from the pin; all shape (n,)."""
    last = group.free.shape[2]
    forward = group.next_free[0][key, size, np.clip(x - start_mm, 0, last)]
    back = group.next_free[1][key, size, np.clip(x - start_mm + 1, 0, last)]
    found: Ints = np.where(ahead, forward, back)
    return found
