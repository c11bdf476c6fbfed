"""The whole plan of an instrument: from what is believed of it to the ways there are.

What was decided about hammers, in their own notebook, is kept: the plan then works with those
strike weights. So is what was decided with the leads: a balance weight and its course, springs,
limits, and straight lines of plugs. A key with a doubted
reading is left alone until it is weighed, and so are the plugs of a key that has no record.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import pandas as pd

from balancekit.calculation.by_value import ByValue
from balancekit.calculation.leads.layout import KeyLines
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
from balancekit.calculation.plan.piano import Floats, Piano
from balancekit.calculation.plan.telling import Told, kinds_of, name_of, tell, ways_table
from balancekit.calculation.plan.treatments import Steps, Treatments, list_treatments
from balancekit.calculation.plan.work_costs import WorkCosts
from balancekit.calculation.words import in_words
from balancekit.instrument.choices import lead_choice
from balancekit.instrument.choices.chosen_way import ChosenWay, KeyWork, LeverWork
from balancekit.instrument.choices.plan_inputs import (
    leads_decided,
    line_decided,
    lines_decided,
    piano_of,
    under_the_limit,
    way_bench,
    with_done,
)
from balancekit.instrument.in_cells import card
from balancekit.instrument.leads_record import recorded_keys
from balancekit.instrument.model import Instrument
from balancekit.instrument.occasion import Occasion

Share = Callable[[float], None]

_DRAWS, _SEED = 1000, 20_260


@dataclass(frozen=True, eq=False, repr=False)
class WholePlan(ByValue):
    """Everything that a plan of one visit rests on, and the ways there are.

    Attributes
    ----------
    occasion : the readings.
    costs : minutes and money.
    lead_choices : front weights each key can be given.
    front : the ways that no other beats.
    tolerance_g : within which a key counts as even [g].
    follow : the way that is carried on with, its done keys ticked; None from the start.
    lines : straight lines of plugs that were decided with the leads, by key.
    """

    occasion: Occasion
    costs: WorkCosts
    lead_choices: LeadChoices
    front: Front
    tolerance_g: float = TOLERANCE_G
    follow: ChosenWay | None = None
    lines: Mapping[int, KeyLines] = field(default_factory=dict)

    def __repr__(self) -> str:
        hours = self.way(self.default).minutes / 60
        return (
            f"<WholePlan of {self.occasion.instrument.title!r}: {len(self.front.ways)} ways; "
            f"way {self.default} leaves what weighing cannot tell from the most, {hours:.1f} h>"
        )

    def _repr_html_(self) -> str:
        ways = pd.DataFrame(
            {"hours": self.front.minutes / 60, "uneven_g": self.front.uneven_g},
            pd.RangeIndex(len(self.front.ways), name="way"),
        )
        shown = sorted({*range(0, len(ways), max(len(ways) // 9, 1)), self.default})
        facts = {
            "Least work that weighing cannot tell from the most": f"way {self.default}, "
            f"{self.name(self.default)}",
            "Left alone": " ".join(self.left_alone),
        }
        return card(f"Ways for {self.occasion.instrument.title}", facts, ways.iloc[shown])

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

    @property
    def left_alone(self) -> list[str]:
        """Say which keys the plan leaves alone and what it does not keep, and why."""
        doubted = self.piano.keys[~self.piano.may_cut].tolist()
        if self.follow is not None:
            doubted = [key for key in doubted if key not in self.follow.done]
        recorded = recorded_keys(self.occasion.instrument)
        worked = self.piano.keys[self.piano.may_cut].tolist()
        unknown = [key for key in worked if key not in recorded]
        said = []
        if doubted:
            said.append(f"Weigh first, nothing is cut or bored there: {in_words(doubted)}.")
        if unknown:
            said.append(f"Plugs not recorded, no lead is planned: {in_words(unknown)}.")
        return said

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

    @cached_property
    def _sure(self) -> dict[int, Chances]:
        return {}

    def sure(self, number: int) -> Chances:
        """Return how sure a way is; worked out once."""
        if number not in self._sure:
            self._sure[number] = chances(
                self.treatments, self.way(number), self._draws, self.tolerance_g
            )
        return self._sure[number]

    @cached_property
    def corners(self) -> tuple[int, ...]:
        """Numbers of the ways at which another kind of work begins, or another lever is moved."""
        found: list[int] = []
        seen: set[tuple[str, ...]] = set()
        for number in range(len(self.front.ways)):
            kinds = kinds_of(self.treatments, self.way(number))
            if kinds not in seen:
                seen.add(kinds)
                found.append(number)
        return tuple(found)

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
                lines = self.lines.get(int(key)) if "front_weight_g" in weights else None
                keys.append(KeyWork(int(key), ease=key in told.eased, lines=lines, **weights))
        begun = self.follow is not None and self.follow.levers_moved
        levers = list(self.follow.levers) if self.follow is not None and begun else []
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
            tuple(sorted(keys, key=lambda work: work.key)), tuple(levers), done, begun,
        )  # fmt: skip


def plan_whole(
    instrument: Instrument,
    visit: int = 0,
    *,
    occasion: Occasion | None = None,
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
    follow : a way of which some keys are ticked as done: they stay, the rest is planned anew.
        Readings that a later visit has of done keys are taken in.
    done : told the share that is done, 0 to 1.
    short : coarser steps, for a first answer within a second; without lead where straight lines
        were decided for it.

    Raises
    ------
    BalancekitError : an upright, or a quantity that was read at no key.
    """
    held = occasion or Occasion(instrument, visit)
    costs = WorkCosts.from_table(instrument.table("work_minutes"))
    leads = leads_decided(held)
    piano = piano_of(held, leads)
    if follow is not None and follow.begun:
        piano = with_done(piano, follow, held)
    wanted = line_decided(instrument, leads)
    in_lines = leads is not None and leads.choice.layout == lead_choice.IN_LINES
    if in_lines and short:  # lines take longer to find than a first answer may take
        piano = replace(piano, may_lead=np.zeros(piano.count, dtype=bool))
    bench = way_bench(instrument, held.believed.table, piano.keys[piano.may_lead])
    step_g, reach_g = (3.0, 9.0) if short else (0.5, 12.0)
    lines = {} if in_lines and short else lines_decided(leads)
    found = list_lead_choices(
        bench, costs, reach_g=reach_g, step_g=step_g, on=lines, done=lambda part: done(0.8 * part)
    )
    found = under_the_limit(found, leads, piano)
    steps = Steps(hammer_step_g=0.4, fitted_step_g=4.0) if short else Steps()
    treatments = list_treatments(piano, found.on(piano.keys), costs, steps)
    tried = decisions(piano, wanted, short=short)
    front = find_front(treatments, costs, tried, done=lambda part: done(0.8 + 0.2 * part))
    return WholePlan(held, costs, found, front, follow=follow, lines=lines)
