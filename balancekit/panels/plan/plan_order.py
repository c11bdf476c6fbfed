"""What first: the work of the way in hand hour by hour, ticks, and planning the rest again."""

from __future__ import annotations

import ipywidgets as widgets
import pandas as pd

from balancekit.calculation.plan.order import LEVER_WORK
from balancekit.calculation.words import escape, numbers_in_words, plural
from balancekit.instrument.bench import Bench
from balancekit.panels.frame import Later, button, caution, panel, row, table_html, words, wrong
from balancekit.panels.plan.plan_desk import PlanDesk, plan_desk

FOLLOWS_AFTER_S = 0.25
# Our own choice: rest of the slider after which the order of work follows it.


class Order(widgets.VBox):
    """What first, hour by hour; ticks, and planning the rest again."""

    def __init__(self, desk: PlanDesk) -> None:
        self.desk = desk
        self.told, self.list = words(), words()
        self.ticks = widgets.Text(
            description="Done: keys", placeholder="for example 3, 5, 12-20",
            continuous_update=False, style={"description_width": "initial"},
        )  # fmt: skip
        self.levers = widgets.Checkbox(description="the levers are moved", indent=False)
        self.said = words()
        super().__init__(
            [self.told, self.list,
             row(self.ticks, self.levers, button("Tick these as done", self.tick)), self.said]
        )  # fmt: skip
        desk.when_found(self.refresh)
        follow = Later(FOLLOWS_AFTER_S, self.refresh)
        desk.observe(lambda _: follow.ask(), ["hours"])
        desk.bench.when_changed(self._show_ticks, "instrument")

    def _show_ticks(self) -> None:
        """Show what is ticked of the chosen way."""
        way = self.desk.way
        self.levers.layout.display = "" if way is not None and way.levers else "none"
        self.levers.value = way is not None and way.levers_moved
        if way is not None and way.done:
            self.ticks.value = numbers_in_words(way.done).replace(" to ", "-")

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
        before = 0
        for hour, part in order.groupby("hour"):
            hours = f"{hour}" if hour == before + 1 else f"{before + 1} to {hour}"
            before = int(hour)
            for work, some in part.groupby("work", sort=False):
                keys = _runs(some)
                why = "marks of the old place stay" if work in LEVER_WORK else "it cuts or bores"
                undone = "yes" if some["undone"].all() else f"no: {why}"
                rows.append((hours, str(work), keys, f"{some['minutes'].sum():.0f}", undone))
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
        keys, unread = parse_keys(str(self.ticks.value))
        if unread:
            self.said.value = wrong(
                f'"{unread[:80]}" is not a key. Write numbers and ranges, for example 3, 5, 12-20.'
            )
            return
        self.desk.tick(tuple(keys), bool(self.levers.value))
        way = self.desk.way
        done = () if way is None else way.done
        moved = " The levers are moved." if way is not None and way.levers_moved else ""
        self.said.value = (
            f"{plural(len(done), 'key')} of the way are done.{moved} What is left is planned "
            "again, with new readings of done keys where the next visit has them."
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
    return numbers_in_words(keys)


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
