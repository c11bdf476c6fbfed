"""The whole plan of an instrument: from what is believed of it to the ways there are.

What was decided about hammers, in their own notebook, is kept: the plan then works with those
strike weights. So is a balance weight that was decided with the leads. A key with a doubted
reading is left alone until it is weighed, and so are the plugs of a key that has no record.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from balancekit.calculation.hammers.inertia_account import inertia_account
from balancekit.calculation.leads.key_stick import zones_from_table
from balancekit.calculation.leads.layout_bench import LayoutBench, prepare_layout
from balancekit.calculation.leads.plugs import plugs_from_table
from balancekit.calculation.linkage.distances import ActionGeometry
from balancekit.calculation.plan.front import Front, Way, decisions, find_front
from balancekit.calculation.plan.knowledge import (
    TOLERANCE_G,
    Chances,
    chances,
    default_way,
    limit_g,
)
from balancekit.calculation.plan.lead_choices import LeadChoices, list_lead_choices
from balancekit.calculation.plan.order import order_of_work
from balancekit.calculation.plan.piano import Floats, Piano, Shift
from balancekit.calculation.plan.telling import Told, name_of, tell, ways_table
from balancekit.calculation.plan.treatments import Treatments, list_treatments
from balancekit.calculation.plan.work_costs import WorkCosts
from balancekit.calculation.problems import BalancekitError, refuse
from balancekit.instrument.believed import Believed, Group
from balancekit.instrument.choices import hammer_choice, lead_choice
from balancekit.instrument.choices.chosen_way import ChosenWay, KeyWork, LeverWork
from balancekit.instrument.choices.hammer_inputs import hammer_inputs, sticks_of
from balancekit.instrument.choices.hammer_plan import hammer_plan
from balancekit.instrument.friction_work import friction_work
from balancekit.instrument.leads_record import recorded_keys
from balancekit.instrument.model import Instrument
from balancekit.instrument.occasion import Occasion

Share = Callable[[float], None]

_DRAWS, _SEED = 1000, 20_260


@dataclass(frozen=True, eq=False)
class WholePlan:
    """Everything that a plan of one visit rests on, and the ways there are.

    Attributes
    ----------
    occasion : the readings.
    costs : minutes and money.
    lead_choices : front weights each key can be given.
    front : the ways that no other beats.
    tolerance_g : within which a key counts as even [g].
    follow : the way that is carried on with, its done keys ticked; None from the start.
    """

    occasion: Occasion
    costs: WorkCosts
    lead_choices: LeadChoices
    front: Front
    tolerance_g: float = TOLERANCE_G
    follow: ChosenWay | None = None

    @property
    def treatments(self) -> Treatments:
        """What can be done on each key."""
        return self.front.treatments

    @property
    def piano(self) -> Piano:
        """The keys as the plan sees them."""
        return self.treatments.piano

    @cached_property
    def later_u_g(self) -> float:
        """Standard uncertainty of a balance weight that is weighed once more [g]."""
        u = self.occasion.instrument.settings.reading_u
        return float(np.hypot(u["down_weight_g"], u["up_weight_g"]) / 2)

    @cached_property
    def limit_g(self) -> float:
        """Below it more work cannot be told from less; see ``knowledge.limit_g`` [g]."""
        return limit_g(self.front, self.later_u_g)

    @cached_property
    def default(self) -> int:
        """Number of the way to start from: the least work that cannot be told from the most."""
        return default_way(self.front, self.later_u_g)

    @cached_property
    def _draws(self) -> dict[str, Floats]:
        drawn = self.occasion.believed.draws(_DRAWS, _SEED)
        places = self.occasion.believed.keys.get_indexer(self.piano.keys)
        return {name: values[:, places] for name, values in drawn.items()}

    def way(self, number: int) -> Way:
        """Return one way of the front."""
        return self.front.ways[number]

    def name(self, number: int) -> str:
        """Return what a way does, in words."""
        return name_of(self.treatments, self.way(number))

    def told(self, number: int) -> Told:
        """Return what a way does and brings, key by key."""
        return tell(self.treatments, self.way(number))

    def sure(self, number: int) -> Chances:
        """Return how sure a way is."""
        return chances(self.treatments, self.way(number), self._draws, self.tolerance_g)

    def order(self, number: int) -> pd.DataFrame:
        """Return what first; see ``order.order_of_work``."""
        return order_of_work(self.treatments, self.way(number), self.costs)

    def table(self, numbers: list[int]) -> pd.DataFrame:
        """Return ways side by side; see ``telling.ways_table``."""
        colours = self.occasion.instrument.keys["colour"].loc[self.piano.keys]
        sure = [self.sure(number) for number in numbers]
        return ways_table(self.front, numbers, sure, colours)

    def chosen(self, number: int) -> ChosenWay:
        """Return a way as it is kept with the instrument; what is done already stays in it."""
        way, told, piano = self.way(number), self.told(number), self.piano
        reach = {
            "strike_weight_g": (told.strike_g, piano.strike_weight_g),
            "front_weight_g": (told.front_g, piano.front_weight_g),
            "spring_relief_g": (told.relief_g, piano.spring_relief_g),
        }
        done = () if self.follow is None else self.follow.done
        keys = [] if self.follow is None else [w for w in self.follow.keys if w.key in done]
        for place, key in enumerate(piano.keys.tolist()):
            weights = {
                name: round(float(now[place] + change.iloc[place]), 3)
                for name, (change, now) in reach.items()
                if change.iloc[place] != 0
            }
            if weights or key in told.eased:
                keys.append(KeyWork(int(key), ease=key in told.eased, **weights))
        levers = list(self.follow.levers) if self.follow is not None and done else []
        for each in way.decision.shifts:
            shift = piano.shifts[each]
            moved = tuple(int(piano.keys[row]) for row in shift.rows)
            levers.append(
                LeverWork(moved, shift.lever, round(shift.move_mm, 2), shift.ratio_part,
                          shift.key_ratio_part)
            )  # fmt: skip
        return ChosenWay(
            self.name(number), round(way.minutes, 1), round(way.money, 2),
            round(way.decision.first_g, 2), round(way.decision.last_g, 2),
            tuple(sorted(keys, key=lambda work: work.key)), tuple(levers), done,
        )  # fmt: skip


def plan_whole(
    instrument: Instrument,
    visit: int = 0,
    *,
    occasion: Occasion | None = None,
    level_g: float | None = None,
    follow: ChosenWay | None = None,
    done: Share = lambda _: None,
    short: bool = False,
) -> WholePlan:
    """Find every way to even an instrument out that no other beats.

    Parameters
    ----------
    instrument : with readings, plugs and what was decided.
    visit : the set of readings, 0 for the first.
    occasion : of the same visit, if at hand.
    level_g : balance weight wanted on every key; None leaves it to the plan, or to what was
        decided with the leads [g].
    follow : a way of which some keys are ticked as done: they stay, the rest is planned anew.
        Readings that a later visit has of done keys are taken in.
    done : told the share that is done, 0 to 1.
    short : coarser steps, for a first answer within a second.

    Raises
    ------
    BalancekitError : an upright, or a quantity that was read at no key.
    """
    held = occasion or Occasion(instrument, visit)
    costs = WorkCosts.from_table(instrument.table("work_minutes"))
    piano = piano_of(held)
    if follow is not None and follow.done:
        piano = with_done(piano, follow, held)
    if level_g is None:
        level_g = _level_decided(instrument)
    bench = lead_bench(held, piano)
    step_g = 2.0 if short else 0.5
    found = list_lead_choices(bench, costs, step_g=step_g, done=lambda part: done(0.8 * part))
    treatments = list_treatments(piano, found.on(piano.keys), costs)
    tried = decisions(piano, level_g, short=short)
    front = find_front(treatments, costs, tried, done=lambda part: done(0.8 + 0.2 * part))
    return WholePlan(held, costs, found, front, follow=follow)


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


def _level_decided(instrument: Instrument) -> float | None:
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
