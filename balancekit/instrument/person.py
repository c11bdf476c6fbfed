"""Who writes: the name is asked once, may stay empty, and is remembered for the next note."""

from __future__ import annotations

import contextlib
import os
from datetime import date

from balancekit.instrument.in_hand import home_folder

LONGEST_NAME = 200

_REMEMBERED = "who_writes.txt"


def own_name() -> str:
    """Return the name that was given last; "" if none was."""
    try:
        text = (home_folder() / _REMEMBERED).read_text(encoding="utf-8")
    except (OSError, UnicodeError):
        return ""
    return cleaned(text)


def remember_name(name: str) -> None:
    """Note the name of who writes; where the home folder cannot be written it is asked again."""
    home = home_folder()
    with contextlib.suppress(OSError):
        home.mkdir(parents=True, exist_ok=True)
        beside = home / f"{_REMEMBERED}.{os.getpid()}"
        beside.write_text(cleaned(name), encoding="utf-8")
        os.replace(beside, home / _REMEMBERED)


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
