"""The panels of the plan: the front of ways, what first, why, and what work costs."""

from __future__ import annotations

import ipywidgets as widgets
import numpy as np
import pandas as pd
import traitlets

from balancekit.calculation.plan.telling import why, why_words
from balancekit.calculation.plan.work_costs import USUAL, WorkCosts
from balancekit.calculation.words import in_words, plural
from balancekit.charts.ways import DrawnWays, fit_ways, ways_chart, ways_data
from balancekit.instrument.bench import Bench
from balancekit.instrument.choices.whole_plan import WholePlan
from balancekit.panels.chart_table import ChartTable
from balancekit.panels.chart_view import ChartView
from balancekit.panels.frame import button, caution, escape, panel, row, slider, table_html, words
from balancekit.panels.plan.plan_desk import USUAL_HOURS, PlanDesk, plan_desk
from balancekit.panels.saving import Saving
from balancekit.panels.table_entry import TableEntry
from balancekit.panels.widgets import Keyboard

MOST_HOURS = 60.0

_SIDE_BY_SIDE = {
    "hours": ("Hours", "{:.1f}"), "money": ("Money for parts", "{:.2f}"),
    "hammers_touched": ("Hammers", "{:.0f}"), "plugs_in": ("Plugs in", "{:.0f}"),
    "plugs_out": ("Plugs out", "{:.0f}"), "new_holes": ("New holes", "{:.0f}"),
    "capstan_mm": ("Lever moved (mm)", "{:.1f}"),
    "balance_step_g": ("Step of balance weight (g)", "{:.2f}"),
    "inertia_step_percent": ("Step of inertia (%)", "{:.1f}"),
    "sure_percent": ("Sure of 95 keys in 100 (%)", "{:.0f}"),
}  # fmt: skip


