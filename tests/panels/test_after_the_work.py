"""The proof without a browser: later readings against the plan, and over the years."""

import re
from dataclasses import replace
from itertools import pairwise

import pytest

from balancekit import panels
from balancekit.calculation.proof.meeting_plan import MEETS, TAKE_UP
from balancekit.charts.evenness import MOST_LEVEL, history_chart
from balancekit.charts.proof import coverage_chart
from balancekit.instrument.bench import Bench
from balancekit.instrument.demo import (
    DECIDED_ON,
    FORGOTTEN_LEAD,
    STILL_TIGHT,
    TRIMMED_TOO_FAR,
    sampled_grand,
    studio_grand,
)
from balancekit.instrument.model import Instrument, Visit
from balancekit.panels.work.after_proof import Bands, Compare, Verdicts
from balancekit.panels.work.after_years import ThenAndNow, Years
from balancekit.panels.work.work_desk import work_desk
from tests.panels.shown import look_at, text_of

ALL = ("compare_panel", "proof_panel", "bands_panel", "then_and_now_panel", "years_panel")


@pytest.fixture(scope="module")
def bench(looked_at) -> Bench:
    """The demo; these tests only look."""
    return looked_at


@pytest.fixture(scope="module")
def years() -> Instrument:
    """The demo over four more years; the same readings each time, a gram of friction more."""
    held = studio_grand()
    for year in range(2027, 2031):
        later = held.visits[-1].readings.copy()
        later["down_weight_g"] += 1.0
        later["up_weight_g"] -= 1.0
        visit = Visit("check", f"{year}-05-20", later)
        held = held.with_visit(visit, len(held.visits))
    return held


def test_looking_changes_nothing_and_shows_no_nan(bench):
    look_at(bench, ALL)
    assert bench.is_demo


def test_the_plan_is_that_of_the_sheets_before_the_second_readings(bench):
    view = Compare(work_desk(bench))
    assert (view.before.value, view.after.value) == (0, 1)
    assert DECIDED_ON in view.told.value


def test_the_three_mistakes_of_the_demo_are_found_with_their_reasons(bench):
    verdicts = work_desk(bench).proof.verdicts
    again = verdicts[verdicts["verdict"] == TAKE_UP]["reason"].to_dict()
    expected = dict.fromkeys(FORGOTTEN_LEAD, "lead") | dict.fromkeys(TRIMMED_TOO_FAR, "hammer")
    assert again == expected | {STILL_TIGHT: "friction"}
    # Chance alone puts one key in twenty beyond two standard uncertainties (normal table).
    assert (verdicts["verdict"] == MEETS).sum() >= 88 - 3 - 2 * 88 * 0.0455 - 4


def test_the_keys_to_take_up_come_first_and_are_one_press_away(bench):
    view = Verdicts(work_desk(bench))
    rows = re.findall(r"<tr>.*?</tr>", view.table.value)[1:]
    assert all("take up again" in row for row in rows[:3])
    assert all("weigh again" in row for row in rows[3:])
    pressed = view.jump.children[1]
    pressed.click()
    assert pressed.description == f"Key {bench.key}" and "take up again" in view.story.value
    marks = set(view.chart.keyboard.marks)
    assert {str(key) for key in (*FORGOTTEN_LEAD, *TRIMMED_TOO_FAR, STILL_TIGHT)} <= marks


def test_another_quantity_shows_what_came_out_of_it(bench):
    view = Verdicts(work_desk(bench))
    view.chart.quantity.value = "front_weight_g"
    data = view.chart.chart.sources
    assert "came out" in view.chart.chart.figure.title.text
    assert len(data["points"].data["y"]) == 88 and len(data["band"].data["key"]) == 88


def test_the_proof_draws_what_was_weighed_again_and_nothing_else(bench):
    view = Verdicts(work_desk(bench))
    for _, name in view.chart.quantity.options:
        view.chart.quantity.value = name
        assert len(view.chart.chart.sources["points"].data["y"]) > 0, name


