"""The whole plan of an instrument: what binds it, what it leaves alone, and how fast it is there.

Reference on the whole demo grand: HiGHS, as ``scipy.optimize.milp`` calls it.
"""

import json
import time
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from balancekit.calculation.levers import regulation_after
from balancekit.calculation.linkage.moves import with_moved_capstan
from balancekit.calculation.plan.piano import ALL_KEYS
from balancekit.calculation.problems import BalancekitError
from balancekit.instrument.choices import hammer_choice, lead_choice
from balancekit.instrument.choices.chosen_way import ChosenWay, KeyWork, from_json, with_way
from balancekit.instrument.choices.hammer_choice import HammerChoice
from balancekit.instrument.choices.lead_choice import LeadChoice
from balancekit.instrument.choices.lead_plan import lead_plan
from balancekit.instrument.choices.plan_wishes import (
    CHAPTER,
    PlanWishes,
    wishes_of,
    with_wishes,
)
from balancekit.instrument.choices.whole_plan import WholePlan, plan_whole
from balancekit.instrument.demo import EXCHANGED_KEY, MOVED_POINT_KEY, sampled_grand, studio_grand
from balancekit.instrument.model import Visit
from balancekit.instrument.occasion import Occasion
from balancekit.sharing.work import work_from
from tests.calculation.plan_reference import hold_against_highs

pytestmark = pytest.mark.slow

FIRST_WITHIN_S, WHOLE_WITHIN_S = 1.0, 10.0
# What the work on a page is allowed to take, of processor time.


@pytest.fixture(scope="module")
def occasion() -> Occasion:
    held = Occasion(studio_grand(), 0)
    assert held.believed is not None
    return held


@pytest.fixture(scope="module")
def plan(occasion: Occasion) -> WholePlan:
    return plan_whole(occasion.instrument, occasion=occasion)


def bound_by(hammers: HammerChoice | None = None, leads: LeadChoice | None = None) -> WholePlan:
    instrument = studio_grand()
    if hammers is not None:
        instrument = hammer_choice.with_choice(instrument, hammers)
    if leads is not None:
        instrument = lead_choice.with_choice(instrument, leads)
    return plan_whole(instrument, short=True)


def test_a_first_front_is_there_at_once_and_the_whole_one_soon(occasion):
    for short, within_s in ((True, FIRST_WITHIN_S), (False, WHOLE_WITHIN_S)):
        shares: list[float] = []
        begin = time.process_time()
        plan_whole(occasion.instrument, occasion=occasion, short=short, done=shares.append)
        assert time.process_time() - begin < within_s
        assert shares == sorted(shares) and shares[-1] == pytest.approx(1.0)


@pytest.mark.parametrize("hours", (2.0, 12.0))
def test_the_demo_grand_against_a_mixed_integer_programme(plan, hours):
    """Few hours and many; ``tests/benchmarks/plan_hours.py`` has those between."""
    hold_against_highs(plan, hours)


def test_more_hours_leave_less_and_the_same_readings_give_the_same_ways(plan, occasion):
    front = plan.front
    assert np.all(np.diff(front.minutes) > 0) and np.all(np.diff(front.uneven_g) < 0)
    again = plan_whole(studio_grand(), occasion=Occasion(studio_grand(), 0))
    assert [(w.minutes, w.uneven, w.chosen.tolist()) for w in again.front.ways] == [
        (w.minutes, w.uneven, w.chosen.tolist()) for w in front.ways
    ]


def test_a_doubted_reading_and_unknown_plugs_are_never_worked_on(plan):
    doubted = [EXCHANGED_KEY, MOVED_POINT_KEY]
    assert set(doubted) <= set(plan.occasion.believed.weigh_first)
    for number in range(len(plan.front.ways)):
        told = plan.told(number)
        assert (told.strike_g[doubted] == 0).all() and (told.front_g[doubted] == 0).all()
    sampled = plan_whole(sampled_grand())
    for number in range(len(sampled.front.ways)):
        assert (sampled.told(number).front_g == 0).all()
    assert "Plugs not recorded" in " ".join(sampled.left_alone)


def test_a_weight_of_0_g_that_a_way_asks_for_is_kept():
    asked = (
        KeyWork(40, front_weight_g=0.0), KeyWork(41, spring_relief_g=0.0), KeyWork(42, ease=True)
    )  # fmt: skip
    way = ChosenWay("lead and springs out", 60.0, 0.0, 38.0, 38.0, asked)
    assert from_json(json.loads(json.dumps(way.to_json())), 88) == way
    work = work_from(with_way(studio_grand(), way))
    assert work.planned.spring_relief_g.dropna().to_dict() == {41: 0.0}
    assert set(work.leads["key"]) == {40}


