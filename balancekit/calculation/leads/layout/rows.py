"""Plugs in straight lines across the keyboard, and what that costs against the free layout.

In each section, naturals and sharps apart, the same plugs stand in parallel straight lines;
one adjusting plug in each key brings it to its front weight. Where an old hole is in the way
of a line, or no adjusting plug fits, the key is laid out freely and named.

The lines are searched for, first 6 mm apart and then on the 1 mm grid about the best: they
are good ones, not proven the best. Fewest exceptions come first, then least cost.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations_with_replacement, pairwise

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from balancekit.calculation.leads.layout.bench import LayoutBench
from balancekit.calculation.leads.layout.find import (
    Layout,
    find_layout,
    joined_layouts,
    mix_prices,
    search,
    tabulate,
)
from balancekit.calculation.leads.layout.row_prices import (
    EXCEPTION_G,
    LineGroup,
    LinesFound,
    found_on,
    gather_group,
    price_lines,
)
from balancekit.calculation.leads.layout.sets import KEEP, TAKE_OUT, Floats, Ints, gaps_mm
from balancekit.calculation.leads.layout.tables import Found, Prices
from balancekit.calculation.problems import refuse

COARSE_MM = 6
STEEPEST_MM = 60
# Our own choice: how far a line may move over one section [mm].

BEST_KEPT = 6
# How many of the coarse lines are searched finely; our own choice.


@dataclass(frozen=True)
class KeyLines:
    """What the lines ask of one key, whatever its front weight is to be.

    Attributes
    ----------
    take_out : whether all old plugs come out; else all stay.
    plugs : names of the plugs on the lines, from the stock.
    places_mm : where each stands, from the balance pin [mm].
    """

    take_out: bool
    plugs: tuple[str, ...]
    places_mm: tuple[int, ...]


@dataclass(frozen=True)
class RowLayout:
    """A layout in lines.

    Attributes
    ----------
    layout : table of keys and plan, as for the free layout; ``keys`` has ``in_line`` too.
    lines : one row a line: ``section, colour, plug, first_key, last_key, first_mm, last_mm``
        (distance from the balance pin at the first and last key).
    free : the free layout of the same keys.
    on : what the lines ask of each key that is in line, by key.
    """

    layout: Layout
    lines: pd.DataFrame
    free: Layout
    on: Mapping[int, KeyLines]

    @property
    def price(self) -> dict[str, float]:
        """What the lines cost against the free layout.

        ``mean_inertia_g`` and ``lead_g`` more [g], ``operations`` more, and how many keys are
        ``exceptions`` to the lines.
        """
        line, free = self.layout.keys, self.free.keys
        return {
            "mean_inertia_g": float((line["lead_inertia_g"] - free["lead_inertia_g"]).mean()),
            "lead_g": float((line["lead_g"] - free["lead_g"]).sum()),
            "operations": float((line["operations"] - free["operations"]).sum()),
            "exceptions": float((~line["in_line"]).sum()),
        }


def find_rows(
    bench: LayoutBench,
    target_front_weight_g: pd.Series,
    slider: float = 0.5,
    *,
    first_keys: Mapping[str, int] | None = None,
) -> RowLayout:
    """Lay the plugs in straight lines, one adjusting plug a key.

    In a section the old plugs all stay or all come out, whichever costs less.

    Parameters
    ----------
    bench, target_front_weight_g, slider : as for ``layout.find_layout``.
    first_keys : first key of each section by name; one section if not given.

    Returns
    -------
    RowLayout with the lines and their price.

    Raises
    ------
    BalancekitError : a rule that allows no plug, or a slider outside 0 to 1.
    """
    if bench.rules.most_plugs_in < 1:
        raise refuse("The rules allow no plug to go in.", "Allow at least one plug in a key.")
    if not len(bench.keys):
        raise refuse(
            "Of no key is it known which plugs are in it.",
            "Record what is in the keys first; nothing is planned in one that nobody looked into.",
        )
    free = find_layout(bench, target_front_weight_g, slider)
    prices = mix_prices(bench.rules, slider)
    target = target_front_weight_g.reindex(bench.keys).to_numpy(dtype=float)
    known = np.isfinite(target)
    found: dict[int, Found] = {}
    on: dict[int, KeyLines] = {}
    lines: list[dict[str, object]] = []
    colours = bench.sticks["colour"].to_numpy()
    for name, inside in _sections(bench.keys, first_keys or {"keyboard": int(bench.keys.min())}):
        for colour in ("natural", "sharp"):
            rows = np.nonzero(inside & known & (colours == colour))[0]
            if len(rows):
                lines += _lay_group(bench, rows, target[rows], prices, found, on, (name, colour))
    rows = np.nonzero(known)[0]
    lost = np.array([row for row in rows if row not in found], dtype=np.int64)
    tolerance = np.full(len(lost), bench.rules.tolerance_g)
    for row, each in zip(lost, search(bench, lost, target[lost], tolerance, prices), strict=True):
        found[int(row)] = each
    in_line = [int(row) not in set(lost.tolist()) for row in rows]
    missed = {int(row) for row in lost if found[int(row)].way < 0}
    layout = tabulate(
        bench,
        np.array([row for row in rows if int(row) not in missed], dtype=np.int64),
        np.array([target[row] for row in rows if int(row) not in missed]),
        [found[int(row)] for row in rows if int(row) not in missed],
        slider,
    )
    nearest = [bench.keys[row] for row in sorted(missed)]
    layout = joined_layouts(
        layout,
        Layout(free.keys.loc[nearest], free.plan[free.plan["key"].isin(nearest)], slider),
    )
    layout.keys["in_line"] = in_line
    return RowLayout(layout, pd.DataFrame(lines, columns=LINES), free, on)


LINES = ("section", "colour", "plug", "first_key", "last_key", "first_mm", "last_mm")


def _sections(keys: pd.Index, first_keys: Mapping[str, int]) -> list[tuple[str, NDArray[np.bool_]]]:
    """Return each section's name and which keys it has; keys before the first join it."""
    ordered = sorted(first_keys.items(), key=lambda item: item[1])
    starts = np.array([first for _, first in ordered])
    number = np.maximum(np.searchsorted(starts, keys.to_numpy(), side="right") - 1, 0)
    return [(name, number == i) for i, (name, _) in enumerate(ordered)]


