"""The work on the bench: one state that all panels of sheets and proof look at."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd
import traitlets

from balancekit.calculation.problems import BalancekitError, refuse
from balancekit.calculation.proof.evenness import compare_evenness
from balancekit.instrument.bench import Bench, is_same
from balancekit.instrument.choices.hammer_choice import HammerChoice
from balancekit.instrument.choices.hammer_inputs import hammer_inputs
from balancekit.instrument.choices.hammer_plan import HammerPlan
from balancekit.instrument.choices.sheet_plan import (
    DECIDED,
    DECIDED_IN,
    PROPOSED,
    PlannedInstrument,
    last_sheets,
    planned,
    with_sheets,
)
from balancekit.instrument.model import Instrument
from balancekit.panels.frame import Later
from balancekit.sharing.story import Proof
from balancekit.sharing.work import Work, work_from

_SHOWN_AFTER_S = 0.3
# Our own choice: working a plan out takes about a second, so it waits until changes rest.

MOST_KEPT = 4
"""Plans that are remembered."""


class WorkDesk(traitlets.HasTraits):
    """What is decided as work, and what came of it.

    Traits
    ------
    before, after : the sets of readings that are compared, 0 for the first; ``after`` is -1
        while there is only one.
    """

    before = traitlets.Int(0)
    after = traitlets.Int(-1)

    def __init__(self, bench: Bench) -> None:
        super().__init__()
        self.bench = bench
        self._works: dict[str, tuple[tuple[Any, ...], Work]] = {}
        self._proof: tuple[tuple[object, ...], Proof | None] = ((), None)
        self._views: list[Callable[[], None]] = []
        self._visits: tuple[Any, ...] = ()
        self._later = Later(_SHOWN_AFTER_S, self.show_all)
        self._choose_visits()
        bench.observe(lambda _: self._later.ask(), ["instrument", "visit"])
        self.observe(lambda _: self._later.ask(), ["before", "after"])

    # Before the work

    @property
    def plan(self) -> PlannedInstrument:
        """The plan for the readings in hand: decided, of the last sheets, or proposed.

        Raises
        ------
        BalancekitError : what is kept cannot be read.
        """
        return planned(self.bench.instrument, self.bench.visit, propose=True)

    @property
    def work(self) -> Work:
        """What follows from ``plan``.

        Raises
        ------
        BalancekitError : nothing can be worked out; it says why.
        """
        return self._work(self.plan, self.bench.visit)

    def _work(self, plan: PlannedInstrument, visit: int) -> Work:
        """Work a plan out, once while nothing that it rests on changes."""
        instrument = plan.instrument
        if instrument.visits[visit].readings.empty:
            raise refuse("Nothing was weighed yet.", "Take readings in: notebook 1 · Readings.")
        tables = [kind for kind in instrument.tables if kind != "key_notes"]
        rests_on = self.bench.rests_on(visit, *tables)
        choices = {name: instrument.choices.get(name) for name in DECIDED_IN}
        name = json.dumps([visit, choices], sort_keys=True)
        held, work = self._works.get(name, ((), None))
        if work is None or not is_same(rests_on, held):
            work = work_from(instrument, visit, occasion=self.bench.occasion(visit))
        elif work.title == instrument.title:
            return work
        work = replace(work, title=instrument.title)
        others = list(self._works.items())[-MOST_KEPT + 1 :]
        self._works = {**dict(others), name: (rests_on, work)}
        return work

    def inertia_found_g(self) -> pd.Series:
        """Return the inertia at each key as found [g]; NaN where it is not known."""
        bench = self.bench
        try:
            inputs = hammer_inputs(bench.instrument, bench.visit, bench.findings)
        except BalancekitError:
            return pd.Series(float("nan"), self.work.found.index)  # an upright, or too few readings
        found: pd.Series = HammerPlan(inputs, HammerChoice()).as_found["inertia_g"]
        return found

    # After the work

    @property
    def proof(self) -> Proof | None:
        """The later readings against the plan; None while there are none.

        Raises
        ------
        BalancekitError : nothing can be worked out; it says why.
        """
        if self.after < 0:
            return None
        plan = planned(self.bench.instrument, self.before, self.after)
        work = self._work(plan, self.before)
        made_from = (work.expected, plan.day, self.bench.instrument.visits[self.after])
        held, proof = self._proof
        if proof is None or not is_same(made_from, held):
            proof = Proof(plan, work, self.bench.occasion(self.after))
            self._proof = (made_from, proof)
        return proof

    @property
    def history(self) -> pd.DataFrame:
        """Evenness on every occasion; see ``evenness.compare_evenness``."""
        visits = self.bench.instrument.visits
        read = [number for number, visit in enumerate(visits) if not visit.readings.empty]
        tables = {self.visit_name(n): self.bench.occasion(n).without_slips for n in read}
        return compare_evenness(tables)

    def visit_name(self, number: int) -> str:
        """Return number, title and date of one visit."""
        held = self.bench.instrument.visits[number]
        return f"{number + 1} · {held.title}" + (f", {held.date}" if held.date else "")

    # Following the bench

    def when_changed(self, call: Callable[[], None]) -> None:
        """Call a view now and after each change."""
        self._views.append(call)
        call()

    def show_all(self) -> None:
        """Show every view anew."""
        self._choose_visits()
        for call in self._views:
            call()

    def _choose_visits(self) -> None:
        """Start with the last readings, and those that their work started from."""
        visits = self.bench.instrument.visits
        here = (self.bench.folder, len(visits))
        if here == self._visits:
            return
        self._visits = here
        after = len(visits) - 1
        with self.hold_trait_notifications():
            self.before = max(after - 1, 0)
            self.after = after if after > 0 else -1
            for number in reversed(range(after)):
                if _has_sheets(self.bench.instrument, number, after):
                    self.before = number
                    break

    # What it writes

    def keep_proposal(self) -> None:
        """Keep what is proposed as decided; undo takes it back."""
        plan = self.plan
        if plan.kind == PROPOSED:
            self.bench.change(plan.instrument)

    def folder_for_sheets(self) -> Path:
        """Keep the plan as that of written sheets, and return the instrument's folder.

        Raises
        ------
        BalancekitError : the instrument cannot be saved.
        """
        bench = self.bench
        if self.plan.kind == DECIDED:
            day = date.today().isoformat()
            bench.change(with_sheets(bench.instrument, bench.visit, day))
        return own_folder(bench)


def _has_sheets(instrument: Instrument, visit: int, later: int) -> bool:
    try:
        return last_sheets(instrument, visit, later) is not None
    except BalancekitError:
        return False  # what is wrong with them is said where the plan is shown


def own_folder(bench: Bench) -> Path:
    """Return the folder of the instrument; the demo is saved as the user's own copy first.

    Raises
    ------
    BalancekitError : it cannot be saved.
    """
    if bench.folder is None or bench.is_demo:
        bench.save()
    if bench.folder is None or bench.is_demo or not bench.folder.is_dir():
        raise refuse(bench.saved or "The instrument has no folder.", "Save it, then try again.")
    return bench.folder


def work_desk(bench: Bench) -> WorkDesk:
    """Return the desk of a bench, always the same one."""
    return bench.desk(WorkDesk)