def test_lines_that_were_decided_are_kept_by_every_way_and_by_the_sheets(plan):
    in_lines = LeadChoice(layout=lead_choice.IN_LINES, tolerance_g=0.1)
    grand = lead_choice.with_choice(plan.occasion.instrument, in_lines)
    found = plan_whole(grand)
    lines = lead_plan(grand).lines.on
    assert found.lines == lines and any(each.plugs for each in lines.values())
    kept = 0
    for number in range(0, len(found.front.ways), 8):
        way = found.chosen(number)
        assert from_json(json.loads(json.dumps(way.to_json())), 88) == way
        leads = work_from(with_way(grand, way)).leads
        put_in = leads[leads["action"] == "put in"] if len(leads) else leads
        for work in way.keys:
            if work.front_weight_g is None or work.key not in lines:
                continue
            asked = lines[work.key]
            new = put_in[put_in["key"] == work.key]
            stands = list(zip(new["plug"], new["distance_mm"], strict=True))
            assert set(zip(asked.plugs, asked.places_mm, strict=True)) <= set(stands)
            assert len(stands) <= len(asked.plugs) + 1
            kept += len(asked.plugs)
    assert kept
    first = plan_whole(grand, short=True)  # lines take longer than a first answer may
    assert (first.told(len(first.front.ways) - 1).front_g == 0).all()


def test_new_readings_of_done_keys_are_taken_in_when_the_rest_is_planned_again(plan):
    grand = replace(studio_grand(), visits=studio_grand().visits[:1])
    way = plan.chosen(plan.front.within(480))
    done = [work.key for work in way.keys if work.strike_weight_g is not None][:4]
    half = way.with_done(done)
    before = plan_whole(with_way(grand, half), follow=half, short=True).piano
    rows = grand.visits[0].readings
    read = rows[rows["key"].isin(done)].drop_duplicates("key")
    read = read.assign(down_weight_g=52.0, up_weight_g=30.0)  # (52 + 30) / 2 = 41
    later = with_way(grand, half).with_visit(Visit("half done", "2026-03-20", read), 1)
    after = plan_whole(later, follow=half, short=True)
    here = after.piano.keys.isin(done)
    assert np.allclose(after.piano.balance_weight_g[here], 41.0)
    assert np.allclose(after.piano.balance_weight_g[~here], before.balance_weight_g[~here])
    assert not np.allclose(before.balance_weight_g[here], 41.0, atol=1.0)
    last = after.told(len(after.front.ways) - 1)
    assert (last.strike_g[done] == 0).all() and (last.front_g[done] == 0).all()


def test_a_lever_of_all_keys_leaves_dip_and_blow_usable(plan):
    settings = plan.occasion.instrument.settings
    moves = [shift for shift in plan.piano.shifts if shift.place == ALL_KEYS]
    assert {shift.lever for shift in moves} == {"capstan", "knuckle"}
    for shift in moves:
        after = regulation_after(
            shift.ratio_part,
            key_dip_mm=settings.key_dip_mm,
            blow_distance_mm=settings.blow_distance_mm,
            aftertouch_mm=settings.aftertouch_mm,
        )
        # Usual limits, from memory: dip 9.5 to 10.5 mm, blow 44 to 48 mm.
        assert after is not None and 9.5 <= after.key_dip_mm <= 10.5
        assert 44 <= after.blow_distance_mm <= 48
    # A dip at the end of what is usual leaves less room.
    tight = replace(settings, key_dip_mm=10.5, blow_distance_mm=44.0)
    fewer = plan_whole(replace(studio_grand(), settings=tight), short=True).piano.shifts
    assert len([s for s in fewer if s.place == ALL_KEYS]) < len(moves)
    assert all(s.ratio_part >= 1 for s in fewer if s.place == ALL_KEYS)


def test_either_lever_puts_a_group_right_and_the_plan_takes_one(plan):
    place = {shift.place for shift in plan.piano.shifts} - {ALL_KEYS}
    assert len(place) == 1
    capstan, knuckle = (s for s in plan.piano.shifts if s.place in place)
    assert (capstan.lever, knuckle.lever) == ("capstan", "knuckle")
    assert capstan.ratio_part == capstan.key_ratio_part == knuckle.ratio_part < 1
    assert knuckle.key_ratio_part == 1
    for way in plan.front.ways:
        places = [plan.piano.shifts[number].place for number in way.decision.shifts]
        assert len(places) == len(set(places))


