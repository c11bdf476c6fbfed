"""The plan without a browser: ways, the chosen one, what first, ticks, and planning again."""

import re

import pytest

from balancekit import panels
from balancekit.calculation.plan.front import MOST_GAP_PERCENT
from balancekit.charts.ways import ways_data
from balancekit.instrument.bench import Bench
from balancekit.instrument.choices import lead_choice, plan_bounds, plan_wishes
from balancekit.instrument.choices.chosen_way import CHAPTER, chosen_way, from_json
from balancekit.instrument.choices.hammer_choice import HammerChoice, with_choice
from balancekit.instrument.choices.lead_choice import LeadChoice
from balancekit.instrument.choices.plan_wishes import PlanWishes, wishes_of
from balancekit.instrument.demo import (
    EXCHANGED_KEY,
    MOVED_POINT_KEY,
    one_key_model,
    sampled_grand,
    studio_grand,
)
from balancekit.instrument.leads_record import recorded_keys
from balancekit.instrument.model import BenchSettings, Instrument
from balancekit.panels.plan import plan_desk as desk_module
from balancekit.panels.plan import plan_views as views_module
from balancekit.panels.plan.plan_bounds import Bounds
from balancekit.panels.plan.plan_costs import Costs
from balancekit.panels.plan.plan_desk import plan_desk
from balancekit.panels.plan.plan_order import Order, parse_keys
from balancekit.panels.plan.plan_views import FrontView, Why
from balancekit.panels.plan.plan_wishes import OwnerPage, Wishes
from balancekit.sharing.work import work_from
from tests.panels.shown import text_of

ALL = ("plan_front_panel", "plan_order_panel", "plan_why_panel", "plan_costs_panel",
       "plan_owner_panel")  # fmt: skip


@pytest.fixture(scope="module")
def planned() -> Bench:
    bench = Bench(studio_grand())
    plan_desk(bench)
    return bench


@pytest.mark.parametrize("made", [studio_grand, sampled_grand, one_key_model])
def test_every_panel_says_something_and_nothing_is_not_a_number(made):
    bench = Bench(made())
    for name in ALL:
        shown = text_of(getattr(panels, name)(bench))
        assert "nan" not in shown.lower().split() and len(shown) > 40, name


@pytest.mark.parametrize(
    "instrument", [Instrument(), Instrument(settings=BenchSettings(action="upright"))]
)
def test_without_a_plan_it_says_why(instrument):
    front = FrontView(plan_desk(Bench(instrument)))
    assert "There is no plan yet" in front.state.value and front.view.layout.display == "none"
    assert not front.desk.looks and front.share.layout.display == "none"
    assert "bench-working" not in front.state.value


def test_a_search_that_goes_on_or_fails_is_said_so(monkeypatch):
    waiting = []
    monkeypatch.setattr(desk_module, "beside", lambda work, done, said: waiting.append(said))
    front = FrontView(plan_desk(Bench(one_key_model())))
    assert front.desk.looks and "bench-working" in front.state.value
    assert front.share.layout.display == ""
    waiting.pop()("A flaw.")
    assert not front.desk.looks and front.state.value == "A flaw."
    assert front.share.layout.display == "none"


def test_each_plan_that_is_found_is_drawn_once(monkeypatch):
    drawn, told = [], []
    monkeypatch.setattr(
        views_module, "ways_data", lambda ways: drawn.append(ways) or ways_data(ways)
    )
    desk = plan_desk(Bench(one_key_model()))
    FrontView(desk)
    Order(desk).list.observe(lambda change: told.append(change["new"]), "value")
    drawn.clear()
    desk.start()
    assert len(drawn) == 2  # the first ways, then all of them
    assert len([each for each in told if each]) <= 2