class Front(widgets.VBox):
    """The chart of ways, the hours there are, and the ways side by side."""

    def __init__(self, desk: PlanDesk) -> None:
        self.desk = desk
        self.state, self.told, self.side = words(), words(), words()
        self.hours = slider("Hours there are", USUAL_HOURS, 0.0, MOST_HOURS, 0.5, unit="h")
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
        self.chosen = words()
        self._named: tuple[object, list[str]] = (None, [])
        super().__init__(
            [self.state, self.hours, self.view, self.told, self.buttons, self.chosen,
             Saving(desk.bench), self.side, ChartTable(self.chart.figure)]
        )  # fmt: skip
        self.hours.observe(self._moved, "value")
        desk.hours = USUAL_HOURS
        desk.when_changed(self.refresh)
        desk.bench.when_changed(self._say_chosen, "instrument")

    def _moved(self, change: dict[str, float]) -> None:
        self.desk.hours = max(float(change["new"]), 1e-6)

    def start_way(self) -> None:
        """Move the slider to the way that a plan starts from."""
        plan = self.desk.plan
        if plan is not None:
            minutes = float(plan.front.minutes[plan.default])
            self.hours.value = min(np.ceil(minutes / 30) / 2, self.hours.max)

    def refresh(self) -> None:
        """Show the ways, and the one in hand in words."""
        desk, plan = self.desk, self.desk.plan
        self.state.value = f"⏳ {escape(desk.state)}" if desk.state else ""
        shown = "" if plan is not None else "none"
        for part in (self.view, self.buttons, self.told, self.side):
            part.layout.display = shown
        if plan is None:
            return
        front = plan.front
        self.hours.max = float(max(np.ceil(front.minutes[-1] / 30) / 2, 1.0))
        names = self._names(plan)
        drawn = DrawnWays(front.minutes / 60, front.uneven_g, names, plan.limit_g, desk.number,
                          [n for n in desk.pinned if n < len(front.ways)])  # fmt: skip
        with self.view.one_change():
            self.chart.show(ways_data(drawn))
            fit_ways(self.chart, drawn)
        self.told.value = self._words(desk.number)
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
        text = (
            f"<b>{way.minutes / 60:.1f} h: {escape(plan.name(number))}.</b> "
            f"{left:.2f} g stay uneven; nothing done: {plan.front.uneven_g[0]:.2f} g. "
            f"The chance that at least 95 of 100 keys end within {plan.tolerance_g:g} g of their "
            f"line is {sure.most_percent:.0f} %; every key: {sure.every_percent:.0f} %. "
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
        return text

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
        numbers = sorted({n for n in desk.pinned if n < len(plan.front.ways)} | {desk.number})
        if len(numbers) < 2:
            self.side.value = ""
            return
        table = plan.table(numbers)
        rows = [
            (label, *(form.format(value).replace("-", "−") for value in table[name]))
            for name, (label, form) in _SIDE_BY_SIDE.items()
        ]
        self.side.value = table_html(["", *table["way"]], rows)


class Order(widgets.VBox):
    """What first, hour by hour; ticks, and planning the rest again."""

    def __init__(self, desk: PlanDesk) -> None:
        self.desk = desk
        self.told, self.list = words(), words()
        self.ticks = widgets.Text(
            description="Done: keys", placeholder="for example 3, 5, 12-20",
            continuous_update=False, style={"description_width": "initial"},
        )  # fmt: skip
        self.said = words()
        super().__init__(
            [self.told, self.list, row(self.ticks, button("Tick these as done", self.tick)),
             self.said]
        )  # fmt: skip
        desk.when_changed(self.refresh)

    def refresh(self) -> None:
        """Show the work of the way in hand by hours."""
        plan = self.desk.plan
        if plan is None:
            self.told.value, self.list.value = escape(self.desk.state), ""
            return
        order = plan.order(self.desk.number)
        if order.empty:
            self.told.value, self.list.value = "This way asks for nothing.", ""
            return
        rows = []
        for hour, part in order.groupby("hour"):
            for work, some in part.groupby("work", sort=False):
                keys = _runs(some)
                undone = "yes" if some["undone"].all() else "no: it cuts or bores"
                rows.append((f"{hour}", str(work), keys, f"{some['minutes'].sum():.0f}", undone))
            last = part.iloc[-1]
            rows.append((f"after {last['minutes_so_far'] / 60:.1f} h", "", "may stop here"
                         if last["may_stop"] else "go on: a lever is half moved", "",
                         f"{last['left_g']:.2f} g left"))  # fmt: skip
        self.list.value = table_html(["Hour", "Work", "Keys", "Minutes", "Can be undone"], rows)
        self.told.value = (
            "The greatest gain comes first; what can be undone comes before what cannot, where it "
            "costs little. The first hour has the time to draw the action out and to set up."
        )

    def tick(self) -> None:
        """Tick keys of the chosen way as done; the rest is planned again."""
        way = self.desk.way
        if way is None:
            self.said.value = "Choose a way first, above."
            return
        keys, wrong = parse_keys(str(self.ticks.value))
        if wrong:
            self.said.value = (
                f'<span class="bench-bad">"{escape(wrong[:80])}" is not a key. Write numbers and '
                "ranges, for example 3, 5, 12-20.</span>"
            )
            return
        self.desk.tick(tuple(keys))
        done = () if self.desk.way is None else self.desk.way.done
        self.said.value = (
            f"{plural(len(done), 'key')} of the way are done. What is left is planned again, "
            "with new readings of done keys where the next visit has them."
        )


def parse_keys(text: str) -> tuple[list[int], str]:
    """Return the keys that a line names, and the first piece that names none.

    >>> parse_keys("3, 5, 12-14"), parse_keys("3, x")[1]
    (([3, 5, 12, 13, 14], ''), 'x')
    """
    keys: list[int] = []
    for piece in filter(None, (part.strip() for part in text.split(","))):
        first, dash, last = piece.replace("\u2013", "-").partition("-")
        if not first.strip().isdecimal() or (dash and not last.strip().isdecimal()):
            return [], piece
        end = int(last) if dash else int(first)
        if not 1 <= int(first) <= end <= 97:
            return [], piece
        keys += range(int(first), end + 1)
    return keys, ""


def _runs(some: pd.DataFrame) -> str:
    """Write the keys of some work as runs: 3, 5 to 9."""
    spans = zip(some["first_key"], some["last_key"], strict=True)
    keys = {key for first, last in spans for key in range(int(first), int(last) + 1)}
    return in_words(keys).partition(" ")[2]


class Why(widgets.VBox):
    """Why a key gets what it gets."""

    def __init__(self, desk: PlanDesk) -> None:
        self.desk, bench = desk, desk.bench
        self.board = Keyboard(sticks=_sticks(bench))
        self.told, self.list = words(), words()
        super().__init__([self.board, self.told, self.list])
        bench.when_changed(self._new_keys, "instrument")
        traitlets.link((bench, "key"), (self.board, "key"))
        bench.observe(lambda _: self.refresh(), ["key"])
        desk.when_changed(self.refresh)

    def _new_keys(self) -> None:
        self.board.sticks = _sticks(self.desk.bench)

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

        def grams(value: float) -> str:
            return f"{value + 0.0:+.1f}".replace("-", "−") if abs(value) >= 0.05 else "0.0"

        self.list.value = table_html(
            ["Treatment", "Minutes", "Hammer (g)", "Front weight (g)", "New holes",
             "Balance weight off its line (g)", "Inertia off its course (g)",
             "Left uneven (g)", ""],
            [
                (line["treatment"], f"{line['minutes']:.0f}", grams(line["strike_g"]),
                 grams(line["front_g"]), line["new_holes"], grams(line["balance_off_g"]),
                 grams(line["inertia_off_g"]), f"{line['left_g']:.2f}",
                 "taken" if line["taken"] else "")
                for line in considered.to_dict("records")
            ],
        )  # fmt: skip


def _sticks(bench: Bench) -> list[dict[str, object]]:
    found = bench.instrument.keys[["note_name", "colour"]].to_dict("records")
    return [{str(name): value for name, value in line.items()} for line in found]


class Costs(widgets.VBox):
    """The table of minutes and money, usual until the user writes their own."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.entry = TableEntry(bench, "work_minutes")
        usual = [(name, USUAL[name].label, f"{USUAL[name].minutes:.0f}", f"{USUAL[name].money:g}",
                  "yes" if USUAL[name].undone else "no") for name in USUAL]  # fmt: skip
        self.usual = words(
            table_html(["Operation", "What it is", "Minutes", "Money", "Can be undone"], usual)
        )
        super().__init__(
            [self.usual,
             button("Copy all of them to change", self.copy),
             self.entry]
        )  # fmt: skip

    def copy(self) -> None:
        """Put every operation with its usual minutes into the table."""
        own = WorkCosts.from_table(self.bench.instrument.table("work_minutes"))
        self.bench.change(self.bench.instrument.with_table("work_minutes", own.table))


def plan_front_panel(bench: Bench) -> widgets.VBox:
    """All ways that no other beats, and the hours there are."""
    return panel(
        "What do the hours buy?",
        words(
            "Move the slider to the hours there are. The way in hand is the best that fits: "
            "levers, friction, hammers, springs and lead together. In the grey, more work cannot "
            "be told from less by weighing every key again."
        ),
        Front(plan_desk(bench)),
    )


def plan_order_panel(bench: Bench) -> widgets.VBox:
    """What first, for the way in hand."""
    return panel(
        "What first?",
        caution(
            "Lead is toxic: gloves, wet wiping, wash before food. Trimming and boring cannot be "
            "undone: the owner's written agreement first. Springs: eye protection."
        ),
        Order(plan_desk(bench)),
    )


def plan_why_panel(bench: Bench) -> widgets.VBox:
    """Why each key gets what it gets."""
    return panel(
        "Why this key, and why so?",
        words("Press a key. Each line is the best treatment of its kind, the least left first."),
        Why(plan_desk(bench)),
    )


def plan_costs_panel(bench: Bench) -> widgets.VBox:
    """How long work takes you, and what parts cost."""
    return panel(
        "How long does it take you?",
        words(
            "Usual bench times, common practice, no source. Time yourself on ten keys and write "
            "your own: the operation by its short name, minutes, money for parts."
        ),
        Costs(bench),
    )
