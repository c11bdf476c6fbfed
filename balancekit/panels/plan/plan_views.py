"""The panels of the plan: the front of ways, and why each key gets what it gets."""

from __future__ import annotations

from dataclasses import replace

import ipywidgets as widgets
import numpy as np

from balancekit.calculation.plan.front import Way
from balancekit.calculation.plan.telling import stays_of, why, why_levers, why_words
from balancekit.calculation.words import escape, plural
from balancekit.charts.ways import DrawnWays, fit_ways, some_ways, ways_chart, ways_data
from balancekit.instrument.bench import Bench
from balancekit.instrument.choices.whole_plan import WholePlan
from balancekit.panels.chart_table import ChartTable
from balancekit.panels.chart_view import ChartView
from balancekit.panels.frame import Later, button, panel, row, slider, table_html, words, working
from balancekit.panels.plan.plan_bounds import Bounds
from balancekit.panels.plan.plan_desk import USUAL_HOURS, PlanDesk, plan_desk
from balancekit.panels.plan.plan_wishes import Wishes
from balancekit.panels.saving import Saving
from balancekit.panels.with_keyboard import keyboard_of, sticks_of

_MOST_HOURS = 60.0

_WORDS_AFTER_S = 0.25
# Our own choice: rest of a slider after which words and tables follow it.

_SIDE_BY_SIDE = {
    "way": ("What is done", "{}"), "hours": ("Hours", "{:.1f}"),
    "money": ("Money for parts", "{:.2f}"),
    "hammers_touched": ("Hammers", "{:.0f}"), "plugs_in": ("Plugs in", "{:.0f}"),
    "plugs_out": ("Plugs out", "{:.0f}"), "new_holes": ("New holes", "{:.0f}"),
    "stays": ("Cannot be undone", "{}"),
    "capstan_mm": ("Capstans moved (mm)", "{:.1f}"),
    "balance_weight_g": ("Balance weight, mean (g)", "{:.1f}"),
    "inertia_g": ("Inertia at the finger, mean (g)", "{:.0f}"),
    "lead_g": ("Lead's part of it, change (g)", "{:+.1f}"),
    "left_g": ("Stays uneven (g)", "{:.2f}"),
    "balance_step_g": ("Step of balance weight (g)", "{:.2f}"),
    "inertia_step_percent": ("Step of inertia (%)", "{:.1f}"),
    "sure_percent": ("Sure of 95 keys in 100 (%)", "{:.0f}"),
    "every_percent": ("Sure of every key (%)", "{:.0f}"),
    "gap_percent": ("No way leaves less by more than (%)", "{:.2f}"),
}  # fmt: skip

_NOWHERE = -1
_CHOOSE = [("choose one to go there", _NOWHERE)]


