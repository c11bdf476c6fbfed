"""Panels on leads and springs without a browser: controls moved, pictures and words out."""

from __future__ import annotations

import asyncio
from dataclasses import fields, replace

import numpy as np
import pandas as pd
import pytest
from bokeh.models import ColumnDataSource

from balancekit import panels
from balancekit.calculation.generator import Recipe, invent, weigh
from balancekit.instrument.bench import Bench
from balancekit.instrument.choices.lead_choice import SPANS, TOLERANCE_G, WORDS, LeadChoice
from balancekit.instrument.choices.lead_plan import LeadPlan, lead_plan
from balancekit.instrument.model import BenchSettings, Instrument
from balancekit.panels.choice import WORDS_AFTER_S
from balancekit.panels.leads import lead_desk as desk_module
from balancekit.panels.leads.lead_desk import lead_desk
from balancekit.panels.leads.lead_layout import PlugLayout
from balancekit.panels.leads.lead_lines import Lines
from balancekit.panels.leads.lead_sheet import LeadSheet
from balancekit.panels.leads.lead_sticks import Sticks
from balancekit.panels.leads.lead_target import FrontWeight
from balancekit.panels.leads.lead_view import LeadLine
from balancekit.panels.leads.spring_check import SpringCheck
from balancekit.panels.leads.spring_design import SpringDesign
from balancekit.panels.leads.spring_relief import Relief
from balancekit.panels.leads.spring_trade_off import RELIEFS_G, TradeOff


@pytest.fixture
def desk(bench):
    return lead_desk(bench)


def data(view, chart: str, source: str) -> dict:
    held = view.charts[chart].sources[source]
    assert isinstance(held, ColumnDataSource)
    return dict(held.data)


def move(view, **values) -> None:
    for name, value in values.items():
        view.controls[name].value = value


def test_every_panel_is_there_and_opens_on_the_demo(bench):
    names = [name for name in panels.__all__ if name.startswith(("lead_", "spring_"))]
    assert len(names) == 10
    for name in names:
        assert getattr(panels, name)(bench).children


def test_the_target_moves_with_the_wanted_balance_weight(desk):
    view = FrontWeight(desk)
    before = np.array(data(view, "target", "target")["y"])
    move(view, balance_weight_g=36.0)
    np.testing.assert_allclose(np.array(data(view, "target", "target")["y"]) - before, 2.0)


def test_a_curve_of_balance_weights_has_three_sliders(desk):
    view = FrontWeight(desk)
    assert view.controls["balance_weight_first_g"].layout.display == "none"
    move(view, balance_weight_from="curve", balance_weight_first_g=40.0)
    assert view.controls["balance_weight_first_g"].layout.display == ""
    assert view.plan.balance_weight_g[1] == 40.0 and view.plan.balance_weight_g[88] == 38.0


def test_a_hidden_slider_is_left_alone_and_has_caught_up_when_it_appears(desk):
    view = FrontWeight(desk)
    hidden = view.controls["balance_weight_first_g"]
    before = hidden.value
    move(view, balance_weight_g=before - 2.0)
    assert hidden.value == before
    move(view, balance_weight_from="curve")
    assert hidden.value == view.value_of("balance_weight_first_g") == before - 2.0


def test_words_follow_the_picture_a_moment_later(desk):
    """A move of a slider is answered by the picture at once, and by words when it is on its way."""

    async def moved():
        view = FrontWeight(desk)
        picture, words = np.array(data(view, "target", "target")["y"]), view.story.value
        move(view, balance_weight_g=36.0)
        assert not np.allclose(np.array(data(view, "target", "target")["y"]), picture)
        assert view.story.value == words
        await asyncio.sleep(4 * WORDS_AFTER_S)
        assert view.story.value != words

    asyncio.run(moved())


def test_keys_that_cannot_be_are_named_with_their_ways_out(desk, bench):
    view = FrontWeight(desk)
    move(view, highest_front_weight_g=40.0)
    above = view.plan.target.index[view.plan.target["beyond_g"] > 0]
    assert list(data(view, "target", "beyond")["key"]) == list(above)
    assert f"Above the limit: {len(above)} keys" in view.verdict.value
    bench.key = int(above[0])
    for way in ("lighter", "ratio", "more spring relief", "more balance weight"):
        assert way in view.story.value
    assert set(view.keyboard.marks) == {str(key) for key in above}
    move(view, balance_weight_g=60.0)
    assert "Below 0" in view.verdict.value and "behind the balance pin" in view.verdict.value


