"""Lines of plugs that were decided are kept, by every layout and by every way of a plan.

Reference: every place of the adjusting plug, and every combination of treatments, counted out.
"""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from balancekit.calculation.leads.layout import (
    KeyLines,
    LayoutRules,
    find_rows,
    layout_on_lines,
    prepare_layout,
)
from balancekit.calculation.leads.plugs import usual_plugs
from balancekit.calculation.plan.front import MOST_GAP_PERCENT, decisions, find_front
from balancekit.calculation.plan.lead_choices import list_lead_choices, time_rules
from balancekit.calculation.plan.telling import tell
from balancekit.calculation.plan.treatments import list_treatments
from balancekit.calculation.plan.work_costs import WorkCosts
from balancekit.calculation.problems import BalancekitError
from tests.calculation.invented_leads import invent_leads
from tests.calculation.invented_pianos import invented_piano
from tests.calculation.plan_reference import counted_out
from tests.calculation.test_plan import COARSE

SIX = [20, 21, 22, 23, 24, 25]
COSTS = WorkCosts()
CASE = invent_leads(5, with_old=False)
BENCH = prepare_layout(
    CASE.sticks.loc[SIX], CASE.front_weight_now_g, CASE.leads, usual_plugs(),
    rules=LayoutRules(tolerance_g=0.3),
)  # fmt: skip
ROWS = find_rows(BENCH, CASE.target_g, 0.5)


def test_the_case_has_lines_of_both_colours():
    assert set(ROWS.on) == set(SIX)
    assert all(len(lines.plugs) for lines in ROWS.on.values())


def counted(key: int, target_g: float) -> float:
    """Return the least price of lines and one adjusting plug on one key, over every place."""
    row, lines = SIX.index(key), ROWS.on[key]
    arm = float(BENCH.tasks[row].arm_mm)
    wood = float(BENCH.wood_densities[BENCH.wood[row]])
    mass = [plug.net_mass_g(wood) for plug in BENCH.plugs]
    names = [plug.name for plug in BENCH.plugs]
    sizes = [names.index(name) for name in lines.plugs]
    base = sum(mass[s] * x for s, x in zip(sizes, lines.places_mm, strict=True))
    now, best = float(BENCH.front_weight_now_g[row]), np.inf
    price = BENCH.rules.operation_g + BENCH.rules.new_hole_g
    if abs(now + base / arm - target_g) <= BENCH.rules.tolerance_g + 1e-9:
        best = price * len(sizes)
    for size, plug in enumerate(BENCH.plugs):
        for place in np.flatnonzero(BENCH.tasks[row].free[size]):
            x = int(place) + BENCH.grid_start_mm
            clear = all(
                abs(x - other)
                >= (plug.diameter_mm + BENCH.plugs[s].diameter_mm) / 2
                + BENCH.rules.hole_clearance_mm
                for s, other in zip(sizes, lines.places_mm, strict=True)
            )
            reached = now + (base + mass[size] * x) / arm
            if clear and abs(reached - target_g) <= BENCH.rules.tolerance_g + 1e-9:
                best = min(best, price * (len(sizes) + 1))
    return best


@pytest.mark.parametrize("off_g", [-12.0, -3.0, -0.7, 0.0, 0.4, 2.0, 15.0])
def test_other_front_weights_on_the_same_lines_are_reached_with_the_fewest_plugs(off_g):
    target = CASE.target_g + off_g
    laid = layout_on_lines(BENCH, target, 0.0, ROWS.on)
    for key in SIX:
        least, keys = counted(key, float(target[key])), laid.keys.loc[key]
        still = abs(BENCH.front_weight_now_g[SIX.index(key)] - target[key])
        if still <= BENCH.rules.tolerance_g:
            assert keys["operations"] == 0 and keys["within"]
        elif np.isinf(least):
            assert keys["operations"] == 0 and not keys["within"]
        else:
            assert keys["within"]
            price = BENCH.rules.operation_g + BENCH.rules.new_hole_g
            assert price * keys["plugs_in"] == pytest.approx(least)


def stands_on_its_lines(plan: pd.DataFrame, key: int) -> bool:
    put_in = plan[(plan["key"] == key) & (plan["action"] == "put in")]
    stands = set(zip(put_in["plug"], put_in["distance_mm"], strict=True))
    asked = set(zip(ROWS.on[key].plugs, ROWS.on[key].places_mm, strict=True))
    return asked <= stands and len(stands) <= len(asked) + 1


@pytest.mark.parametrize("seed", [0, 1])
def test_every_way_keeps_decided_lines_and_no_combination_beats_it(seed):
    piano = invented_piano(len(SIX), seed)
    piano.balance_weight_g[:] = 37.0 + CASE.target_g.loc[SIX] - BENCH.front_weight_now_g
    leads = list_lead_choices(BENCH, COSTS, reach_g=32.0, step_g=4.0, on=ROWS.on)
    free = list_lead_choices(BENCH, COSTS, reach_g=32.0, step_g=4.0)
    assert leads.minutes[:, 1:].min() > free.minutes[:, 1:].min()  # lines bind
    treatments = list_treatments(piano, replace(leads, keys=piano.keys), COSTS, COARSE)
    wanted = (38.0, 38.0, 0.0)
    front = find_front(treatments, COSTS, decisions(piano, wanted))
    at = front.minutes.tolist()
    for way, best in zip(front.ways, counted_out(treatments, COSTS, at, wanted), strict=True):
        assert way.bound - 1e-9 <= best and way.uneven <= best * (1 + MOST_GAP_PERCENT / 100)
    bored = 0
    rules = time_rules(BENCH.rules, COSTS, 0.05)
    bench = prepare_layout(CASE.sticks.loc[SIX], CASE.front_weight_now_g, CASE.leads,
                           usual_plugs(), rules=rules)  # fmt: skip
    now = pd.Series(BENCH.front_weight_now_g, SIX)
    for way in front.ways:
        change = pd.Series(tell(treatments, way).front_g.to_numpy(), SIX)
        worked = change[change != 0]
        plan = layout_on_lines(bench, (now + worked).dropna(), 0.0, ROWS.on).plan
        assert all(stands_on_its_lines(plan, key) for key in worked.index)
        bored += len(worked)
    assert bored


def test_a_plug_of_the_lines_that_is_no_longer_there_is_named():
    gone = {20: KeyLines(False, ("brass, long",), (90,))}
    with pytest.raises(BalancekitError, match="'brass, long' stands on a line"):
        layout_on_lines(BENCH, CASE.target_g, 0.0, gone)
