"""The hammer panels without a browser: controls in, charts, sentences and the instrument out."""

import gc
import re
import weakref
from dataclasses import replace
from pathlib import Path

import pytest

import balancekit
from balancekit import panels
from balancekit.calculation.hammers.hammer_curve import hammer_totals
from balancekit.calculation.hammers.hammer_sets import compare_sets
from balancekit.calculation.hammers.least_work import Relaxation
from balancekit.instrument.bench import Bench
from balancekit.instrument.choices.hammer_choice import CHAPTER, PROPOSAL, choice_of
from balancekit.instrument.demo import one_key_model, sampled_grand, studio_grand
from balancekit.instrument.model import Instrument
from balancekit.panels.hammers.hammer_blow import Blows
from balancekit.panels.hammers.hammer_ceiling import Ceiling
from balancekit.panels.hammers.hammer_decided import Decided
from balancekit.panels.hammers.hammer_desk import HammerDesk, hammer_desk
from balancekit.panels.hammers.hammer_inertia import Inertia
from balancekit.panels.hammers.hammer_map import Maps
from balancekit.panels.hammers.hammer_sets import IN_THE_PIANO, Sets
from balancekit.panels.hammers.hammer_target import Target, loosened
from tests.panels.shown import look_at, text_of

ALL = ("hammer_ceiling_panel", "hammer_target_panel", "hammer_sets_panel", "ratio_map_panel",
       "hammer_inertia_panel", "hammer_blow_panel", "hammer_decided_panel")  # fmt: skip


@pytest.fixture
def desk(bench) -> HammerDesk:
    return hammer_desk(bench)


def numbers(chart, source: str, column: str) -> list[float]:
    return [float(value) for value in chart.sources[source].data[column]]


def test_looking_changes_nothing(bench):
    look_at(bench, ALL)
    assert bench.is_demo


@pytest.mark.parametrize("make", [one_key_model, sampled_grand])
def test_every_panel_stands_on_a_small_and_on_a_sampled_instrument(home, make):
    small = Bench(make())
    look_at(small, ALL)
    hammer_desk(small).take(PROPOSAL)


def test_an_instrument_without_readings_is_told_what_to_weigh(home):
    empty = Bench(Instrument())
    for name in ALL:
        assert "is not known at any key" in text_of(getattr(panels, name)(empty))
    # With readings put on the bench, the same panels come alive.
    view = Ceiling(hammer_desk(empty))
    empty.change(studio_grand())
    assert "Too heavy" in view.verdict.value


# Ceiling


def test_more_front_weight_lifts_the_ceiling_and_the_choice_is_kept(bench, desk):
    view = Ceiling(desk)
    before = numbers(view.charts["hammers"], "ceiling", "y")
    view.controls["front_weight_first_g"].value = 45.0
    after = numbers(view.charts["hammers"], "ceiling", "y")
    assert after[0] > before[0] and after[-1] == pytest.approx(before[-1])
    assert choice_of(bench.instrument).front_weight_first_g == 45.0
    assert not bench.is_demo and "Saved in" in desk.said


def test_a_hammer_above_its_ceiling_has_four_priced_ways_out(bench, desk):
    view = Ceiling(desk)
    bench.key = 6
    assert view.story.value.count("<li>") == 4
    bench.key = 85
    assert "<li>" not in view.story.value and "of room" in view.story.value


def test_a_wish_that_no_hammer_meets_is_told_and_can_be_taken_back(bench, desk):
    view = Ceiling(desk)
    for name in ("balance_weight_g", "front_weight_first_g", "front_weight_last_g"):
        view.controls[name].value = view.controls[name].min
    assert "cannot all hold" in Target(desk).problem.value
    assert "Too heavy" in view.verdict.value
    view.controls["front_weight_from"].value = "lead"
    view.controls["lead_percent"].value = 5.0
    view.controls["balance_weight_g"].value = 38.0
    assert "bench-bad" not in view.verdict.value