def test_the_stick_is_drawn_with_its_plugs_and_says_where_each_size_comes_from(desk, bench):
    view = Sticks(desk)
    bench.key = 1
    keep = data(view, "side", "keep")
    assert sorted(keep["pin"]) == [107, 123, 139, 155, 171]
    assert "usual, from memory" in view.sizes.value and "handbook, spruce" in view.sizes.value
    assert "your table" not in view.sizes.value
    sticks = panels.lead_sticks_panel(bench)
    folded = sticks.children[-1]
    entry = folded.children[folded.titles.index("Your own key sticks")]
    row = entry.grid.rows[0]["id"]
    entry.take_cells([{"row": row, "column": "key", "value": 1},
                      {"row": row, "column": "stick_length_mm", "value": 455.0}])  # fmt: skip
    assert "455 mm" in view.sizes.value and "your table" in view.sizes.value
    assert data(view, "side", "stick")["right"] == [455.0]


def test_the_slider_lays_out_anew_and_draws_it(desk, bench):
    view = PlugLayout(desk)
    bench.key = 20
    kinds = {}
    for percent in (0.0, 100.0):
        move(view, least_inertia_percent=percent)
        plan = view.plan.free.plan
        for action in ("keep", "take out", "put in"):
            assert len(data(view, "above", action)["key"]) == (plan["action"] == action).sum()
            of_key = plan[(plan["key"] == 20) & (plan["action"] == action)]
            assert list(data(view, "side", action)["x"]) == list(of_key["from_front_edge_mm"])
        kinds[percent] = view.plan.free.keys[["operations", "lead_inertia_g"]].sum()
    assert kinds[0.0]["operations"] < kinds[100.0]["operations"]
    assert kinds[0.0]["lead_inertia_g"] > kinds[100.0]["lead_inertia_g"]


def test_finer_than_weighing_can_tell_says_what_it_costs(desk):
    view = PlugLayout(desk)
    assert desk.choice.tolerance_g == TOLERANCE_G and "finer than weighing" not in view.told.value
    coarse = desk.plan.free.keys["operations"].sum()
    view.controls["tolerance_g"].value = 0.1
    more = desk.plan.free.keys["operations"].sum() - coarse
    assert more > 50 and f"{more} operations and" in view.told.value
    assert "each need is known to about ± 0." in view.told.value


def test_the_drawing_has_the_key_to_scale(desk, bench):
    view = PlugLayout(desk)
    bench.key = 40
    stick = desk.inputs.sticks.loc[40]
    assert data(view, "side", "stick")["right"] == [stick["stick_length_mm"]]
    radius = data(view, "side", "keep")["radius"]
    widths = desk.inputs.leads.set_index("key").loc[[40], "diameter_mm"]
    assert sorted(2 * np.array(radius)) == sorted(widths)
    assert data(view, "side", "pin")["x"] == [stick["arm_mm"] + stick["front_edge_mm"]]


def test_keys_that_miss_say_by_how_much_and_what_would_allow_it(desk):
    view = PlugLayout(desk)
    move(view, most_plugs_in=0)
    missed = view.plan.free.keys.index[~view.plan.free.keys["within"]]
    assert len(missed) > 20
    assert list(data(view, "above", "missed")["key"]) == list(missed)
    assert f"{len(missed)} keys miss" in view.missing.value
    assert "would do" in view.missing.value and "One more plug" in view.missing.value
    move(view, tolerance_g=2.0)
    assert view.plan.free.keys["within"].sum() > 88 - len(missed)


def test_with_many_plugs_the_layout_is_sought_beside_and_then_shown(desk):
    view = PlugLayout(desk)
    move(view, most_plugs_in=6)
    assert "Working" not in view.told.value and "Put in" in view.told.value


def test_the_choice_is_kept_and_undo_takes_it_back(desk, bench):
    view, line = PlugLayout(desk), LeadLine(desk)
    assert lead_plan(bench.instrument) is None
    move(view, least_inertia_percent=70.0)
    assert bench.instrument.choices["lead_and_spring"]["least_inertia_percent"] == 70.0
    assert "Saved in" in line.text.value
    move(view, least_inertia_percent=30.0)
    desk.undo()
    assert view.controls["least_inertia_percent"].value == 70.0
    desk.redo()
    assert view.controls["least_inertia_percent"].value == 30.0


