"""What a whole plan rests on: the keys as believed, groups to put right, what is done."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pandas as pd

from balancekit.calculation.hammers.inertia_account import inertia_account
from balancekit.calculation.leads.key_stick import zones_from_table
from balancekit.calculation.leads.layout import KeyLines, LayoutBench, prepare_layout
from balancekit.calculation.leads.plugs import plugs_from_table
from balancekit.calculation.plan.lead_choices import LeadChoices
from balancekit.calculation.plan.piano import Floats, Piano, Shift
from balancekit.calculation.problems import BalancekitError, refuse
from balancekit.instrument.choices import hammer_choice, lead_choice
from balancekit.instrument.choices.chosen_way import ChosenWay
from balancekit.instrument.choices.hammer_inputs import hammer_inputs, sticks_of
from balancekit.instrument.choices.hammer_plan import hammer_plan
from balancekit.instrument.choices.lead_inputs import open_zones
from balancekit.instrument.choices.lead_plan import LeadPlan, lead_plan
from balancekit.instrument.choices.plan_levers import levers_of
from balancekit.instrument.choices.plan_wishes import wishes_of
from balancekit.instrument.friction_work import friction_work
from balancekit.instrument.leads_record import recorded_keys
from balancekit.instrument.model import Instrument
from balancekit.instrument.occasion import Occasion


def leads_decided(occasion: Occasion) -> LeadPlan | None:
    """Return what was decided in the notebook of leads and springs; None if nothing was."""
    instrument = occasion.instrument
    if instrument.settings.action == "upright" or lead_choice.choice_of(instrument) is None:
        return None
    return lead_plan(instrument, occasion.visit, occasion.findings)


def piano_of(occasion: Occasion, leads: LeadPlan | None) -> Piano:
    """Return the keys as a plan sees them.

    Parameters
    ----------
    occasion : the readings.
    leads : see ``leads_decided``.

    Raises
    ------
    BalancekitError : an upright, or a quantity that is not known on every key.
    """
    instrument, believed = occasion.instrument, occasion.believed
    if instrument.settings.action == "upright":
        raise refuse(
            "This is an upright: its hammers do not hang on the key by their weight.",
            "Plan a grand here; an upright's friction is planned in its own notebook.",
        )
    inputs = hammer_inputs(instrument, occasion.visit, occasion.findings).table
    table = believed.table
    account = inertia_account(
        inputs, stick_inertia_g=inputs["stick_inertia_g"], lead_inertia_g=inputs["lead_inertia_g"]
    )
    free = ~table.index.isin(list(believed.weigh_first))
    known = table.index.isin(list(recorded_keys(instrument)))
    wishes = wishes_of(instrument)
    if leads is not None and leads.choice.layout == lead_choice.AS_FOUND:
        known = np.zeros(len(table), dtype=bool)
    shifts, must_move = levers_of(believed, instrument)

    def of(name: str) -> Floats:
        return np.asarray(table[name].to_numpy(dtype=float))

    relief = np.nan_to_num(of("spring_relief_g"))
    return Piano(
        table.index,
        of("balance_weight_g"),
        of("front_weight_g"),
        of("strike_weight_g"),
        of("wippen_weight_g"),
        relief,
        of("action_ratio"),
        of("key_ratio"),
        inertia_g=account["inertia_g"].to_numpy(dtype=float),
        excess_friction_g=_excess_friction(occasion),
        known_u_g=table["balance_weight_u_g"].to_numpy(dtype=float),
        hammer_fixed_g=_hammers_decided(occasion, table.index),
        relief_fixed_g=_relief_decided(instrument, leads, relief),
        may_cut=free,
        may_lead=free & known,
        has_springs=bool((relief > 0).any()),
        shifts=shifts,
        may_fit_springs=wishes.fit_springs,
        lighter_percent=wishes.lighter_percent,
        must_move=must_move,
    )


def with_done(piano: Piano, way: ChosenWay, occasion: Occasion) -> Piano:
    """Return the piano with the done work of a way in it; nothing more is planned on those keys.

    A done key that
    was weighed again, in the visit after, has the balance weight that was read then.

    Parameters
    ----------
    piano : as found.
    way : with its done keys.
    occasion : the readings that the way was planned from.
    """
    moved = replace(piano, shifts=_as_shifts(way, piano))
    ratio, balance, inertia = moved.moved(tuple(range(len(moved.shifts))))
    key_ratio = piano.key_ratio.copy()
    for shift in moved.shifts:
        key_ratio[list(shift.rows)] *= shift.key_ratio_part
    strike, front = piano.strike_weight_g.copy(), piano.front_weight_g.copy()
    relief, excess = piano.spring_relief_g.copy(), piano.excess_friction_g.copy()
    free = np.ones(piano.count, dtype=bool)
    for work in (work for work in way.keys if work.key in way.done):
        place = int(np.flatnonzero(piano.keys == work.key)[0])
        free[place] = False
        excess[place] = 0.0
        for values, wanted in (
            (strike, work.strike_weight_g), (front, work.front_weight_g),
            (relief, work.spring_relief_g),
        ):  # fmt: skip
            if wanted is not None:
                values[place] = wanted
    balance = balance + ratio * (strike - piano.strike_weight_g)
    balance = balance - (front - piano.front_weight_g) - (relief - piano.spring_relief_g)
    inertia = inertia + ratio**2 * (strike - piano.strike_weight_g)
    again = _weighed_again(occasion, piano.keys[~free])
    rows = piano.keys.get_indexer(again.index)
    balance[rows] = again.to_numpy()
    return replace(
        moved, balance_weight_g=balance, action_ratio=ratio, key_ratio=key_ratio,
        inertia_g=inertia, strike_weight_g=strike, front_weight_g=front,
        spring_relief_g=relief, excess_friction_g=excess,
        may_cut=piano.may_cut & free, may_lead=piano.may_lead & free, shifts=(), must_move=False,
    )  # fmt: skip


def _as_shifts(way: ChosenWay, piano: Piano) -> tuple[Shift, ...]:
    return tuple(
        Shift(tuple(piano.keys.get_indexer(pd.Index(work.keys)).tolist()), min(work.keys),
              max(work.keys), work.lever, work.ratio_part, work.key_ratio_part, work.move_mm)
        for work in way.levers
    )  # fmt: skip


def _weighed_again(occasion: Occasion, keys: pd.Index) -> pd.Series:
    """Return balance weights that the visit after has of some keys [g]."""
    later = occasion.visit + 1
    if later >= len(occasion.instrument.visits):
        return pd.Series(dtype=float)
    read = Occasion(occasion.instrument, later).read["balance_weight_g"]
    found: pd.Series = read.reindex(keys).dropna()
    return found


def _excess_friction(occasion: Occasion) -> Floats:
    """Return friction beyond its course on the keys where it is found or far from usual [g]."""
    table = occasion.without_slips
    work = friction_work(table, occasion.findings)
    excess = (work["friction_g"] - work["expected_g"]).reindex(table.index).fillna(0.0)
    return np.asarray(excess.to_numpy(dtype=float))


def _hammers_decided(occasion: Occasion, keys: pd.Index) -> Floats:
    """Return the strike weights that were decided in the notebook of hammers; else NaN [g]."""
    none = np.full(len(keys), np.nan)
    if hammer_choice.choice_of(occasion.instrument) is None:
        return none
    try:
        plan = hammer_plan(occasion.instrument, occasion.visit, occasion.findings).plan
    except BalancekitError as error:
        raise BalancekitError(
            [replace(p, advice=f"{p.advice} Or take the decision on hammers back.")
             for p in error.problems]
        ) from error  # fmt: skip
    worked = plan["work"].isin(["trim", "add"])
    strike = plan["planned_strike_weight_g"].where(worked)
    found = occasion.believed.table["strike_weight_g"]
    return np.asarray(strike.reindex(keys).fillna(found).to_numpy(dtype=float))


def _relief_decided(instrument: Instrument, leads: LeadPlan | None, now_g: Floats) -> Floats:
    """Return the spring relief that was decided on; else NaN [g]."""
    if leads is not None and leads.springs_decided:
        return np.asarray(leads.spring_relief_g.to_numpy(dtype=float))
    hammers = hammer_choice.choice_of(instrument)
    more = 0.0 if hammers is None else hammers.spring_relief_more_g
    return now_g + more if more else np.full(len(now_g), np.nan)


def line_decided(
    instrument: Instrument, leads: LeadPlan | None
) -> tuple[float, float, float] | None:
    """Return the balance weight that was decided or wished for; None leaves it to the plan.

    First and last key, and how far the middle lies above the straight line between them [g].
    What was decided with the leads comes before a wish.
    """
    if leads is not None:
        choice = leads.choice
        if choice.balance_weight_from == lead_choice.CURVE:
            first, middle, last = leads.levels_g("balance_weight")
            return first, last, middle - (first + last) / 2
        hammers = hammer_choice.choice_of(instrument)
        if choice.balance_weight_g is not None or hammers is not None:
            return leads.balance_level_g, leads.balance_level_g, 0.0
    wished = wishes_of(instrument).balance_weight_g
    return None if wished is None else (wished, wished, 0.0)


def way_bench(instrument: Instrument, table: pd.DataFrame, keys: pd.Index) -> LayoutBench:
    """Return some keys ready for layouts, by the rules that were decided with the leads.

    Parameters
    ----------
    table : of every key, with ``front_weight_g`` and what ``sticks_of`` needs.
    keys : whose plugs may be changed.

    Raises
    ------
    BalancekitError : plugs, stock or places without holes that cannot be.
    """
    choice = lead_choice.choice_of(instrument) or lead_choice.LeadChoice()
    sticks, leads = sticks_of(instrument, table), instrument.table("leads")
    return prepare_layout(
        sticks,
        table["front_weight_g"].where(table.index.isin(keys)),
        leads[leads["key"].isin(keys)],
        plugs_from_table(instrument.table("plug_stock")),
        rules=choice.rules,
        zones=open_zones(
            sticks, zones_from_table(instrument.table("hole_zones")), choice.behind_pin
        ),
    )


def lines_decided(leads: LeadPlan | None) -> Mapping[int, KeyLines]:
    """Return what straight lines of plugs ask of each key; nothing where none were decided."""
    if leads is None or leads.choice.layout != lead_choice.IN_LINES:
        return {}
    return leads.lines.on


def under_the_limit(found: LeadChoices, leads: LeadPlan | None, piano: Piano) -> LeadChoices:
    """Return the choices of lead that stay under the highest front weight that was decided."""
    if leads is None:
        return found
    rows = piano.keys.get_indexer(found.keys)
    most = np.maximum(leads.limit_g.reindex(piano.keys).to_numpy(dtype=float), piano.front_weight_g)
    over = piano.front_weight_g[rows, None] + found.change_g > most[rows, None] + 1e-9
    over[:, :1] = False
    minutes = np.where(over, np.inf, found.minutes)
    return replace(found, minutes=minutes, change_g=np.where(over, np.nan, found.change_g))
