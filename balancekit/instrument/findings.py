"""What the readings of one visit say: trends, what stands out, and in which cell of the grid."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import pandas as pd

from balancekit.calculation.believed.joint import Known
from balancekit.calculation.believed.runs import Run
from balancekit.calculation.believed.usual import Usual
from balancekit.calculation.by_value import ByValue
from balancekit.calculation.irregularities.judge_table import judge_table
from balancekit.calculation.irregularities.slips import Flag
from balancekit.calculation.irregularities.trend import Trend
from balancekit.calculation.quantities import QUANTITIES, READING_COLUMNS
from balancekit.instrument.doubts import (
    COLUMNS_EXCHANGED,
    MARKED,
    MISSING_READING,
    SLIP,
    Doubt,
    find_doubts,
)
from balancekit.instrument.entry import entry_ids
from balancekit.instrument.in_cells import card
from balancekit.instrument.model import Instrument
from balancekit.instrument.shared_errors import shared_errors
from balancekit.instrument.usual_in_use import shop


@dataclass(frozen=True, eq=False, repr=False)
class Findings(ByValue):
    """What was found in one set of readings.

    Attributes
    ----------
    trends : by quantity; a quantity with no reading has none.
    flags : what is missing, looks like a slip, or stands out; confirmed readings left out.
    doubts : what the plain rules doubt, repeats that disagree among them.
    table : the reading table that it was found in; see ``reading_table``.
    known : what is known of the readings as a whole, their groups among it; see ``joint.Known``.
    kept : what was worked out from the findings since, so that it is worked out once.
    """

    trends: Mapping[str, Trend]
    flags: tuple[Flag, ...]
    doubts: tuple[Doubt, ...]
    table: pd.DataFrame
    known: Known = field(default_factory=Known, compare=False)
    kept: dict[str, Any] = field(default_factory=dict, compare=False)

    def __repr__(self) -> str:
        told = "; ".join(f"{name}: {fact}" for name, fact in self._facts().items())
        return f"<Findings {told}>"

    def _repr_html_(self) -> str:
        rows = [
            (d.key, ", ".join(d.quantities), d.kind, d.read, d.expected)
            for d in self.told
            if d.kind != MISSING_READING
        ]
        columns = ["key", "quantity", "kind", "read", "expected"]
        return card("Findings", self._facts(), pd.DataFrame(rows, columns=columns))

    def _facts(self) -> dict[str, object]:
        kinds = [doubt.kind for doubt in self.told]
        counts = {kind: kinds.count(kind) for kind in dict.fromkeys(kinds)}
        return {
            "Flags": ", ".join(f"{count} {kind}" for kind, count in counts.items()) or "none",
            "Trends": ", ".join(self.trends) or "none",
        }

    @property
    def runs(self) -> Mapping[str, Sequence[Run]]:
        """Keys that are shifted together, by quantity; see ``believed.groups``."""
        return self.known.runs

    @cached_property
    def told(self) -> tuple[Doubt, ...]:
        """Everything that is doubted, each once: what import, grid, list and report say."""
        return one_list(self.flags, self.doubts)

    def of_key(self, key: int) -> list[Doubt]:
        """Return what is doubted on one key, what is missing left out."""
        return [d for d in self.told if d.key == key and d.kind != MISSING_READING]

    def sentences(self, *quantities: str) -> dict[int, str]:
        """Say by key what is doubted in the named quantities, and in the readings behind them.

        Raises
        ------
        BalancekitError : a quantity that is not in the register.
        """
        named = {QUANTITIES[name].name for name in quantities}
        words: dict[int, list[str]] = {}
        for doubt in self.told:
            chosen = not named or named & set(doubt.quantities)
            if doubt.key is not None and doubt.kind != MISSING_READING and chosen:
                words.setdefault(doubt.key, []).append(doubt.words)
        return {key: "; ".join(said) for key, said in words.items()}


def find_all(
    instrument: Instrument,
    visit: int,
    table: pd.DataFrame,
    usual: Mapping[str, Usual] | None = None,
) -> Findings:
    """Work out the findings of one visit from its reading table; see ``reading_table``.

    ``usual`` is what instruments weighed before tell; those of the shop in use if left out.
    """
    held, settings = instrument.visits[visit], instrument.settings
    usual = shop().usual(instrument) if usual is None else usual
    shared = shared_errors(instrument, visit)
    hung = settings.action != "upright"
    judged = judge_table(table, shared=shared, usual=usual, confirmed=held.confirmed, hung=hung)
    doubts = find_doubts(held.readings, settings.reading_u, settings.key_count, settings.first_note)
    open_doubts = tuple(d for d in doubts if _open(d, held.confirmed))
    return Findings(judged.trends, judged.flags, open_doubts, table, judged.known)


def _open(doubt: Doubt, confirmed: frozenset[tuple[int, str]]) -> bool:
    return (doubt.key, doubt.quantity) not in confirmed


_EXCHANGED = {"down_weight_g", "up_weight_g", "friction_g"}
"""What is wrong on every key where down and up weight are exchanged as a whole."""


def one_list(flags: Sequence[Flag], doubts: Sequence[Doubt]) -> tuple[Doubt, ...]:
    """Put what the other keys do not believe and what the rows give to doubt into one list.

    A reading stands in it once. What the rows say of it goes before, a mark of its writer
    behind; two columns that are exchanged are one doubt.
    """
    by_place = {(doubt.key, doubt.quantity): doubt for doubt in doubts}
    whole = any(doubt.kind == COLUMNS_EXCHANGED for doubt in doubts)
    found: list[Doubt] = []
    for doubt in _from_flags(flags):
        if whole and _EXCHANGED & set(doubt.quantities):
            continue
        places = [(doubt.key, name) for name in doubt.quantities]
        above = [(doubt.key, "key"), (None, doubt.quantity), (None, "key")]
        if doubt.kind == MISSING_READING and any(place in by_place for place in above):
            continue
        plain = [by_place[place] for place in places if place in by_place]
        if any(each.kind not in (MARKED, MISSING_READING) for each in plain):
            continue
        if any(each.kind == MARKED for each in plain):
            doubt = replace(doubt, advice=f"{doubt.advice} It had a question mark.")
        for place in places:
            by_place.pop(place, None)
        found.append(doubt)
    order = {name: place for place, name in enumerate(("key", *QUANTITIES))}
    found += by_place.values()
    return tuple(sorted(found, key=lambda each: (each.key or 0, order[each.quantity])))


def from_flag(flag: Flag) -> Doubt:
    """Return a flag as a doubt, in words."""
    text = QUANTITIES[flag.quantity].text
    known = flag.fits == flag.fits and flag.quantity in READING_COLUMNS
    fits = ((flag.quantity, flag.fits),) if known else ()
    if flag.kind == "missing":
        read = f"no {QUANTITIES[flag.quantity].label.lower()}"
        return Doubt(flag.key, flag.quantity, MISSING_READING, read, text(flag.expected),
                     flag.advice)  # fmt: skip
    expected = text(flag.expected)
    return Doubt(flag.key, flag.quantity, flag.kind, text(flag.read), expected, flag.advice, fits)


def _from_flags(flags: Sequence[Flag]) -> Iterator[Doubt]:
    """Return flags as doubts; two whose readings fit each other's column are one."""
    rest = list(flags)
    while rest:
        flag = rest.pop(0)
        other = next((each for each in rest if _exchanged(flag, each)), None)
        if other is None:
            yield from_flag(flag)
            continue
        rest.remove(other)
        one, two = from_flag(flag), from_flag(other)
        labels = [QUANTITIES[each.quantity].label.lower() for each in (one, two)]
        yield replace(
            one,
            read=f"{labels[0]} {one.read}, {labels[1]} {two.read}",
            expected=f"{one.expected} and {two.expected}",
            fits=one.fits + two.fits,
        )


def _exchanged(flag: Flag, other: Flag) -> bool:
    slips = flag.kind == other.kind == SLIP and flag.key == other.key
    return slips and flag.fits == other.read and other.fits == flag.read


def cell_doubts(instrument: Instrument, visit: int, findings: Findings) -> dict[str, Doubt]:
    """Say by what a cell of the bench grid is doubted, by ``"row id:column"``.

    What stands out in friction, balance weight or action ratio has no cell of its own.
    """
    ids: dict[int, list[str]] = {}
    for row_id in entry_ids(instrument, visit):
        ids.setdefault(int(row_id.partition("-")[0]), []).append(row_id)
    doubts: dict[str, Doubt] = {}
    for doubt in findings.told:
        told = doubt.key is not None and doubt.kind != MISSING_READING
        for name in doubt.quantities if told else ():
            for row_id in ids.get(doubt.key or 0, []) if name in READING_COLUMNS else ():
                doubts.setdefault(f"{row_id}:{name}", doubt)
    return doubts


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