def test_as_found_is_always_there_and_the_plan_can_be_taken_again(desk, bench):
    line, sheet = LeadLine(desk), LeadSheet(desk)
    desk.as_found()
    plan = lead_plan(bench.instrument)
    assert plan is not None and plan.plan.empty
    assert "stay as found" in line.text.value and "nothing to do" in sheet.told.value
    line.plan_leads()
    plan = lead_plan(bench.instrument)
    assert plan is not None and len(plan.plan) and "stay as found" not in line.text.value


def test_a_proposal_that_was_not_touched_can_be_kept(desk, bench):
    LeadLine(desk).plan_leads()
    plan = lead_plan(bench.instrument)
    assert plan is not None and plan.choice == desk.choice


def test_the_sheet_lists_each_plug_and_the_shopping(desk, bench):
    sheet = LeadSheet(desk)
    bench.key = 20
    rows = desk.plan.plan
    assert sheet.table.value.count("<tr>") == 1 + (rows["key"] == 20).sum()
    sheet.shown.value = "all"
    assert sheet.table.value.count("<tr>") == 1 + len(rows)
    for plug, line in desk.plan.shopping.iterrows():
        assert (
            str(plug) in sheet.shopping.value
            and f">{line['to_buy']:.0f}</td>" in sheet.shopping.value
        )
    assert "Comes out" in sheet.shopping.value


def test_cautions_stand_beside_the_work(bench):
    told = " ".join(
        child.value for child in panels.lead_sheet_panel(bench).children if hasattr(child, "value")
    )
    for word in ("gloves", "wipe wet", "before you eat", "sanding", "melting", "local rules",
                 "pregnant", "scale", "licensed practice"):  # fmt: skip
        assert word in told
    spring = panels.spring_design_panel(bench).children
    assert any("eye protection" in getattr(child, "value", "") for child in spring)


def test_lines_are_laid_when_asked_for_and_can_be_taken_into_the_plan(home, monkeypatch):
    made = invent(7, Recipe(key_count=24, first_note="C4"))
    few = Instrument(settings=BenchSettings(key_count=24, first_note="C4"))
    desk = lead_desk(Bench(few.with_table("leads", made.leads).with_readings(weigh(made.truth, 8))))
    found = []
    seek = desk_module._lines_of

    def counted(plan):
        found.append(plan)
        return seek(plan)

    monkeypatch.setattr(desk_module, "_lines_of", counted)
    view, sheet = Lines(desk), LeadSheet(desk)
    assert desk.lines is None and view.use.disabled
    view.ask.click()
    assert len(found) == 1 and desk.lines is not None and not view.use.disabled
    assert "Price of the lines" in view.table.value
    plan = desk.lines.layout.plan
    assert len(data(view, "above", "put in")["key"]) == (plan["action"] == "put in").sum()
    view.use.click()
    assert "In lines" in sheet.told.value
    assert desk.plan.plan.equals(plan)
    desk.take(desk.choice.as_found())
    assert len(found) == 1


def test_a_relief_is_drawn_along_the_stroke_and_what_it_saves_is_said(desk, bench):
    view = Relief(desk)
    assert "No springs yet" in view.saving.value
    move(view, spring_relief_from="level", spring_relief_g=12.0)
    stroke = data(view, "relief", "stroke")
    assert set(stroke["relief_at_rest_g"]) == {12.0}
    assert (np.array(stroke["relief_middle_g"]) < 12.0).all()
    assert (np.array(stroke["relief_end_g"]) < np.array(stroke["relief_middle_g"])).all()
    assert "kg of lead" in view.saving.value
    saved = desk.plan.without_spring.keys["lead_g"].sum() - desk.plan.free.keys["lead_g"].sum()
    assert saved > 0 and f"{saved / 1000:.2f} kg" in view.saving.value


def test_the_spring_warns_above_yield_and_when_it_cannot_be_wound(desk):
    view = SpringDesign(desk)
    assert "The wire holds" in view.warning.value and "for a trial" in view.warning.value
    move(view, wire_mm=0.3)
    assert "yields" in view.warning.value
    assert data(view, "stress", "bar")["right"][0] > 100
    move(view, wire_mm=2.0, coil_mm=3.0)
    assert "cannot be wound" in view.warning.value and view.numbers.value == ""
    move(view, wire_mm=0.7, coil_mm=6.0)
    assert "The wire holds" in view.warning.value