def test_the_bands_of_the_demo_hold(bench):
    coverage = work_desk(bench).proof.coverage
    assert all(found.inside >= found.low for found in coverage.values())
    assert "The bands held" in Bands(work_desk(bench)).told.value
    marks = coverage_chart(coverage).sources["rows"].data["marker"]
    assert set(marks) == {"circle"}


def test_the_groups_of_the_demo_are_followed(bench):
    shown = text_of(panels.groups_after_panel(bench))
    assert "Groups of keys:" in shown and "Key ratio" in shown
    assert "came out" not in shown  # no run of keys came out off the plan


def test_keys_that_come_out_off_together_are_not_called_held(home, bench):
    held = bench.instrument
    later = held.visits[1].readings.copy()
    # 2.6 g in the balance weight: what 0.25 of action ratio makes with a hammer of 9 g, and what
    # 0.023 of key ratio makes with a wippen of 18 g.
    later.loc[later["key"].between(60, 76), ["down_weight_g", "up_weight_g"]] += 2.6
    visit = held.visits[1]
    spoiled = Bench(held.with_visit(Visit(visit.title, visit.date, later), 1))
    desk = work_desk(spoiled)
    told = Bands(desk).told.value
    assert "The bands held" not in told and "keys came out off it together" in told
    assert "balance weight of keys 6" in told and "above the plan together" in told
    new = [fate.group for fate in desk.proof.fates if fate.became == "new"]
    assert any(g.quantity == "balance_weight_g" and abs(g.first_key - 60) <= 2 for g in new)
    assert "higher than that of their neighbours" in ThenAndNow(desk).plateaus.value


def test_too_narrow_a_band_has_its_own_sign(bench):
    coverage = work_desk(bench).proof.coverage
    worse = {name: replace(found, inside=found.low - 1) for name, found in coverage.items()}
    assert set(coverage_chart(worse).sources["rows"].data["marker"]) == {"x"}


def test_the_piano_is_more_even_than_before(bench):
    view = ThenAndNow(work_desk(bench))
    assert "without the 3 keys to take up again" in text_of(view)


def test_one_set_of_readings_asks_for_a_second(home):
    bench = Bench(sampled_grand())
    for name in ALL[:4]:
        assert "only one set of readings" in text_of(getattr(panels, name)(bench))
    assert "One set of readings so far" in text_of(panels.years_panel(bench))
    bench.key = 30


def test_without_sheets_the_second_readings_are_held_against_the_first(home):
    bench = Bench(studio_grand().with_choice("bench_sheets", None))
    view = Compare(work_desk(bench))
    assert "No plan is kept" in view.told.value


def test_earlier_readings_cannot_come_after_later_ones(bench):
    view = Compare(work_desk(bench))
    view.after.value = 0
    assert "come later" in view.told.value and work_desk(bench).after == 1
    view.after.value = 1


def test_the_history_takes_every_visit(home, years):
    bench = Bench(years)
    desk = work_desk(bench)
    assert (desk.before, desk.after) == (0, 5)  # the last readings, and their sheets' own
    view = Years(desk)
    assert "6 sets of readings" in view.told.value
    middle = re.findall(r"Friction of the middle key.*?</tr>", view.table.value)[0]
    shown = [float(cell) for cell in re.findall(r">([\d.]+)</td>", middle)]
    # (down + 1 - (up - 1)) / 2 is one gram more friction each year.
    assert [b - a for a, b in pairwise(shown[1:])] == pytest.approx([1.0] * 4)
    names = [desk.visit_name(number) for number in range(6)]
    chart = history_chart(desk.history, names)
    assert len(names) > MOST_LEVEL and chart.figure.xaxis.major_label_orientation == 0.5
    assert len(chart.sources["friction_g"].data["y"]) == 6


def test_new_readings_are_compared_at_once(home):
    bench = Bench(sampled_grand())
    view = Compare(work_desk(bench))
    later = bench.readings.copy()
    bench.add_visit(Visit("after a year", "2027-04-20", later))
    assert (view.before.value, view.after.value) == (0, 1)
    assert "No plan is kept" in view.told.value
    # The same readings again: nothing was touched, so every key reads as before.
    verdicts = work_desk(bench).proof.verdicts["verdict"]
    assert (verdicts == MEETS).sum() >= 80
