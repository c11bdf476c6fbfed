"""What headings of earlier files meant: kept in the user's own folder on this machine.

A meaning is kept when readings are taken, by the words of the heading alone; nothing of the
readings, the instrument or the file's name is.
"""

from __future__ import annotations

from collections.abc import Mapping

from balancekit.instrument.bring_in.import_headings import COLUMNS, plain_heading
from balancekit.instrument.bring_in.import_parts import LEAVE_OUT
from balancekit.instrument.in_hand import keep_at_home, kept_at_home

_FILE = "headings.json"
_MOST = 500
"""Headings that are kept, the latest. Our own choice."""


def remembered_headings() -> dict[str, str]:
    """Return what headings meant in earlier files, by heading; empty if nothing is kept."""
    kept = kept_at_home(_FILE)
    if not isinstance(kept, dict):
        return {}
    return {
        str(heading): meaning
        for heading, meaning in kept.items()
        if meaning in (*COLUMNS, LEAVE_OUT)
    }


def remember_headings(meanings: Mapping[str, str]) -> bool:
    """Keep what headings were said to mean, beside what is kept already.

    Parameters
    ----------
    meanings : column, or "leave out", by heading.

    Returns
    -------
    whether they could be kept; a folder that cannot be written stops nobody's work.
    """
    if not meanings:
        return True
    new = {plain_heading(heading): meaning for heading, meaning in meanings.items()}
    old = {h: m for h, m in remembered_headings().items() if h not in new}
    return keep_at_home(_FILE, dict([*old.items(), *new.items()][-_MOST:]))


def forget_headings(*headings: str) -> bool:
    """Forget what some headings meant; all of them if none is named."""
    gone = {plain_heading(heading) for heading in headings}
    old = remembered_headings()
    return keep_at_home(_FILE, {h: m for h, m in old.items() if gone and h not in gone})
