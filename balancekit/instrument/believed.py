"""What is believed of every key of one visit: the one place that plans and pages ask.

The table holds the best estimate of each quantity with its standard uncertainty. Joint draws
of the true values go with it, because errors that keys share do not average out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from balancekit.calculation import balance
from balancekit.calculation.believed.following_leads import learn
from balancekit.calculation.believed.joint import balance_slopes
from balancekit.calculation.believed.name_groups import Group, name_groups
from balancekit.calculation.by_value import ByValue
from balancekit.calculation.quantities import (
    PARTS_COLUMNS,
    QUANTITIES,
    uncertainty_name,
)
from balancekit.calculation.words import in_words, plural
from balancekit.instrument.doubts import MISSING_READING
from balancekit.instrument.findings import Findings, find_all, from_flag
from balancekit.instrument.in_cells import card
from balancekit.instrument.model import Instrument
from balancekit.instrument.table import reading_table

Floats = NDArray[np.float64]

BELIEVED = (
    "front_weight_g",
    "strike_weight_g",
    "wippen_weight_g",
    "key_ratio",
    "action_ratio",
    "friction_g",
    "balance_weight_g",
    "spring_relief_g",
)
"""The quantities of the table, in order."""


@dataclass(frozen=True, eq=False, repr=False)
class Believed(ByValue):
    """What is believed of one visit.

    Attributes
    ----------
    table : indexed by every key: ``note_name, colour``, then each of ``BELIEVED`` with the
        column of its standard uncertainty. What nothing tells of is missing (NaN).
    weigh_first : by key, why a reading of it is doubted; nothing irreversible is planned there.
    groups : keys that are shifted together, from the left.
    centre, cover : mean and covariance of ``BELIEVED``, stacked one after the other, each over
        the keys.
    """

    table: pd.DataFrame
    weigh_first: Mapping[int, str]
    groups: tuple[Group, ...]
    centre: Floats
    cover: Floats

    def __repr__(self) -> str:
        return (
            f"<Believed of {plural(len(self.table), 'key')}; to weigh first: "
            f"{', '.join(map(str, self.weigh_first)) or 'none'}>"
        )

    def _repr_html_(self) -> str:
        facts = {"Weigh first": in_words(self.weigh_first) if self.weigh_first else ""}
        return card("What is believed of every key", facts, self.table)

    def draws(self, count: int, seed: int) -> dict[str, Floats]:
        """Return joint draws of the true values, each of shape (count, keys).

        Errors that keys share are drawn once. The balance equation holds in every draw.

        Parameters
        ----------
        count : how many.
        seed : the same seed gives the same draws.
        """
        free, root = self._free
        normals = np.random.default_rng(seed).standard_normal((count, len(free)))
        stacked = np.broadcast_to(self.centre, (count, len(self.centre))).copy()
        stacked[:, free] += normals @ root.T
        parts = dict(zip(BELIEVED, np.split(stacked, len(BELIEVED), axis=1), strict=True))
        solved = balance.solve_for_balance_weight(
            **{name: parts[name] for name in balance.TERMS if name != "balance_weight_g"}
        )
        parts["balance_weight_g"] = np.where(np.isfinite(solved), solved, parts["balance_weight_g"])
        return parts

    def by_key(self, names: Sequence[str]) -> Floats:
        """Return the covariance of some quantities at each key, (K, names, names)."""
        count = len(self.table)
        places = np.array([BELIEVED.index(name) * count for name in names])
        at = places[None, :] + np.arange(count)[:, None]
        return np.asarray(self.cover[at[:, :, None], at[:, None, :]])

    @cached_property
    def _free(self) -> tuple[NDArray[np.intp], Floats]:
        """Which of the stacked values are drawn, and the lower root of their covariance."""
        spread = np.diagonal(self.cover).copy()
        place = BELIEVED.index("balance_weight_g") * len(self.table)
        if self.table["action_ratio"].notna().any():
            spread[place : place + len(self.table)] = 0.0  # it follows from the others
        free = np.flatnonzero(spread > 0)
        slight = np.diag(1e-8 * spread[free])  # rounding leaves the smallest roots below 0
        root = np.linalg.cholesky(self.cover[np.ix_(free, free)] + slight)
        return free, np.asarray(root, dtype=np.float64)

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
    if "believed" not in found.kept:
        found.kept["believed"] = _believe(instrument, found)
    kept: Believed = found.kept["believed"]
    return kept


def _believe(instrument: Instrument, found: Findings) -> Believed:
    read = found.table
    if not found.known.hung:  # what else was read of an upright does not bear on its balance
        read = read.assign(**dict.fromkeys(PARTS_COLUMNS, float("nan")))
    joint = learn(read, found.known)
    table = found.table[["note_name", "colour"]].copy()
    count, size = len(table), len(BELIEVED) * len(table)
    centre, cover = np.full(size, np.nan), np.zeros((size, size))
    names = [name for name in joint.names if name in BELIEVED]
    at, told = (
        np.concatenate(
            [np.arange(count) + order.index(name) * count for name in names]
            or [np.zeros(0, dtype=int)]
        )
        for order in (BELIEVED, joint.names)
    )
    centre[at], cover[np.ix_(at, at)] = joint.mean[told], joint.cover[np.ix_(told, told)]
    if "spring_relief_g" not in joint.names:
        relief = found.table["spring_relief_g"].astype(float)
        centre[BELIEVED.index("spring_relief_g") * count :] = relief
    if "action_ratio" in joint.names:
        _add_balance(centre, cover, count)
    for number, name in enumerate(BELIEVED):
        own = slice(number * count, (number + 1) * count)
        known = np.isfinite(centre[own])
        table[name] = centre[own]
        spread = np.sqrt(np.maximum(np.diagonal(cover)[own], 0.0))
        table[uncertainty_name(name)] = np.where(known, spread, np.nan)
    sharp = table["colour"] == "sharp"
    settings = instrument.settings
    arm = sharp.map({True: settings.sharp_arm_mm, False: settings.natural_arm_mm})
    groups = name_groups(found.runs, joint.shifts, table, arm)
    return Believed(table, weigh_first(found), groups, centre, cover)


def _add_balance(centre: Floats, cover: Floats, count: int) -> None:
    """Put the balance weight in, which follows from the others, to first order."""
    parts = dict(zip(BELIEVED, centre.reshape(len(BELIEVED), count), strict=True))
    relief: Floats = np.nan_to_num(parts["spring_relief_g"])
    terms = {name: parts[name] for name in balance.TERMS if name != "balance_weight_g"}
    value = balance.solve_for_balance_weight(**{**terms, "spring_relief_g": relief})
    by = {BELIEVED.index(name) * count: slope for name, slope in balance_slopes(parts).items()}
    across = np.sum([cover[:, at : at + count] * slope for at, slope in by.items()], axis=0)
    start = BELIEVED.index("balance_weight_g") * count
    own = slice(start, start + count)
    cover[:, own], cover[own, :] = across, across.T
    rows = [slope[:, None] * across[at : at + count] for at, slope in by.items()]
    cover[own, own] = np.sum(rows, axis=0)
    centre[own] = value


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
            words.setdefault(flag.key, []).append(from_flag(flag).words)
    for doubt in findings.doubts:
        if doubt.key is not None and doubt.kind != MISSING_READING and doubt.key not in words:
            label = QUANTITIES[doubt.quantity].label if doubt.quantity in QUANTITIES else "Row"
            words[doubt.key] = [f"{label.lower()} {doubt.read}"]
    return {key: f"Weigh first: {'; '.join(said)}." for key, said in sorted(words.items())}