class FrontView(widgets.VBox):
    """The chart of ways, the hours there are, and the ways side by side."""

    def __init__(self, desk: PlanDesk) -> None:
        self.desk = desk
        self.state, self.told, self.side = words(), words(), words()
        self.hours = slider("Hours there are", USUAL_HOURS, 0.0, _MOST_HOURS, 0.1, unit="h")
        self.corners = widgets.Dropdown(
            description="Where other work begins", options=_CHOOSE,
            style={"description_width": "15em"}, layout=widgets.Layout(width="auto"),
        )  # fmt: skip
        self.chart = ways_chart(None)
        self.view = ChartView(self.chart.figure, "Hours at the bench against what stays uneven.")
        self.buttons = row(
            button("Choose this way", desk.choose, main=True,
                   hint="Sheets, prediction and proof then follow it"),
            button("Enough, but no more", self.start_way,
                   hint="The least work that weighing cannot tell from the most"),
            button("Pin it to compare", desk.pin),
            button("Unpin all", desk.unpin),
        )  # fmt: skip
        self.chosen, self.numbers = words(), ChartTable(self.chart.figure)
        self.share = widgets.FloatProgress(
            value=0.0, max=1.0, description="Ways looked for",
            style={"description_width": "initial"},
        )  # fmt: skip
        self._named: tuple[object, list[str]] = (None, [])
        self._drawn: DrawnWays | None = None
        self._tell_later = Later(_WORDS_AFTER_S, self._tell)
        super().__init__(
            [self.state, self.share, self.hours, self.corners, self.view, self.told,
             self.buttons, self.chosen, Saving(desk.bench), self.side, self.numbers]
        )  # fmt: skip
        self.hours.observe(self._moved, "value")
        self.corners.observe(self._go_to, "value")
        desk.hours = USUAL_HOURS
        desk.when_changed(self.refresh, "plan", "pinned")
        desk.when_changed(self._follow, "hours")
        desk.when_changed(self._show_state, "share", "state", "looks")
        desk.bench.when_changed(self._say_chosen, "instrument")

    def _moved(self, change: dict[str, float]) -> None:
        self.desk.hours = max(float(change["new"]), 1e-6)

    def _show_state(self) -> None:
        said = escape(self.desk.state)
        self.state.value = working(said) if self.desk.looks else said
        self.share.layout.display = "" if self.desk.looks else "none"
        if self.desk.looks:
            self.share.value = self.desk.share

    def start_way(self) -> None:
        """Move the slider to the way that a plan starts from."""
        if self.desk.plan is not None:
            self._move_to(self.desk.plan.default)

    def _move_to(self, number: int) -> None:
        plan = self.desk.plan
        assert plan is not None
        minutes = float(plan.front.minutes[number])
        self.hours.value = min(np.ceil(minutes / 6 - 1e-9) / 10, self.hours.max)

    def _go_to(self, change: dict[str, int]) -> None:
        if self.desk.plan is not None and change["new"] not in (None, _NOWHERE):
            self._move_to(change["new"])
            self.corners.value = _NOWHERE  # the slider may move on from here

    def _list_corners(self, plan: WholePlan) -> None:
        """List the ways at which other work begins; none of them is picked."""
        hours, names = plan.front.minutes / 60, self._names(plan)
        options = _CHOOSE + [(f"{hours[n]:.1f} h: {names[n]}", n) for n in plan.corners]
        if options != list(self.corners.options):
            self.corners.options = options

    def refresh(self) -> None:
        """Show the ways, and the one in hand in words."""
        desk, plan = self.desk, self.desk.plan
        shown = "" if plan is not None else "none"
        for part in (
            self.view, self.buttons, self.told, self.side, self.corners, self.numbers
        ):  # fmt: skip
            part.layout.display = shown
        self._drawn = None  # that of an earlier plan; none while the slider gets its new end
        if plan is None:
            return
        front = plan.front
        self.hours.max = float(max(np.ceil(front.minutes[-1] / 6) / 10, 1.0))
        self._list_corners(plan)
        names = self._names(plan)
        self._drawn = drawn = DrawnWays(
            front.minutes / 60,
            front.uneven_g,
            names,
            plan.limit_g,
            desk.number,
            [way.gap_percent for way in front.ways],
            [n for n in desk.pinned if n < len(front.ways)],
        )
        with self.view.one_change():
            self.chart.show(ways_data(drawn))
            fit_ways(self.chart, drawn)
        self._tell()

    def _follow(self) -> None:
        """Move the mark to the way in hand at once; the words follow when the slider rests."""
        if self.desk.plan is None or self._drawn is None:
            return
        number = self.desk.number
        if number != self._drawn.here:
            self._drawn = replace(self._drawn, here=number)
            self.chart.show({"here": some_ways(self._drawn, [number])})
        elif not self.desk.plan.way(0).minutes:
            return
        self._tell_later.ask()

    def _tell(self) -> None:
        if self.desk.plan is not None:
            self.told.value = self._words(self.desk.number)
            self._side_by_side()

    def _names(self, plan: WholePlan) -> list[str]:
        """Return what each way does, worked out once a plan."""
        if self._named[0] is not plan:
            self._named = (plan, [plan.name(n) for n in range(len(plan.front.ways))])
        return self._named[1]

    def _words(self, number: int) -> str:
        plan = self.desk.plan
        assert plan is not None
        way, left = plan.way(number), float(plan.front.uneven_g[number])
        sure = plan.sure(number)
        first = plan.way(0).minutes
        least = "nothing done" if not first else f"only what was decided, {first / 60:.1f} h"
        text = ""
        if 0 < 60 * self.desk.hours < way.minutes - 6:
            text = (
                f"<b>No way fits {self.desk.hours:.1f} h:</b> what was decided takes more. "
                "Release some of it above. The shortest way:<br>"
            )
        text += (
            f"<b>{way.minutes / 60:.1f} h: {escape(plan.name(number))}.</b> "
            f"{left:.2f} g stay uneven; {least}: {plan.front.uneven_g[0]:.2f} g. "
            f"The chance that at least 95 of 100 keys end within {plan.tolerance_g:g} g of their "
            f"line is {sure.most_percent:.0f} %; every key: {sure.every_percent:.0f} %. "
            f"Their line: {_line_words(way)}. "
        )
        if number > plan.default:
            more = way.minutes - plan.way(plan.default).minutes
            text += (
                f"These are {more / 60:.1f} h more than weighing will be able to tell: "
                f"below {plan.limit_g:.2f} g more work cannot be told from less."
            )
        elif number < plan.default:
            text += (
                f"Up to {plan.way(plan.default).minutes / 60:.1f} h each hour more can be told "
                "by weighing again."
            )
        else:
            text += "More work than this cannot be told by weighing again."
        alone = "".join(f"<li>{escape(sentence)}</li>" for sentence in plan.left_alone)
        return f"{text}<ul>{alone}</ul>" if alone else text

    def _say_chosen(self) -> None:
        way = self.desk.way
        if way is None:
            self.chosen.value = "No way is chosen yet: nothing here is work until you choose."
            return
        done = f" {plural(len(way.done), 'key')} ticked as done." if way.done else ""
        self.chosen.value = (
            f"Chosen: <b>{escape(way.name)}</b>, {way.minutes / 60:.1f} h.{done} Bench sheets, "
            "prediction and proof follow it, until hammers or leads are decided anew."
        )

    def _side_by_side(self) -> None:
        desk, plan = self.desk, self.desk.plan
        assert plan is not None
        least = "Only what was decided" if plan.way(0).minutes else "Nothing"
        named = {plan.default: "Enough"}
        named[0] = f"{least}: enough" if plan.default == 0 else least
        named |= {n: "Pinned" for n in desk.pinned if n < len(plan.front.ways)}
        named[desk.number] = "In hand"
        numbers = sorted(named)
        told = [plan.told(number) for number in numbers]
        own = [plan.way(number).chosen[: plan.piano.count] for number in numbers]
        table = plan.table(numbers).assign(
            balance_weight_g=[each.balance_weight_g.mean() for each in told],
            inertia_g=[each.inertia_g.mean() for each in told],
            lead_g=[plan.treatments.lead_inertia_g[each].mean() for each in own],
            left_g=plan.front.uneven_g[numbers],
            stays=[stays_of(plan.treatments, plan.way(number)) for number in numbers],
            every_percent=[plan.sure(number).every_percent for number in numbers],
        )
        rows = [
            (label, *(_signed(form.format(value), name) for value in table[name]))
            for name, (label, form) in _SIDE_BY_SIDE.items()
        ]
        self.side.value = table_html(["", *(named[number] for number in numbers)], rows)


