"""Layouts of plugs: against a mixed-integer programme, an independent sum, and symmetry."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from balancekit.calculation.leads.key_stick import Zone
from balancekit.calculation.leads.layout import LayoutRules, find_layout, prepare_layout, read_leads
from balancekit.calculation.leads.plugs import make_plug, usual_plugs
from balancekit.calculation.problems import BalancekitError
from tests.calculation.invented_leads import invent_leads
from tests.calculation.layout_reference import farthest_front_weight, least_cost

CASE = invent_leads(4)
FEW = [2, 15, 40, 70]
NO_LEADS = CASE.leads.iloc[:0]


def bench_of(case=CASE, plugs=None, rules=None, keys=FEW, zones=()):
    return prepare_layout(
        case.sticks.loc[keys],
        case.front_weight_now_g.loc[keys],
        case.leads,
        plugs or usual_plugs(),
        rules=rules,
        zones=zones,
    )


@pytest.mark.parametrize(("slider", "most", "tolerance"), [(0.5, 4, 0.1), (1.0, 2, 0.05)])
def test_cost_is_that_of_the_mixed_integer_programme(slider, most, tolerance):
    rules = LayoutRules(most_plugs_in=most, tolerance_g=tolerance)
    layout = find_layout(bench_of(rules=rules), CASE.target_g, slider)
    for key in FEW:
        reference = least_cost(
            CASE.sticks.loc[key].to_dict(), CASE.front_weight_now_g[key], CASE.target_g[key],
            CASE.old_of(key), list(usual_plugs()), rules, slider,
        )  # fmt: skip
        row = layout.keys.loc[key]
        if row["within"]:
            assert row["cost_g"] == pytest.approx(reference, rel=1e-3)
        else:
            assert reference == float("inf")


@pytest.mark.parametrize("slider", [0.0, 0.5, 1.0])
def test_front_weight_is_the_sum_of_moments_over_the_plan(slider):
    """Statics, added up again from the plan: force at the arm = sum of m x / arm."""
    layout = find_layout(bench_of(keys=CASE.sticks.index), CASE.target_g, slider)
    for key, plan in layout.plan.groupby("key"):
        stick = CASE.sticks.loc[key]
        moment = 0.0
        for plug in plan.itertuples():
            if plug.action == "take out":
                moment -= plug.mass_g * plug.distance_mm
            if plug.action == "put in":
                hole = np.pi / 4 * plug.diameter_mm**2 * 9.5
                old = plan[(plan["distance_mm"] == plug.distance_mm) & (plan["hole"] == "old")]
                if plug.hole == "bored larger":
                    hole -= np.pi / 4 * old["diameter_mm"].iloc[0] ** 2 * 9.5
                wood = hole / 1000 * stick["wood_density_g_cm3"]
                moment += (plug.mass_g - wood) * plug.distance_mm
        expected = CASE.front_weight_now_g[key] + moment / stick["arm_mm"]
        assert layout.keys.loc[key, "front_weight_g"] == pytest.approx(expected, abs=1e-9)
        assert abs(expected - CASE.target_g[key]) <= 0.1 + 1e-6


def test_holes_keep_clear_of_each_other_the_pin_and_the_edges():
    layout = find_layout(bench_of(keys=CASE.sticks.index), CASE.target_g, 1.0)
    for key, plan in layout.plan.groupby("key"):
        stick = CASE.sticks.loc[key]
        # The widest hole at each place: an old hole that is bored larger counts once.
        holes = plan.groupby("distance_mm")["diameter_mm"].max()
        fresh = set(plan[plan["hole"] != "old"]["distance_mm"])
        places = holes.index.to_numpy()
        for i, x in enumerate(places):
            for y in places[i + 1 :]:
                if x in fresh or y in fresh:
                    apart = abs(x - y) - (holes[x] + holes[y]) / 2
                    assert apart >= 3.0 - 1e-9, (key, x, y)
        for x in fresh:
            radius = holes[x] / 2
            front = stick["arm_mm"] + stick["front_edge_mm"] - stick["front_free_mm"]
            assert x + radius <= front + 1e-9
            assert abs(x) - radius >= stick["balance_free_mm"] - 1e-9
            assert abs(x - stick["capstan_mm"]) - radius >= 8.0 - 1e-9


def test_no_hole_in_a_zone():
    zone = Zone(60.0, 120.0, note="a dowel")
    bench = bench_of(zones=(zone,))
    plan = find_layout(bench, CASE.target_g, 0.5).plan
    new = plan[plan["hole"] == "new"]
    radius = new["diameter_mm"] / 2
    assert len(new)
    assert ((new["distance_mm"] + radius <= 60) | (new["distance_mm"] - radius >= 120)).all()


def mirrored(sticks):
    """Turn a key end for end about its balance pin."""
    out = sticks.copy()
    back = sticks["arm_mm"] + sticks["front_edge_mm"] - sticks["stick_length_mm"]
    out["front_edge_mm"] = -back - sticks["arm_mm"]
    out["front_free_mm"], out["back_free_mm"] = sticks["back_free_mm"], sticks["front_free_mm"]
    out["capstan_mm"] = -sticks["capstan_mm"]
    return out


@given(seed=st.integers(0, 10_000), slider=st.sampled_from([0.0, 0.4, 0.8, 1.0]))
@settings(max_examples=8, deadline=None)
def test_a_key_turned_end_for_end_gets_the_mirrored_layout(seed, slider):
    case = invent_leads(seed)
    leads = case.leads.assign(distance_mm=-case.leads["distance_mm"])
    there = find_layout(bench_of(case), case.target_g, slider)
    now = -case.front_weight_now_g.loc[FEW]
    turned = prepare_layout(mirrored(case.sticks.loc[FEW]), now, leads, usual_plugs())
    back = find_layout(turned, -case.target_g, slider)
    assert back.keys["cost_g"].to_numpy() == pytest.approx(there.keys["cost_g"].to_numpy())
    assert back.keys["miss_g"].abs().max() <= max(0.1, there.keys["miss_g"].abs().max()) + 1e-6


@given(seed=st.integers(0, 10_000), factor=st.sampled_from([0.5, 2.0, 3.0]))
@settings(max_examples=8, deadline=None)
def test_all_masses_scaled_gives_the_same_places(seed, factor):
    case = invent_leads(seed)
    rules = LayoutRules(operation_g=4 * factor, new_hole_g=2 * factor, tolerance_g=0.1 * factor)
    plugs = [replace(plug, mass_g=plug.mass_g * factor) for plug in usual_plugs()]
    sticks = case.sticks.assign(wood_density_g_cm3=case.sticks["wood_density_g_cm3"] * factor)
    scaled = replace(
        case,
        sticks=sticks,
        front_weight_now_g=case.front_weight_now_g * factor,
        leads=case.leads.assign(mass_g=case.leads["mass_g"] * factor),
    )
    plain = find_layout(bench_of(case), case.target_g, 0.7)
    heavy = find_layout(bench_of(scaled, plugs=plugs, rules=rules), case.target_g * factor, 0.7)
    assert heavy.keys["cost_g"].to_numpy() == pytest.approx(
        factor * plain.keys["cost_g"].to_numpy(), rel=1e-6
    )


@given(seed=st.integers(0, 10_000), slider=st.floats(0, 1))
@settings(max_examples=8, deadline=None)
def test_one_more_kind_of_plug_never_makes_it_dearer(seed, slider):
    case = invent_leads(seed)
    two, three = usual_plugs()[1:], usual_plugs()
    few = find_layout(bench_of(case, plugs=two), case.target_g, slider).keys
    more = find_layout(bench_of(case, plugs=three), case.target_g, slider).keys
    both = few["within"]
    assert (more.loc[both, "within"]).all()
    assert (more.loc[both, "cost_g"] <= few.loc[both, "cost_g"] + 1e-9).all()


def test_the_slider_trades_inertia_for_work_one_way():
    bench = bench_of(keys=CASE.sticks.index)
    sums = [find_layout(bench, CASE.target_g, s).keys for s in (0.0, 0.3, 0.6, 0.9, 1.0)]
    inertia = np.array([keys["lead_inertia_g"].to_numpy() for keys in sums])
    work = np.array([(4 * keys["operations"] + 2 * keys["new_holes"]).to_numpy() for keys in sums])
    assert (np.diff(inertia, axis=0) <= 1e-9).all()
    assert (np.diff(work, axis=0) >= -1e-9).all()


def test_a_key_in_order_is_left_alone():
    now = CASE.front_weight_now_g
    layout = find_layout(bench_of(), now, 0.0)
    assert (layout.keys["operations"] == 0).all()
    assert set(layout.plan["action"]) == {"keep"}


def test_where_none_fits_the_nearest_is_given_and_named():
    """One small plug cannot carry 20 g; hand check: the nearest has it as far out as it goes."""
    sticks = CASE.sticks.loc[[40]]
    bench = prepare_layout(
        sticks, pd.Series({40: 3.0}), NO_LEADS, usual_plugs()[:1],
        rules=LayoutRules(most_plugs_in=1),
    )  # fmt: skip
    layout = find_layout(bench, pd.Series({40: 23.0}), 0.0)
    row = layout.keys.loc[40]
    stick = sticks.loc[40]
    farthest = int(stick["arm_mm"] + 13 - stick["front_free_mm"] - 4.75)
    plug = usual_plugs()[0]
    best = 3.0 + plug.net_mass_g(stick["wood_density_g_cm3"]) * farthest / stick["arm_mm"]
    assert not row["within"]
    assert row["front_weight_g"] == pytest.approx(best, abs=0.03)
    assert row["miss_g"] == pytest.approx(best - 23.0, abs=0.03)


@pytest.mark.parametrize("up", [True, False])
def test_out_of_reach_the_farthest_layout_is_that_of_the_programme(up):
    off = 60.0 if up else -60.0
    rules = LayoutRules(most_plugs_in=3)
    layout = find_layout(bench_of(rules=rules), CASE.target_g + off, 0.5)
    assert not layout.keys["within"].any()
    for key in FEW:
        farthest = farthest_front_weight(
            CASE.sticks.loc[key].to_dict(), CASE.front_weight_now_g[key], CASE.old_of(key),
            list(usual_plugs()), rules, up=up,
        )  # fmt: skip
        assert layout.keys.loc[key, "front_weight_g"] == pytest.approx(farthest, abs=0.005)


def test_an_old_hole_bored_larger_is_taken_where_it_is_less_work():
    """A key that needs a little more: swapping 9.5 for 12.7 mm in the old hole makes no new one."""
    leads = pd.DataFrame(
        {"key": [40], "diameter_mm": [9.5], "mass_g": [7.6], "distance_mm": [120.0]}
    )
    plug = make_plug(12.7, 9.5)
    ring = np.pi / 4 * (12.7**2 - 9.5**2) * 9.5 / 1000 * CASE.sticks.loc[40, "wood_density_g_cm3"]
    gain = (plug.mass_g - ring - 7.6) * 120.0 / CASE.sticks.loc[40, "arm_mm"]
    rules = LayoutRules(most_plugs_in=1, operation_g=1.0, new_hole_g=50.0, tolerance_g=0.02)
    bench = prepare_layout(CASE.sticks.loc[[40]], pd.Series({40: 10.0}), leads, [plug], rules=rules)
    layout = find_layout(bench, pd.Series({40: 10.0 + gain}), 0.0)
    assert layout.plan["action"].tolist() == ["take out", "put in"]
    assert layout.plan["hole"].tolist() == ["old", "bored larger"]
    assert layout.keys.loc[40, "new_holes"] == 0 and layout.keys.loc[40, "operations"] == 2


def test_keys_without_a_reading_or_a_target_are_left_out():
    now = CASE.front_weight_now_g.copy()
    now[15] = np.nan
    bench = prepare_layout(CASE.sticks.loc[FEW], now, CASE.leads, usual_plugs())
    target = CASE.target_g.copy()
    target[40] = np.nan
    assert find_layout(bench, target).keys.index.tolist() == [2, 70]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"diameter_mm": 0.0}, "is not on this key"),
        ({"distance_mm": 900.0}, "is not on this key"),
        ({"mass_g": -1.0}, "weighs -1 g"),
        ({"key": 99}, "not on the keyboard"),
    ],
)
def test_leads_that_cannot_be_are_refused_with_their_line(change, words):
    row = {"key": 40, "diameter_mm": 9.5, "mass_g": 7.6, "distance_mm": 100.0, **change}
    with pytest.raises(BalancekitError, match=words) as caught:
        read_leads(pd.DataFrame([row]), CASE.sticks)
    assert caught.value.problems[0].line == 2


def test_rules_and_sliders_that_cannot_be_are_refused():
    for wrong in ({"tolerance_g": 0.001}, {"most_plugs_in": 9}, {"hole_clearance_mm": -1.0}):
        with pytest.raises(BalancekitError):
            LayoutRules(**wrong)
    with pytest.raises(BalancekitError, match="slider"):
        find_layout(bench_of(), CASE.target_g, 1.5)
    with pytest.raises(BalancekitError, match="no plug"):
        prepare_layout(CASE.sticks, CASE.front_weight_now_g, NO_LEADS, [])
