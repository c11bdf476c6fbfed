"""Whether a plan keeps its word: ``python tests/benchmarks/plan_technicians.py [n] [seed]``.

Invented pianos of ``invented_pianos``, written apart from the model, n of each shape (10). Each is
weighed, planned, worked on with errors of the hand by the way that a plan starts from, and weighed
again. What the plan says of its chances is held against what truly came out: all pianos together
for each tolerance, and by what was said. A count of n pianos with chances p scatters by
sqrt(sum of p (1 - p)) (variance of independent trials). The statements on one piano, one for each
tolerance, hang together: all statements of a shape scatter as the plan's own draws say of each
piano. Intervals of a share are those of Clopper and Pearson, as ``scipy.stats.binomtest`` gives
them.

The last lines hold the limit of knowledge against a second weighing of down and up weight on
every key: the way to start from is told from the longest where its mean square is above that of
95 in 100 second weighings of the longest, as the plan foresees them (critical value, ISO 11843-1,
from memory). At the limit that may happen on every second piano at most; and the longest itself
may be above it on one in twenty.

Ends with 1 where a chance promises more than it keeps, or less, by over 2.6 times its scatter, 99
of 100, for a tolerance or for a shape; and where ways are told apart, or the longest is not what it
is foreseen to be, more often than that.
"""

from __future__ import annotations

import os
import sys
import time
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the package has it; before numpy

import numpy as np
import pandas as pd
import scipy

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from balancekit.calculation.plan.knowledge import (
    MOST_KEYS_SHARE,
    balance_after,
    chances,
    wanted_line,
)
from balancekit.instrument.choices.whole_plan import WholePlan, plan_whole
from balancekit.instrument.model import Instrument, Visit
from tests.benchmarks.invented_pianos import ERROR, KEYS, SHAPES, Piano, balance, invent

TOLERANCES_G = (1.0, 1.5, 2.0, 3.0)
BINS = (0, 5, 25, 50, 75, 95, 100.0001)
MOST_SCATTERS = 2.6
# Quantile 0.995 of the normal, 2.58, rounded up.

TOLD_AT_MOST, CRIED_AT_MOST = 0.50, 0.05
LATER_U_G = float(np.hypot(ERROR["down_weight_g"], ERROR["up_weight_g"]) / 2)


@dataclass(frozen=True)
class Said:
    """One statement: its percentage, and whether it came true."""

    what: str
    tolerance_g: float
    percent: float
    true: bool


@dataclass(frozen=True)
class Seen:
    """One piano after the work.

    Attributes
    ----------
    said : the statements.
    off, scatter : how far the share of its statements on 95 keys in 100 that came true is from
        what was said, and the standard deviation of that share over the plan's draws.
    hours : of the way to start from.
    told : whether a second weighing tells that way from the longest.
    cried : whether it would tell the longest from itself.
    """

    said: list[Said]
    off: float
    scatter: float
    hours: float
    told: bool
    cried: bool


def leads_of(keys: int) -> pd.DataFrame:
    """Return plugs as a bench would find them: four in the bass, none at the top."""
    rows = [
        (key, 12.7, 13.6, place)
        for key in range(1, keys + 1)
        for place in (60.0, 85.0, 110.0, 135.0)[: round(4 * (1 - key / keys))]
    ]
    return pd.DataFrame(rows, columns=["key", "diameter_mm", "mass_g", "distance_mm"])


def work(piano: Piano, plan: WholePlan, number: int, seed: int) -> np.ndarray:
    """Return how far each key truly lies off its line after the work [g]."""
    hand, truth = np.random.default_rng(seed), {n: v.copy() for n, v in piano.truth.items()}
    told, way, believed = plan.told(number), plan.way(number), plan.piano
    for change, name, now, error_g in (
        (told.strike_g, "strike_weight_g", believed.strike_weight_g, believed.hand_hammer_g),
        (told.front_g, "front_weight_g", believed.front_weight_g, believed.hand_lead_g),
    ):
        touched = change.to_numpy() != 0
        reached = now + change.to_numpy() + hand.normal(0, error_g, KEYS)
        truth[name] = np.where(touched, reached, truth[name])
    for each in way.decision.shifts:
        shift = believed.shifts[each]
        rows = list(shift.rows)
        truth["action_ratio"][rows] *= shift.ratio_part
        truth["key_ratio"][rows] *= shift.key_ratio_part
    return balance(truth) - wanted_line(plan.treatments, way)


def most_within(off: np.ndarray) -> np.ndarray:
    """Tell for each tolerance whether 95 of 100 keys are within it; keys are the last axis."""
    within = np.abs(off)[..., None] <= np.array(TOLERANCES_G)
    return np.asarray(within.mean(axis=-2) >= MOST_KEYS_SHARE)


