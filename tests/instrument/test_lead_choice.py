"""Leads and springs as chosen: kept as plain JSON, and what follows from them.

Front weights are held against sums that are written out here from the balance equation and
from the moments of the plugs about the balance pin (statics, any textbook of mechanics).
"""

from __future__ import annotations

import json
from dataclasses import replace
from math import pi

import numpy as np
import pandas as pd
import pytest

from balancekit.calculation.problems import BalancekitError
from balancekit.instrument.bench import Bench
from balancekit.instrument.choices import hammer_choice
from balancekit.instrument.choices.lead_choice import (
    FIELDS,
    PROPOSAL,
    LeadChoice,
    choice_of,
    with_choice,
)
from balancekit.instrument.choices.lead_inputs import lead_inputs
from balancekit.instrument.choices.lead_plan import LeadPlan, lead_plan
from balancekit.instrument.in_hand import demo_in_hand
from balancekit.instrument.store import open_folder


@pytest.fixture(scope="module")
def grand():
    return open_folder(demo_in_hand().path)[0]


@pytest.fixture(scope="module")
def findings(grand):
    return Bench(grand).findings


@pytest.fixture(scope="module")
def inputs(grand, findings):
    return lead_inputs(grand, 0, findings)


# The choice


def test_a_choice_comes_back_from_json_as_it_was():
    choice = LeadChoice(
        layout="in lines", spring_relief_from="curve", spring_relief_first_g=12.5, behind_pin=True
    )
    assert FIELDS.read(LeadChoice, json.loads(json.dumps(choice.to_json()))) == choice


def test_what_is_not_said_has_its_usual_value():
    assert FIELDS.read(LeadChoice, {}) == LeadChoice()


@pytest.mark.parametrize(
    ("name", "value", "allowed"),
    [
        ("tolerance_g", 0.0, "0.02 to 2 g"),
        ("tolerance_g", "0.1", "0.02 to 2 g"),
        ("tolerance_g", float("nan"), "0.02 to 2 g"),
        ("balance_weight_g", 90, "20 to 60 g"),
        ("most_plugs_in", 2.5, "a whole number, 0 to 6"),
        ("most_plugs_in", True, "a whole number, 0 to 6"),
        ("spring_relief_g", -1, "0 to 40 g"),
        ("spring_relief_g", None, "0 to 40 g"),
        ("layout", "rows", "as found, free, in lines"),
        ("material", "gut", "music wire, stainless steel, phosphor bronze"),
        ("bore_old_holes", 1, "true or false"),
        ("behind_pin", "yes", "true or false"),
        ("colour", "blue", "No choice has this name"),
    ],
)
def test_a_value_that_cannot_be_is_refused_with_what_is_allowed(name, value, allowed):
    with pytest.raises(BalancekitError) as caught:
        FIELDS.read(LeadChoice, {name: value})
    assert f"choice of leads and springs, {name}: '{value}' cannot be." in str(caught.value)
    assert allowed in str(caught.value)


def test_every_value_that_cannot_be_is_named_at_once():
    with pytest.raises(BalancekitError) as caught:
        FIELDS.read(LeadChoice, {"wire_mm": 0, "coil_mm": 100, "layout": ""})
    assert {problem.column for problem in caught.value.problems} == {"wire_mm", "coil_mm", "layout"}


def test_something_else_than_a_table_of_values_is_refused():
    with pytest.raises(BalancekitError, match="Give names and values"):
        FIELDS.read(LeadChoice, [1, 2])


def test_a_coil_that_cannot_be_wound_is_refused_by_the_spring_and_hinders_no_layout(inputs):
    choice = replace(PROPOSAL, wire_mm=2.0, coil_mm=3.0)
    with pytest.raises(BalancekitError, match="cannot be wound"):
        _ = choice.spring
    assert len(LeadPlan(inputs, choice).plan)


def test_nothing_is_planned_before_something_is_decided(grand):
    assert choice_of(grand) is None
    assert lead_plan(grand) is None


# What follows


def test_the_targets_fulfil_the_balance_equation(inputs):
    plan = LeadPlan(inputs, replace(PROPOSAL, spring_relief_from="level", spring_relief_g=6.5))
    table = inputs.table
    lifts = table["wippen_weight_g"] * table["key_ratio"]
    lifts = lifts + table["strike_weight_g"] * table["action_ratio"]
    presses = plan.balance_weight_g + plan.target["front_weight_g"] + 6.5
    np.testing.assert_allclose(presses, lifts, atol=1e-9)


