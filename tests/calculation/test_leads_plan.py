"""What to buy, what comes out, ways out, lines, and what a spring saves."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from balancekit.calculation.leads.key_stick import usual_sticks
from balancekit.calculation.leads.layout import LayoutRules, find_layout, find_rows, prepare_layout
from balancekit.calculation.leads.leads_plan import (
    lead_totals,
    saved,
    scrap_list,
    shopping_list,
    ways_out,
)
from balancekit.calculation.leads.plugs import usual_plugs
from balancekit.calculation.problems import BalancekitError
from tests.calculation.invented_leads import invent_leads

CASE = invent_leads(21)
BENCH = prepare_layout(CASE.sticks, CASE.front_weight_now_g, CASE.leads, usual_plugs())
LAYOUT = find_layout(BENCH, CASE.target_g, 0.9)


def test_every_plug_of_the_plan_is_on_the_shopping_list_with_spares():
    table = shopping_list(LAYOUT, spare_share=0.1)
    assert table["put_in"].sum() == (LAYOUT.plan["action"] == "put in").sum()
    assert (table["spares"] == np.ceil(table["put_in"] * 0.1 - 1e-9)).all()
    assert (table["to_buy"] == table["put_in"] + table["spares"]).all()
    with pytest.raises(BalancekitError, match="share of spares"):
        shopping_list(LAYOUT, spare_share=2.0)


def test_every_old_plug_is_kept_or_comes_out():
    out = scrap_list(LAYOUT)["taken_out"].sum()
    kept = (LAYOUT.plan["action"] == "keep").sum()
    assert out + kept == len(CASE.leads)
    assert out > 0


def test_lead_in_the_keys_is_old_less_out_plus_in():
    plan = LAYOUT.plan.set_index("action")["mass_g"].groupby(level=0).sum()
    expected = CASE.leads["mass_g"].sum() - plan["take out"] + plan["put in"]
    assert lead_totals(LAYOUT)["lead_g"] == pytest.approx(expected)


def test_inertia_of_new_plugs_is_that_of_cylinders_less_the_wood():
    """Of each plug m (x^2 + r^2 / 2), any textbook of mechanics; m less what was bored out."""
    none = CASE.leads.iloc[:0]
    bench = prepare_layout(CASE.sticks, CASE.front_weight_now_g, none, usual_plugs())
    layout = find_layout(bench, CASE.front_weight_now_g + 12.0, 0.9)
    put = layout.plan[layout.plan["action"] == "put in"]
    wood = CASE.sticks.loc[put["key"], "wood_density_g_cm3"].to_numpy()
    known = {plug.name: plug for plug in usual_plugs()}
    net = [known[name].net_mass_g(w) for name, w in zip(put["plug"], wood, strict=True)]
    each = np.array(net) * (put["distance_mm"] ** 2 + (put["diameter_mm"] / 2) ** 2 / 2)
    by_key = each.groupby(put["key"]).sum() / CASE.sticks["arm_mm"] ** 2
    found = layout.keys["lead_inertia_g"]
    assert len(put) > 88
    assert found.tolist() == pytest.approx(by_key.reindex(found.index).tolist(), rel=1e-9)


def test_ways_out_are_true():
    """What is said to help is done, and helps."""
    rules = LayoutRules(most_plugs_in=1)
    keys = [1, 2, 30, 60]
    args = CASE.sticks.loc[keys], CASE.front_weight_now_g, CASE.leads
    bench = prepare_layout(*args, usual_plugs()[:1], rules=rules)
    layout = find_layout(bench, CASE.target_g)
    table = ways_out(bench, layout, CASE.target_g)
    assert len(table) == (~layout.keys["within"]).sum() > 0
    for key, row in table.iterrows():
        wider = LayoutRules(most_plugs_in=1, tolerance_g=row["tolerance_g"])
        again = prepare_layout(*args, usual_plugs()[:1], rules=wider)
        assert find_layout(again, CASE.target_g).keys.loc[key, "within"]
        two = prepare_layout(*args, usual_plugs()[:1], rules=LayoutRules(most_plugs_in=2))
        assert find_layout(two, CASE.target_g).keys.loc[key, "within"] == row["one_more_plug"]
        assert f"{abs(row['miss_g']):.2f} g" in row["sentence"]


def test_nothing_to_say_where_all_keys_are_met():
    assert ways_out(BENCH, LAYOUT, CASE.target_g).empty


def test_lines_are_straight_and_every_key_is_met():
    case = invent_leads(5, with_old=False)
    bench = prepare_layout(case.sticks, case.front_weight_now_g, case.leads, usual_plugs())
    rows = find_rows(bench, case.target_g, 0.5, first_keys={"bass": 1, "treble": 45})
    assert rows.layout.keys["within"].all()
    assert rows.layout.keys.index.equals(rows.free.keys.index)
    free, lined = rows.free.keys["cost_g"], rows.layout.keys["cost_g"]
    assert (lined >= free - 1e-9).all()
    assert rows.price["exceptions"] == (~rows.layout.keys["in_line"]).sum() == 0
    assert len(rows.lines)
    plan = rows.layout.plan
    for line in rows.lines.itertuples():
        keys = case.sticks.index[
            (case.sticks["colour"] == line.colour)
            & (case.sticks.index >= line.first_key)
            & (case.sticks.index <= line.last_key)
        ]
        wide = line.last_key - line.first_key
        for key in keys[rows.layout.keys.loc[keys, "in_line"]]:
            x = line.first_mm + (line.last_mm - line.first_mm) * (key - line.first_key) / wide
            here = plan[(plan["key"] == key) & (plan["plug"] == line.plug)]["distance_mm"]
            assert (here - x).abs().min() <= 0.5 + 1e-9, (key, line)
        lines = rows.lines[(rows.lines["first_key"] == line.first_key)]
        plugs_in = rows.layout.keys.loc[keys, "plugs_in"]
        assert plugs_in.between(len(lines), len(lines) + 1).all()  # one adjusting plug at most


def test_a_spring_saves_lead_and_inertia():
    plain = find_layout(BENCH, CASE.target_g, 1.0)
    sprung = find_layout(BENCH, CASE.target_g - 5.0, 1.0)
    less_g = saved(sprung, plain)["lead_inertia_g"].mean()
    whole_g = lead_totals(plain)["mean_inertia_g"]
    assert less_g > 0 and lead_totals(sprung)["mean_inertia_g"] == pytest.approx(whole_g - less_g)
    assert lead_totals(plain, 300.0)["mean_inertia_g"] == pytest.approx(whole_g + 300)


def test_one_gram_of_front_weight_by_hand():
    """A single plug: m x / arm is the gain, m x^2 / arm^2 the inertia."""
    sticks = usual_sticks(pd.Series(["natural"], index=pd.Index([1], name="key")))
    bench = prepare_layout(sticks, pd.Series({1: 0.0}), CASE.leads.iloc[:0], usual_plugs()[:1])
    row = find_layout(bench, pd.Series({1: 3.0}), 0.0)
    net = usual_plugs()[0].net_mass_g(0.448)
    x = row.plan["distance_mm"].iloc[0]
    assert row.keys.loc[1, "front_weight_g"] == pytest.approx(net * x / 240)
    assert row.keys.loc[1, "lead_inertia_g"] == pytest.approx(net * (x**2 + 4.75**2 / 2) / 240**2)
    assert row.plan["from_front_edge_mm"].iloc[0] == 253.0 - x
