"""The choice of leads and springs on the bench: one state that all its panels look at."""

from __future__ import annotations

from collections.abc import Callable

import traitlets

from balancekit.calculation.leads.layout import RowLayout
from balancekit.calculation.problems import BalancekitError
from balancekit.instrument.bench import Bench
from balancekit.instrument.choices.hammer_choice import CHAPTER as HAMMERS
from balancekit.instrument.choices.hammer_choice import SET_TABLE
from balancekit.instrument.choices.lead_choice import (
    CHAPTER,
    PROPOSAL,
    LeadChoice,
    choice_of,
    with_choice,
)
from balancekit.instrument.choices.lead_inputs import READ_FROM, Asked, LeadInputs, lead_inputs
from balancekit.instrument.choices.lead_plan import LeadPlan
from balancekit.panels.choice import ChoiceDesk
from balancekit.panels.frame import beside

MOST_LIVE = 4
"""With more plugs to a key than this a layout may take seconds, and is sought beside."""

MOST_LINES = 4
"""Layouts in lines that are remembered."""


class LeadDesk(ChoiceDesk[LeadChoice, LeadInputs]):
    """The choice as it stands on the screen, what follows from it, and its saving.

    Traits
    ------
    laying : whether a layout in lines is being sought.
    """

    laying = traitlets.Bool(False)
    proposal = PROPOSAL

    def __init__(self, bench: Bench) -> None:
        self._kept: object = None
        self._plan: LeadPlan | None = None
        self._lines: dict[Asked, RowLayout] = {}
        self._searching = False
        self._waiting: list[Callable[[], None]] = []
        super().__init__(bench)

    # What is seen

    @property
    def plan(self) -> LeadPlan:
        """What follows from the choice, worked out once for each change."""
        made = self._plan
        if made is None or made.inputs is not self.inputs:
            made = LeadPlan(self.inputs, self.choice)
        elif made.choice is not self.choice:
            made = made.following(self.choice)
        self._plan = made
        return made

    @property
    def lines(self) -> RowLayout | None:
        """The layout in lines for what is asked now; None while it was not sought."""
        return self._lines.get(self.plan.asked)

    # What changes it

    @property
    def ready(self) -> bool:
        """Whether the layout is at hand, or found so soon that a slider can wait for it."""
        return self.choice.most_plugs_in <= MOST_LIVE or "free" in vars(self.plan)

    def get_ready(self, call: Callable[[], None]) -> None:
        """Find the layout beside the kernel, and call a view when it is there."""
        if call not in self._waiting:
            self._waiting.append(call)
        if not self._searching:
            self._searching = True
            plan = self.plan
            beside(lambda: plan.free, lambda _: self._layout_found(), self._no_layout)

    def _no_layout(self, why: str) -> None:
        self._searching, self.said = False, why

    def _layout_found(self) -> None:
        self._searching = False
        waiting, self._waiting = self._waiting, []
        for call in waiting:
            call()

    def lay_lines(self) -> None:
        """Seek the layout in lines beside the kernel, and show it when it is there."""
        if self.laying or self.lines is not None:
            return
        plan = self.plan
        self.laying = True
        beside(
            lambda: _lines_of(plan), lambda found: self._lines_found(plan, found), self._no_lines
        )

    def _no_lines(self, why: str) -> None:
        self.laying, self.said = False, why

    def _lines_found(self, plan: LeadPlan, found: RowLayout | BalancekitError) -> None:
        self.laying = False
        if isinstance(found, BalancekitError):
            self.said = f"No lines. {found}"
        else:
            kept = list(self._lines.items())[-MOST_LINES + 1 :]
            self._lines = {**dict(kept), plan.asked: found}
        self._stale = list(self._views)
        self._show_all()

    def as_found(self) -> None:
        """Leave leads and springs as they are; undo brings the choice back."""
        self.keep()
        self.take(self.choice.as_found())
        self.keep()

    def keep(self) -> None:
        """Put the choice into the instrument, and save, if it is not there yet."""
        instrument = self.bench.instrument
        kept = instrument.choices.get(CHAPTER)
        if self.choice.to_json() == (PROPOSAL.to_json() if kept is None else kept):
            return
        self.bench.change(with_choice(instrument, self.choice))
        self.said = self.bench.saved_where

    def keep_proposal(self) -> None:
        """Put the choice into the instrument even where nothing was changed."""
        if self.bench.instrument.choices.get(CHAPTER) is None:
            self.bench.change(with_choice(self.bench.instrument, self.choice))
        self.keep()
        self.said = self.bench.saved_where

    # Following the bench

    def _read(self) -> None:
        """Take what the bench holds; the readings are worked through only if they are new."""
        instrument, visit = self.bench.instrument, self.bench.visit
        if self._work_through(
            lambda: lead_inputs(instrument, visit, self.bench.findings),
            *READ_FROM, SET_TABLE, HAMMERS,
        ):  # fmt: skip
            self._plan, self._lines = None, {}
        kept = instrument.choices.get(CHAPTER)
        if kept == self._kept:
            return  # a control that is moving just now is not set back
        self._kept = kept
        try:
            choice = choice_of(instrument) or PROPOSAL
        except BalancekitError as error:
            self.said = f"The choice that was kept is not used. {error}"
            choice = PROPOSAL
        if choice != self.choice:
            self.choice = choice


def _lines_of(plan: LeadPlan) -> RowLayout | BalancekitError:
    """Return the lines of a plan, or why there are none."""
    try:
        return plan.lines
    except BalancekitError as error:
        return error


def lead_desk(bench: Bench) -> LeadDesk:
    """Return the desk of a bench, always the same one."""
    return bench.desk(LeadDesk)