def test_more_hours_leave_less_and_the_text_says_when_it_is_enough(planned):
    desk, front = plan_desk(planned), FrontView(plan_desk(planned))
    assert desk.plan is not None
    front.hours.value = 3.0
    early = desk.number
    assert "each hour more can be told" in front.told.value
    doubted = f"{EXCHANGED_KEY}, {MOVED_POINT_KEY}"
    alone = "Weigh first, nothing is cut or bored there"
    assert re.search(f"<li>{alone}: [^<]*{doubted}", front.told.value)
    front.start_way()
    assert desk.number >= desk.plan.default > early
    front.hours.value = front.hours.max
    assert "more than weighing will be able to tell" in front.told.value
    assert desk.number == len(desk.plan.front.ways) - 1
    legend = front.chart.figure.legend[0].items
    assert [(item.label.value, item.visible) for item in legend] == [
        ("pinned", False), ("the way in hand", True)
    ]  # fmt: skip
    desk.pin()
    assert legend[0].visible
    front.hours.value = 3.0
    assert "<table" in front.side.value and "Sure of 95 keys" in front.side.value
    heads = front.side.value.partition("</thead>")[0]
    assert all(word in heads for word in ("Nothing", "In hand", "Enough", "Pinned"))
    desk.unpin()
    assert "Pinned" not in front.side.value
    assert front.corners.label == "choose one to go there"
    for label, number in front.corners.options[1:]:
        front.corners.value = number
        assert front.corners.label == "choose one to go there"
        minutes = desk.plan.way(number).minutes
        assert abs(60 * front.hours.value - minutes) <= 6 and f"{minutes / 60:.1f} h" in label


def test_a_chosen_way_becomes_work_and_deciding_on_hammers_takes_it_back(planned):
    bench, desk = Bench(studio_grand()), plan_desk(planned)
    desk = plan_desk(bench)
    desk.hours = 6.0
    desk.pin()
    found = desk.plan
    desk.choose()
    assert desk.plan is found and desk.pinned  # nothing is done yet: the ways are the same
    way = chosen_way(bench.instrument)
    assert way is not None and way.keys and way.minutes <= 360
    work = work_from(bench.instrument)
    hammers = {w.key: w.strike_weight_g for w in way.keys if w.strike_weight_g is not None}
    assert work.hammers["planned_strike_weight_g"].to_dict() == pytest.approx(hammers)
    put_in = work.leads[work.leads["action"] != "keep"]["key"]
    assert set(put_in) == {w.key for w in way.keys if w.front_weight_g is not None}
    reached = work.expected["front_weight_g"]
    for each in way.keys:
        if each.front_weight_g is not None:
            assert reached[each.key] == pytest.approx(each.front_weight_g, abs=0.06)
    doubted = set(desk.plan.occasion.believed.weigh_first)
    assert doubted and not doubted & {w.key for w in way.keys if w.strike_weight_g is not None}
    assert not doubted & {w.key for w in way.keys if w.front_weight_g is not None}
    assert recorded_keys(bench.instrument) >= set(put_in)
    bench.change(with_choice(bench.instrument, HammerChoice()))
    assert CHAPTER not in bench.instrument.choices


