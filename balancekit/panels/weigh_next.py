"""What to weigh next, so that few weighings teach most."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import ipywidgets as widgets

from balancekit.calculation.believed.name_groups import edge_keys
from balancekit.calculation.quantities import QUANTITIES
from balancekit.calculation.weighing.weighing_knowledge import usual_basis
from balancekit.calculation.weighing.weighing_plan import WeighingPlan, first_visit_plan, weigh_next
from balancekit.calculation.words import escape, plural
from balancekit.instrument.bench import Bench
from balancekit.panels.frame import Later, beside, panel, slider, table_html, words, working, wrong
from balancekit.panels.with_keyboard import keyboard_of, sticks_of

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
        self.keyboard, self.text = keyboard_of(bench, bench.instrument.keys), words()
        self._planning = self._again = False
        super().__init__([self.goal, self.fresh, self.text, self.keyboard])
        self._later = Later(_PAUSE_SECONDS, self.refresh)
        for control in (self.goal, self.fresh):
            control.observe(self._changed, "value")
        bench.observe(self._changed, ["instrument", "visit"])
        self.refresh()

    @property
    def is_upright(self) -> bool:
        """Whether the instrument has no action ratio to plan for."""
        return bool(self.bench.instrument.settings.action == "upright")

    def planning(self) -> Callable[[], WeighingPlan]:
        """Return what makes the plan for the goal that is set; a narrow goal takes seconds."""
        bench, goal = self.bench, self.goal.value
        if self.fresh.value:
            return partial(first_visit_plan, usual_basis(bench.instrument.keys), goal)
        return partial(weigh_next, bench.table, bench.findings.trends, goal)

    def refresh(self) -> None:
        """Make the plan anew beside the kernel, one at a time; show it when it is there."""
        self.say_state()
        self._again = self._planning
        if not (self.is_upright or self._planning):
            work = self.planning()
            self._planning = True
            beside(work, self._take, self._failed)

    def _failed(self, why: str) -> None:
        self._planning = False
        self.text.value = wrong(why)

    def say_state(self) -> None:
        """Say that a plan is being looked for, or why none can be; marks of other keys go."""
        sticks = sticks_of(self.bench.instrument.keys)
        if self.is_upright or sticks != self.keyboard.sticks:
            self.keyboard.sticks, self.keyboard.marks = sticks, {}
        self.text.value = (
            "An upright has no action ratio to plan for."
            if self.is_upright
            else working(
                f"<b>Working:</b> looking for the shortest way to ± {self.goal.value:.2f}."
            )
        )

    def _changed(self, _: object) -> None:
        self._again = self._planning
        self.say_state()
        self._later.ask()

    def _take(self, plan: WeighingPlan) -> None:
        self._planning = False
        if self._again:  # another goal or instrument was taken meanwhile
            self._later.ask()
            return
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
        findings = self.bench.findings
        edges = {} if self.fresh.value else edge_keys(findings.runs, findings.table)
        if edges:
            listed = "; ".join(f"key {key}: {_labels(', '.join(n))}" for key, n in edges.items())
            told.append(f"To see where the groups of keys end, also read {escape(listed)}.")
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
