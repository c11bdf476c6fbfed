"""Which keys' plugs are known: a key with no record is unknown, never empty."""

from __future__ import annotations

from balancekit.instrument.model import Instrument


def recorded_keys(instrument: Instrument) -> frozenset[int]:
    """Return the keys whose plugs were recorded, those without any plug among them.

    Nothing is planned, bored, taken out or counted on the others.

    Parameters
    ----------
    instrument : what was given; a key with a row in ``leads`` counts as recorded.

    >>> sorted(recorded_keys(Instrument()))
    []
    """
    rows = (instrument.table("leads")["key"], instrument.table("leads_seen")["key"])
    return frozenset(int(key) for column in rows for key in column)
