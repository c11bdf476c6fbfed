"""Layouts that keep to lines which were found before: other front weights, the same lines.

A key that is in line has its plugs on the lines, its old plugs treated as its whole group's
are, and one adjusting plug at most. A key that is not laid in line is laid out freely.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pandas as pd

from balancekit.calculation.leads.layout.bench import LayoutBench
from balancekit.calculation.leads.layout.find import (
    Layout,
    find_layout,
    joined_layouts,
    mix_prices,
    tabulate,
)
from balancekit.calculation.leads.layout.row_prices import (
    EXCEPTION_G,
    LinesFound,
    found_on,
    gather_group,
    price_lines,
)
from balancekit.calculation.leads.layout.rows import KeyLines
from balancekit.calculation.leads.layout.sets import KEEP, TAKE_OUT, Floats, Ints
from balancekit.calculation.leads.layout.tables import Found, Prices
from balancekit.calculation.problems import BalancekitError, Problem


def layout_on_lines(
    bench: LayoutBench,
    target_front_weight_g: pd.Series,
    slider: float,
    on: Mapping[int, KeyLines],
) -> Layout:
    """Find the layout of least cost for every key that keeps to its lines.

    Parameters
    ----------
    bench, target_front_weight_g, slider : as for ``layout.find_layout``.
    on : what the lines ask of each key; the others are laid out freely.

    Returns
    -------
    Layout; a key that its lines do not bring to the target is left as it is, and ``within``
    is False.

    Raises
    ------
    BalancekitError : a plug of the lines that is no longer in the stock.
    """
    if not on:
        return find_layout(bench, target_front_weight_g, slider)
    prices = mix_prices(bench.rules, slider)
    target = target_front_weight_g.reindex(bench.keys)
    found = found_on_lines(bench, target.to_numpy(dtype=float), prices, on)
    order = np.array(sorted(found), dtype=np.int64)
    free = find_layout(bench, target.mask(np.isin(np.arange(len(target)), order)), slider)
    aims = target.to_numpy(dtype=float)[order]
    laid = tabulate(bench, order, aims, [found[row] for row in order.tolist()], slider)
    return joined_layouts(free, laid)


def found_on_lines(
    bench: LayoutBench, target_g: Floats, prices: Prices, on: Mapping[int, KeyLines]
) -> dict[int, Found]:
    """Return the layout of each key that keeps to lines, by its place in the bench.

    Parameters
    ----------
    bench, prices, on : as for ``layout_on_lines``.
    target_g : wanted front weight, shape (n,); NaN leaves a key out [g].
    """
    bound = np.isfinite(target_g) & bench.keys.isin(list(on))
    groups: dict[tuple[bool, tuple[str, ...]], list[int]] = {}
    for row in np.flatnonzero(bound).tolist():
        lines = on[int(bench.keys[row])]
        groups.setdefault((lines.take_out, lines.plugs), []).append(row)
    found: dict[int, Found] = {}
    for (take_out, plugs), rows in groups.items():
        places = [on[int(bench.keys[row])].places_mm for row in rows]
        chosen = _sizes(bench, plugs)
        at = np.array(places, dtype=np.int64).reshape(len(rows), len(chosen)).T
        doing = TAKE_OUT if take_out else KEEP
        found |= _on_one_group(bench, np.array(rows), target_g[rows], prices, doing, (chosen, at))
    return found


def _on_one_group(
    bench: LayoutBench,
    rows: Ints,
    target: Floats,
    prices: Prices,
    doing: int,
    lines: tuple[tuple[int, ...], Ints],
) -> dict[int, Found]:
    """Lay out the keys that have the same plugs on their lines."""
    chosen, places = lines
    group, ways, fixed = gather_group(bench, rows, target, prices, doing)
    priced = price_lines(bench, group, chosen, places[None], prices)
    one = LinesFound(priced.cost[0], priced.kind[0], priced.place[0])
    as_it_is, still, _ = gather_group(bench, rows, target, prices, KEEP)
    enough = (as_it_is.low <= 0) & (as_it_is.high >= 0)
    found = {}
    for i, row in enumerate(rows.tolist()):
        if enough[i] or one.cost[i] >= EXCEPTION_G:
            found[row] = replace(Found(), way=int(still[i]))
        else:
            found[row] = found_on(chosen, places, one, i, int(ways[i]), float(fixed[i]))
    return found


def _sizes(bench: LayoutBench, plugs: tuple[str, ...]) -> tuple[int, ...]:
    """Return the places of some plugs in the stock."""
    names = [plug.name for plug in bench.plugs]
    lacking = [name for name in plugs if name not in names]
    if lacking:
        raise BalancekitError(
            Problem(
                f"'{lacking[0]}' stands on a line, and is no longer in the stock.",
                "Put it into the stock again, or decide on the lead anew.",
            )
        )
    return tuple(names.index(name) for name in plugs)
