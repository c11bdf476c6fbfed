"""The work of a chosen way: what it asks of each key, as sheets, prediction and proof take it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from balancekit.calculation.leads.layout import Layout, layout_on_lines
from balancekit.calculation.plan.lead_choices import time_rules
from balancekit.calculation.plan.work_costs import WorkCosts
from balancekit.calculation.proof.prediction import Planned
from balancekit.calculation.words import in_words
from balancekit.instrument.choices.chosen_way import ChosenWay, LeverWork
from balancekit.instrument.choices.plan_inputs import way_bench
from balancekit.instrument.choices.plan_levers import regulated
from balancekit.instrument.model import BenchSettings, Instrument

_NEAREST_G = 0.05
# Our own choice: the way names a front weight that a layout reaches; this is its rounding.


def way_series(way: ChosenWay, name: str, keys: pd.Index) -> pd.Series:
    """Return what the way brings each key to, NaN where a key stays as it is.

    >>> from balancekit.instrument.choices.chosen_way import KeyWork
    >>> way = ChosenWay("hammer", 10, 0, 38, 38, (KeyWork(2, strike_weight_g=9.0),))
    >>> way_series(way, "strike_weight_g", pd.Index([1, 2])).tolist()
    [nan, 9.0]
    """
    wanted = {work.key: getattr(work, name) for work in way.keys}
    return pd.Series([wanted.get(int(key)) for key in keys], keys, dtype=float)


def way_hammers(way: ChosenWay, strike_weight_g: pd.Series) -> pd.DataFrame:
    """Return the work on hammers, with the columns of ``Work.hammers``."""
    wanted = way_series(way, "strike_weight_g", strike_weight_g.index).dropna()
    now = strike_weight_g.loc[wanted.index]
    change = wanted - now
    return pd.DataFrame(
        {
            "work": np.where(change < 0, "trim", "add"),
            "strike_weight_g": now,
            "target_strike_weight_g": wanted,
            "trimmed_g": (-change).clip(lower=0.0),
            "added_g": change.clip(lower=0.0),
            "planned_strike_weight_g": wanted,
        }
    )


def way_leads(way: ChosenWay, instrument: Instrument, table: pd.DataFrame) -> Layout:
    """Return the layout of the plugs that the way asks for; only the keys it touches.

    Parameters
    ----------
    table : of the instrument, with ``front_weight_g``, ``colour`` and ``key_ratio``.

    Raises
    ------
    BalancekitError : plugs, stock or places without holes that cannot be.
    """
    costs = WorkCosts.from_table(instrument.table("work_minutes"))
    wanted = way_series(way, "front_weight_g", table.index).dropna()
    bench = way_bench(instrument, table, wanted.index)
    on = {work.key: work.lines for work in way.keys if work.lines is not None}
    rules = time_rules(bench.rules, costs, _NEAREST_G)
    return layout_on_lines(replace(bench, rules=rules), wanted, 0.0, on)


def way_parts(way: ChosenWay, keys: pd.Index) -> tuple[pd.Series, pd.Series]:
    """Return action ratio and key ratio after the levers are moved, over those before."""
    part, key_part = pd.Series(1.0, keys), pd.Series(1.0, keys)
    for work in way.levers:
        moved = keys.isin(work.keys)
        part[moved] *= work.ratio_part
        key_part[moved] *= work.key_ratio_part
    return part, key_part


def way_planned(
    way: ChosenWay, found: pd.DataFrame, layout: Layout, friction_g: pd.Series, friction_u_g: float
) -> Planned:
    """Return what the way brings each key to, for the prediction.

    Parameters
    ----------
    found : table of keys as found.
    layout : from ``way_leads``.
    friction_g : that a key should have, by key [g]; ``friction_u_g`` is how well it is reached.
    """
    keys = found.index
    eased = [work.key for work in way.keys if work.ease]
    part, key_part = way_parts(way, keys)
    return Planned(
        strike_weight_g=way_series(way, "strike_weight_g", keys),
        front_weight_g=layout.keys["front_weight_g"].reindex(keys),
        spring_relief_g=way_series(way, "spring_relief_g", keys),
        friction_g=friction_g.where(keys.isin(eased) | found["friction_g"].isna()),
        friction_u_g=friction_u_g,
        ratio_part=part,
        key_ratio_part=key_part,
    )


def way_levers(way: ChosenWay, settings: BenchSettings) -> pd.DataFrame:
    """Return the levers that the way moves, in the order of the bench.

    Returns
    -------
    DataFrame with ``keys`` (words), ``lever``, ``move_mm``, ``side`` (where to), ``ratio_percent``
    (change of the action ratio) and ``regulation`` (what becomes of dip and blow).
    """
    rows = []
    for work in way.levers:
        everywhere = len(work.keys) == settings.key_count
        smaller = work.move_mm > 0
        if work.lever == "capstan":
            side = "towards the balance pin" if smaller else "away from the balance pin"
        else:
            side = "away from the shank centre" if smaller else "towards the shank centre"
        rows.append(
            (
                "all keys" if everywhere else in_words(work.keys), work.lever,
                abs(work.move_mm), side, 100 * (work.ratio_part - 1),
                _regulation(work, settings) if everywhere else "as the neighbours",
            )
        )  # fmt: skip
    columns = ["keys", "lever", "move_mm", "side", "ratio_percent", "regulation"]
    return pd.DataFrame(rows, columns=columns)


def _regulation(work: LeverWork, settings: BenchSettings) -> str:
    after = regulated(settings, work.ratio_part)
    if after is None:
        return "dip and blow leave what is usual"
    return f"key dip {after.key_dip_mm:.1f} mm, blow distance {after.blow_distance_mm:.1f} mm"


def way_sentences(way: ChosenWay, layout: Layout, levers: pd.DataFrame) -> dict[str, str]:
    """Return what each operation of the way adds up to, one sentence each.

    Parameters
    ----------
    layout, levers : from ``way_leads`` and ``way_levers``.
    """
    said: dict[str, str] = {}
    for line in levers.to_dict("records"):
        said["levers"] = said.get("levers", "Levers: ") + (
            f"{line['lever']}s of {line['keys']} {line['move_mm']:.1f} mm {line['side']}; "
            f"regulation then: {line['regulation']}. "
        )
    hammers = [work for work in way.keys if work.strike_weight_g is not None]
    if hammers:
        said["hammers"] = f"Hammers: {len(hammers)}, by the chosen way."
    actions = layout.plan["action"].value_counts()
    if len(layout.plan):
        said["leads"] = (
            f"Leads: put in {actions.get('put in', 0)}, take out {actions.get('take out', 0)}, "
            f"in {layout.keys.shape[0]} keys."
        )
    return said
