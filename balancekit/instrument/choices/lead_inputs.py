"""What leads and springs are planned with: hammers as decided, keys, plugs, stock, and layouts.

A layout is worked out once and kept while hammers, keys and wishes stay the same.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TypeAlias

import pandas as pd

from balancekit.calculation.leads.key_stick import Zone, back_end_mm, zones_from_table
from balancekit.calculation.leads.layout import (
    Layout,
    LayoutBench,
    LayoutRules,
    RowLayout,
    find_layout,
    find_rows,
    prepare_layout,
)
from balancekit.calculation.leads.plugs import Plug, plugs_from_table
from balancekit.calculation.problems import BalancekitError
from balancekit.instrument.choices.hammer_choice import choice_of as hammer_choice_of
from balancekit.instrument.choices.hammer_inputs import sticks_of
from balancekit.instrument.choices.hammer_plan import HammerPlan, hammer_plan
from balancekit.instrument.findings import Findings
from balancekit.instrument.leads_record import recorded_keys
from balancekit.instrument.model import Instrument

READ_FROM = ("leads", "leads_seen", "key_sticks", "plug_stock", "hole_zones")
"""The optional tables that leads and springs are planned from."""

Grams = tuple[float, ...]


@dataclass(frozen=True, eq=False)
class LeadInputs:
    """The instrument as the choice of leads and springs sees it.

    Attributes
    ----------
    hammers : what was decided about the hammers.
    hammers_decided : whether anything was.
    table : indexed by key: best estimates with the planned ratio and the hammers as they will
        be; ``spring_relief_g`` is what is there and what was planned with the hammers.
    strike_weight_u_g : how well each hammer is known [g].
    remark : why the hammers are taken as they are, or "".
    sticks : table of key sticks; see ``key_stick.usual_sticks``.
    leads : the plugs that are in the keys.
    recorded : the keys whose plugs are on record; nothing is laid out in the others.
    plugs : the stock.
    zones : places without holes that the user gave.
    first_keys : name and first key of each section.
    key_dip_mm : travel of the key [mm].
    """

    hammers: HammerPlan
    hammers_decided: bool
    table: pd.DataFrame
    strike_weight_u_g: pd.Series
    remark: str
    sticks: pd.DataFrame
    leads: pd.DataFrame
    recorded: frozenset[int]
    plugs: tuple[Plug, ...]
    zones: tuple[Zone, ...]
    first_keys: tuple[tuple[str, int], ...]
    key_dip_mm: float

    @property
    def keys(self) -> pd.Index:
        """The keys of the instrument."""
        return self.table.index


def lead_inputs(
    instrument: Instrument, visit: int = 0, findings: Findings | None = None
) -> LeadInputs:
    """Return what the choice of leads and springs works with.

    Parameters
    ----------
    instrument : what was given, with the choice of hammers.
    visit : which set of readings, 0 for the first.
    findings : of that visit, if they are at hand.

    Raises
    ------
    BalancekitError : an upright; a quantity that was read at no key; plugs, key sticks, stock
        or places without holes that cannot be.
    """
    hammers = hammer_plan(instrument, visit, findings)
    remark = ""
    try:
        strike_g = hammers.plan["planned_strike_weight_g"]
    except BalancekitError as error:
        strike_g = hammers.estimate_g
        remark = f"The hammers are taken as found, because their target cannot be: {error}"
    table = hammers.planned_table.assign(strike_weight_g=strike_g)
    inputs = LeadInputs(
        hammers,
        hammer_choice_of(instrument) is not None,
        table,
        hammers.hammers_u_g.fillna(table["strike_weight_u_g"]),
        remark,
        sticks_of(instrument, table),
        instrument.table("leads"),
        recorded_keys(instrument),
        plugs_from_table(instrument.table("plug_stock")),
        zones_from_table(instrument.table("hole_zones")),
        tuple((part.name, part.first_key) for part in instrument.sections),
        instrument.settings.key_dip_mm,
    )
    layout_bench(inputs, LayoutRules())  # refuses leads that cannot be, here and not later
    return inputs


# The last few are kept, so that a slider that moves does the least that is needed.


def layout_bench(inputs: LeadInputs, rules: LayoutRules, behind_pin: bool = True) -> LayoutBench:
    """Return the keys ready for layouts; see ``prepare_layout``.

    Tolerance and prices change nothing of what is prepared, so it is kept while they move.
    """
    usual = LayoutRules()
    prices = ("tolerance_g", "operation_g", "new_hole_g")
    same = replace(rules, **{name: getattr(usual, name) for name in prices})
    return replace(_prepared(inputs, same, behind_pin), rules=rules)


@lru_cache(maxsize=8)
def _prepared(inputs: LeadInputs, rules: LayoutRules, behind_pin: bool) -> LayoutBench:
    return prepare_layout(
        inputs.sticks,
        inputs.table["front_weight_g"].where(inputs.keys.isin(inputs.recorded)),
        inputs.leads,
        inputs.plugs,
        rules=rules,
        zones=all_zones(inputs, behind_pin),
    )


def all_zones(inputs: LeadInputs, behind_pin: bool) -> tuple[Zone, ...]:
    """Return the places without holes: those given, and if need be all behind the pin."""
    return open_zones(inputs.sticks, inputs.zones, behind_pin)


def open_zones(sticks: pd.DataFrame, zones: tuple[Zone, ...], behind_pin: bool) -> tuple[Zone, ...]:
    """Return the places without holes on some key sticks; see ``all_zones``."""
    whole = (Zone(float(back_end_mm(sticks).min()) - 1.0, 0.0, note="behind the pin"),)
    return zones if behind_pin else (*zones, *whole)


Asked: TypeAlias = tuple[LeadInputs, LayoutRules, bool, Grams, float]
"""What a layout depends on: keys, rules, behind the pin or not, front weights, slider."""


@lru_cache(maxsize=64)
def free_layout(
    inputs: LeadInputs, rules: LayoutRules, behind_pin: bool, target_g: Grams, slider: float
) -> Layout:
    """Return the best layout of each key; see ``layout.find_layout``."""
    bench = layout_bench(inputs, rules, behind_pin)
    return find_layout(bench, pd.Series(target_g, inputs.keys), slider)


@lru_cache(maxsize=4)
def lines_layout(
    inputs: LeadInputs, rules: LayoutRules, behind_pin: bool, target_g: Grams, slider: float
) -> RowLayout:
    """Return the plugs in straight lines; see ``layout_rows.find_rows``."""
    return find_rows(
        layout_bench(inputs, rules, behind_pin),
        pd.Series(target_g, inputs.keys),
        slider,
        first_keys=dict(inputs.first_keys) or None,
    )