def test_the_doubted_hammer_is_told(desk):
    view = Ceiling(desk)
    assert "Key 61 is not counted: read 0.9 g" in view.verdict.value
    assert list(view.keyboard.marks) == ["61"]


# Target


def test_a_slider_seeks_the_curve_anew(desk):
    view = Target(desk)
    before = numbers(view.charts["hammers"], "target", "y")
    view.controls["bend_g"].value = 0.03
    assert numbers(view.charts["hammers"], "target", "y") != before
    assert min(numbers(view.charts["work"], "trim", "y")) >= -1.5 - 1e-6


def test_bars_are_the_plan_and_what_weighing_hides_is_left(desk):
    view = Target(desk)
    work = desk.plan.plan
    trimmed = dict(zip(numbers(view.charts["work"], "trim", "key"),
                       numbers(view.charts["work"], "trim", "y"), strict=True))  # fmt: skip
    assert sum(trimmed.values()) == pytest.approx(-work["trimmed_g"].sum())
    assert max(trimmed.values()) < -2 * 0.1 / 3**0.5
    assert numbers(view.charts["work"], "unknown", "key") == [61]
    assert f"{desk.plan.totals.touched_count} hammers touched" in view.totals.value


def test_a_clash_is_told_and_each_button_lifts_it(desk):
    view = Target(desk)
    view.controls["most_trimmed_g"].value = 0.5
    assert "cannot all hold" in view.problem.value and "key" in view.problem.value
    assert numbers(view.charts["hammers"], "clash", "key")
    assert numbers(view.charts["work"], "trim", "y") == []
    offered = view.ways.children
    assert len(offered) >= 2
    for place in range(len(offered)):
        view.controls["most_trimmed_g"].value = 0.5
        view.controls["over_ceiling_g"].value = 0.0
        view.ways.children[place].click()
        assert view.problem.value == "" and desk.plan.problem is None


def test_a_way_out_beyond_its_slider_and_a_rising_curve_are_not_offered():
    far = Relaxation("most_trimmed", 9.0, 10.5, "allow trimming up to 10.5 g instead of 1.5 g")
    rise = Relaxation("falling", 0.1, 0.1, "allow a rise")
    assert loosened(PROPOSAL, far) is None and loosened(PROPOSAL, rise) is None


def test_an_echo_of_the_browser_is_no_move(bench, desk):
    Maps(desk), Target(desk)
    view = Ceiling(desk)
    for control in view.controls.values():
        if hasattr(control, "step"):
            control.value += 1e-9
    assert desk.choice == PROPOSAL and bench.is_demo


def test_as_found_and_undo(bench, desk):
    view = Target(desk)
    view.controls["bend_g"].value = 0.05
    chosen = desk.choice
    desk.as_found()
    assert desk.choice.target == "as found" and desk.plan.totals.touched_count == 0
    assert view.controls["target"].value == "as found"
    desk.undo()
    assert desk.choice == chosen and view.controls["bend_g"].value == 0.05
    desk.undo()
    assert desk.choice == PROPOSAL and CHAPTER not in bench.instrument.choices
    desk.redo()
    assert desk.choice == chosen
    for _ in range(5):
        desk.undo()
    assert desk.said == "There is nothing to take back."


def test_the_proposal_is_kept_only_when_asked(bench, desk):
    decided = Decided(desk)
    assert "nothing of this is kept" in decided.text.value
    desk.keep()
    assert CHAPTER not in bench.instrument.choices
    desk.keep_now()
    assert choice_of(bench.instrument) == PROPOSAL
    assert "Kept with the instrument" in decided.text.value


def test_a_kept_choice_that_cannot_be_read_is_told(tmp_path, monkeypatch):
    monkeypatch.setenv("BALANCEKIT_HOME", str(tmp_path))
    broken = Bench(studio_grand().with_choice(CHAPTER, {"bend_g": -3}))
    assert "is not used" in hammer_desk(broken).said
    assert hammer_desk(broken).choice == PROPOSAL


