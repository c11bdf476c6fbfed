"""Readings that are missing, that look like a slip, or that stand out because the piano does.

A wrong down weight shows in friction, balance weight and action ratio as well. So each
key is judged as a whole: which one cause leaves least to be explained? A tight key moves
friction alone. A misread down weight moves friction and action ratio together, by the
amounts that the balance equation gives. Only the cause is named; see ``believed.causes``.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping

import pandas as pd

from balancekit.calculation.believed.causes import Readings
from balancekit.calculation.believed.joint import STANDS_OUT_AT
from balancekit.calculation.believed.one_series import as_read
from balancekit.calculation.irregularities import pen_slips
from balancekit.calculation.irregularities.key_case import Flag, KeyCase
from balancekit.calculation.irregularities.trend import Trend
from balancekit.calculation.quantities import (
    NEEDED_COLUMNS,
    QUANTITIES,
    READING_COLUMNS,
    TOUCH_COLUMNS,
)

__all__ = [
    "FLAG_COLUMNS",
    "READINGS_BEHIND",
    "Flag",
    "doubt_reading",
    "find_flags",
    "flag_table",
]

FLAG_COLUMNS = ("key", "quantity", "kind", "read", "expected", "advice")


def flag_table(flags: Collection[Flag]) -> pd.DataFrame:
    """Return flags as a table of ``key, quantity, kind, read, expected, advice``."""
    return pd.DataFrame(
        [tuple(getattr(flag, column) for column in FLAG_COLUMNS) for flag in flags],
        columns=list(FLAG_COLUMNS),
    )


READINGS_BEHIND: Mapping[str, tuple[str, ...]] = {
    "balance_weight_g": TOUCH_COLUMNS,
    "friction_g": TOUCH_COLUMNS,
    "action_ratio": NEEDED_COLUMNS,
}
"""The readings that each solved quantity rests on: it is kept when all of them are."""


def find_flags(
    table: pd.DataFrame,
    trends: Mapping[str, Trend],
    readings: Readings | None,
    *,
    confirmed: Collection[tuple[int, str]] = (),
) -> tuple[Flag, ...]:
    """Find what is missing, what looks like a slip, and what stands out.

    Parameters
    ----------
    table : the table of keys, readings and results with their uncertainties.
    trends, readings : of the same table; see ``find_trends``.
    confirmed : (key, quantity) pairs that the user looked at and keeps.

    Returns
    -------
    flags in the order of the keys.
    """
    kept, flags = set(confirmed), [*_missing(table, trends)]
    if readings is not None:
        above = table["up_weight_g"] > table["down_weight_g"]
        for place in sorted({*readings.keys, *above.to_numpy().nonzero()[0].tolist()}):
            case = KeyCase(int(table.index[place]), trends)
            flags += case.flags(readings.case(place))
    order = [*QUANTITIES]
    flags.sort(key=lambda flag: (flag.key, order.index(flag.quantity)))
    return tuple(flag for flag in flags if not _is_kept(flag, kept, table))


def _is_kept(flag: Flag, kept: set[tuple[int, str]], table: pd.DataFrame) -> bool:
    """Whether the reading is kept, or every reading that a solved quantity rests on."""
    behind = READINGS_BEHIND.get(flag.quantity, (flag.quantity,))
    read = [name for name in behind if table[name].notna()[flag.key]] or behind
    return all((flag.key, name) in kept for name in read)


def doubt_reading(
    trends: Mapping[str, Trend], key: int, quantity: str, value: float
) -> Flag | None:
    """Judge one reading as it is typed, by the keys that are there already.

    Parameters
    ----------
    trends : from ``find_trends`` of what was there before; it need not hold the quantity.
    key, quantity, value : what is being typed; the quantity is a reading.

    Returns
    -------
    a flag if the other keys do not believe the reading, or if it puts the up weight above
    the down weight; None if all is well or nothing can be said yet.
    """
    others = {name: float(trend.reading[key]) for name, trend in trends.items() if name != quantity}
    case = KeyCase(key, trends, {**others, quantity: value})
    if quantity in trends and abs(case.off(quantity, value)) > STANDS_OUT_AT:
        return case.pen_slip(quantity) or case.stands_out(quantity)
    if case.up_above_down():
        other = "up_weight_g" if quantity == "down_weight_g" else "down_weight_g"
        return case.slip(quantity, others[other], pen_slips.exchange_words(other))
    return None


def _missing(table: pd.DataFrame, trends: Mapping[str, Trend]) -> Iterator[Flag]:
    """Readings that are missing where most other keys have one, or the key its counterpart."""
    pair = table[["down_weight_g", "up_weight_g"]].notna().sum(axis=1) == 1
    for name in READING_COLUMNS:
        gap = as_read(table, name).isna()
        if name not in trends:
            continue
        wanted = gap if gap.mean() < 0.5 else gap & pair & name.startswith(("down", "up"))
        for key in table.index[wanted]:
            trend = trends[name]
            expected = float(trend.expected[key])
            yield Flag(
                int(key), name, "missing", float("nan"), expected,
                float(trend.expected_u[key]), float("nan"),
                f"Not read. The other keys lead one to expect {QUANTITIES[name].text(expected)}.",
            )  # fmt: skip