def test_relief_as_weighed_is_the_difference_and_can_be_kept(bench):
    view = SpringCheck(bench)
    bench.key = 30
    read = {("Spring unhooked", "down"): 62.0, ("Spring unhooked", "up"): 36.0,
            ("Spring hooked in", "down"): 51.0, ("Spring hooked in", "up"): 25.0}  # fmt: skip
    assert view.keep_button.disabled
    for place, value in read.items():
        view.fields[place].value = value
    # Halves of the sums: 49 without, 38 with.
    assert "11.0" in view.answer.value
    view.keep()
    assert bench.table.loc[30, "spring_relief_g"] == 11.0
    bench.key = 31
    assert view.keep_button.disabled


def test_the_trade_off_tries_each_relief_and_marks_the_choice(desk):
    view, relief = TradeOff(desk), Relief(desk)
    assert view.table["relief_g"].tolist() == list(RELIEFS_G)
    assert view.table["lead_g"].iloc[-1] < view.table["lead_g"].iloc[0]
    move(relief, spring_relief_from="level", spring_relief_g=10.0)
    here = data(view, "lead_g", "here")
    assert here["relief_g"] == [10.0]
    tried = view.table.set_index("relief_g").loc[10.0]
    assert here["lead_g"][0] == pytest.approx(tried["lead_g"])
    assert here["operations"][0] == tried["operations"]


def test_an_upright_is_told_why_nothing_is_laid_out(bench):
    desk = lead_desk(bench)
    view = PlugLayout(desk)
    settings = replace(bench.instrument.settings, action="upright")
    bench.change(replace(bench.instrument, settings=settings))
    assert "upright" in view.children[0].value
    bench.undo()
    assert len(view.children) > 3


def test_the_mark_of_the_key_in_hand_stands_only_over_the_keyboard(desk):
    desk.bench.key = 40
    view = PlugLayout(desk)
    assert {name: chart.figure.tags for name, chart in view.charts.items()} == {
        "side": [],
        "above": ["key in hand", 40],
    }


def test_a_plan_that_follows_is_the_plan_made_anew(desk):
    """Whatever is taken over from the plan before, every part is what it would be anew."""
    names = ("target", "wanted_g", "limit_g", "spring_relief_g", "torque_n_mm", "stroke")
    changes = (
        {"wire_mm": 0.8}, {"tolerance_g": 0.5}, {"least_inertia_percent": 80.0},
        {"spring_relief_from": "level"}, {"spring_relief_g": 9.0}, {"balance_weight_g": 36.0},
        {"highest_front_weight_g": 38.0}, {"behind_pin": True}, {"spring_turn_ratio": 1.1},
        {"balance_weight_from": "curve"}, {"balance_weight_last_g": 34.0},
    )  # fmt: skip
    plan = desk.plan
    for change in changes:
        for name in (*names, "free", "saved", "other_inertia_g"):
            getattr(plan, name)
        plan = plan.following(replace(plan.choice, **change))
        anew = LeadPlan(plan.inputs, plan.choice)
        assert plan.asked == anew.asked and plan.free is anew.free, change
        for name in names:
            assert getattr(plan, name).equals(getattr(anew, name)), (change, name)
        pd.testing.assert_frame_equal(plan.saved, anew.saved)


@pytest.mark.parametrize("kind", ("level", "curve"))
def test_whatever_is_changed_a_plan_that_follows_asks_for_the_same(desk, kind):
    """Every part of the choice, so that none can be added and forgotten."""
    start = replace(desk.choice, balance_weight_from=kind, spring_relief_from=kind)
    plan = LeadPlan(desk.inputs, start)
    names = ("target", "wanted_g", "spring_relief_g", "stroke", "asked", "asked_without_spring")
    for name in names:
        getattr(plan, name)
    for field in fields(LeadChoice):
        held = getattr(start, field.name)
        if field.name in WORDS:
            changes = [word for word in WORDS[field.name] if word != held]
        elif field.name in SPANS:
            span = SPANS[field.name]
            changes = [type(held or 0.0)(span.low + 0.4 * (span.high - span.low))]
        else:
            changes = [not held]
        for change in changes:
            assert change != held, field.name
            choice = replace(start, **{field.name: change})
            after, anew = plan.following(choice), LeadPlan(plan.inputs, choice)
            assert after.asked == anew.asked, field.name
            assert after.asked_without_spring == anew.asked_without_spring, field.name
            for name in ("target", "spring_relief_g", "stroke"):
                assert getattr(after, name).equals(getattr(anew, name)), (field.name, name)
