"""What a report tells, worked out once: tables, findings, work, and the visits after it."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import pandas as pd

from balancekit.calculation.proof.evenness import compare_evenness
from balancekit.calculation.proof.groups_after import (
    Fate,
    follow_groups,
    off_together,
)
from balancekit.calculation.proof.meeting_plan import Coverage, band_coverage, meet_plan
from balancekit.calculation.proof.plateaus import Plateaus
from balancekit.instrument.choices.sheet_plan import PlannedInstrument, planned
from balancekit.instrument.model import Instrument
from balancekit.instrument.occasion import Occasion
from balancekit.sharing.before_after import evenness_before_after
from balancekit.sharing.work import Work, work_from


@dataclass(frozen=True)
class Proof:
    """Later readings against the plan.

    Attributes
    ----------
    plan : the plan that the work was done by.
    work : what follows from it.
    later : the readings after the work.
    """

    plan: PlannedInstrument
    work: Work
    later: Occasion

    @property
    def read(self) -> pd.DataFrame:
        """Table of keys of the later readings, slips taken out."""
        return self.later.without_slips

    @cached_property
    def verdicts(self) -> pd.DataFrame:
        """Key by key, whether it meets the plan; see ``meet_plan``."""
        return meet_plan(self.read, self.work.expected)

    @cached_property
    def coverage(self) -> dict[str, Coverage]:
        """The bands against what came out; see ``band_coverage``."""
        return band_coverage(self.read, self.work.expected)

    @cached_property
    def together(self) -> Plateaus:
        """Runs of keys that came out off the plan together; see ``off_together``."""
        return off_together(self.read, self.work.expected)

    @cached_property
    def fates(self) -> tuple[Fate, ...]:
        """What became of the groups; see ``follow_groups``."""
        return follow_groups(self.work.groups, self.later.groups, self.read, self.work.expected)


@dataclass(frozen=True)
class Story:
    """An instrument with all that a report, sheets or an overview say of it.

    Attributes
    ----------
    instrument : what was given.
    visit : the set of readings that the work starts from.
    """

    instrument: Instrument
    visit: int = 0
    _later: dict[int, Occasion] = field(default_factory=dict, repr=False, compare=False)

    @cached_property
    def first(self) -> Occasion:
        """The readings that the work starts from."""
        return Occasion(self.instrument, self.visit)

    @cached_property
    def plan(self) -> PlannedInstrument:
        """What was decided; once there are later readings, the plan of the last sheets."""
        later = self.proof_numbers[-1] if self.proof_numbers else None
        return planned(self.instrument, self.visit, later)

    @cached_property
    def work(self) -> Work:
        """What follows from the plan."""
        return work_from(self.plan.instrument, self.visit, occasion=self.first)

    @cached_property
    def evenness(self) -> pd.DataFrame:
        """Evenness as found and as expected; see ``evenness_before_after``."""
        return evenness_before_after(self.work)

    @property
    def proof_numbers(self) -> list[int]:
        """The visits after the one that the work starts from."""
        return list(range(self.visit + 1, len(self.instrument.visits)))

    def occasion(self, number: int) -> Occasion:
        """Return one visit, worked out once."""
        if number == self.visit:
            return self.first
        if number not in self._later:
            self._later[number] = Occasion(self.instrument, number)
        return self._later[number]

    @cached_property
    def last(self) -> Occasion | None:
        """The last visit after the work; None before there is one."""
        return self.occasion(self.proof_numbers[-1]) if self.proof_numbers else None

    @cached_property
    def proof(self) -> Proof | None:
        """The last visit against the plan; None before there is one."""
        return None if self.last is None else Proof(self.plan, self.work, self.last)

    @cached_property
    def history(self) -> pd.DataFrame:
        """Evenness on every occasion from the first visit on; see ``compare_evenness``."""
        visits = [self.occasion(number) for number in range(len(self.instrument.visits))]
        named = {f"{visit.number + 1}: {visit.name}": visit for visit in visits}
        return compare_evenness(
            {name: visit.without_slips for name, visit in named.items()},
            {name: visit.plateaus for name, visit in named.items()},
        )