@pytest.mark.parametrize("tolerance_g", [PROPOSAL.tolerance_g, 0.1])
@pytest.mark.parametrize("least_inertia", [0, 50, 100])
def test_every_front_weight_is_that_of_the_plugs_moments(inputs, least_inertia, tolerance_g):
    choice = replace(PROPOSAL, least_inertia_percent=least_inertia, tolerance_g=tolerance_g)
    plan = LeadPlan(inputs, choice)
    rows = plan.plan
    sticks = inputs.sticks.loc[rows["key"]].reset_index(drop=True)
    # A plug put in brings itself less the wood of its hole; one taken out takes itself along.
    lengths = rows["plug"].map({plug.name: plug.length_mm for plug in inputs.plugs}).fillna(0.0)
    wood = pi / 4 * rows["diameter_mm"] ** 2 * lengths / 1000 * sticks["wood_density_g_cm3"]
    new = (rows["action"] == "put in") & (rows["hole"] == "new")
    bored = rows["hole"] == "bored larger"
    old = rows["action"] == "take out"
    assert not bored.any()  # else the wood of the old hole would be counted twice here
    grams = np.select([new, old], [rows["mass_g"] - wood, -rows["mass_g"]], 0.0)
    gain = pd.Series(grams * rows["distance_mm"] / sticks["arm_mm"]).groupby(rows["key"]).sum()
    expected = (inputs.table["front_weight_g"] + gain.reindex(inputs.keys, fill_value=0.0)).loc[
        plan.layout.keys.index
    ]
    np.testing.assert_allclose(plan.layout.keys["front_weight_g"], expected, atol=1e-6)
    within = plan.layout.keys["within"]
    miss = (expected - plan.wanted_g).abs()[within]
    assert within.mean() > 0.95 and miss.max() <= tolerance_g + 1e-6


def test_places_say_the_same_from_the_pin_and_from_the_front_edge(inputs):
    rows = LeadPlan(inputs, PROPOSAL).plan
    sticks = inputs.sticks.loc[rows["key"]].reset_index(drop=True)
    whole = rows["distance_mm"] + rows["from_front_edge_mm"]
    np.testing.assert_allclose(whole, sticks["arm_mm"] + sticks["front_edge_mm"])


def test_a_relief_lowers_each_front_weight_by_itself(inputs):
    without = LeadPlan(inputs, PROPOSAL).target["front_weight_g"]
    curve = replace(
        PROPOSAL, spring_relief_from="curve", spring_relief_first_g=12.0,
        spring_relief_middle_g=8.0, spring_relief_last_g=2.0,
    )  # fmt: skip
    plan = LeadPlan(inputs, curve)
    relief = without - plan.target["front_weight_g"]
    assert relief[[1, 44, 88]].tolist() == pytest.approx([12.0, 8.0, 2.0])
    # Key 22 lies 21 of 43 keys from the first level to the second.
    assert relief[22] == pytest.approx(12.0 - 4.0 * 21 / 43)
    np.testing.assert_allclose(plan.wanted_without_spring_g, without)


def test_less_wanted_balance_weight_is_more_front_weight_gram_for_gram(inputs):
    heavy = LeadPlan(inputs, replace(PROPOSAL, balance_weight_g=40.0))
    light = LeadPlan(inputs, replace(PROPOSAL, balance_weight_g=37.0))
    more = light.target["front_weight_g"] - heavy.target["front_weight_g"]
    np.testing.assert_allclose(more, 3.0)


@pytest.mark.parametrize("tolerance_g", [PROPOSAL.tolerance_g, 0.1])
def test_above_the_limit_the_layout_aims_at_the_limit(inputs, tolerance_g):
    choice = replace(PROPOSAL, highest_front_weight_g=30.0, tolerance_g=tolerance_g)
    plan = LeadPlan(inputs, choice)
    assert (plan.target["beyond_g"] > 0).any()
    assert plan.wanted_g.max() == 30.0
    heavy = plan.target.index[plan.target["beyond_g"] > 1.0]
    after = plan.balance_after_g(plan.free)[heavy] - plan.balance_weight_g[heavy]
    within = tolerance_g + 1e-6
    np.testing.assert_allclose(after, plan.target["beyond_g"][heavy], atol=within)


def test_the_hammers_that_were_decided_set_the_targets(grand, findings, inputs):
    choice = hammer_choice.HammerChoice(target="levels", bass_g=11.0, middle_g=9.0, treble_g=6.0)
    decided = hammer_choice.with_choice(grand, choice)
    then = lead_inputs(decided, 0, findings)
    assert then.hammers_decided and not inputs.hammers_decided
    planned = then.hammers.plan["planned_strike_weight_g"]
    np.testing.assert_allclose(then.table["strike_weight_g"], planned)
    lighter = inputs.table["strike_weight_g"] - planned
    less = (
        LeadPlan(inputs, PROPOSAL).target["front_weight_g"]
        - LeadPlan(then, PROPOSAL).target["front_weight_g"]
    )
    np.testing.assert_allclose(less, lighter * inputs.table["action_ratio"], atol=1e-9)


def test_new_plugs_stay_in_front_of_the_pin_unless_they_may_go_behind(inputs):
    front = LeadPlan(inputs, PROPOSAL)
    anywhere = LeadPlan(inputs, replace(PROPOSAL, behind_pin=True))
    put_in = front.plan[front.plan["action"] == "put in"]
    assert (put_in["distance_mm"] > 0).all()
    # More places allowed never make the best layout of a key worse.
    both = front.free.keys["within"] & anywhere.free.keys["within"]
    assert (anywhere.free.keys["cost_g"] <= front.free.keys["cost_g"] + 1e-6)[both].all()


