"""The choice of hammers on the bench: one state that all hammer panels of a notebook look at."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pandas as pd
import traitlets

from balancekit.calculation.problems import BalancekitError
from balancekit.instrument.bench import Bench
from balancekit.instrument.choices.hammer_choice import (
    CHAPTER,
    PROPOSAL,
    HammerChoice,
    choice_of,
    with_choice,
)
from balancekit.instrument.choices.hammer_inputs import HammerInputs, hammer_inputs
from balancekit.instrument.choices.hammer_plan import HammerPlan, chosen_set
from balancekit.panels.choice import ChoiceDesk


class HammerDesk(ChoiceDesk[HammerChoice, HammerInputs]):
    """The choice as it stands on the screen, what follows from it, and its saving.

    Traits
    ------
    kept : whether the choice on the screen is kept with the instrument.
    """

    kept = traitlets.Bool(False)
    proposal = PROPOSAL

    def __init__(self, bench: Bench) -> None:
        self.set_g: pd.Series | None = None
        self._plan: HammerPlan | None = None
        super().__init__(bench)
        self.kept = self.is_kept

    # What is seen

    @property
    def plan(self) -> HammerPlan:
        """What follows from the choice, worked out once for each change."""
        made = self._plan
        if made is None or made.inputs is not self.inputs:
            made = HammerPlan(self.inputs, self.choice, self.set_g)
        elif made.choice is not self.choice or made.set_g is not self.set_g:
            made = made.following(self.choice, self.set_g)
        self._plan = made
        return made

    # What changes it

    def take(self, choice: HammerChoice, by: Callable[[], None] | None = None) -> None:
        """Take a choice; the view it came from is shown at once, the others at rest."""
        super().take(choice, by)
        self.kept = self.is_kept

    def take_set(self, name: str, weighed_g: pd.Series | None, most_trimmed_g: float) -> None:
        """Plan with another set of hammers, or with the piano's own (no weights)."""
        self.set_g = weighed_g
        self.take(
            replace(
                self.choice,
                hammers=name,
                most_trimmed_g=most_trimmed_g,
                bass_g=None,
                middle_g=None,
                treble_g=None,
            )
        )

    def as_found(self) -> None:
        """Leave the instrument as it is; undo brings the choice back."""
        self.keep()
        self.set_g = None
        self.take(self.choice.as_found())
        self.keep()

    @property
    def is_kept(self) -> bool:
        """Whether the choice on the screen is the one that is kept with the instrument."""
        return bool(self.bench.instrument.choices.get(CHAPTER) == self.choice.to_json())

    def keep(self) -> None:
        """Keep the choice, unless it is only the proposal that nobody touched."""
        if CHAPTER in self.bench.instrument.choices or self.choice != PROPOSAL:
            self.keep_now()

    def keep_now(self) -> None:
        """Put the choice into the instrument, and save, if it is not there yet."""
        if self.is_kept:
            return
        instrument = self.bench.instrument
        try:
            changed = with_choice(instrument, self.choice, self.set_g)
        except BalancekitError as error:
            self.said = f"Not kept. {error}"
            return
        self.bench.change(changed)
        self.said = self.bench.saved_where

    # Following the bench

    def _bench_changed(self) -> None:
        super()._bench_changed()
        self.kept = self.is_kept

    def _read(self) -> None:
        """Take what the bench holds; the readings are worked through only if they are new."""
        instrument, visit = self.bench.instrument, self.bench.visit
        if self._work_through(
            lambda: hammer_inputs(instrument, visit, self.bench.findings),
            "leads", "leads_seen", "key_sticks",
        ):  # fmt: skip
            self._plan = None
        try:
            choice = choice_of(instrument) or PROPOSAL
            weighed_g = chosen_set(instrument, choice)
        except BalancekitError as error:
            self.said = f"The choice that was kept is not used. {error}"
            choice, weighed_g = PROPOSAL, None
        if choice != self.choice:
            self.choice, self.set_g = choice, weighed_g


def hammer_desk(bench: Bench) -> HammerDesk:
    """Return the desk of a bench, always the same one."""
    return bench.desk(HammerDesk)