def test_what_a_move_of_all_capstans_lifts_is_what_the_linkage_says(plan):
    """Key ratio, action ratio and the wippen weight with it, from the moved levers; fit: 0.1 g."""
    piano, arm = plan.piano, 240.0
    moves = [n for n, s in enumerate(piano.shifts) if s.lever == "capstan" and s.place == ALL_KEYS]
    assert moves
    names = ("key_ratio", "action_ratio", "wippen_weight_g")
    now = {name: float(getattr(piano, name).mean()) for name in names}
    strike_g = float(piano.strike_weight_g.mean())
    for number in moves:
        move_mm = piano.shifts[number].move_mm  # positive: towards the pin
        then = with_moved_capstan(**now, move_mm=-move_mm, arm_mm=arm)
        lifts = [
            each["wippen_weight_g"] * each["key_ratio"] + strike_g * each["action_ratio"]
            for each in (now, then)
        ]
        changed = float(np.mean(piano.moved((number,))[1] - piano.balance_weight_g))
        assert changed == pytest.approx(lifts[1] - lifts[0], abs=0.1)


def test_a_lighter_action_is_wished_for_and_comes_nearer_with_the_hours(occasion):
    """6 % less than the same work brings with no such wish: a capstan line put right is lighter."""
    plain = plan_whole(occasion.instrument, short=True)
    wished = with_wishes(occasion.instrument, PlanWishes(lighter_percent=6.0))
    plan = plan_whole(wished, short=True)
    mean = [float(each.told(len(each.front.ways) - 1).inertia_g.mean()) for each in (plain, plan)]
    assert mean[1] / mean[0] == pytest.approx(0.94, abs=0.015)  # in the first, coarse steps
    level = plan_whole(with_wishes(occasion.instrument, PlanWishes(balance_weight_g=35.0)))
    last = level.told(len(level.front.ways) - 1)
    assert last.balance_weight_g.median() == pytest.approx(35.0, abs=0.5)
    assert level.front.uneven_g[0] > plan.front.uneven_g[-1]


def test_springs_are_fitted_only_where_it_was_allowed(occasion):
    assert not occasion.believed.table["spring_relief_g"].gt(0).any()
    assert (plan_whole(occasion.instrument, short=True).treatments.relief_g == 0).all()
    wishes = PlanWishes(lighter_percent=8.0, fit_springs=True)
    plan = plan_whole(with_wishes(occasion.instrument, wishes), short=True)
    used = [plan.told(n).relief_g for n in range(len(plan.front.ways))]
    assert max((each > 0).sum() for each in used) > 0
    doubted = list(occasion.believed.weigh_first)
    assert all((each[doubted] == 0).all() and (each >= 0).all() for each in used)


def test_wishes_are_kept_and_checked():
    wishes = PlanWishes(balance_weight_g=37.0, fit_springs=True)
    kept = with_wishes(studio_grand(), wishes)
    assert wishes_of(kept) == wishes
    assert CHAPTER not in with_wishes(kept, PlanWishes()).choices
    with pytest.raises(BalancekitError, match="Lighter to set going"):
        PlanWishes(lighter_percent=40.0)


def test_a_ratio_decided_with_the_hammers_is_in_every_way():
    plan = bound_by(HammerChoice(ratio_change_percent=-4.0, lever="knuckle"))
    (moved,) = (n for n, s in enumerate(plan.piano.shifts) if s.place == ALL_KEYS)
    assert plan.piano.shifts[moved].ratio_part == pytest.approx(0.96)
    assert all(moved in way.decision.shifts for way in plan.front.ways)
    assert len(plan.front.ways) > 3


def test_leads_left_as_found_stay_and_limits_of_lead_hold():
    still = bound_by(leads=LeadChoice())
    assert (still.told(len(still.front.ways) - 1).front_g == 0).all()
    assert "not recorded" not in " ".join(still.left_alone)
    free = bound_by(leads=LeadChoice(layout="free", highest_front_weight_g=36.0))
    for number in range(len(free.front.ways)):
        told = free.told(number)
        after = free.piano.front_weight_g + told.front_g
        assert (after[told.front_g > 0] <= 36.0 + 1e-6).all()
    none_in = bound_by(leads=LeadChoice(layout="free", most_plugs_in=0))
    own = none_in.way(len(none_in.front.ways) - 1).chosen[: none_in.piano.count]
    assert (none_in.treatments.plugs_in[own] == 0).all()


def test_a_decided_spring_relief_is_what_every_key_gets():
    choice = LeadChoice(layout="free", spring_relief_from="level", spring_relief_g=6.0)
    plan = bound_by(leads=choice)
    for number in (0, len(plan.front.ways) - 1):
        assert np.allclose(plan.piano.spring_relief_g + plan.told(number).relief_g, 6.0)


def test_a_curve_of_the_balance_weight_is_followed():
    choice = LeadChoice(
        layout="free", balance_weight_from="curve", balance_weight_first_g=39.0,
        balance_weight_middle_g=37.0, balance_weight_last_g=36.0,
    )  # fmt: skip
    plan = bound_by(leads=choice)
    line = pd.Series(plan.way(0).decision.line(plan.piano.places), plan.piano.keys)
    assert line[1] == 39.0 and line[88] == 36.0 and line[44] == pytest.approx(37.0, abs=0.05)
