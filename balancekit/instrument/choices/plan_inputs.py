"""What a whole plan rests on: the keys as believed, groups to put right, what is done."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from balancekit.calculation.believed.name_groups import Group
from balancekit.calculation.hammers.inertia_account import inertia_account
from balancekit.calculation.leads.key_stick import zones_from_table
from balancekit.calculation.leads.layout import LayoutBench, prepare_layout
from balancekit.calculation.leads.plugs import plugs_from_table
from balancekit.calculation.linkage.distances import ActionGeometry
from balancekit.calculation.plan.piano import Floats, Piano, Shift
from balancekit.calculation.problems import BalancekitError, refuse
from balancekit.instrument.believed import Believed
from balancekit.instrument.choices import hammer_choice, lead_choice
from balancekit.instrument.choices.chosen_way import ChosenWay
from balancekit.instrument.choices.hammer_inputs import hammer_inputs, sticks_of
from balancekit.instrument.choices.hammer_plan import hammer_plan
from balancekit.instrument.friction_work import friction_work
from balancekit.instrument.leads_record import recorded_keys
from balancekit.instrument.model import Instrument
from balancekit.instrument.occasion import Occasion


def piano_of(occasion: Occasion) -> Piano:
    """Return the keys as a plan sees them.

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
        may_cut=free,
        may_lead=free & known,
        has_springs=bool((relief > 0).any()),
        shifts=shifts_of(believed, instrument),
    )


def with_done(piano: Piano, way: ChosenWay, occasion: Occasion) -> Piano:
    """Return the piano with the done work of a way in it; nothing more is planned on those keys.

    Levers come first at the bench, so they count as moved once any key is done. A done key that
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
        may_cut=piano.may_cut & free, may_lead=piano.may_lead & free, shifts=(),
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


def level_decided(instrument: Instrument) -> float | None:
    """Return the balance weight that was decided on; None leaves it to the plan [g]."""
    leads = lead_choice.choice_of(instrument)
    if leads is not None and leads.balance_weight_g is not None:
        return leads.balance_weight_g
    hammers = hammer_choice.choice_of(instrument)
    return None if leads is None or hammers is None else hammers.balance_weight_g


def lead_bench(occasion: Occasion, piano: Piano) -> LayoutBench:
    """Return the keys whose plugs are known and may be changed; see ``prepare_layout``."""
    instrument, table = occasion.instrument, occasion.believed.table
    keys = piano.keys[piano.may_lead]
    sticks = sticks_of(instrument, table)
    leads = instrument.table("leads")
    return prepare_layout(
        sticks,
        table["front_weight_g"].where(table.index.isin(keys)),
        leads[leads["key"].isin(keys)],
        plugs_from_table(instrument.table("plug_stock")),
        zones=zones_from_table(instrument.table("hole_zones")),
    )


def shifts_of(believed: Believed, instrument: Instrument) -> tuple[Shift, ...]:
    """Return the groups that moving a lever puts right.

    A group in the key ratio is a displaced capstan line, and takes the action ratio with it; one
    in the action ratio alone is the knuckle's. The move follows from the lever: key ratio x
    arm is the capstan's place; the ratio goes inversely with the knuckle's distance.
    """
    found = []
    capstan = [group for group in believed.groups if group.quantity == "key_ratio"]
    ratios = [group for group in believed.groups if group.quantity == "action_ratio"]
    for group in believed.groups:
        if group.quantity == "key_ratio":
            beside = [each for each in ratios if _meet(each, group)]
            shift = max(beside, key=lambda g: abs(g.shift), default=None)
            found.append(_shift(group, shift, believed, instrument, "capstan"))
        elif group.quantity == "action_ratio" and not any(_meet(group, c) for c in capstan):
            found.append(_shift(None, group, believed, instrument, "knuckle"))
    return tuple(found)


def _meet(one: Group, other: Group) -> bool:
    """Whether two groups share most of their keys."""
    shared = min(one.last_key, other.last_key) - max(one.first_key, other.first_key) + 1
    longest = max(g.last_key - g.first_key + 1 for g in (one, other))
    return one.members == other.members and shared >= longest / 2


def _shift(
    key_group: Group | None,
    ratio_group: Group | None,
    believed: Believed,
    instrument: Instrument,
    lever: str,
) -> Shift:
    group = key_group or ratio_group
    assert group is not None
    table = believed.table
    inside = (table.index >= group.first_key) & (table.index <= group.last_key)
    if group.members == "sharps":
        inside &= (table["colour"] == "sharp").to_numpy()
    ratio = float(table["action_ratio"][inside].mean())
    key_ratio = float(table["key_ratio"][inside].mean())
    by = 0.0 if ratio_group is None else ratio_group.shift
    key_by = 0.0 if key_group is None else key_group.shift
    if ratio_group is None:
        # The ratio is the key ratio times what wippen and hammer multiply it by.
        by = ratio * key_by / key_ratio
    settings = instrument.settings
    arm = settings.sharp_arm_mm if group.members == "sharps" else settings.natural_arm_mm
    move = key_by * arm if lever == "capstan" else ActionGeometry().knuckle_arm_mm * by / ratio
    return Shift(
        tuple(np.flatnonzero(inside).tolist()), group.first_key, group.last_key, lever,
        1 - by / ratio, 1 - key_by / key_ratio, move,
    )  # fmt: skip
