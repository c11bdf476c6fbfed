"""From a layout to the bench: what to buy, what comes out, and ways out where none fits.

Lead is toxic: gloves, wet wiping, wash before food, no sanding or melting, scraps by local
rules, children and pregnant people away. Final trim is on the scale: plug loose on top of
the key, weigh, mark, bore. Local codes and licensed practice come before this tool.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import ceil

import pandas as pd

from balancekit.calculation.leads.key_stick import Zone
from balancekit.calculation.leads.layout import (
    PUT_IN,
    Layout,
    LayoutBench,
    LayoutRules,
    find_layout,
    prepare_layout,
)
from balancekit.calculation.leads.plugs import METAL_DENSITY_G_CM3, Plug, make_plug, usual_plugs
from balancekit.calculation.problems import refuse

SPARE_SHARE = 0.1
# Our own choice: one spare for ten plugs, and at least one of each kind.

MOST_PLUGS = 6


def shopping_list(layout: Layout, spare_share: float = SPARE_SHARE) -> pd.DataFrame:
    """Count the plugs to put in by kind, with spares.

    Parameters
    ----------
    layout : from ``layout.find_layout``.
    spare_share : spares as a share of the plugs, rounded up [0 to 1].

    Returns
    -------
    DataFrame indexed by ``plug``: ``diameter_mm, mass_g, put_in, spares, to_buy`` and
        ``total_g``, the mass to buy [g].

    Raises
    ------
    BalancekitError : a share of spares outside 0 to 1.
    """
    if not 0 <= spare_share <= 1:
        raise refuse(f"The share of spares is {spare_share}.", "Give 0 to 1.")
    put_in = layout.plan[layout.plan["action"] == PUT_IN]
    groups = put_in.groupby("plug", sort=True)
    table = pd.DataFrame(
        {
            "diameter_mm": groups["diameter_mm"].first(),
            "mass_g": groups["mass_g"].first(),
            "put_in": groups.size(),
        }
    )
    table["spares"] = [ceil(spare_share * count - 1e-9) for count in table["put_in"]]
    table["to_buy"] = table["put_in"] + table["spares"]
    table["total_g"] = table["to_buy"] * table["mass_g"]
    return table.sort_values("diameter_mm")


def scrap_list(layout: Layout) -> pd.DataFrame:
    """Count the old plugs that come out, by diameter: ``taken_out`` and ``total_g`` [g].

    Scrap lead goes where local rules say.
    """
    out = layout.plan[layout.plan["action"] == "take out"].groupby("diameter_mm")
    return pd.DataFrame({"taken_out": out.size(), "total_g": out["mass_g"].sum()})


def lead_totals(layout: Layout, other_inertia_g: pd.Series | float = 0.0) -> dict[str, float]:
    """Sum a layout over the keyboard.

    Parameters
    ----------
    layout : from ``layout.find_layout``.
    other_inertia_g : inertia of hammer, wippen and key stick, indexed by key [g]; left
        at 0, mean and unevenness are of the leads alone.

    Returns
    -------
    ``lead_g`` (in the keys after the work), ``mean_inertia_g``, ``unevenness_g`` (root mean
        square of the step of inertia from one key to the next), ``operations``,
        ``new_holes`` and ``keys_missed``.
    """
    keys = layout.keys
    inertia = keys["lead_inertia_g"] + other_inertia_g
    inertia = inertia.reindex(keys.index)
    step = inertia.diff().dropna()
    return {
        "lead_g": float(keys["lead_g"].sum()),
        "mean_inertia_g": float(inertia.mean()),
        "unevenness_g": float((step**2).mean() ** 0.5) if len(step) else 0.0,
        "operations": float(keys["operations"].sum()),
        "new_holes": float(keys["new_holes"].sum()),
        "keys_missed": float((~keys["within"]).sum()),
    }


def ways_out(
    bench: LayoutBench,
    layout: Layout,
    target_front_weight_g: pd.Series,
    *,
    zones: Sequence[Zone] = (),
) -> pd.DataFrame:
    """Say for each key that misses its target by how much, and what would allow it.

    Three things are tried, each alone: one more plug, a kind of plug that is not in the
    stock (usual lead, or tungsten of the stock's sizes), and a wider tolerance.

    Parameters
    ----------
    bench, target_front_weight_g : as for ``layout.find_layout``.
    layout : its answer.
    zones : as for ``layout.prepare_layout``.

    Returns
    -------
    DataFrame by key, only the keys that miss: ``miss_g``, ``one_more_plug`` (bool),
        ``other_plug`` (name, "" if none of those tried helps), ``tolerance_g`` (that would
        do [g]) and ``sentence``.
    """
    missed = layout.keys[~layout.keys["within"]]
    rows = []
    more = _retry(bench, missed.index, target_front_weight_g, layout.slider, zones, more=1)
    others = {
        plug.name: _retry(
            bench, missed.index, target_front_weight_g, layout.slider, zones, plugs=(plug,)
        )
        for plug in (_others(bench.plugs) if len(missed) else ())
    }
    for key, miss in zip(missed.index.tolist(), missed["miss_g"].tolist(), strict=True):
        helps = [name for name, within in others.items() if within.get(key, False)]
        tolerance = ceil(abs(miss) * 20 - 1e-9) / 20
        rows.append((key, miss, bool(more.get(key, False)), helps[0] if helps else "", tolerance))
    columns = ["key", "miss_g", "one_more_plug", "other_plug", "tolerance_g"]
    table = pd.DataFrame(rows, columns=columns).set_index("key")
    table["sentence"] = [_sentence(*row[1:]) for row in rows]
    return table


def _others(plugs: Sequence[Plug]) -> list[Plug]:
    """Return the plugs that are worth a try and are not in the stock."""
    stock = {(plug.diameter_mm, plug.length_mm, round(plug.mass_g, 1)) for plug in plugs}
    tungsten = {(plug.diameter_mm, plug.length_mm) for plug in plugs}
    tried = [*usual_plugs(), make_plug(6.4, 9.5)]
    tried += [make_plug(*size, "tungsten") for size in sorted(tungsten, reverse=True)]
    known = METAL_DENSITY_G_CM3
    return [
        plug
        for plug in tried
        if (plug.diameter_mm, plug.length_mm, round(plug.mass_g, 1)) not in stock
        and plug.metal in known
    ]


def _retry(
    bench: LayoutBench,
    keys: pd.Index,
    target: pd.Series,
    slider: float,
    zones: Sequence[Zone],
    *,
    more: int = 0,
    plugs: tuple[Plug, ...] = (),
) -> dict[int, bool]:
    """Try the keys once more, with more plugs or another kind; tell which are then within."""
    most = int(bench.rules.most_plugs_in) + more
    if not len(keys) or most > MOST_PLUGS:
        return {}
    rules: LayoutRules = replace(bench.rules, most_plugs_in=most)
    now = pd.Series(bench.front_weight_now_g, bench.keys)
    places = {key: place for place, key in enumerate(bench.keys)}
    leads = pd.DataFrame(
        [
            (key, wide, mass, x)
            for key in keys
            for x, wide, mass in zip(
                bench.old[places[key]].distance_mm,
                bench.old[places[key]].diameter_mm,
                bench.old[places[key]].mass_g,
                strict=True,
            )
        ],
        columns=["key", "diameter_mm", "mass_g", "distance_mm"],
    )
    again = prepare_layout(
        bench.sticks.loc[keys], now.loc[keys], leads, (*bench.plugs, *plugs),
        rules=rules, zones=zones,
    )  # fmt: skip
    within = find_layout(again, target, slider).keys["within"]
    return dict(zip(within.index.tolist(), within.tolist(), strict=True))


def saved(with_spring: Layout, without_spring: Layout) -> pd.DataFrame:
    """Compare the same keys with and without a spring.

    Returns
    -------
    DataFrame by key: ``lead_g`` and ``lead_inertia_g``, what the spring saves [g].
    """
    columns = ["lead_g", "lead_inertia_g"]
    return without_spring.keys[columns] - with_spring.keys[columns]


def _sentence(miss_g: float, one_more: bool, other_plug: str, tolerance_g: float) -> str:
    """Say what one key misses and what would allow it."""
    side = "above" if miss_g > 0 else "below"
    helps = ["one more plug"] if one_more else []
    if other_plug:
        helps.append(f"a plug of another kind ({other_plug})")
    helps.append(f"a tolerance of {tolerance_g:.2f} g")
    return (
        f"The nearest layout is {abs(miss_g):.2f} g {side} its target. {_joined(helps)} would do."
    )


def _joined(words: list[str]) -> str:
    """Join words with commas and a last "or", the first letter large."""
    text = words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"
    return text[0].upper() + text[1:]
