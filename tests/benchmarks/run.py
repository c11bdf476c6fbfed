"""Time the heavy computations; from the project's folder: ``python tests/benchmarks/run.py``.

Prints one line each: a time for a whole instrument, and for the layout also the ratio to a
mixed-integer programme that finds the same layouts. Ends with 1 if the report takes too long, or
if one of 200 random keys costs another thing than the programme says.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the package has it; before numpy

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from balancekit.calculation.hammers.least_work import CurveBounds, least_work
from balancekit.calculation.irregularities.judge_table import judge_table
from balancekit.calculation.leads.layout import LayoutRules, find_layout, prepare_layout
from balancekit.calculation.leads.plugs import usual_plugs
from balancekit.calculation.linkage.loads import Loads, account, held_g, inertia_g
from balancekit.calculation.linkage.positions import Linkage, Positions
from balancekit.instrument.demo import MOVED_POINT_KEY, studio_grand
from balancekit.instrument.filled_in import key_table
from balancekit.sharing.report import build_report
from tests.calculation.invented_leads import invent_leads
from tests.calculation.layout_reference import least_cost
from tests.calculation.test_layout_exact import CASES, cost_what_the_programme_costs

PROGRAMME_KEYS = 10
EXACT_KEYS = 200
REPORT_S = 1.5
"""Processor time that the report to share may take at most."""
SLIDERS = (0.0, 0.5, 0.9, 1.0)


def best_s(work: Callable[[], object], times: int = 5) -> float:
    """Return the shortest of several times [s]; what else runs only makes one longer."""
    taken = []
    for _ in range(times):
        begin = time.perf_counter()
        work()
        taken.append(time.perf_counter() - begin)
    return min(taken)


def layout_lines() -> list[str]:
    """Time the layout of 88 keys with old leads, and some of its keys by the programme."""
    case, plugs, rules = invent_leads(1), usual_plugs(), LayoutRules()
    now, leads, target = case.front_weight_now_g, case.leads, case.target_g
    ready = best_s(lambda: prepare_layout(case.sticks, now, leads, plugs))
    bench = prepare_layout(case.sticks, now, leads, plugs)
    lines = [f"layout, getting ready once:              {ready:8.3f} s an instrument"]
    keys = np.linspace(1, 88, PROGRAMME_KEYS).round().astype(int)
    for slider in SLIDERS:
        ours = best_s(lambda s=slider: find_layout(bench, target, s), times=3)
        begin = time.perf_counter()
        for key in keys:
            least_cost(
                case.sticks.loc[key].to_dict(), now[key], target[key], case.old_of(int(key)),
                list(plugs), rules, slider,
            )  # fmt: skip
        programme = (time.perf_counter() - begin) / len(keys) * 88
        lines.append(
            f"layout, slider at {slider:.1f}, {len(case.leads)} old plugs:   {ours:8.3f} s an "
            f"instrument; programme {programme:6.1f} s, {programme / ours:5.0f} times as long"
        )
    return lines


def exact_lines() -> list[str]:
    """Hold random keys against the programme, more than the tests do; one that differs ends it."""
    met = cost_what_the_programme_costs(EXACT_KEYS // CASES)
    return [f"layout, {EXACT_KEYS} random keys cost what the programme costs, {met} with a layout"]


def linkage_lines() -> list[str]:
    """Time full states of the levers: positions, terms, both thresholds, inertia."""
    carried, linkage = Loads(), Linkage()

    def states(places: Positions) -> None:
        account(linkage, carried, places)
        for way in (1, -1):
            held_g(linkage, carried, places, way)
        inertia_g(linkage, carried, places)

    alone = best_s(lambda: states(linkage.at(4.0)), times=50)
    together = best_s(lambda: states(Linkage(linkage.distances).along(41)), times=50)
    return [
        f"levers, one state alone:                 {1 / alone:8.0f} a second",
        f"levers, new levers in 41 states a move:  {41 / together:8.0f} a second",
    ]


def other_lines() -> list[str]:
    """Time the table of keys, what is found in it, and the hammer programme."""
    instrument = studio_grand()
    table = key_table(instrument)
    strike = table["strike_weight_g"].drop(MOVED_POINT_KEY).reindex(table.index)
    bounds = CurveBounds(bend_g=0.05)
    return [
        f"table of keys from the readings:         "
        f"{best_s(lambda: key_table(instrument)):8.3f} s an instrument",
        f"groups, trends and what is off:          "
        f"{best_s(lambda: judge_table(table), times=2):8.3f} s an instrument",
        f"hammer programme, least work:            "
        f"{best_s(lambda: least_work(strike, bounds)):8.3f} s an instrument",
    ]


def report_s() -> float:
    """Return the processor time of the report to share, after a first build [s]."""
    instrument = studio_grand()
    build_report(instrument)
    times = []
    for _ in range(3):
        start = time.process_time()
        build_report(instrument)
        times.append(time.process_time() - start)
    return min(times)


def main() -> None:
    """Print what was timed; end with 1 if the report takes longer than it may."""
    report = report_s()
    print(f"report to share, processor time:         {report:8.3f} s, at most {REPORT_S} s")
    for lines in (linkage_lines, other_lines, layout_lines, exact_lines):
        print("\n".join(lines()), flush=True)
    sys.exit(report > REPORT_S)


if __name__ == "__main__":
    main()
