"""The whole plan against every combination there is, and against a mixed-integer programme.

Reference on whole keyboards: HiGHS, as ``scipy.optimize.milp`` calls it. On a few keys every
combination of treatments is counted out.
"""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from balancekit.calculation.keyboard import keyboard
from balancekit.calculation.plan.combination import Combination, Ground
from balancekit.calculation.plan.front import (
    MOST_GAP_PERCENT,
    Front,
    decisions,
    find_front,
    wanted_lines,
)
from balancekit.calculation.plan.knowledge import balance_after, chances, default_way, limit_g
from balancekit.calculation.plan.order import LEVER_WORK, order_of_work
from balancekit.calculation.plan.telling import (
    NOTHING,
    WAYS_COLUMNS,
    name_of,
    tell,
    ways_table,
    why,
)
from balancekit.calculation.plan.treatments import FRICTION, Steps, Treatments, list_treatments
from balancekit.calculation.plan.work_costs import USUAL, WorkCosts
from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.proof.plateaus import find_plateaus
from tests.calculation.invented_pianos import invented_leads, invented_piano
from tests.calculation.plan_reference import by_highs, counted_out, has_a_course

COSTS = WorkCosts()
COARSE = Steps(hammer_step_g=0.4, most_trimmed_g=0.4, most_added_g=0.4, spring_step_g=2.0)


def planned(count: int, seed: int, **more: bool) -> tuple[Treatments, Front]:
    piano = invented_piano(count, seed, **more)
    leads = invented_leads(piano, seed, choices=4 if count > 6 else 3)
    treatments = list_treatments(piano, leads, COSTS, COARSE)
    return treatments, find_front(treatments, COSTS, decisions(piano))


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("count", [1, 3, 6])
def test_no_combination_of_all_beats_a_way_of_the_front(count, seed):
    treatments, front = planned(count, seed, shifts=count > 3 and seed % 2 == 1)
    for way, best in zip(
        front.ways, counted_out(treatments, COSTS, front.minutes.tolist()), strict=True
    ):
        assert best >= way.bound - 1e-9
        assert way.uneven <= best * (1 + MOST_GAP_PERCENT / 100) + 1e-9


@pytest.mark.parametrize("wanted", [None, (39.0, 37.0, 0.5)])
@pytest.mark.parametrize("seed", [0, 1])
def test_with_decided_hammers_springs_and_course_no_combination_beats_a_way(seed, wanted):
    piano = invented_piano(6, seed, shifts=True, springs=True)
    piano.hammer_fixed_g[:] = piano.strike_weight_g + np.array([0.4, 0, -0.4, 0, 0, 0.4])
    piano.relief_fixed_g[:] = 7.0
    treatments = list_treatments(piano, invented_leads(piano, seed, choices=3), COSTS, COARSE)
    front = find_front(treatments, COSTS, decisions(piano, wanted))
    at = front.minutes.tolist()
    for way, best in zip(front.ways, counted_out(treatments, COSTS, at, wanted), strict=True):
        assert way.bound - 1e-9 <= best and way.uneven <= best * (1 + MOST_GAP_PERCENT / 100) + 1e-9
        told = tell(treatments, way)
        assert np.allclose(piano.strike_weight_g + told.strike_g, piano.hammer_fixed_g)
        assert np.allclose(piano.spring_relief_g + told.relief_g, 7.0)
        if wanted:
            assert (way.decision.first_g, way.decision.last_g) == wanted[:2]


