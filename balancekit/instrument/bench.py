"""The bench: the one state that every panel of a notebook looks at.

Panels observe its traits and call its methods. Nothing here knows a widget.
"""

from __future__ import annotations

import operator
import uuid
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import TypeVar, cast

import pandas as pd
import traitlets

from balancekit.calculation.problems import BalancekitError
from balancekit.instrument.descriptor import identified
from balancekit.instrument.disk import typed_path
from balancekit.instrument.findings import Findings
from balancekit.instrument.in_hand import (
    InHand,
    data_folder,
    demo_in_hand,
    free_folder,
    recall,
    remember,
)
from balancekit.instrument.model import Instrument, Visit
from balancekit.instrument.occasion import Occasion, next_title, with_confirmed
from balancekit.instrument.store import (
    ChangedOnDisk,
    Stamp,
    keep_aside,
    open_folder,
    save_folder,
)

MOST_UNDO = 200
"""Steps of undo that are kept."""

Desk = TypeVar("Desk")

_NOT_SAVED = "Not saved."

_CAME_FROM_DISK = (
    "what is here was taken from disk, where another window may have saved. "
    "Earlier states are in the folder 'versions'."
)


def away_words(away: InHand) -> str:
    """Say that the demo stands in for an instrument whose folder is not there."""
    return (
        f"This is the demo: the instrument in hand last, {away.path.name}, is not where it was, "
        f"{away.path}. Is a disk or a share not connected? It stays in mind until you open or "
        "change another."
    )


def is_same(rests_on: Sequence[object], before: Sequence[object]) -> bool:
    """Whether something rests on the very same objects as before; see ``Bench.rests_on``."""
    return len(rests_on) == len(before) and all(map(operator.is_, rests_on, before))


