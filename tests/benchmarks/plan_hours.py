"""What the hours buy: ``python tests/benchmarks/plan_hours.py [instruments] [seed]``.

First the demo grand: hours of the whole plan against choosing hammers first and then lead, at what
that leaves uneven. Then simulated technicians: an invented piano is weighed, planned, worked on
with errors of the hand, and its true balance weights are held against what the plan promised. The
pianos have shapes that the plan does not assume: a group of another ratio, heavy tails, a saw-tooth
of naturals and sharps. Ends with 1 if fewer than 30 % of the hours are saved, or if the promised
chances are off by more than they can be by chance.
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from balancekit.calculation.generator import Invented, complete, invent, weigh
from balancekit.calculation.plan.knowledge import wanted_line
from balancekit.instrument.choices import hammer_choice, lead_choice
from balancekit.instrument.choices.hammer_choice import HammerChoice
from balancekit.instrument.choices.lead_choice import LeadChoice
from balancekit.instrument.choices.lead_plan import lead_plan
from balancekit.instrument.choices.whole_plan import WholePlan, plan_whole
from balancekit.instrument.demo import studio_grand
from balancekit.instrument.model import Instrument, Visit

LEAST_SAVED = 0.30
HOURS = (2.0, 4.0, 8.0, 16.0)
TOLERANCES_G = (0.1, 1.0, 2.0)
SHAPES = ("quiet", "group", "heavy tails", "saw-tooth")


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
    bored = free & (held["operations"].to_numpy() > 0)
    counts = {
        "draw out": 1, "set up hammers": 1, "set up lead": 1,
        "trim hammer": float((strike < 0).sum()), "add to hammer": float((strike > 0).sum()),
        "put plug in": float(held["plugs_in"][bored].sum()),
        "take plug out": float(held["taken_out"][bored].sum()),
        "new hole": float(held["new_holes"][bored].sum()),
        "ease friction": float(len(plan.treatments.friction_keys)),
    }  # fmt: skip
    minutes, _ = costs.of(counts)
    line = piano.balance_weight_g + piano.action_ratio * strike - np.where(bored, front, 0.0)
    wanted = leads.balance_weight_g.reindex(piano.keys).to_numpy(dtype=float)
    inertia = piano.inertia_g + piano.action_ratio**2 * strike
    off = line - wanted
    heavy = (inertia - piano.inertia_course(piano.inertia_g)) / 12.0
    hand = np.where(bored, piano.hand_lead_g**2, 0.0) + np.where(
        strike != 0, (piano.action_ratio * piano.hand_hammer_g) ** 2, 0.0
    )
    friction = piano.hand_friction_g**2 * len(plan.treatments.friction_keys)
    left = float((off**2 + heavy**2 + hand).sum() + friction)
    return minutes, (left / piano.count) ** 0.5


def shaped(shape: str, seed: int) -> Invented:
    """Return an invented piano of a shape that the plan does not assume."""
    made, draw = invent(seed), np.random.default_rng(seed + 50_000)
    truth = made.truth.copy()
    if shape == "group":
        first = int(draw.integers(10, 60))
        truth.loc[first : first + 14, "action_ratio"] += 0.25
        truth.loc[first : first + 14, "key_ratio"] += 0.023
    elif shape == "heavy tails":
        truth["strike_weight_g"] += 0.12 * draw.standard_t(3, len(truth))
        truth["front_weight_g"] += 0.8 * draw.standard_t(3, len(truth))
    elif shape == "saw-tooth":
        truth["front_weight_g"] += np.where(np.arange(len(truth)) % 2, 1.5, -1.5)
    if shape == "quiet":
        truth["front_weight_g"] += draw.normal(0, 1.0, len(truth))
    return Invented(complete(truth), made.leads)


def technician(made: Invented, seed: int) -> tuple[float, float, float]:
    """Weigh, plan, work with errors; return promised and real share of keys, and hours."""
    instrument = Instrument(visits=(Visit("as found"),)).with_readings(weigh(made.truth, seed))
    instrument = instrument.with_table("leads", made.leads)
    seen = pd.DataFrame({"key": made.truth.index})
    plan = plan_whole(instrument.with_table("leads_seen", seen))
    number = plan.default
    way, told, piano = plan.way(number), plan.told(number), plan.piano
    hand, truth = np.random.default_rng(seed + 1), made.truth.copy()
    for change, name, now, error in (
        (told.strike_g, "strike_weight_g", piano.strike_weight_g, piano.hand_hammer_g),
        (told.front_g, "front_weight_g", piano.front_weight_g, piano.hand_lead_g),
    ):
        reached = now + change + hand.normal(0, error, len(truth))
        truth[name] = truth[name].where(change == 0, reached)
    for each in way.decision.shifts:
        rows = list(piano.shifts[each].rows)
        for name, part in (("action_ratio", piano.shifts[each].ratio_part),
                           ("key_ratio", piano.shifts[each].key_ratio_part)):  # fmt: skip
            truth.iloc[rows, truth.columns.get_loc(name)] *= part
    off = complete(truth)["balance_weight_g"] - wanted_line(plan.treatments, way)
    real = 100.0 * float((off.abs() <= plan.tolerance_g).mean())
    return plan.sure(number).keys_percent, real, way.minutes / 60


def main() -> int:
    """Print both tables; return 1 where a claim does not hold."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    start = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    grand, begin, wrong = studio_grand(), time.process_time(), 0
    plan = plan_whole(grand)
    print(f"All ways of the demo grand: {time.process_time() - begin:.1f} s of processor time.")
    print("hours  stays uneven (g)  new holes  what")
    for hours in HOURS:
        number = plan.front.within(60 * hours)
        way = plan.way(number)
        holes = plan.treatments.new_holes[way.chosen[: plan.piano.count]].sum()
        left = plan.front.uneven_g[number]
        print(f"{way.minutes / 60:5.1f}  {left:16.2f}  {holes:9.0f}  {plan.name(number)}")
    print("Hammers first, then lead, against the plan for as little left uneven:")
    print("hammers    lead within (g)  hours  left (g)  hours of the plan  fewer (%)")
    for target in ("fitted", "as found"):
        for tolerance in TOLERANCES_G:
            minutes, left = one_after_the_other(grand, plan, target, tolerance)
            as_even = np.flatnonzero(plan.front.uneven_g <= left)
            if not len(as_even):
                print(
                    f"{target:9}  {tolerance:15.1f}  {minutes / 60:5.1f}  {left:8.2f}  not reached"
                )
                continue
            own = plan.front.minutes[as_even[0]]
            saved = 1 - own / minutes
            print(
                f"{target:9}  {tolerance:15.1f}  {minutes / 60:5.1f}  {left:8.2f}  "
                f"{own / 60:17.1f}  {100 * saved:9.0f}"
            )
            wrong += saved < LEAST_SAVED
    print(f"Simulated technicians, {count} pianos a shape, seeds from {start}:")
    print("shape         promised  real (keys in 100 within the tolerance)   hours")
    for shape in SHAPES:
        found = np.array([technician(shaped(shape, s), s) for s in range(start, start + count)])
        promised, real, hours = found.mean(axis=0)
        spread = found[:, 1].std(ddof=1) / count**0.5 if count > 1 else np.inf
        print(f"{shape:12}  {promised:8.1f}  {real:5.1f} ± {2 * spread:.1f}  {hours:36.1f}")
        wrong += abs(promised - real) > max(3.0, 3 * spread)
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(main())