def _lay_group(
    bench: LayoutBench,
    rows: Ints,
    target: Floats,
    prices: Prices,
    found: dict[int, Found],
    on: dict[int, KeyLines],
    title: tuple[str, str],
) -> list[dict[str, object]]:
    """Find the lines of one group; put the keys that are in line into ``found`` and ``on``."""
    kinds = range(len(bench.plugs))
    sets = [
        chosen
        for count in range(int(bench.rules.most_plugs_in))
        for chosen in combinations_with_replacement(kinds, count)
    ]
    best: tuple[float, int, tuple[int, ...], tuple[int, int], LinesFound] | None = None
    for doing in (KEEP, TAKE_OUT):
        group, _, fixed = gather_group(bench, rows, target, prices, doing)
        for chosen in sets:
            ends, lines = _best_lines(bench, group, chosen, prices)
            cost = float((lines.cost + fixed).sum())
            if best is None or cost < best[0] - 1e-9:
                best = (cost, doing, chosen, ends, lines)
        if not any(len(bench.old[row].distance_mm) for row in rows):
            break
    assert best is not None
    _, doing, chosen, ends, lines = best
    _, ways, fixed = gather_group(bench, rows, target, prices, doing)
    places = _places(bench, np.array([ends]), chosen, _share(rows))[0]
    plugs = tuple(bench.plugs[size].name for size in chosen)
    for i, row in enumerate(rows.tolist()):
        if lines.cost[i] < EXCEPTION_G:
            found[row] = found_on(chosen, places, lines, i, int(ways[i]), float(fixed[i]))
            on[int(bench.keys[row])] = KeyLines(
                doing == TAKE_OUT, plugs, tuple(int(x) for x in places[:, i])
            )
    return [
        {
            "section": title[0],
            "colour": title[1],
            "plug": bench.plugs[size].name,
            "first_key": bench.keys[rows[0]],
            "last_key": bench.keys[rows[-1]],
            "first_mm": float(places[j, 0]),
            "last_mm": float(places[j, -1]),
        }
        for j, size in enumerate(chosen)
    ]


def _share(rows: Ints) -> Floats:
    """Return how far along the section each key is, 0 to 1."""
    wide = max(int(rows[-1] - rows[0]), 1)
    share: Floats = (rows - rows[0]) / wide
    return share


def _best_lines(
    bench: LayoutBench, group: LineGroup, chosen: tuple[int, ...], prices: Prices
) -> tuple[tuple[int, int], LinesFound]:
    """Search the two ends of one set of lines, coarsely and then finely."""
    start, places = bench.grid_start_mm, group.free.shape[2]
    ends = np.array([[0, 0]])
    if chosen:
        first = np.arange(0, start + places, COARSE_MM)
        move = np.arange(-STEEPEST_MM, STEEPEST_MM + 1, COARSE_MM)
        ends = np.array([(a, a + b) for a in first for b in move if a + b > 0])
    share = _share(group.rows)
    lines = price_lines(bench, group, chosen, _places(bench, ends, chosen, share), prices)
    total = lines.cost.sum(axis=1)
    if chosen:
        fine = np.arange(-COARSE_MM, COARSE_MM + 1)
        near = np.array([(a, b) for a in fine for b in fine])
        best = ends[np.argsort(total, kind="stable")[:BEST_KEPT]]
        ends = np.unique((best[:, None, :] + near).reshape(-1, 2), axis=0)
        lines = price_lines(bench, group, chosen, _places(bench, ends, chosen, share), prices)
        total = lines.cost.sum(axis=1)
    at = int(np.argmin(total))
    picked = LinesFound(lines.cost[at], lines.kind[at], lines.place[at])
    return (int(ends[at, 0]), int(ends[at, 1])), picked


def _places(bench: LayoutBench, ends: Ints, chosen: tuple[int, ...], share: Floats) -> Ints:
    """Return where each line crosses each key, shape (candidates, lines, keys) [mm]."""
    gap = gaps_mm(bench.stock.diameter_mm, bench.rules.hole_clearance_mm)
    steps = [int(gap[a, b]) for a, b in pairwise(chosen)]
    offset = np.cumsum([0, *steps])[: len(chosen)]
    base = np.rint(ends[:, [0]] + (ends[:, [1]] - ends[:, [0]]) * share).astype(np.int64)
    places: Ints = base[:, None, :] + offset[None, :, None].astype(np.int64)
    return places
