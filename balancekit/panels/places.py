"""What typed text belongs to: a place in one instrument, in words that a new kernel finds again."""

from __future__ import annotations

from balancekit.calculation.problems import BalancekitError, refuse
from balancekit.calculation.words import plural
from balancekit.instrument.model import Instrument

_MARK = " · "
_LETTERS = 8
# So many letters of its identity tell an instrument from another one of the same title.


def place_of(what: str, instrument: Instrument) -> str:
    """Return the place of a part of an instrument, told from that of every other instrument.

    >>> from balancekit.instrument.model import Instrument
    >>> place_of("keys", Instrument(title="Grand", identity="5f3a9c1e-0000"))
    'keys of Grand, 88 keys · 5f3a9c1e'
    """
    count = plural(instrument.settings.key_count, "key")
    return f"{what} of {instrument.title}, {count}{_MARK}{instrument.identity[:_LETTERS]}"


def typed_elsewhere(typed_for: str, here: str) -> BalancekitError:
    """Say that a text was typed for another place than the one that is on the bench."""
    wanted, now = (place.rpartition(_MARK)[0] or place for place in (typed_for, here))
    told = f"This was typed for {wanted}"
    if wanted == now:
        told += " in another instrument of the same name."
    else:
        told += f"; {now} are on the bench now."
    return refuse(told, "Open that instrument or that visit again: it is taken then.")