def technician(shape: str, seed: int) -> Seen:
    """Plan, work and weigh again on one invented piano."""
    piano = invent(shape, seed)
    instrument = Instrument(visits=(Visit("as found"),))
    instrument = instrument.with_readings(piano.readings.assign(note=""))
    instrument = instrument.with_table("leads", leads_of(KEYS))
    seen = pd.DataFrame({"key": range(1, KEYS + 1)})
    plan = plan_whole(instrument.with_table("leads_seen", seen), short=True)
    number = plan.default
    off = work(piano, plan, number, seed + 1)
    said = []
    for tolerance in TOLERANCES_G:
        chance = chances(plan.treatments, plan.way(number), plan._draws, tolerance)
        within = np.abs(off) <= tolerance
        said += [
            Said("every key", tolerance, chance.every_percent, bool(within.all())),
            Said("95 of 100 keys", tolerance, chance.most_percent,
                 bool(within.mean() >= MOST_KEYS_SHARE)),
        ]  # fmt: skip
    again, last = np.random.default_rng(seed + 2), len(plan.front.ways) - 1
    foreseen, longest = (
        balance_after(plan.treatments, plan.way(each), plan._draws)
        - wanted_line(plan.treatments, plan.way(each))
        for each in (number, last)
    )

    def weighed(each: np.ndarray) -> np.ndarray:
        noise = again.normal(0, LATER_U_G, each.shape)
        return np.asarray(((each + noise) ** 2).mean(axis=-1))

    critical = float(np.quantile(weighed(longest), 0.95))
    shares = most_within(foreseen).mean(axis=1)
    return Seen(
        said, float(most_within(off).mean() - shares.mean()), float(shares.std()),
        float(plan.front.minutes[number]) / 60, bool(weighed(off) > critical),
        bool(weighed(work(piano, plan, last, seed + 3)) > critical),
    )  # fmt: skip


def scatters_off(said: list[Said]) -> float:
    """Return by how many times its scatter a count differs from what was said."""
    p = np.array([each.percent for each in said]) / 100
    scatter = np.sqrt(np.sum(p * (1 - p)))
    off = sum(each.true for each in said) - p.sum()
    return float(off / max(scatter, 0.5))


def judge_shapes(count: int, start: int, shapes: list[str]) -> tuple[list[Seen], int]:
    """Print a line for each shape; return all pianos, and how many shapes are off."""
    every: list[Seen] = []
    wrong = 0
    print(f"{count} pianos a shape, seeds from {start}. All statements of a shape together:")
    print(f"{'shape':30}{'said':>8}{'true':>7}{'scatters off':>15}{'hours':>8}")
    for shape in shapes:
        found = [technician(shape, seed) for seed in range(start, start + count)]
        every += found
        said = [each for one in found for each in one.said if each.what != "every key"]
        mean, true = np.mean([s.percent for s in said]), 100 * np.mean([s.true for s in said])
        scatter = np.sqrt(sum(one.scatter**2 for one in found))
        off = sum(one.off for one in found) / scatter
        wrong += abs(off) > MOST_SCATTERS
        hours = np.mean([one.hours for one in found])
        print(f"{shape:30}{mean:8.0f}{true:7.0f}{off:15.1f}{hours:8.1f}", flush=True)
    return every, wrong


def judge_chances(every: list[Said]) -> int:
    """Print what was said and what came true; return how often that is wrong."""
    wrong = 0
    print("What was said, and what came true (of 100):")
    for what in ("95 of 100 keys", "every key"):
        for tolerance in TOLERANCES_G:
            some = [s for s in every if (s.what, s.tolerance_g) == (what, tolerance)]
            off = scatters_off(some)
            mean, true = np.mean([s.percent for s in some]), 100 * np.mean([s.true for s in some])
            wrong += abs(off) > MOST_SCATTERS
            print(f"{what:>15} within {tolerance:g} g: said {mean:3.0f}, true {true:3.0f}, "
                  f"{off:+.1f} scatters")  # fmt: skip
    print("By what was said, with the 95 % interval of what came true:")
    for low, high in pairwise(BINS):
        some = [s for s in every if low <= s.percent < high]
        if some:
            true = sum(s.true for s in some)
            span = scipy.stats.binomtest(true, len(some)).proportion_ci()
            mean = np.mean([s.percent for s in some])
            print(f"  said {low:.0f} to {high:.0f} ({mean:.0f}): {true} of {len(some)} true, "
                  f"{100 * span.low:.0f} to {100 * span.high:.0f}")  # fmt: skip
    return wrong


def judge_limit(every: list[Seen]) -> int:
    """Print how often a second weighing tells the ways apart; return how often that is wrong."""
    wrong = 0
    for words, count, most in (
        ("The way to start from is told from the longest", sum(s.told for s in every),
         TOLD_AT_MOST),
        ("The longest would be told from itself", sum(s.cried for s in every), CRIED_AT_MOST),
    ):  # fmt: skip
        span = scipy.stats.binomtest(count, len(every)).proportion_ci()
        wrong += span.low > most
        print(f"{words} on {100 * count / len(every):.0f} of 100 pianos ({100 * span.low:.0f} to "
              f"{100 * span.high:.0f}; at most {100 * most:.0f}).")  # fmt: skip
    return wrong


def main() -> int:
    """Print the tables; return 1 where chances or limit are off by more than they scatter."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    start = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    shapes = sys.argv[3].split(",") if len(sys.argv) > 3 else list(SHAPES)
    begin = time.process_time()
    every, wrong = judge_shapes(count, start, shapes)
    wrong += judge_chances([each for one in every for each in one.said])
    wrong += judge_limit(every)
    print(f"{(time.process_time() - begin) / len(every):.1f} s of processor time for each piano.")
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(main())