def test_what_is_ticked_stays_and_the_rest_is_planned_again():
    bench = Bench(studio_grand())
    desk = plan_desk(bench)
    desk.hours = 6.0
    order = Order(desk)
    assert re.search("<td[^>]*>1 to [2-9]</td><td[^>]*>(move capstan|friction)", order.list.value)
    order.ticks.value = "3"
    order.tick()
    assert "Choose a way first" in order.said.value
    desk.choose()
    first = chosen_way(bench.instrument)
    half = [work.key for work in first.keys][: len(first.keys) // 2]
    order.ticks.value = "1, x"
    order.tick()
    assert "is not a key" in order.said.value and not chosen_way(bench.instrument).done
    order.ticks.value = ", ".join(map(str, half))
    order.tick()
    assert chosen_way(bench.instrument).done == tuple(half)
    assert desk.plan is not None and desk.plan.follow is not None
    told = desk.plan.told(len(desk.plan.front.ways) - 1)
    assert (told.strike_g[half] == 0).all() and (told.front_g[half] == 0).all()
    desk.choose()
    again = chosen_way(bench.instrument)
    assert [w for w in again.keys if w.key in half] == [w for w in first.keys if w.key in half]
    assert desk.plan.front.uneven_g[0] < 0.9 * 2.9


def test_moved_levers_are_ticked_by_themselves_and_stay():
    bench = Bench(studio_grand())
    desk, order = plan_desk(bench), Order(plan_desk(bench))
    assert order.levers.layout.display == "none"
    numbers = range(len(desk.plan.front.ways))
    first = next(n for n in numbers if desk.plan.way(n).decision.shifts)
    desk.hours = desk.plan.way(first).minutes / 60 + 0.01
    before = desk.plan.front.uneven_g[0]
    desk.choose()
    chosen = chosen_way(bench.instrument)
    assert chosen.levers and order.levers.layout.display == ""
    order.levers.value = True
    order.tick()
    way = chosen_way(bench.instrument)
    assert way.levers_moved and way.done == () and "The levers are moved" in order.said.value
    assert desk.plan.follow is not None and desk.plan.piano.shifts == ()
    part = chosen.levers[0].ratio_part
    rows = desk.plan.piano.keys.get_indexer(list(chosen.levers[0].keys))
    found = desk.plan.occasion.believed.table["action_ratio"].to_numpy()
    assert desk.plan.piano.action_ratio[rows] == pytest.approx(part * found[rows])
    assert desk.plan.front.uneven_g[0] < before
    desk.choose()
    assert chosen_way(bench.instrument).levers == chosen.levers
    assert from_json(way.to_json(), 88) == way


def test_what_was_decided_alone_may_take_more_hours_than_there_are():
    levels = HammerChoice(target="levels", bass_g=10.5, middle_g=8.5, treble_g=6.0)
    front = FrontView(plan_desk(Bench(with_choice(sampled_grand(), levels))))
    front.hours.value = 1.0
    assert "No way fits 1.0 h" in front.told.value and "only what was decided" in front.told.value
    front.hours.value = front.hours.max
    assert "No way fits" not in front.told.value
    assert "Only what was decided" in front.side.value


def test_the_page_shows_how_far_the_search_is_and_how_sure_each_way_is_the_best(planned):
    front = FrontView(plan_desk(planned))
    assert front.share.layout.display == "none"
    shares: list[float] = []
    desk = plan_desk(Bench(sampled_grand()))
    desk.observe(lambda change: shares.append(change["new"]), ["share"])
    desk.start()
    assert shares[-1] == pytest.approx(1.0) and len(shares) > 10
    assert "No way leaves less by more than" in front.side.value
    assert "Cannot be undone" in front.side.value and "hammers trimmed" in front.side.value
    gaps = front.chart.sources["ways"].data["gap_percent"]
    assert len(gaps) == len(plan_desk(planned).plan.front.ways)
    assert max(gaps) <= MOST_GAP_PERCENT


def test_why_names_the_treatments_of_a_key_and_costs_can_be_changed(planned):
    why = Why(plan_desk(planned))
    planned.key = 50
    assert "Key 50" in why.told.value and "leave it" in why.list.value
    assert why.list.value.count("← taken") == 1
    planned.key = 34
    assert "capstan line of keys 27 to 43" in why.told.value
    assert "put the friction right" in why.list.value and "Its friction:" in why.told.value
    bench = Bench(one_key_model())
    costs = Costs(bench)
    costs.copy()
    assert "trim hammer" in bench.instrument.table("work_minutes")["operation"].tolist()


def test_a_wish_is_kept_and_other_ways_are_looked_for():
    bench = Bench(sampled_grand())
    desk = plan_desk(bench)
    before, wishes = desk.plan, Wishes(bench)
    assert wishes.sliders["lighter_percent"].layout.display == "none"
    wishes.ticks["lighter_percent"].value = True
    wishes.sliders["lighter_percent"].value = 6.0
    assert wishes_of(bench.instrument) == PlanWishes(lighter_percent=6.0)
    assert desk.plan is not before and desk.plan.piano.lighter_percent == 6.0
    wishes.ticks["lighter_percent"].value = False
    assert wishes_of(bench.instrument) == PlanWishes() and desk.plan.piano.lighter_percent is None


def test_what_was_decided_later_is_said_and_can_be_released_one_by_one():
    grand = with_choice(one_key_model(), HammerChoice(ratio_change_percent=-4.0))
    bench = Bench(
        lead_choice.with_choice(
            grand,
            LeadChoice(layout=lead_choice.IN_LINES, spring_relief_from="level", most_plugs_in=3),
        )
    )
    shown = Bounds(bench)
    assert (
        plan_bounds.bounds_of(one_key_model())
        == []
        == list(Bounds(Bench(one_key_model())).children)
    )
    text = text_of(shown)
    for words in (
        "every hammer as it is", "action ratio of all keys −4 %, by the knuckle",
        "at most 3 plugs put into a key", "new plugs on the straight lines",
        "38 g of balance weight on every key", "spring relief 8 g on every key",
    ):  # fmt: skip
        assert words in text
    left = len(shown.bounds)
    while left:
        press(shown, left - 1)
        assert len(shown.bounds) < left
        left = len(shown.bounds)
    assert not {"hammer_mass", "lead_and_spring"} & set(bench.instrument.choices)
    assert shown.children == ()
    bench.undo()
    assert [each.words for each in shown.bounds] == ["every hammer as it is"]


def test_only_what_binds_the_plan_is_said():
    grand = with_choice(one_key_model(), HammerChoice(spring_relief_more_g=2.0))
    left = LeadChoice(layout=lead_choice.AS_FOUND, spring_relief_from="level")
    bench = Bench(lead_choice.with_choice(grand, left))
    shown = Bounds(bench)
    assert [each.words for each in shown.bounds] == [
        "every hammer as it is", "the plugs as they are", "38 g of balance weight on every key",
        "spring relief 8 g on every key",
    ]  # fmt: skip
    press(shown, 3)
    assert "2 g more spring relief on every key" in text_of(shown)
    bench.change(bench.instrument.with_choice(lead_choice.CHAPTER, {"layout": "?"}))
    assert "bench-bad" in shown.children[0].value
    bench.change(one_key_model())
    assert shown.children == ()


def press(shown: Bounds, number: int) -> None:
    button = shown.children[1 + number].children[0]
    assert button.description.startswith("Release") and shown.bounds[number].words in button.tooltip
    button.click()


def test_the_owner_gets_a_page_and_nothing_is_overwritten(home):
    bench = Bench(sampled_grand())
    page = OwnerPage(plan_desk(bench))
    page.write()
    page.write()
    assert len({path.name for path in page.listed.paths}) == 1
    assert "Written to" in page.said.value
    assert "signature" in page.listed.paths[0].read_text(encoding="utf-8")


def test_lines_of_keys():
    assert parse_keys("3, 5, 12-14") == ([3, 5, 12, 13, 14], "")
    assert [parse_keys(text)[1] for text in ("0", "5-3", "98", "a", "1-")] == [
        "0", "5-3", "98", "a", "1-",
    ]  # fmt: skip


def test_wishes_that_cannot_be_read_are_said_and_replaced_by_what_is_wished_now(home):
    unread = {plan_wishes.CHAPTER: {"balance_weight_g": "some"}}
    bench = Bench(Instrument("Model", choices=unread), home / "model")
    wishes = Wishes(bench)
    assert "Balance weight on every key: 20 to 60 g" in wishes.said.value
    wishes.springs.value = True
    assert wishes_of(bench.instrument) == PlanWishes(fit_springs=True)
    assert wishes.said.value == ""