@pytest.mark.parametrize("seed", [3, 4])
def test_a_whole_keyboard_against_a_mixed_integer_programme(seed):
    treatments, front = planned(60, seed, shifts=True)
    middle = front.ways[len(front.ways) // 2]
    least = np.inf
    for decision in decisions(treatments.piano):
        combination = Combination(Ground(treatments, decision), COSTS, decision)
        if combination.fixed[0] > middle.minutes:
            continue
        own = combination.floor.at([middle.minutes])[0]
        if own <= middle.uneven + 1e-6:
            found = by_highs(treatments, combination, middle.minutes)
            assert found >= own - 1e-3
            least = min(least, found)
    assert least < np.inf and middle.uneven <= least * (1 + MOST_GAP_PERCENT / 100) + 1e-6


def test_no_hammer_that_is_worked_on_sticks_out_of_a_smooth_course():
    """By hand: half a step of 0.2 g about the course, which moves by 0.1 g a key at most."""
    piano = invented_piano(60, 13, shifts=True)
    treatments = list_treatments(piano, invented_leads(piano, 13), COSTS)
    off = piano.strike_weight_g - piano.smooth(piano.strike_weight_g, 0.05)
    worked = 0
    for way in find_front(treatments, COSTS, decisions(piano)).ways:
        change = tell(treatments, way).strike_g.to_numpy()
        ends, touched = off + change, change != 0
        for first, second in zip(*np.triu_indices(60, 1), strict=True):
            if touched[first] and touched[second]:
                assert abs(ends[first] - ends[second]) <= 0.2 + 0.1 * (second - first) + 1e-9
        for key in np.flatnonzero(touched)[:-1]:  # and the next that is left is not far below it
            if not touched[key + 1]:
                reach = max(abs(off[key + 1]), 0.1)
                assert abs(ends[key] - off[key + 1]) <= 0.2 + reach + 1e-9
        worked += int(touched.sum())
    assert worked > 500
    # Each hammer as its own key asks for it would leave less: the course does bind.
    decision = decisions(piano)[-1]
    ground = Ground(treatments, decision)
    bound = Combination(ground, COSTS, decision).floor
    assert ground.relaxed(decision.kinds, bound.prices)[-1] < 0.9 * bound.least[-1]


@settings(max_examples=8, deadline=None)
@given(st.integers(0, 10_000), st.integers(2, 30), st.booleans(), st.booleans())
def test_more_minutes_leave_less_and_the_gap_is_small(seed, count, shifts, springs):
    _, front = planned(count, seed, shifts=shifts and count > 5, springs=springs)
    assert np.all(np.diff(front.minutes) > 0) and np.all(np.diff(front.uneven_g) < 0)
    assert front.ways[0].minutes == 0 and all(
        0 <= way.gap_percent <= MOST_GAP_PERCENT for way in front.ways
    )
    assert front.within(0.0) == 0 and front.within(1e9) == len(front.ways) - 1


def test_the_same_input_gives_the_same_plan():
    one, other = planned(40, 5, shifts=True)[1], planned(40, 5, shifts=True)[1]
    assert [(w.minutes, w.uneven, w.chosen.tolist()) for w in one.ways] == [
        (w.minutes, w.uneven, w.chosen.tolist()) for w in other.ways
    ]


def test_what_is_told_of_a_way_is_what_the_way_does():
    treatments, front = planned(40, 6, shifts=True)
    piano, way = treatments.piano, front.ways[-1]
    told = tell(treatments, way)
    ratio, balance, _ = piano.moved(way.decision.shifts)
    after = balance + ratio * told.strike_g - told.front_g - told.relief_g
    assert np.allclose(after, told.balance_weight_g)
    # The balance equation holds for every key after the work as it did before.
    part = np.ones(40)
    key_part = np.ones(40)
    for number in way.decision.shifts:
        part[list(piano.shifts[number].rows)] = piano.shifts[number].ratio_part
        key_part[list(piano.shifts[number].rows)] = piano.shifts[number].key_ratio_part
    equation = (
        piano.wippen_weight_g * piano.key_ratio * key_part
        + (piano.strike_weight_g + told.strike_g) * piano.action_ratio * part
        - (piano.front_weight_g + told.front_g)
    )
    assert np.allclose(equation, told.balance_weight_g)
    assert name_of(treatments, front.ways[0]) == NOTHING
    assert "capstan line of keys 14 to 26" in name_of(treatments, way)


def test_the_order_of_work_ends_where_the_way_does():
    treatments, front = planned(40, 7, shifts=True)
    for way in front.ways[1 :: len(front.ways) // 5]:
        order = order_of_work(treatments, way, COSTS)
        assert order["minutes_so_far"].iloc[-1] == pytest.approx(way.minutes)
        assert order["left_g"].iloc[-1] ** 2 * 40 == pytest.approx(way.uneven, rel=1e-9)
        last = order.iloc[-1]
        assert last["may_stop"] == (last["work"] not in LEVER_WORK)
        hours = order.groupby("hour")["gain_g2"].sum() / order.groupby("hour")["minutes"].sum()
        singles = order[~order["work"].isin(LEVER_WORK)]
        rates = singles.groupby("hour")["gain_g2"].sum() / singles.groupby("hour")["minutes"].sum()
        assert len(hours) and (np.diff(rates.to_numpy()) < rates.max() * 0.35).all()
    assert order_of_work(treatments, front.ways[0], COSTS).empty


def test_a_key_that_is_doubted_or_not_recorded_is_left_alone():
    piano = invented_piano(30, 8)
    piano.may_cut[4], piano.may_lead[[4, 9]] = False, False
    treatments = list_treatments(piano, invented_leads(piano, 8), COSTS)
    for way in find_front(treatments, COSTS, decisions(piano)).ways:
        told = tell(treatments, way)
        assert told.strike_g[5] == 0 and told.front_g[5] == 0 and told.front_g[10] == 0


def test_a_decided_hammer_is_a_constraint():
    piano = invented_piano(20, 9)
    piano.hammer_fixed_g[:] = piano.strike_weight_g
    piano.hammer_fixed_g[3] += 0.5
    treatments = list_treatments(piano, invented_leads(piano, 9), COSTS)
    for way in find_front(treatments, COSTS, decisions(piano)).ways:
        change = tell(treatments, way).strike_g
        assert change[4] == pytest.approx(0.5) and (change.drop(4) == 0).all()


def test_chances_by_hand_and_the_line_between_enough_and_too_much():
    treatments, front = planned(50, 10)
    piano, way = treatments.piano, front.ways[-1]
    exact = {
        name: np.tile(getattr(piano, name), (4, 1))
        for name in ("front_weight_g", "strike_weight_g", "wippen_weight_g", "key_ratio",
                     "action_ratio", "spring_relief_g", "balance_weight_g")
    }  # fmt: skip
    still = Front(treatments, (front.ways[0],)).ways[0]
    assert np.allclose(balance_after(treatments, still, exact), piano.balance_weight_g)
    sure = chances(treatments, way, exact, tolerance_g=50.0)
    assert (sure.every_percent, sure.most_percent, sure.keys_percent) == (100, 100, 100)
    assert chances(treatments, still, exact, tolerance_g=1e-9).keys_percent == 0
    start = default_way(front)
    assert start > 0
    assert front.uneven_g[start] <= limit_g(front) < front.uneven_g[start - 1]
    assert front.minutes[start] < front.minutes[-1]


@pytest.mark.slow
def test_ways_side_by_side_and_why():
    treatments, front = planned(30, 11)
    numbers = [0, len(front.ways) - 1]
    exact = {
        name: getattr(treatments.piano, name)[None, :]
        for name in ("front_weight_g", "strike_weight_g", "wippen_weight_g", "key_ratio",
                     "action_ratio", "spring_relief_g", "balance_weight_g")
    }  # fmt: skip
    sure = [chances(treatments, front.ways[number], exact) for number in numbers]
    colours = pd.Series("natural", treatments.piano.keys)
    table = ways_table(front, numbers, sure, colours)
    assert tuple(table.columns) == WAYS_COLUMNS and table["balance_step_g"].is_monotonic_decreasing
    assert table["hours"].tolist() == [way.minutes / 60 for way in (front.ways[0], front.ways[-1])]
    stuck, strikes = 0, tell(treatments, front.ways[-1]).strike_g.tolist()

    def changed(key: int, strike_g: float) -> list[float]:
        return [*strikes[: key - 1], strike_g,
                *strikes[key:]]  # fmt: skip

    for key in range(1, 31):
        considered = why(treatments, front.ways[-1], key)
        assert "leave it" in considered["treatment"].tolist()
        own = considered[considered["work"] == "key"]
        assert own["left_g"].is_monotonic_increasing and own["taken"].sum() == 1
        assert not own["sticks_out"][own["taken"]].any()
        for line in own.to_dict("records"):
            assert line["sticks_out"] != has_a_course(treatments, changed(key, line["strike_g"]))
        stuck += int(own["sticks_out"].sum())
        rubs = considered[considered["work"] == FRICTION]
        place = int(np.flatnonzero(treatments.piano.keys == key)[0])
        assert len(rubs) == 2 * (place in treatments.friction_keys)
        if len(rubs):  # by hand: left alone it counts by its excess, put right by the hand
            left = rubs.set_index("treatment")["left_g"]
            assert left["leave the friction"] == pytest.approx(
                abs(treatments.piano.excess_friction_g[place])
            )
            assert left["put the friction right"] == pytest.approx(treatments.piano.hand_friction_g)
            assert rubs["money"].tolist() == [0.0, COSTS.price("ease friction")]
    assert stuck


def test_costs_are_checked_and_come_back():
    own = WorkCosts({"trim hammer": 3.0}, {"put plug in": 2.5})
    assert WorkCosts.from_table(own.table) == own and own.minutes["new hole"] == 3
    assert set(own.table["operation"]) == set(USUAL)
    with pytest.raises(BalancekitError, match="'polish' is no operation") as raised:
        WorkCosts({"polish": 1.0, "trim hammer": -1.0})
    assert len(raised.value.problems) == 2


def test_dearer_lead_is_used_less():
    piano = invented_piano(40, 12)
    used = []
    for minutes in (7.0, 60.0):
        costs = WorkCosts({"put plug in": minutes})
        leads = invented_leads(piano, 12)
        leads.minutes[:, 1:] *= minutes / 7.0
        treatments = list_treatments(piano, leads, costs)
        front = find_front(treatments, costs, decisions(piano))
        way = front.ways[front.within(600)]
        used.append(int((tell(treatments, way).front_g != 0).sum()))
    assert used[1] < used[0]


def test_a_plateau_counts_on_each_of_its_keys_and_the_way_to_start_from_leaves_none():
    """By hand: 14 keys that stand 2.5 g higher leave 14 x 2.5^2 more, what else is off apart."""
    flat = invented_piano(88, 14)
    draw = np.random.default_rng(14)
    even = 38.0 + draw.normal(0, 0.5, 88)
    run = np.arange(88) // 14 == 2
    pianos = [
        replace(flat, balance_weight_g=weight, front_weight_g=flat.front_weight_g
                + flat.balance_weight_g - weight, strike_weight_g=np.linspace(11, 6, 88))
        for weight in (even, even + 2.5 * run)
    ]  # fmt: skip
    lines = [wanted_lines(piano, (), None)[0] for piano in pianos]
    assert np.abs(np.subtract(*lines)).max() < 0.7  # a plateau hardly draws the line to itself
    decision = replace(decisions(pianos[0])[0], first_g=38.0, last_g=38.0)
    lists = [list_treatments(piano, invented_leads(piano, 14, 8), COSTS) for piano in pianos]
    left = [Ground(each, decision).uneven[each.row_starts].sum() for each in lists]
    assert left[1] - left[0] == pytest.approx(14 * 2.5**2 + 2 * 2.5 * (even - 38)[run].sum())
    front = find_front(lists[1], COSTS, decisions(pianos[1]))
    colours = keyboard()["colour"]

    def plateaus(number: int) -> int:
        after = tell(lists[1], front.ways[number]).balance_weight_g
        again = after + np.random.default_rng(15).normal(0, 0.5, 88)
        found = find_plateaus(again, 0 * again + 0.5, colours, "balance_weight_g")
        return len(found or ())

    assert plateaus(0) == 1 and plateaus(default_way(front)) == 0