class Bench(traitlets.HasTraits):
    """One instrument on the bench, the key in hand, and the state of its saving.

    Traits
    ------
    instrument : the instrument as it is now; replaced as a whole by ``change``.
    key : the key in hand.
    visit : the set of readings in hand, 0 for the first.
    saved : a sentence about saving, for a screen.
    shown : the cell that a view was asked to show: ``key``, ``column`` and a running ``number``.
    conflict : whether the folder changed on disk, so that the user must choose.
    away : what was in hand last and is not there, while the demo stands in for it; it is kept in
        mind until something else is opened or changed.
    """

    instrument = traitlets.Instance(Instrument)
    key = traitlets.Int(1)
    visit = traitlets.Int(0)
    saved = traitlets.Unicode("")
    shown = traitlets.Dict()
    conflict = traitlets.Bool(False)
    away = traitlets.Instance(InHand, allow_none=True)

    def __init__(self, instrument: Instrument, folder: Path | None = None) -> None:
        self._undo: list[Instrument] = []
        self._redo: list[Instrument] = []
        self._from_disk = False
        self._stamp: Stamp | None = None
        self._occasions: dict[int, Occasion] = {}
        self._desks: dict[object, object] = {}
        self.usual_number = 0
        self.folder = folder
        super().__init__(instrument=instrument)

    # What is seen

    @property
    def not_saved(self) -> bool:
        """Whether the last saving failed, so that what was entered is only here."""
        return bool(self.saved.startswith(_NOT_SAVED))

    @property
    def saved_where(self) -> str:
        """Where it was saved, in a sentence; "" after a failure, which has a place of its own."""
        return "" if self.not_saved else self.saved

    @property
    def table(self) -> pd.DataFrame:
        """The table of keys of the visit in hand; see ``key_table``."""
        return self.occasion(self.visit).table

    def occasion(self, visit: int) -> Occasion:
        """Return one visit, worked out once for each change."""
        if visit not in self._occasions:
            self._occasions[visit] = Occasion(self.instrument, visit)
        return self._occasions[visit]

    @property
    def findings(self) -> Findings:
        """Trends and flags of the visit in hand; see ``find_all``."""
        return self.findings_of(self.visit)

    def findings_of(self, visit: int) -> Findings:
        """Return the findings of one visit, worked out once for each change."""
        return self.occasion(visit).findings

    @property
    def readings(self) -> pd.DataFrame:
        """The raw readings of the visit in hand."""
        readings: pd.DataFrame = self.instrument.visits[self.visit].readings
        return readings

    @cached_property
    def is_demo(self) -> bool:
        """Whether the instrument comes from ``data``, which is never written."""
        return self.folder is not None and data_folder() in self.folder.parents

    # What changes it

    @traitlets.observe("instrument")
    def _instrument_changed(self, _: object) -> None:
        self._occasions = {}

    def work_out_anew(self) -> None:
        """Work everything out anew, because what is usual changed and the instrument did not."""
        self.usual_number += 1
        self.notify_change(
            traitlets.Bunch(
                name="instrument", old=self.instrument, new=self.instrument, owner=self,
                type="change",
            )
        )  # fmt: skip

    def rests_on(self, visit: int, *kinds: str) -> tuple[object, ...]:
        """Return what the work of one visit rests on: the same objects while nothing changed.

        ``kinds`` are the tables and choices that it rests on besides; see ``is_same``.
        """
        held = self.instrument
        parts = (held.visits[visit], held.settings, held.sections, self.usual_number)
        return (*parts, *held.marks(*kinds))

    @traitlets.validate("key")
    def _key_on_keyboard(self, proposal: dict[str, int]) -> int:
        most: int = self.instrument.settings.key_count
        return max(1, min(proposal["value"], most))

    @traitlets.validate("visit")
    def _visit_exists(self, proposal: dict[str, int]) -> int:
        return max(0, min(proposal["value"], len(self.instrument.visits) - 1))

    @traitlets.observe("key", "visit")
    def _remember(self, _: object) -> None:
        if self.folder is not None and self.away is None:
            remember(InHand(str(self.folder), self.key, self.visit))

    def change(
        self, instrument: Instrument, *, save: bool = True, through: Sequence[Instrument] = ()
    ) -> None:
        """Put a changed instrument on the bench, keep the old one for undo, and save.

        ``through`` are changes on the way that undo takes back one by one.
        """
        if instrument is self.instrument:
            return
        self._undo = [*self._undo, self.instrument, *through][-MOST_UNDO:]
        self._redo = []
        self._take(instrument)
        if save:
            self.save()

    def _take(self, instrument: Instrument) -> None:
        with self.hold_trait_notifications():
            self.instrument = instrument
            self.key = min(self.key, instrument.settings.key_count)
            self.visit = min(self.visit, len(instrument.visits) - 1)

    @property
    def can_undo(self) -> bool:
        """Whether there is a step to take back."""
        return bool(self._undo)

    @property
    def can_redo(self) -> bool:
        """Whether there is a step to do again."""
        return bool(self._redo)

    def undo(self) -> None:
        """Take the last change back, and save; never a change that came from disk."""
        if not self._undo and self._from_disk:
            self.saved = f"Nothing to take back: {_CAME_FROM_DISK}"
        if self._undo:
            self._redo.append(self.instrument)
            self._take(self._undo.pop())
            self.save()

    def redo(self) -> None:
        """Do the change again that was taken back, and save; never over what came from disk."""
        if not self._redo and self._from_disk:
            self.saved = f"Nothing to do again: {_CAME_FROM_DISK}"
        if self._redo:
            self._undo.append(self.instrument)
            self._take(self._redo.pop())
            self.save()

    # Saving

    def save(self, *, replace_changed: bool = False) -> None:
        """Save to the folder; the demo is saved as the user's own copy.

        Never raises for a disk that fails: what was entered stays here, and
        ``saved`` says what happened.
        """
        if self.folder is None or self.is_demo:
            self._move_to(free_folder(self.instrument.title), None)
        assert self.folder is not None
        try:
            self._stamp = save_folder(
                self.instrument, self.folder, self._stamp, replace_changed=replace_changed
            )
        except ChangedOnDisk as error:
            self.conflict = True
            self.saved = f"{_NOT_SAVED} {error}"
        except BalancekitError as error:
            self.conflict = False
            self.saved = f"{_NOT_SAVED} {error}"
        else:
            self.conflict, self.away = False, None
            self.saved = f"Saved in {self.folder.name}."
            self._remember(None)

    def save_anew(self) -> None:
        """Save to a new folder, and go on there; if that fails too, stay with the one there is."""
        before = self.folder, self._stamp
        self._move_to(free_folder(self.instrument.title), None)
        self.save()
        if self.not_saved:
            self._move_to(*before)

    def take_from_disk(self) -> None:
        """Drop what is here and take what the folder holds.

        What was here is kept among the versions of the folder. Undo and redo do not cross this:
        they would bring back a state from before what another window saved.

        Raises
        ------
        BalancekitError : the folder cannot be read, or what is here cannot be kept; the bench
            stays as it was.
        """
        assert self.folder is not None
        instrument, stamp = open_folder(self.folder)
        kept = keep_aside(self.instrument, self.folder)
        self._stamp = stamp
        self._undo, self._redo, self._from_disk = [], [], True
        self._take(instrument)
        self.conflict = False
        self.saved = f"Taken from {self.folder.name}. What was here is in versions/{kept}."

    def open(self, folder: Path, away: InHand | None = None) -> None:
        """Put another instrument on the bench and take it in hand.

        Parameters
        ----------
        folder : of the instrument.
        away : what should have been opened and is not there.

        Raises
        ------
        BalancekitError : the folder cannot be read; the bench stays as it was.
        """
        instrument, stamp = open_folder(folder)
        self._undo, self._redo, self._from_disk = [], [], False
        self._move_to(folder, stamp)
        self.conflict, self.away = False, away
        self._take(identified(instrument))
        if away is not None:
            self.saved = away_words(away)
        elif self.is_demo:
            self.saved = "This is the demo. A change makes your own copy of it."
        else:
            self.saved = f"Opened {folder.name}."
        self._remember(None)

    def look_again(self) -> None:
        """Open what was in hand last, if its folder is back."""
        held = self.away
        if held is not None and held.is_there:
            self.open(held.path)
            self.key, self.visit = held.key, held.visit

    def start(self, instrument: Instrument) -> None:
        """Put a new instrument on the bench, in a folder of its own, and save it."""
        self._undo, self._redo, self._from_disk = [], [], False
        self._move_to(free_folder(instrument.title), None)
        self._take(replace(instrument, identity=instrument.identity or str(uuid.uuid4())))
        self.save()

    def _move_to(self, folder: Path | None, stamp: Stamp | None) -> None:
        self.folder, self._stamp = folder, stamp
        self.__dict__.pop("is_demo", None)

    def add_visit(self, visit: Visit) -> None:
        """Add a set of readings under a name of its own, take it in hand, and save."""
        count = len(self.instrument.visits)
        named = replace(visit, title=next_title(self.instrument.visits, visit.title))
        self.change(self.instrument.with_visit(named, count))
        self.visit = count

    def confirm(self, key: int, *quantities: str) -> None:
        """Keep doubted readings of a key as they are; they are asked no more."""
        kept = with_confirmed(self.instrument.visits[self.visit], key, quantities)
        self.change(self.instrument.with_visit(kept, self.visit))

    def show(self, key: int, column: str) -> None:
        """Take a key in hand and let the grid show one of its cells."""
        self.key = key
        self.shown = {"key": self.key, "column": column, "number": self.shown.get("number", 0) + 1}

    def desk(self, make: Callable[[Bench], Desk]) -> Desk:
        """Return the state that all panels of one topic share on this bench, made at first use."""
        if make not in self._desks:
            self._desks[make] = make(self)
        return cast(Desk, self._desks[make])

    def when_changed(self, call: Callable[[], None], *names: str) -> None:
        """Call a function now and whenever one of the named traits changes."""
        self.observe(lambda _: call(), names=list(names or ("instrument", "visit", "key")))
        call()


def open_bench(folder: str | Path | None = None) -> Bench:
    """Return a bench with the instrument in hand, or with the one in a folder.

    Where the folder in hand is not there (a share that is away), the demo stands in for it, and
    that is printed, so that it is read at the top of every notebook.

    Raises
    ------
    BalancekitError : the folder cannot be read.
    """
    held = InHand(str(typed_path(folder).absolute())) if folder is not None else recall()
    bench, away = Bench(Instrument()), None
    if folder is None and not held.is_there:
        held, away = demo_in_hand(), held
        print(away_words(away))  # noqa: T201  (what the first cell of a notebook shows)
    bench.open(held.path, away)
    bench.key, bench.visit = held.key, held.visit
    return bench