def _line_words(way: Way) -> str:
    """Say which balance weight a way leads to, from the first key to the last."""
    first, last = way.decision.first_g, way.decision.last_g
    if abs(way.decision.middle_off_g) >= 0.05:
        middle = (first + last) / 2 + way.decision.middle_off_g
        return f"{first:.1f} g over {middle:.1f} g to {last:.1f} g of balance weight"
    if abs(first - last) < 0.05:
        return f"{first:.1f} g of balance weight on every key"
    return f"{first:.1f} g of balance weight at the first key to {last:.1f} g at the last"


def _signed(text: str, name: str) -> str:
    """Write a number with its true minus, or that there is none; words keep their hyphens."""
    if name in ("way", "stays"):
        return text
    return "–" if text == "nan" else text.replace("-", "−")


class Why(widgets.VBox):
    """Why a key gets what it gets."""

    def __init__(self, desk: PlanDesk) -> None:
        self.desk, bench = desk, desk.bench
        self.board = keyboard_of(bench, bench.instrument.keys)
        self.told, self.list = words(), words()
        super().__init__([self.board, self.told, self.list])
        bench.when_changed(self._new_keys, "instrument")
        bench.observe(lambda _: self.refresh(), ["key"])
        desk.when_found(self.refresh)
        follow = Later(_WORDS_AFTER_S, self.refresh)
        desk.observe(lambda _: follow.ask(), ["hours"])

    def _new_keys(self) -> None:
        self.board.sticks = sticks_of(self.desk.bench.instrument.keys)

    def refresh(self) -> None:
        """Show the treatments of the key in hand."""
        plan, key = self.desk.plan, self.desk.bench.key
        if plan is None:
            self.told.value, self.list.value = escape(self.desk.state), ""
            return
        first = plan.occasion.believed.weigh_first.get(key)
        considered = why(plan.treatments, plan.way(self.desk.number), key)
        self.told.value = f"<b>Key {key}.</b> {escape(why_words(considered))}" + (
            f" {escape(first)} Nothing that cannot be undone is planned here." if first else ""
        )
        levers = why_levers(plan.treatments, plan.way(self.desk.number), plan.costs, key)
        if levers:
            self.told.value += f"<ul>{''.join(f'<li>{escape(each)}</li>' for each in levers)}</ul>"

        def grams(value: float) -> str:
            return f"{value + 0.0:+.1f}".replace("-", "−") if abs(value) >= 0.05 else "0.0"

        self.list.value = table_html(
            ["Treatment", "Left (g)", "Minutes", "Money", "Hammer (g)", "Front (g)", "Holes",
             "Balance off (g)", "Inertia off (g)"],
            [
                (f"{line['treatment']}{', sticks out' * bool(line['sticks_out'])}"
                 f"{' ← taken' * bool(line['taken'])}",
                 f"{line['left_g']:.2f}", f"{line['minutes']:.0f}", f"{line['money']:.2f}",
                 grams(line["strike_g"]), grams(line["front_g"]), line["new_holes"],
                 grams(line["balance_off_g"]), grams(line["inertia_off_g"]))
                for line in considered.to_dict("records")
            ],
        )  # fmt: skip


def plan_front_panel(bench: Bench) -> widgets.VBox:
    """All ways that no other beats, and the hours there are."""
    return panel(
        "What do the hours buy?",
        words(
            "Move the slider to the hours there are. The way in hand is the best that fits: "
            "levers, friction, hammers, springs and lead together. In the grey, more work cannot "
            "be told from less by weighing every key again."
        ),
        widgets.Accordion(
            [Wishes(bench)],
            titles=("What is wished for: level, a lighter action, springs",),
            selected_index=None,
        ),
        Bounds(bench),
        FrontView(plan_desk(bench)),
    )


def plan_why_panel(bench: Bench) -> widgets.VBox:
    """Why each key gets what it gets."""
    return panel(
        "Why this key, and why so?",
        words(
            "Press a key. Each line is the best treatment of its kind, what leaves least first. "
            "Left: what stays uneven. Hammer, front: change of strike weight and front weight. "
            "Off: balance weight from its line, inertia from its course. Sticks out: the hammer "
            "would, of its neighbours, and no way has that."
        ),
        Why(plan_desk(bench)),
    )
