"""The plan that sheets were written by: kept with the instrument when they are written.

Choices go on changing after the work. What came out is held against the plan that the work
was done by, so each set of sheets keeps the choices that it was written from, and the day.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from balancekit.calculation.problems import BalancekitError, Problem
from balancekit.instrument.choices import chosen_way, hammer_choice, lead_choice
from balancekit.instrument.model import Instrument

CHAPTER = "bench_sheets"
"""Under this name the written sheets stand in ``instrument.choices``."""

DECIDED_IN = (chosen_way.CHAPTER, hammer_choice.CHAPTER, lead_choice.CHAPTER)
"""The chapters whose choices become work."""

DECIDED, WRITTEN, PROPOSED, NOTHING = "decided", "written", "proposed", "nothing"


@dataclass(frozen=True)
class WrittenSheets:
    """One set of sheets.

    Attributes
    ----------
    day : ISO 8601 day on which they were written.
    visit : the set of readings that they were worked out from, 0 for the first.
    choices : what was decided, by chapter.
    """

    day: str
    visit: int
    choices: Mapping[str, Any]


@dataclass(frozen=True)
class PlannedInstrument:
    """A plan: an instrument with the choices that it is worked out from.

    Attributes
    ----------
    instrument : with the choices of the plan in place of its own.
    kind : "decided" (its own choices), "written" (those of sheets), "proposed" (nobody decided
        yet) or "nothing".
    day : on which the sheets were written, or "".
    """

    instrument: Instrument
    kind: str
    day: str = ""


def _problem(value: object, advice: str) -> BalancekitError:
    where = "sheets that were written"
    return BalancekitError(Problem(f"'{str(value)[:60]}' cannot be.", advice, file=where))


def _read(value: object) -> WrittenSheets:
    if not isinstance(value, Mapping):
        raise _problem(value, "Give day, visit and choices.")
    day, visit, choices = (value.get(name) for name in ("day", "visit", "choices"))
    try:
        date.fromisoformat(str(day))
    except ValueError:
        raise _problem(day, "Give a day as year-month-day.") from None
    if not isinstance(visit, int) or isinstance(visit, bool) or visit < 0:
        raise _problem(visit, "Give the number of a set of readings, 0 for the first.")
    if not isinstance(choices, Mapping) or not set(choices) <= set(DECIDED_IN):
        raise _problem(choices, f"Give choices of {' and '.join(DECIDED_IN)}.")
    return WrittenSheets(str(day), visit, choices)


def written_sheets(instrument: Instrument) -> tuple[WrittenSheets, ...]:
    """Return every set of sheets that was written, the oldest first.

    Raises
    ------
    BalancekitError : what is kept cannot be read.
    """
    kept = instrument.choices.get(CHAPTER, [])
    if not isinstance(kept, list):
        raise _problem(kept, "Give a list.")
    return tuple(sorted((_read(value) for value in kept), key=lambda sheets: sheets.day))


def with_sheets(instrument: Instrument, visit: int, day: str) -> Instrument:
    """Return the instrument with its present choices kept as those of written sheets.

    Sheets of the same day and the same readings are replaced.

    Parameters
    ----------
    instrument : as it is.
    visit : the set of readings that the sheets were worked out from.
    day : on which they were written, ISO 8601.

    Raises
    ------
    BalancekitError : not a day, or what is kept cannot be read.
    """
    choices = {name: instrument.choices[name] for name in DECIDED_IN if name in instrument.choices}
    added = {"day": day, "visit": visit, "choices": choices}
    _read(added)
    others = [
        {"day": sheets.day, "visit": sheets.visit, "choices": dict(sheets.choices)}
        for sheets in written_sheets(instrument)
        if (sheets.day, sheets.visit) != (day, visit)
    ]
    return instrument.with_choice(CHAPTER, [*others, added])


def last_sheets(
    instrument: Instrument, visit: int, later: int | None = None
) -> WrittenSheets | None:
    """Return the last sheets written from a set of readings; None if there are none.

    Parameters
    ----------
    instrument : with its choices.
    visit : the set of readings that they were worked out from.
    later : readings after the work; sheets written after their day are left out.

    Raises
    ------
    BalancekitError : what is kept cannot be read.
    """
    until = "" if later is None else instrument.visits[later].date
    found = [
        sheets
        for sheets in written_sheets(instrument)
        if sheets.visit == visit and (not until or sheets.day <= until)
    ]
    return found[-1] if found else None


def planned(
    instrument: Instrument, visit: int, later: int | None = None, *, propose: bool = False
) -> PlannedInstrument:
    """Return the plan that work is done by, or was done by.

    Before the work it is what was decided, else the last sheets. What came out, in later
    readings, is held against the last sheets written before them, else what was decided.

    Parameters
    ----------
    instrument : with its choices.
    visit : the set of readings that the plan is worked out from.
    later : readings after the work; None before it.
    propose : where nobody decided anything, return where the panels start.

    Raises
    ------
    BalancekitError : what is kept cannot be read.
    """
    own = any(name in instrument.choices for name in DECIDED_IN)
    sheets = last_sheets(instrument, visit, later)
    if own and (sheets is None or later is None):
        return PlannedInstrument(instrument, DECIDED)
    if sheets is not None:
        return PlannedInstrument(_with_choices(instrument, sheets.choices), WRITTEN, sheets.day)
    if propose and instrument.settings.action != "upright":
        start = {
            hammer_choice.CHAPTER: hammer_choice.PROPOSAL.to_json(),
            lead_choice.CHAPTER: lead_choice.PROPOSAL.to_json(),
        }
        return PlannedInstrument(_with_choices(instrument, start), PROPOSED)
    return PlannedInstrument(instrument, NOTHING)


def _with_choices(instrument: Instrument, choices: Mapping[str, Any]) -> Instrument:
    others = {name: value for name, value in instrument.choices.items() if name not in DECIDED_IN}
    return replace(instrument, choices={**others, **choices})
