"""One set of readings of an instrument, with all that follows from it, worked out once."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import count

import pandas as pd

from balancekit.calculation.believed.name_groups import Group
from balancekit.calculation.irregularities.slips import READINGS_BEHIND
from balancekit.calculation.proof.groups_after import all_groups
from balancekit.calculation.proof.plateaus import Plateaus
from balancekit.instrument.believed import Believed, believe
from balancekit.instrument.filled_in import key_table, plateaus_of, without_slips
from balancekit.instrument.findings import Findings, find_all
from balancekit.instrument.model import Instrument, Visit
from balancekit.instrument.table import reading_table

_ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth")


def next_title(visits: Sequence[Visit], wanted: str = "") -> str:
    """Return a name for one more set of readings that none of the others has.

    >>> next_title((Visit(),)), next_title((Visit(),), "as found")
    ('second readings', 'as found (2)')
    >>> next_title((Visit(),) * 20)
    'readings 21'
    """
    taken = {visit.title.casefold() for visit in visits}
    number = len(visits)
    counted = (
        f"{_ORDINALS[number]} readings" if number < len(_ORDINALS) else f"readings {number + 1}"
    )
    name = wanted.strip() or counted
    again = (f"{name} ({number})" for number in count(2))
    return (
        name
        if name.casefold() not in taken
        else next(each for each in again if each.casefold() not in taken)
    )


def with_confirmed(visit: Visit, key: int, quantities: Iterable[str]) -> Visit:
    """Return a visit with doubted readings of a key kept as they are.

    A solved quantity is kept by keeping the readings that it rests on; see ``READINGS_BEHIND``.
    """
    names = {name for each in quantities for name in READINGS_BEHIND.get(each, (each,))}
    return replace(visit, confirmed=visit.confirmed | {(key, name) for name in names})


def still_confirmed(old: Visit, new: Visit) -> frozenset[tuple[int, str]]:
    """Return the readings that were kept, though doubted, and that the new ones have as well."""

    def read(visit: Visit, key: int, name: str) -> list[float]:
        table = visit.readings
        values: list[float] = table.loc[table["key"] == key, name].dropna().tolist()
        return sorted(values)

    return frozenset(
        (key, name) for key, name in old.confirmed if read(old, key, name) == read(new, key, name)
    )


@dataclass(frozen=True, eq=False)
class Occasion:
    """One visit, worked out as far as it is asked for.

    Attributes
    ----------
    instrument : what was given.
    visit : which set of readings, 0 for the first.
    """

    instrument: Instrument
    visit: int = 0

    @property
    def number(self) -> int:
        """The visit, 0 for the first."""
        return self.visit

    @property
    def title(self) -> str:
        """Title of the visit, as the user gave it."""
        return self.instrument.visits[self.visit].title

    @property
    def date(self) -> str:
        """ISO 8601 day of the visit, or ""."""
        return self.instrument.visits[self.visit].date

    @property
    def name(self) -> str:
        """Title and date for a heading."""
        return f"{self.title}, {self.date}" if self.date else self.title

    @cached_property
    def read(self) -> pd.DataFrame:
        """What was read and what follows key by key; see ``reading_table``."""
        return reading_table(self.instrument, self.visit)

    @cached_property
    def findings(self) -> Findings:
        """Trends, flags and doubts; see ``find_all``."""
        return find_all(self.instrument, self.visit, self.read)

    @cached_property
    def table(self) -> pd.DataFrame:
        """The table of keys, gaps filled in; see ``key_table``."""
        return key_table(self.instrument, self.visit, read=self.read, findings=self.findings)

    @cached_property
    def without_slips(self) -> pd.DataFrame:
        """The table of keys without readings that look like slips."""
        return without_slips(self.instrument, self.findings)

    @property
    def plateaus(self) -> Plateaus:
        """Runs of keys that stand off together, as read; see ``plateaus_of``."""
        return plateaus_of(self.instrument, self.findings)

    @cached_property
    def believed(self) -> Believed:
        """What is believed of every key; see ``believe``."""
        return believe(self.instrument, self.visit, self.findings)

    @cached_property
    def groups(self) -> tuple[Group, ...]:
        """Groups of keys, plateaus of the balance weight among them; see ``all_groups``."""
        return all_groups(self.believed.groups, self.plateaus)


def last_occasion(instrument: Instrument) -> Occasion:
    """Return the last set of readings of an instrument."""
    return Occasion(instrument, len(instrument.visits) - 1)
