"""What a group of shifted keys means: its likely cause, what to measure, how far to move."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from balancekit.calculation.believed.find import shown_runs, usual_of_levers
from balancekit.calculation.believed.one_series import as_read
from balancekit.calculation.believed.runs import Run
from balancekit.calculation.linkage.moves import capstan_shifts
from balancekit.calculation.quantities import QUANTITIES, READING_COLUMNS


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

    @property
    def ends(self) -> tuple[int, int]:
        """First and last key."""
        return self.first_key, self.last_key

    def where(self, table: pd.DataFrame) -> NDArray[np.bool_]:
        """Tell which keys of a table with a column ``colour`` are its own."""
        inside = (table.index >= self.first_key) & (table.index <= self.last_key)
        if self.members == "sharps":
            inside &= (table["colour"] == "sharp").to_numpy()
        return np.asarray(inside)


_CAUSES: Mapping[str, tuple[str, str]] = {
    "key_ratio": (
        "capstan line displaced",
        "measure balance pin to capstan line on the last key outside and the first inside",
    ),
    "action_ratio": (
        "knuckle place or another make of shank",
        "measure shank centre to knuckle on the last key outside and the first inside",
    ),
    "wippen_weight_g": (
        "wippens of another make or rebuilt",
        "compare heel and repetition lever on both sides of the edge, and weigh one of each again",
    ),
    "strike_weight_g": (
        "hammers of another set, or trimmed apart from the others",
        "compare moulding, tail and felt on both sides of the edge, and weigh one of each again",
    ),
    "front_weight_g": (
        "leads set by another pattern",
        "compare the plugs on both sides of the edge",
    ),
    "friction_g": (
        "centres or bushings of these keys",
        "take friction of shank and wippen alone on both sides of the edge",
    ),
}
"""Likely cause and check of a group in one quantity alone. Common practice, no source."""

_MEASURING_POINT = (
    "another measuring point on the sharps",
    "mark the measuring point on one sharp of the group and one outside, and weigh both again",
)

KNUCKLE_MM = 17.0
# From memory: usual distance of the knuckle from the shank centre.


_SURE, _HEEL_DOUBT = 3.0, 0.1
# Our own choice: standard uncertainties, and that of what the heel's unknown place makes of a move.


def name_groups(
    runs: Mapping[str, Sequence[Run]],
    shifts: Mapping[str, Sequence[tuple[float, float]]],
    table: pd.DataFrame,
    arm_mm: pd.Series | None = None,
) -> tuple[Group, ...]:
    """Say of every group what explains it and what to do about it.

    Parameters
    ----------
    runs : groups by quantity; see ``find.find_groups``.
    shifts : shift and standard uncertainty of each, in the same order.
    table : what is believed of every key.
    arm_mm : balance pin to measuring point, by key [mm]; without it no millimetres are said.
    """
    groups = []
    for name, run in shown_runs(runs):
        place = list(runs[name]).index(run)
        if name not in shifts or place >= len(shifts[name]):
            continue
        shift, shift_u = shifts[name][place]
        cause, check = _CAUSES[name]
        beside = [
            (other, float(shifts[other][list(runs[other]).index(each)][0]))
            for other, each in shown_runs(runs)
            if other != name and each.place == run.place and other in shifts
        ]
        with_it = {other for other, _ in beside}
        if run.sharps and name == "front_weight_g":
            cause, check = _MEASURING_POINT
        inside = table.loc[table.index[run.first : run.last + 1]]
        if "key_ratio" in with_it:
            at = [each.place for each in runs["key_ratio"]].index(run.place)
            if _moved_with(name, (shift, shift_u), shifts["key_ratio"][at], inside):
                cause, check = _CAUSES["key_ratio"]
        if beside:
            words = (f"{QUANTITIES[other].label.lower()} {_text(other, by, '+')}"
                     for other, by in beside)  # fmt: skip
            cause = f"{cause}; of these keys also {', '.join(words)}"
        move = _move(name, shift, with_it, inside, arm_mm)
        groups.append(
            Group(
                int(table.index[run.first]), int(table.index[run.last]),
                "sharps" if run.sharps else "keys", name, shift, shift_u, cause,
                f"{check[0].upper()}{check[1:]}.{move}",
            )
        )  # fmt: skip
    return tuple(groups)


def _moved_with(
    name: str, shift: tuple[float, float], by: tuple[float, float], inside: pd.DataFrame
) -> bool:
    """Whether a shift is what the levers say that a displaced capstan line brings with it.

    Parameters
    ----------
    shift, by : of the quantity and of the key ratio, with standard uncertainties.
    inside : what is believed of these keys.
    """
    part = capstan_shifts(**usual_of_levers(inside)).get(name)
    if part is None:
        return False
    doubt = np.hypot(np.hypot(shift[1], part * by[1]), part * by[0] * _HEEL_DOUBT)
    return bool(abs(shift[0] - part * by[0]) <= _SURE * doubt)


def _text(name: str, value: float, sign: str = "") -> str:
    digits = QUANTITIES[name].decimals + (0 if QUANTITIES[name].decimals > 1 else 1)
    return f"{value:{sign}.{digits}f} {QUANTITIES[name].unit}".strip().replace("-", "\u2212")


def _move(
    name: str, shift: float, with_it: set[str], inside: pd.DataFrame, arm_mm: pd.Series | None
) -> str:
    """Say how far to move capstan or knuckle of these keys to be as the others are."""
    if name == "key_ratio" and arm_mm is not None:
        by = -shift * float(arm_mm.loc[inside.index].mean())
        way = "towards the balance pin" if by < 0 else "away from the balance pin"
        return f" If it is so: capstans of these keys {abs(by):.1f} mm {way}."
    if name == "action_ratio" and "key_ratio" not in with_it:
        ratio = float(inside["action_ratio"].mean())
        by = KNUCKLE_MM * (ratio / (ratio - shift) - 1)
        way = "away from the shank centre" if by > 0 else "towards the shank centre"
        return (
            f" If it is so: knuckles of these keys {abs(by):.1f} mm {way}, "
            f"for a knuckle {KNUCKLE_MM:g} mm from the centre."
        )
    return ""


def edge_keys(runs: Mapping[str, Sequence[Run]], table: pd.DataFrame) -> dict[int, tuple[str, ...]]:
    """Return the keys that tell best where the groups end, and what to read on them.

    Where a quantity was read on some keys only, a group may end anywhere between the last key of
    it and the next one that was read. The key halfway parts what is open in two.

    Parameters
    ----------
    runs : groups by quantity; see ``find.find_groups``.
    table : the table of keys as it was read.
    """
    wanted: dict[int, tuple[str, ...]] = {}
    for name, run in shown_runs(runs):
        if name not in READING_COLUMNS:
            continue  # what follows from readings has its edge where they have theirs
        read = np.flatnonzero(as_read(table, name).notna())
        before, after = read[read < run.first], read[read > run.last]
        gaps = [(before[-1], run.first)] if len(before) else []
        gaps += [(run.last, after[0])] if len(after) else []
        for low, high in gaps:
            if high - low > 1:
                key = int(table.index[(low + high) // 2])
                wanted[key] = (*wanted.get(key, ()), name)
    return dict(sorted(wanted.items()))