def test_one_control_moves_every_panel(desk):
    views = Ceiling(desk), Target(desk), Inertia(desk), Maps(desk)
    views[0].controls["balance_weight_g"].value = 41.0
    assert all(v.controls["balance_weight_g"].value == 41.0 for v in views[:1])
    ceilings = [numbers(view.charts["hammers"], "ceiling", "y") for view in views[:2]]
    assert ceilings[0] == ceilings[1]
    views[3].controls["bass_g"].value = 11.0
    assert desk.choice.target == "least work"
    views[1].controls["target"].value = "levels"
    assert views[3].controls["bass_g"].value == pytest.approx(desk.plan.target_g[1], abs=0.051)
    views[3].controls["bass_g"].value = 11.0
    assert views[1].controls["bass_g"].value == 11.0
    assert numbers(views[1].charts["hammers"], "target", "y")[0] == pytest.approx(11.0)


# Sets


def test_the_hammers_in_the_piano_need_the_same_work_in_both_panels(desk):
    view = Sets(desk)
    view.side_by_side()
    ours = hammer_totals(view._results[IN_THE_PIANO].plan)
    assert ours == desk.plan.totals


def test_three_invented_sets_stand_beside_the_hammers_in_the_piano(desk):
    view = Sets(desk)
    assert len(view.sets) == 4 and IN_THE_PIANO in view.sets
    assert "Least work: light even" in view.table.value
    assert "heavy scattered" in view.table.value


def test_a_set_of_few_weighed_hammers_is_judged_when_it_needs_no_more_work(desk):
    """Under the lowest ceiling it needs more than the light set; with more room, none either."""
    view, advice = Sets(desk), "To judge middle every seventh key, weigh more of its hammers."
    work = compare_sets(view._results, desk.plan.bounds)["work"]
    assert work["middle every seventh key"] > work["light even"]
    assert advice not in view.table.value
    desk.take(replace(desk.choice, over_ceiling_g=0.5))
    view.side_by_side()
    work = compare_sets(view._results, desk.plan.bounds)["work"]
    assert work["middle every seventh key"] == pytest.approx(work["light even"], abs=1e-6)
    assert "Least work: light even." in view.table.value and advice in view.table.value


def test_what_the_panel_says_would_allow_a_curve_allows_one(desk):
    view = Sets(desk)
    said = view.table.value
    now, more = re.search(r"trimming up to (.*?) g instead of (.*?) g\.", said).group(2, 1)
    field = next(f for f in view.allowed.children[1:] if f.description == "heavy scattered")
    assert field.value == float(now) and "heavy scattered:</b> These bounds cannot" in said
    field.value = float(more)
    view.side_by_side()
    assert "cannot all hold" not in view.table.value


def test_planning_with_a_set_and_back(bench, desk):
    view = Sets(desk)
    view.chosen.value = "heavy scattered"
    assert choice_of(bench.instrument).hammers == "heavy scattered"
    assert len(bench.instrument.table("hammer_set")) == 88
    assert desk.plan.hammers_g[1] == 12.5
    # A new notebook on the same bench finds the set again.
    again = HammerDesk(bench)
    assert again.plan.hammers_g.equals(desk.plan.hammers_g)
    desk.undo()
    assert view.chosen.value == IN_THE_PIANO


def test_less_trimming_allowed_on_one_set_is_its_own_matter(desk):
    view = Sets(desk)
    field = next(f for f in view.allowed.children[1:] if f.description == "heavy scattered")
    field.value = 0.1
    assert "<b>heavy scattered:</b> These bounds cannot all hold" in view.table.value
    assert desk.choice == PROPOSAL