def test_as_found_there_is_nothing_to_do(grand, findings):
    kept = with_choice(grand, PROPOSAL.as_found())
    plan = lead_plan(kept, 0, findings)
    assert plan is not None
    assert plan.plan.empty and plan.shopping.empty and plan.scrap.empty
    assert plan.front_weight_g.isna().all()
    pd.testing.assert_series_equal(plan.lead_inertia_g, plan.inputs.table["lead_inertia_g"])
    assert not plan.springs_decided


def test_the_shopping_list_is_what_the_plan_puts_in_and_a_tenth(inputs):
    plan = LeadPlan(inputs, PROPOSAL)
    put_in = plan.plan[plan.plan["action"] == "put in"]["plug"].value_counts()
    assert plan.shopping["put_in"].to_dict() == put_in.to_dict()
    assert (plan.shopping["spares"] == np.ceil(plan.shopping["put_in"] / 10)).all()
    out = plan.plan[plan.plan["action"] == "take out"]
    assert plan.scrap["total_g"].sum() == pytest.approx(out["mass_g"].sum())


def test_keys_not_touched_keep_their_front_weight_open(inputs):
    plan = LeadPlan(inputs, PROPOSAL)
    untouched = plan.keys.difference(plan.touched)
    assert len(untouched) and plan.front_weight_g[untouched].isna().all()
    assert plan.front_weight_g[plan.touched].notna().all()


def test_a_layout_is_worked_out_once(inputs):
    first = LeadPlan(inputs, replace(PROPOSAL, least_inertia_percent=41.0))
    again = LeadPlan(inputs, replace(first.choice, wire_mm=0.8))
    assert again.free is first.free
    assert LeadPlan(inputs, replace(first.choice, tolerance_g=0.3)).bench.tasks is first.bench.tasks


def test_plugs_that_are_not_on_their_key_are_refused_with_their_line(grand, findings):
    leads = grand.table("leads").copy()
    leads.loc[3, "distance_mm"] = 390.0
    with pytest.raises(BalancekitError, match=r"leads.csv line 5, key 1: .*is not on this key"):
        lead_inputs(grand.with_table("leads", leads), 0, findings)


def test_own_stock_sticks_and_zones_are_used(grand, findings):
    stock = pd.DataFrame({"diameter_mm": [8.0], "length_mm": [9.0], "mass_g": [5.0]})
    own = grand.with_table("plug_stock", stock)
    own = own.with_table("key_sticks", pd.DataFrame({"key": [1], "stick_length_mm": [430.0]}))
    own = own.with_table("hole_zones", pd.DataFrame({"from_mm": [0.0], "to_mm": [60.0]}))
    plan = LeadPlan(lead_inputs(own, 0, findings), PROPOSAL)
    assert plan.inputs.sticks.loc[88, "stick_length_mm"] == 430.0
    put_in = plan.plan[plan.plan["action"] == "put in"]
    assert set(put_in["diameter_mm"]) == {8.0}
    assert (put_in["distance_mm"] >= 64.0).all()


def test_an_upright_is_refused(grand):
    upright = replace(grand, settings=replace(grand.settings, action="upright"))
    with pytest.raises(BalancekitError, match="upright"):
        lead_inputs(upright)


def test_torque_and_relief_along_the_stroke_agree_with_a_sum_by_hand(inputs):
    plan = LeadPlan(inputs, replace(PROPOSAL, spring_relief_from="level", spring_relief_g=10.0))
    key_ratio, arm = float(inputs.table["key_ratio"][40]), plan.wippen_arm_mm
    # Grams at the finger, over the key ratio, at the capstan; there they turn the wippen.
    torque = 10.0 / key_ratio * 9.80665e-3 * arm
    # Within what the arms swing from level to rest and to the end.
    assert plan.torque_n_mm[40] == pytest.approx(torque, rel=0.04)
    turned = inputs.key_dip_mm * key_ratio / arm
    left = torque - plan.choice.spring.rate_n_mm_rad * turned
    assert plan.stroke.loc[40, "relief_end_g"] == pytest.approx(10.0 * left / torque, rel=0.05)


def test_the_order_of_the_stock_changes_no_layout(grand, findings):
    stock = pd.DataFrame(
        {"diameter_mm": [12.7, 9.5], "length_mm": [9.5, 9.5], "metal": ["lead", "lead"]}
    )
    costs = []
    for ordered in (stock, stock.iloc[::-1]):
        own = lead_inputs(grand.with_table("plug_stock", ordered), 0, findings)
        choice = replace(PROPOSAL, least_inertia_percent=90.0, balance_weight_g=34.0)
        costs.append(LeadPlan(own, choice).free.keys["cost_g"])
    np.testing.assert_allclose(costs[0], costs[1], atol=1e-6)
