"""What an apprentice has practised over all lessons, and what is to be repeated when.

Kept in one file in the user's own folder. A kind that was right at once comes again after a
longer while each time; one that was not comes again the next day.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from datetime import date, timedelta
from typing import Any

from balancekit.instrument.in_hand import home_folder, keep_at_home, kept_at_home

FILE = "lesson_progress.json"
WAIT_DAYS = (1, 3, 7, 21, 60)
"""Days until a kind comes again, by how often in a row it was right at once."""
# Our own choice: each time about three times as long.


@dataclass(frozen=True)
class Mark:
    """How one kind of task has gone.

    Attributes
    ----------
    times, right : how often it was done, and how often right at once.
    in_a_row : how often right at once since the last miss.
    last, due : when it was done last, and when it is to come again; ISO 8601 dates.
    """

    times: int = 0
    right: int = 0
    in_a_row: int = 0
    last: str = ""
    due: str = ""

    def after(self, at_once: bool, today: date) -> Mark:
        """Return the mark after one more time.

        >>> Mark().after(True, date(2026, 3, 1)).after(True, date(2026, 3, 2)).due
        '2026-03-09'
        """
        row = self.in_a_row + 1 if at_once else 0
        wait = WAIT_DAYS[min(row, len(WAIT_DAYS) - 1)]
        due = today + timedelta(days=wait)
        return replace(
            self, times=self.times + 1, right=self.right + at_once, in_a_row=row,
            last=today.isoformat(), due=due.isoformat(),
        )  # fmt: skip


def read_progress() -> dict[str, Mark]:
    """Return the mark of each kind; those that are not whole are left out."""
    kept = kept_at_home(FILE)
    kinds = kept.get("kinds") if isinstance(kept, dict) else None
    marks = {
        str(kind): _mark(mark) for kind, mark in kinds.items()
    } if isinstance(kinds, dict) else {}  # fmt: skip
    return {kind: mark for kind, mark in marks.items() if mark is not None}


def _mark(kept: Any) -> Mark | None:
    """Return a mark as it was kept, or None where a part of it cannot be."""
    usual = asdict(Mark())
    if not isinstance(kept, dict) or not kept.keys() <= usual.keys():
        return None
    whole = {**usual, **kept}
    return Mark(**whole) if all(type(whole[n]) is type(usual[n]) for n in usual) else None


def note(kind: str, at_once: bool, today: date | None = None) -> str:
    """Note that a task was done; say it if that could not be kept, else return "".

    Parameters
    ----------
    kind : of exercise, or the name of another task.
    at_once : whether it was right at once.
    today : the date; today if left out.
    """
    marks = read_progress()
    marks[kind] = marks.get(kind, Mark()).after(at_once, today or date.today())
    kept = {"version": 1, "kinds": {name: asdict(mark) for name, mark in marks.items()}}
    if keep_at_home(FILE, kept):
        return ""
    return f"Your progress could not be kept in {home_folder()}."


def due_kinds(marks: Mapping[str, Mark], today: date | None = None) -> list[str]:
    """Return the kinds that are to be repeated, the longest overdue first.

    >>> due_kinds({"lead": Mark(due="2026-03-04"), "dip": Mark(due="2026-03-02")},
    ...           date(2026, 3, 4))
    ['dip', 'lead']
    """
    day = (today or date.today()).isoformat()
    return [k for k, m in sorted(marks.items(), key=lambda each: each[1].due) if m.due <= day]
