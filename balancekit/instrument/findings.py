"""What the readings of one visit say: trends, what stands out, and in which cell of the grid."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import pandas as pd

from balancekit.calculation.believed.find import Course, find_groups
from balancekit.calculation.believed.groups import Run
from balancekit.calculation.believed.joint import Known
from balancekit.calculation.irregularities.slips import Flag, find_flags
from balancekit.calculation.irregularities.trend import Trend, fit_table
from balancekit.calculation.quantities import QUANTITIES, READING_COLUMNS
from balancekit.instrument.doubts import Doubt, find_doubts
from balancekit.instrument.entry import entry_ids
from balancekit.instrument.model import Instrument
from balancekit.instrument.shared_errors import Floats, shared_errors


@dataclass(frozen=True)
class Findings:
    """What was found in one set of readings.

    Attributes
    ----------
    trends : by quantity; a quantity with no reading has none.
    flags : what is missing, looks like a slip, or stands out; confirmed readings left out.
    doubts : what the plain rules doubt, repeats that disagree among them.
    table : the reading table that it was found in; see ``reading_table``.
    runs : keys that are shifted together, by quantity; see ``believed.groups``.
    courses : how each series scatters and bends, by quantity.
    shared : errors that readings share, as drift over the session; see ``joint.Known``.
    kept : what was worked out from the findings since, so that it is worked out once.
    """

    trends: Mapping[str, Trend]
    flags: tuple[Flag, ...]
    doubts: tuple[Doubt, ...]
    table: pd.DataFrame = field(repr=False, compare=False)
    runs: Mapping[str, tuple[Run, ...]] = field(default_factory=dict, repr=False, compare=False)
    courses: Mapping[str, Course] = field(default_factory=dict, repr=False, compare=False)
    shared: Mapping[str, Floats] = field(default_factory=dict, repr=False, compare=False)
    kept: dict[str, Any] = field(default_factory=dict, repr=False, compare=False)

    @cached_property
    def by_key(self) -> dict[int, list[Flag]]:
        """Flags of each key, what is missing left out."""
        found: dict[int, list[Flag]] = {}
        for flag in self.flags:
            if flag.kind != "missing":
                found.setdefault(flag.key, []).append(flag)
        return found

    def sentences(self, *quantities: str) -> dict[int, str]:
        """Say by key what stands out in the named quantities, and in the readings behind them."""
        chosen = {
            key: [flag for flag in flags if not quantities or flag.quantity in quantities]
            for key, flags in self.by_key.items()
        }
        return {key: "; ".join(map(flag_words, flags)) for key, flags in chosen.items() if flags}


def flag_words(flag: Flag) -> str:
    """Say what a flag is, with what was read and what was expected."""
    quantity = QUANTITIES[flag.quantity]
    read, expected = quantity.text(flag.read), quantity.text(flag.expected)
    return f"{quantity.label.lower()} {read}, expected {expected}"


def find_all(
    instrument: Instrument, visit: int, table: pd.DataFrame, earlier: Findings | None = None
) -> Findings:
    """Work out the findings of one visit from its reading table; see ``reading_table``.

    ``earlier`` findings spare the work for every series that has not changed since.
    """
    held, settings = instrument.visits[visit], instrument.settings
    groups = find_groups(table)
    trends = fit_table(table, earlier.trends if earlier else None, groups.runs)
    shared = shared_errors(instrument, visit)
    known = Known(trends, groups.courses, shared)
    flags = find_flags(table, trends=trends, confirmed=held.confirmed, known=known)
    doubts = find_doubts(held.readings, settings.reading_u, settings.key_count, settings.first_note)
    open_doubts = tuple(d for d in doubts if _open(d, held.confirmed))
    return Findings(
        trends,
        flags,
        open_doubts,
        table,
        groups.runs,
        groups.courses,
        shared_errors(instrument, visit),
    )


def _open(doubt: Doubt, confirmed: frozenset[tuple[int, str]]) -> bool:
    return (doubt.key, doubt.quantity) not in confirmed


def cell_marks(instrument: Instrument, visit: int, findings: Findings) -> dict[str, str]:
    """Say why a cell of the bench grid is doubted, by ``"row id:column"``.

    A flag on friction, balance weight or action ratio has no cell of its own and is left out.
    """
    ids: dict[int, list[str]] = {}
    for row_id in entry_ids(instrument, visit):
        ids.setdefault(int(row_id.partition("-")[0]), []).append(row_id)
    marks: dict[str, str] = {}
    for flag in findings.flags:
        if flag.kind != "missing" and flag.quantity in READING_COLUMNS:
            for row_id in ids.get(flag.key, []):
                marks[f"{row_id}:{flag.quantity}"] = f"{flag_words(flag)}. {flag.advice}"
    for doubt in findings.doubts:
        if doubt.key is not None and doubt.quantity in READING_COLUMNS:
            for row_id in ids.get(doubt.key, []):
                place = f"{row_id}:{doubt.quantity}"
                marks.setdefault(place, f"{doubt.kind}: {doubt.read}. {doubt.advice}")
    return marks


def expected_words(trends: Mapping[str, Trend], key: int, quantity: str) -> str:
    """Say what the neighbours suggest for one reading, or "" if they say nothing yet."""
    if quantity not in trends:
        return ""
    trend = trends[quantity]
    value, u = float(trend.expected[key]), float(trend.expected_u[key])
    if value != value:
        return ""
    register = QUANTITIES[quantity]
    return f"{register.text(value)} ± {register.text(2 * u)}"
