"""What is believed of every key of one visit: the one place that plans and pages ask.

The table holds the best estimate of each quantity with its standard uncertainty. Joint draws
of the true values go with it, because errors that keys share do not average out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from balancekit.calculation import balance
from balancekit.calculation.quantities import QUANTITIES, READING_COLUMNS, uncertainty_name
from balancekit.calculation.weighing.sampling import fill_gaps
from balancekit.instrument.findings import Findings, find_all, flag_words
from balancekit.instrument.model import Instrument
from balancekit.instrument.table import add_results, key_table, reading_table

Floats = NDArray[np.float64]

DRAWN = (
    "front_weight_g",
    "strike_weight_g",
    "wippen_weight_g",
    "key_ratio",
    "action_ratio",
    "friction_g",
    "spring_relief_g",
)
"""The true values of a key that vary on their own; the balance weight follows from them."""

BELIEVED = (*DRAWN[:6], "balance_weight_g", "spring_relief_g")
"""The quantities of the table, in order."""


@dataclass(frozen=True)
class Group:
    """Keys that are shifted together against those beside them.

    Attributes
    ----------
    first_key, last_key : the run; only the sharps within it where ``members`` says so.
    members : "keys" or "sharps".
    quantity : what is shifted, a name of the register.
    shift, shift_u : how much, and its standard uncertainty, in the quantity's unit.
    likely_cause : what explains it, and what else of these keys is shifted with it.
    check : what to measure at the bench to tell.
    """

    first_key: int
    last_key: int
    members: str
    quantity: str
    shift: float
    shift_u: float
    likely_cause: str
    check: str


@dataclass(frozen=True, eq=False)
class Believed:
    """What is believed of one visit.

    Attributes
    ----------
    table : indexed by every key: ``note_name, colour``, then each of ``BELIEVED`` with the
        column of its standard uncertainty. What nothing tells of is missing (NaN).
    weigh_first : by key, why a reading of it is doubted; nothing irreversible is planned there.
    groups : keys that are shifted together, from the left.
    centre, root : joint normal of ``DRAWN``, stacked one after the other, each over the keys;
        one draw is ``centre + root @ z`` with independent standard normals z.
    """

    table: pd.DataFrame
    weigh_first: Mapping[int, str]
    groups: tuple[Group, ...]
    centre: Floats
    root: Floats

    def draws(self, count: int, seed: int) -> dict[str, Floats]:
        """Return joint draws of the true values, each of shape (count, keys).

        Errors that keys share are drawn once. The balance equation holds in every draw.

        Parameters
        ----------
        count : how many.
        seed : the same seed gives the same draws.
        """
        normals = np.random.default_rng(seed).standard_normal((count, self.root.shape[1]))
        stacked = self.centre + normals @ self.root.T
        parts = dict(zip(DRAWN, np.split(stacked, len(DRAWN), axis=1), strict=True))
        parts["balance_weight_g"] = balance.solve_for_balance_weight(
            **{name: parts[name] for name in balance.TERMS if name != "balance_weight_g"}
        )
        return {name: parts[name] for name in BELIEVED}

    @cached_property
    def keys(self) -> pd.Index:
        """The keys of the instrument."""
        return self.table.index


def believe(instrument: Instrument, visit: int = 0, findings: Findings | None = None) -> Believed:
    """Work out what is believed of one visit.

    Parameters
    ----------
    instrument : what was given.
    visit : which set of readings, 0 for the first.
    findings : of that visit, if at hand.
    """
    found = findings or find_all(instrument, visit, reading_table(instrument, visit))
    table = found.table[["note_name", "colour"]].copy()
    for name in BELIEVED:
        trend = found.trends.get(name)
        read = found.table[name].astype(float)
        u = uncertainty_name(name)
        table[name] = read if trend is None else trend.value
        table[u] = found.table[u].astype(float) if trend is None else trend.value_u
    centre = table[list(DRAWN)].to_numpy().T.ravel()
    spread = table[[uncertainty_name(name) for name in DRAWN]].to_numpy().T.ravel()
    return Believed(table, weigh_first(found), (), centre, np.diag(spread))


def weigh_first(findings: Findings) -> dict[int, str]:
    """Say by key which reading is doubted and was not confirmed.

    Friction that stands out is no doubt: easing a centre can be undone, and lead and hammers
    do not rest on it.
    """
    words: dict[int, list[str]] = {}
    for flag in findings.flags:
        doubted = flag.kind == "slip" or (
            flag.kind == "stands-out" and flag.quantity != "friction_g"
        )
        if doubted:
            words.setdefault(flag.key, []).append(flag_words(flag))
    for doubt in findings.doubts:
        if doubt.key is not None and doubt.kind != "missing reading" and doubt.key not in words:
            label = QUANTITIES[doubt.quantity].label if doubt.quantity in QUANTITIES else "Row"
            words[doubt.key] = [f"{label.lower()} {doubt.read}"]
    return {key: f"Weigh first: {'; '.join(said)}." for key, said in sorted(words.items())}


def without_slips(instrument: Instrument, findings: Findings) -> pd.DataFrame:
    """Return the table of keys with readings that look like slips taken out.

    What the trend can tell is filled in, with its larger uncertainty, and named in
    ``estimated``; down and up weight are not filled in, because friction is each key's own.

    Parameters
    ----------
    instrument : what was given.
    findings : of one of its visits.
    """
    read = findings.table
    slips = [
        flag for flag in findings.flags if flag.kind == "slip" and flag.quantity in READING_COLUMNS
    ]
    if not slips:
        return key_table(instrument, read=read, trends=findings.trends)
    table = read.copy()
    for flag in slips:
        table.loc[flag.key, [flag.quantity, uncertainty_name(flag.quantity)]] = float("nan")
    upright = instrument.settings.action == "upright"
    if not upright:
        names = [name for name in READING_COLUMNS[2:] if name in findings.trends]
        table = fill_gaps(table, names, findings.trends)
    add_results(table, upright)
    for flag in slips:
        if flag.quantity in READING_COLUMNS[:2]:
            said = str(table.at[flag.key, "estimated"])
            table.at[flag.key, "estimated"] = ", ".join(filter(None, [said, flag.quantity]))
    return table
