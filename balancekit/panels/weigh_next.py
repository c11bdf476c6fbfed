"""What to weigh next, so that few weighings teach most."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import ipywidgets as widgets
import traitlets

from balancekit.calculation.quantities import QUANTITIES
from balancekit.calculation.weighing.weighing_knowledge import usual_bench
from balancekit.calculation.weighing.weighing_plan import WeighingPlan, first_visit_plan, weigh_next
from balancekit.calculation.words import plural
from balancekit.instrument.bench import Bench
from balancekit.panels.frame import Later, beside, escape, panel, slider, table_html, words
from balancekit.panels.widgets import Keyboard

_PAUSE_SECONDS = 0.4
_LISTED = 40


class WeighNext(widgets.VBox):
    """A goal in, a list of keys out, with marks on the keyboard."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.goal = slider("Wanted ± of the action ratio", 0.10, 0.04, 0.30, 0.01)
        self.fresh = widgets.Checkbox(
            description="plan a first visit, as if nothing had been weighed yet", indent=False,
            layout=widgets.Layout(width="auto"),
        )  # fmt: skip
        self.keyboard, self.text = Keyboard(), words()
        self._asked: object = None
        traitlets.link((bench, "key"), (self.keyboard, "key"))
        super().__init__([self.goal, self.fresh, self.text, self.keyboard])
        later = Later(_PAUSE_SECONDS, self.refresh)
        for control in (self.goal, self.fresh):
            control.observe(lambda _: later.ask(), "value")
        bench.observe(lambda _: later.ask(), ["instrument", "visit"])
        self.refresh()

    def planning(self) -> Callable[[], WeighingPlan]:
        """Return what makes the plan for the goal that is set; a narrow goal takes seconds."""
        bench, goal = self.bench, self.goal.value
        if self.fresh.value:
            return partial(first_visit_plan, usual_bench(bench.instrument.keys), goal)
        return partial(weigh_next, bench.table, goal, bench.findings.trends)

    def refresh(self) -> None:
        """Make the plan anew beside the kernel; list and mark it when it is there."""
        self._asked = asked = object()
        if self.bench.instrument.settings.action == "upright":
            self.text.value = "An upright has no action ratio to plan for."
            return
        self.text.value = "⏳ <b>Working:</b> looking for the shortest way to this goal."
        beside(self.planning(), lambda plan: self._take(asked, plan))

    def _take(self, asked: object, plan: WeighingPlan) -> None:
        if asked is not self._asked:  # another goal was set meanwhile
            return
        self.keyboard.sticks = self.bench.instrument.keys[["note_name", "colour"]].to_dict(
            "records"
        )
        steps = [
            (int(line["key"]), _labels(line["quantities"]), f"{line['worst_u']:.3f}")
            for line in plan.steps.to_dict("records")
        ]
        self.keyboard.marks = {str(key): f"weigh: {what}" for key, what, _ in steps}
        self.text.value = "<br>".join(self._told(plan, steps))

    def _told(self, plan: WeighingPlan, steps: list[tuple[int, str, str]]) -> list[str]:
        told = []
        if not steps and plan.reached:
            told.append(
                f"Nothing more is needed: every action ratio is known to ± "
                f"{float(plan.end_u.max()):.3f} or better."
            )
        else:
            told.append(
                f"<b>{plural(len(steps), 'key')}, {plural(plan.readings, 'reading')}.</b> "
                f"The least known action ratio goes from ± {float(plan.start_u.max()):.2f} to ± "
                f"{float(plan.end_u.max()):.3f} (standard uncertainty)."
            )
        if plan.remark:
            told.append(escape(plan.remark))
        if steps:
            headings = ("Key", "Read", "Least known ratio then, ±")
            told.append(table_html(headings, steps[:_LISTED]))
        return told


def _labels(names: str) -> str:
    return ", ".join(QUANTITIES[name].label.lower() for name in names.split(", "))


def weigh_next_panel(bench: Bench) -> widgets.VBox:
    """Which keys to weigh next, marked and listed."""
    return panel(
        "What to weigh next",
        words(
            "Hammers, wippens and ratios change slowly over the keyboard, so a few keys tell of "
            "the others. Set how well every action ratio should be known; the list is the "
            "shortest way there that was found, the most useful key first."
        ),
        WeighNext(bench),
    )
