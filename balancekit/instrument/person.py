"""Who writes: the name is asked once, may stay empty, and is remembered for the next note."""

from __future__ import annotations

from datetime import date

from balancekit.instrument.in_hand import keep_at_home, kept_at_home

LONGEST_NAME = 200

_REMEMBERED = "who_writes.json"


def own_name() -> str:
    """Return the name that was given last; "" if none was."""
    kept = kept_at_home(_REMEMBERED)
    return cleaned(kept) if isinstance(kept, str) else ""


def remember_name(name: str) -> None:
    """Note the name of who writes; where the home folder cannot be written it is asked again."""
    keep_at_home(_REMEMBERED, cleaned(name))


def cleaned(name: str) -> str:
    """Return a name as one line without spaces around it.

    >>> cleaned(" Ada\\nB. ")
    'Ada B.'
    """
    return " ".join(name.split())[:LONGEST_NAME]


def signature(name: str | None = None) -> str:
    """Return who writes, and today.

    Parameters
    ----------
    name : who writes; the remembered name if left out.
    """
    who = own_name() if name is None else cleaned(name)
    return ", ".join(filter(None, (who, date.today().isoformat())))
