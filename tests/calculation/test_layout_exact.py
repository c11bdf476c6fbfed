"""Random keys against a mixed-integer programme (HiGHS), and how much faster.

The reference is written out on its own in ``layout_reference.py``. A fault that changes one key in
twenty is met among 50 keys with 92 %; ``tests/benchmarks/run.py`` has 200 keys, which meet nearly
every such fault.
"""

from __future__ import annotations

import time

import numpy as np
import pytest

from balancekit.calculation.leads.layout import LayoutRules, find_layout, prepare_layout
from balancekit.calculation.leads.plugs import make_plug, usual_plugs
from tests.calculation.invented_leads import invent_leads
from tests.calculation.layout_reference import least_cost

CASES, KEYS_PER_CASE = 10, 5
STOCKS = (usual_plugs(), usual_plugs()[1:], (usual_plugs()[0], make_plug(12.7, 9.5, "tungsten")))


@pytest.mark.slow
def test_random_keys_cost_what_the_programme_costs():
    cost_what_the_programme_costs(KEYS_PER_CASE)


def cost_what_the_programme_costs(keys_per_case: int) -> int:
    """Hold each random key against the programme; return how many had a layout.

    Parameters
    ----------
    keys_per_case : keys of each of ten instruments.
    """
    chance = np.random.default_rng(11)
    ours_s = reference_s = 0.0
    compared = met = 0
    for seed in range(CASES):
        case = invent_leads(1000 + seed, with_old=seed % 5 != 4)
        slider = float(chance.choice([0.0, 0.3, 0.5, 0.8, 1.0]))
        rules = LayoutRules(
            most_plugs_in=int(chance.integers(1, 6)),
            tolerance_g=float(chance.choice([0.05, 0.1, 0.3])),
            hole_clearance_mm=float(chance.choice([2.0, 3.0, 4.5])),
        )
        plugs = STOCKS[seed % 3]
        keys = np.sort(chance.choice(case.sticks.index, keys_per_case, replace=False))
        begin = time.process_time()
        bench = prepare_layout(
            case.sticks.loc[keys], case.front_weight_now_g, case.leads, plugs, rules=rules
        )
        layout = find_layout(bench, case.target_g, slider)
        ours_s += time.process_time() - begin
        begin = time.process_time()
        for key in keys:
            cost = least_cost(
                case.sticks.loc[key].to_dict(), case.front_weight_now_g[key],
                case.target_g[key], case.old_of(key), list(plugs), rules, slider,
            )  # fmt: skip
            row = layout.keys.loc[key]
            compared += 1
            met += int(row["within"])
            assert row["within"] == np.isfinite(cost), key
            if row["within"]:
                assert row["cost_g"] == pytest.approx(cost, rel=1e-3), key
        reference_s += time.process_time() - begin
    assert compared == CASES * keys_per_case and met >= compared / 2
    assert reference_s > 50 * ours_s, (reference_s, ours_s)
    return met
