"""What the hours buy on the demo grands: ``python tests/benchmarks/plan_hours.py``.

For each grand the table of the README, then the hours of the whole plan against choosing hammers
first and then lead, at what that leaves uneven. Ends with 1 if fewer than 30 % of the hours are
saved anywhere, or if a mixed-integer programme finds a better way.
"""

from __future__ import annotations

import os
import sys
import time
from dataclasses import replace
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the package has it; before numpy

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from balancekit.calculation.plan.piano import INERTIA_SCALE_G
from balancekit.instrument.choices import hammer_choice, lead_choice
from balancekit.instrument.choices.hammer_choice import HammerChoice
from balancekit.instrument.choices.lead_choice import LeadChoice
from balancekit.instrument.choices.lead_plan import lead_plan
from balancekit.instrument.choices.whole_plan import WholePlan, plan_whole
from balancekit.instrument.demo import sampled_grand, studio_grand
from balancekit.instrument.model import Instrument
from tests.calculation.plan_reference import hold_against_highs

LEAST_SAVED = 0.30
HOURS = (2.0, 4.0, 8.0, 16.0)
TOLERANCES_G = (0.1, 1.0, 2.0)


def one_after_the_other(
    instrument: Instrument, plan: WholePlan, target: str, tolerance_g: float
) -> tuple[float, float]:
    """Return minutes of hammers first, then lead, and what they leave uneven [g].

    Hammers to a target ("fitted" to them, or "as found"), then front weights for one balance
    weight within a tolerance. The same minutes, and the same figure for what is left, as the
    whole plan's.
    """
    chosen = replace(
        instrument,
        choices={
            hammer_choice.CHAPTER: HammerChoice(target=target).to_json(),
            lead_choice.CHAPTER: LeadChoice(layout="free", tolerance_g=tolerance_g).to_json(),
        },
    )
    leads = lead_plan(chosen)
    assert leads is not None
    hammers, layout = leads.inputs.hammers.plan, leads.layout.keys
    piano, costs = plan.piano, plan.costs
    free = piano.may_cut & piano.may_lead
    change = hammers["planned_strike_weight_g"] - hammers["strike_weight_g"]
    worked = hammers["work"].isin(["trim", "add"]).to_numpy() & free
    strike = np.where(worked, change.reindex(piano.keys), 0.0)
    held = layout.reindex(piano.keys)
    front = np.where(free, held["front_weight_g"] - piano.front_weight_g, 0.0)
    bored = free & (held["operations"].fillna(0).to_numpy() > 0)
    counts = {
        "set up hammers": float((strike != 0).any()), "set up lead": float(bored.any()),
        "trim hammer": float((strike < 0).sum()), "add to hammer": float((strike > 0).sum()),
        "put plug in": float(held["plugs_in"][bored].sum()),
        "take plug out": float(held["taken_out"][bored].sum()),
        "new hole": float(held["new_holes"][bored].sum()),
        "ease friction": float(len(plan.treatments.friction_keys)),
    }  # fmt: skip
    counts["draw out"] = float(any(counts.values()))
    minutes, _ = costs.of(counts)
    line = piano.balance_weight_g + piano.action_ratio * strike - np.where(bored, front, 0.0)
    wanted = leads.balance_weight_g.reindex(piano.keys).to_numpy(dtype=float)
    inertia = piano.inertia_g + piano.action_ratio**2 * strike
    off = line - wanted
    heavy = (inertia - piano.inertia_course(())) / INERTIA_SCALE_G
    hand = np.where(bored, piano.hand_lead_g**2, 0.0) + np.where(
        strike != 0, (piano.action_ratio * piano.hand_hammer_g) ** 2, 0.0
    )
    friction = piano.hand_friction_g**2 * len(plan.treatments.friction_keys)
    left = float((off**2 + heavy**2 + hand).sum() + friction)
    return minutes, (left / piano.count) ** 0.5


def what_hours_buy(plan: WholePlan) -> None:
    """Print the table of the README."""
    print("hours  stays uneven (g)  sure of 95 in 100 (%)  new holes  what")
    numbers = [plan.front.within(60 * hours) for hours in HOURS]
    for number in dict.fromkeys([0, *numbers, plan.default]):
        way = plan.way(number)
        holes = plan.treatments.new_holes[way.chosen[: plan.piano.count]].sum()
        left, sure = plan.front.uneven_g[number], plan.sure(number).most_percent
        enough = " (enough)" if number == plan.default else ""
        print(f"{way.minutes / 60:5.1f}  {left:16.2f}  {sure:21.0f}  {holes:9.0f}  "
              f"{plan.name(number)}{enough}")  # fmt: skip


def against_one_after_the_other(instrument: Instrument, plan: WholePlan) -> int:
    """Print hours against hammers first, then lead; return how often too few are saved."""
    print("hammers    lead within (g)  hours  left (g)  hours of the plan  fewer (%)")
    wrong = 0
    for target in ("fitted", "as found"):
        for tolerance in TOLERANCES_G:
            minutes, left = one_after_the_other(instrument, plan, target, tolerance)
            as_even = np.flatnonzero(plan.front.uneven_g <= left)
            start = f"{target:9}  {tolerance:15.1f}  {minutes / 60:5.1f}  {left:8.2f}"
            if not minutes:
                print(f"{start}  nothing to do")
                continue
            if not len(as_even):
                print(f"{start}  not reached")
                wrong += 1
                continue
            own = plan.front.minutes[as_even[0]]
            saved = 1 - own / minutes
            print(f"{start}  {own / 60:17.1f}  {100 * saved:9.0f}")
            wrong += saved < LEAST_SAVED
    return wrong


def main() -> int:
    """Print the tables of each grand; return 1 where a claim does not hold."""
    wrong = 0
    for made in (studio_grand, sampled_grand):
        grand, begin = made(), time.process_time()
        plan = plan_whole(grand)
        print(f"{grand.title}: all ways in {time.process_time() - begin:.1f} s of processor time.")
        what_hours_buy(plan)
        for hours in HOURS:
            hold_against_highs(plan, hours)
        print("No way of these hours leaves less, by a mixed-integer programme.")
        print("Hammers first, then lead, against the plan for as little left uneven:")
        wrong += against_one_after_the_other(grand, plan)
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(main())