def test_an_own_set_by_file(desk):
    view = Sets(desk)
    view.take_file("shop_stock.csv", b"key,strike_weight_g\n1,11.2\n44,9.0\n88,5.9\n")
    assert "shop stock" in view.chosen.options and "3 hammers" in view.said.value
    assert "3 of 88" in view.table.value


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"key,strike_weight_g\n0,11\n2,10\n", "'0' is not a key. Give a whole number, 1 to 88."),
        (b"key,strike_weight_g\n1,-11\n2,10\n", "'-11' is not possible."),
        (b"key,strike_weight_g\n1,111\n2,10\n", "'111' is not possible."),
        (b"key,strike_weight_g\n1,11\n1,10\n", "Key 1 stands twice."),
        (b"key,strike_weight_g\n1,11\n", "Weigh two or more."),
        (b"key,mass\n1,11\n", "They must be key, strike_weight_g"),
        (b"\xff\xfe\x00", "Save it as CSV"),
    ],
)
def test_a_bad_set_file_changes_nothing(desk, data, said):
    view = Sets(desk)
    before = list(view.sets)
    view.take_file("bad<b>.csv", data)
    shown = view.said.value.replace("&#x27;", "'")
    assert said in shown and "bad&lt;b&gt;.csv" in shown
    assert list(view.sets) == before


# Map, inertia, blow


def test_the_arrow_is_the_proposal(desk):
    view = Maps(desk)
    view.controls["ratio_change_percent"].value = -5.0
    for key in view.places:
        chart = view.charts[str(key)]
        start, end = numbers(chart, "arrow", "y0")[0], numbers(chart, "arrow", "y1")[0]
        assert end / start == pytest.approx(0.95)
        assert numbers(chart, "arrow", "x1")[0] == pytest.approx(desk.plan.target_g[key])
    assert "towards the balance pin" in view.levers.value
    assert "away from the shank centre" in view.levers.value


def test_lines_of_the_map_have_equal_front_weight(desk):
    view = Maps(desk)
    key = next(iter(view.places))
    lines = view.charts[str(key)].sources["front"].data
    row = desk.inputs.table.loc[key]
    for xs, ys, text in zip(lines["xs"], lines["ys"], lines["text"], strict=True):
        # The balance equation, solved for the front weight.
        front = xs * ys + row["wippen_weight_g"] * row["key_ratio"] - 38.0
        assert front == pytest.approx(float(text.replace("−", "-")), abs=0.05)


def test_another_wish_draws_the_map_anew_and_the_same_wish_does_not(desk):
    view = Maps(desk)
    chart = view.charts[str(next(iter(view.places)))]
    before = [line.tolist() for line in chart.sources["front"].data["ys"]]
    view.controls["ratio_change_percent"].value = -2.0
    assert [line.tolist() for line in chart.sources["front"].data["ys"]] == before
    Ceiling(desk).controls["balance_weight_g"].value = 42.0
    assert [line.tolist() for line in chart.sources["front"].data["ys"]] != before


def test_the_stack_adds_up_to_the_account(bench, desk):
    view = Inertia(desk)
    stack = view.charts["planned"].sources["stack"].data
    assert list(stack["lead_inertia_g_to"]) == pytest.approx(list(desk.plan.afterwards.inertia_g))
    assert numbers(view.charts["planned"], "compared", "y") == pytest.approx(
        list(desk.plan.as_found.inertia_g)
    )
    bench.key = 3
    assert "Key 3, B0" in view.story.value


def test_loud_is_inertia_and_soft_is_not(bench, desk):
    view = Blows(desk)
    for name in ("soft", "loud"):
        areas = view.charts[name].sources["areas"].data
        statics, inertia = (t - b for t, b in zip(areas["top"], areas["bottom"], strict=True))
        assert (inertia > 10 * statics) is (name == "loud")
    before = view.charts["loud"].sources["sum"].data["y"][0]
    bench.key = 88
    assert view.charts["loud"].sources["sum"].data["y"][0] < before


def test_the_invented_sets_are_in_the_data_folder():
    folder = Path(balancekit.__file__).parents[1] / "data" / "hammer_sets"
    assert len(list(folder.glob("*.csv"))) == 3


def test_a_desk_is_one_for_its_bench_and_goes_with_it(home):
    bench = Bench(Instrument(), home / "piano")
    desk = weakref.ref(hammer_desk(bench))
    assert hammer_desk(bench) is desk() is not hammer_desk(Bench(Instrument()))
    del bench
    gc.collect()
    assert desk() is None
