"""What is the piano and what is the weighing: a series over the keyboard taken apart.

A series of readings is a slow trend, a step between naturals and sharps, real scatter
from key to key, and weighing error of known size. ``fit_trend`` estimates them apart;
``trend_grid`` holds the algebra and its sources.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from balancekit.calculation.believed.runs import Run
from balancekit.calculation.course import EXPECTED, Floats, Sizes
from balancekit.calculation.irregularities.setting_aside import Series, Settled
from balancekit.calculation.problems import BalancekitError, Problem, refuse
from balancekit.calculation.quantities import QUANTITIES

FEW = 5
"""Fewer readings than this are said to be few."""
# Our own choice: with five, a standard deviation is uncertain by a third (JCGM 100, E.4.3).


@dataclass(frozen=True)
class Trend:
    """A series over the keyboard, taken apart.

    Series are indexed by key, one entry for every key of the instrument, in the unit of
    the readings. A name ending in ``_u`` is a standard uncertainty.

    Attributes
    ----------
    reading, reading_u : what was read; NaN where nothing was.
    trend, trend_u : slow trend and step, without scatter.
    value, value_u : the key's own true value: its reading and the trend, each weighted by
        what it is worth. A key not weighed, or set aside, has the trend, and the scatter
        in its uncertainty.
    expected, expected_u : what the other readings say that a reading of this key will be.
    deviation : how far the reading lies from that, in standard units; NaN without one.
    step, step_u : a natural less a sharp.
    scatter, scatter_u : real standard deviation from key to key.
    bend : typical departure of the trend from a straight line.
    weighing : root mean square of the weighing errors.
    set_aside : keys whose readings the others do not believe, the worst first. They bear
        on nothing here but their own ``deviation``.
    count : number of readings that were used.
    remark : what so few readings cannot tell, in a sentence or two; "" if nothing.
    groups : runs of keys that are shifted together.
    bend_u : standard uncertainty of ``bend``.
    """

    reading: pd.Series
    reading_u: pd.Series
    trend: pd.Series
    trend_u: pd.Series
    value: pd.Series
    value_u: pd.Series
    expected: pd.Series
    expected_u: pd.Series
    deviation: pd.Series
    step: float
    step_u: float
    scatter: float
    scatter_u: float
    bend: float
    weighing: float
    set_aside: tuple[int, ...]
    count: int
    remark: str
    groups: tuple[Run, ...] = ()
    bend_u: float = 0.0


def fit_trend(
    keys: object,
    values: object,
    uncertainties: object,
    *,
    colours: pd.Series,
    all_keys: pd.Index,
    expected: Sizes | None = None,
    groups: Sequence[Run] = (),
) -> Trend:
    """Take a series apart into trend, step, real scatter and weighing error.

    At the bench: is this bump in the piano, or in my weighing?

    Gross slips do not bend the trend. The reading least believed by the others is set
    aside if it lies more than ``STANDS_OUT`` standard units off; then the rest is
    judged anew.

    Parameters
    ----------
    keys, values, uncertainties : key number, reading, and its standard uncertainty from
        weighing, shape (n,), one reading a key; a reading of NaN is none.
    colours : "natural" or "sharp" for every key, indexed by key.
    all_keys : the keys of the instrument, in order and without a gap.
    expected : what is expected before weighing, see ``EXPECTED``; from the spread of the
        readings themselves if left out.
    groups : runs of keys that are shifted together; see ``believed.groups``.

    Raises
    ------
    BalancekitError : no reading, a key that the instrument does not have, a key twice,
        an uncertainty that is missing, negative or infinite.

    References
    ----------
    See ``trend_grid``.

    >>> from balancekit.calculation.keyboard import keyboard
    >>> board = keyboard()
    >>> found = fit_trend([1, 40, 88], [12.0, 9.0, 6.0], [0.1, 0.1, 0.1],
    ...     colours=board["colour"], all_keys=board.index)
    >>> round(found.trend[64])  # between 9 and 6
    8
    """
    reading, reading_u = _checked(keys, values, uncertainties, all_keys)
    series = Series.of(reading, reading_u, colours, expected, groups)
    return _result(series, series.settle(), reading, reading_u, tuple(groups))


def fit_column(table: pd.DataFrame, name: str, groups: Sequence[Run] = ()) -> Trend:
    """Take one column of the table of keys apart.

    Parameters
    ----------
    table : indexed by key, with ``colour``, the column, and the column of its uncertainty.
        Values that ``fill_gaps`` estimated are no readings and are passed over.
    name : a quantity of the register, for example "friction_g".
    groups : runs of keys that are shifted together.

    Raises
    ------
    BalancekitError : no reading in the column.
    """
    known = table[as_read(table, name).notna()]
    try:
        return fit_trend(
            known.index, known[name], known[QUANTITIES[name].uncertainty_name],
            colours=table["colour"], all_keys=table.index, expected=EXPECTED.get(name),
            groups=groups,
        )  # fmt: skip
    except BalancekitError as error:
        label = QUANTITIES[name].label
        raise BalancekitError(
            [Problem(f"{label}: {p.message}", p.advice, key=p.key, column=name)
             for p in error.problems]
        ) from error  # fmt: skip


def as_read(table: pd.DataFrame, name: str) -> pd.Series:
    """Return a column of the table of keys without what was estimated in it.

    >>> table = pd.DataFrame({"key_ratio": [0.5, 0.51], "estimated": ["", "key_ratio"]})
    >>> as_read(table, "key_ratio").tolist()
    [0.5, nan]
    """
    column: pd.Series = table[name]
    if "estimated" in table and (table["estimated"].to_numpy() != "").any():
        estimated = [name in str(words).split(", ") for words in table["estimated"]]
        column = column.where(~np.array(estimated, dtype=bool))
    return column


def fit_table(
    table: pd.DataFrame,
    earlier: Mapping[str, Trend] | None = None,
    groups: Mapping[str, Sequence[Run]] | None = None,
) -> dict[str, Trend]:
    """Take every series of the table of keys apart that has a reading.

    Parameters
    ----------
    table : as ``fit_column`` takes it; columns that it lacks are passed over.
    earlier : trends of an earlier state of the table; a column that has not changed since
        keeps its trend.
    groups : runs of keys that are shifted together, by name.

    Returns
    -------
    trends by name, in the order of ``EXPECTED``. A spring relief that is the same on every
    key, as on an action without springs, is no series and left out.
    """
    names = [name for name in EXPECTED if name in table and as_read(table, name).notna().any()]
    if "spring_relief_g" in names and table["spring_relief_g"].nunique() == 1:
        names.remove("spring_relief_g")
    kept = earlier or {}
    return {
        name: kept[name]
        if name in kept and _unchanged(kept[name], table, name, (groups or {}).get(name, ()))
        else fit_column(table, name, (groups or {}).get(name, ()))
        for name in names
    }  # fmt: skip


def _unchanged(trend: Trend, table: pd.DataFrame, name: str, groups: Sequence[Run]) -> bool:
    """Tell whether a trend was fitted to just these readings."""
    values = table[name].astype(float)
    spread = table[QUANTITIES[name].uncertainty_name].astype(float).where(values.notna())
    return bool(
        values.index.equals(trend.reading.index)
        and [run.place for run in trend.groups] == [run.place for run in groups]
        and np.array_equal(values, trend.reading, equal_nan=True)
        and np.array_equal(spread, trend.reading_u, equal_nan=True)
    )


def scatter_sentence(trend: Trend, name: str) -> str:
    """Say how the scatter of a series divides into weighing and piano.

    The two add in squares: weighing^2 + piano^2 = whole^2.

    Parameters
    ----------
    trend : from ``fit_trend``.
    name : a quantity of the register.
    """
    quantity = QUANTITIES[name]
    digits = quantity.decimals + (0 if quantity.decimals > 1 else 1)
    whole = float(np.hypot(trend.scatter, trend.weighing))
    unit = f" {quantity.unit}" if quantity.unit else ""
    sentence = (
        f"Of the {whole:.{digits}f}{unit} scatter in {quantity.label.lower()}, "
        f"{trend.weighing:.{digits}f}{unit} is weighing and "
        f"{trend.scatter:.{digits}f}{unit} is the piano "
        f"(\u00b1 {trend.scatter_u:.{digits}f}; they add in squares)."
    )
    if trend.scatter < 2 * trend.scatter_u:
        sentence += " So small a scatter in the piano cannot be told from none."
    return sentence


def _checked(
    keys: object, values: object, uncertainties: object, all_keys: pd.Index
) -> tuple[pd.Series, pd.Series]:
    """Bring readings and their uncertainties to one entry a key, or say what is wrong."""
    read = np.asarray(values, dtype=float)
    known = ~np.isnan(read)
    read, numbers = read[known], np.asarray(keys, dtype=int)[known]
    spread = np.asarray(uncertainties, dtype=float)[known]
    if not len(read):
        raise refuse("There is no reading.", "Weigh at least one key.")
    problems = [
        Problem(f"There is no key {key}.", f"Keys are {all_keys[0]} to {all_keys[-1]}.", key=key)
        for key in numbers[~np.isin(numbers, all_keys)].tolist()
    ]
    first = np.unique(numbers, return_index=True)[1]
    problems += [
        Problem("The key has two readings.", "Average repeats first.", key=key)
        for key in np.delete(numbers, first).tolist()
    ]
    wrong = ~np.isfinite(read) | ~((spread >= 0) & (spread < np.inf))
    problems += [
        Problem(
            f"The reading is {value:g} with an uncertainty of {u:g}.",
            "Give a number, and an uncertainty of 0 or more.",
            key=key,
        )
        for key, value, u in zip(numbers[wrong].tolist(), read[wrong], spread[wrong], strict=True)
    ]
    if problems:
        raise BalancekitError(problems)
    places = all_keys.get_indexer(pd.Index(numbers))
    both = np.full((2, len(all_keys)), np.nan)
    both[:, places] = read, spread
    return pd.Series(both[0], all_keys), pd.Series(both[1], all_keys)


def _result(
    series: Series,
    settled: Settled,
    reading: pd.Series,
    reading_u: pd.Series,
    groups: tuple[Run, ...],
) -> Trend:
    """Mix the grid into one answer, and lay it on the keys."""
    grid, where = settled.grid, series.where
    index = reading.index

    def on_keys(values: Floats) -> pd.Series:
        return pd.Series(values, index)

    trend, trend_u = grid.mix(grid.mean, grid.variance)
    value, value_u = grid.mix(*grid.key_values())
    # A key without a reading is expected to be weighed as well as the others are.
    weighing = float(np.sqrt(grid.noise.mean()))
    expected, spread = grid.mix(
        grid.mean, grid.variance + (grid.scatter**2)[:, None, None] + weighing**2
    )
    expected[where], spread[where] = settled.expected, settled.expected_u
    off = np.full(len(index), np.nan)
    off[where] = settled.deviation
    step, step_u = grid.mix(grid.step, grid.step_variance)
    scatter, scatter_u = grid.mix(
        np.broadcast_to(grid.scatter[:, None], grid.log_weight.shape), np.zeros(1)
    )
    bend, bend_u = grid.mix(np.broadcast_to(grid.bend, grid.log_weight.shape), np.zeros(1))
    aside = where[settled.aside]
    order = np.argsort(-np.abs(off[aside]), kind="stable")
    middle = series.middle
    return Trend(
        reading, reading_u, on_keys(trend + middle), on_keys(trend_u), on_keys(value + middle),
        on_keys(value_u), on_keys(expected + middle), on_keys(spread), on_keys(off),
        float(step), float(step_u), float(scatter), float(scatter_u), float(bend), weighing,
        tuple(int(index[k]) for k in aside[order]), len(grid.used), _remark(series, settled),
        groups, float(bend_u),
    )  # fmt: skip


def _remark(series: Series, settled: Settled) -> str:
    """Say what so few readings cannot tell."""
    used = series.where[~settled.aside]
    words = []
    if len(used) == 1:
        words.append(
            "One reading only: it gives the level. Change over the keyboard, step and scatter "
            "are what is usual, not what was weighed."
        )
    elif len(used) < FEW:
        words.append(
            f"{len(used)} readings only: they say little of the scatter from key to key, so the "
            "usual scatter counts as much as they do."
        )
    for natural, name in ((True, "natural"), (False, "sharp")):
        if (series.naturals == natural).any() and not (series.naturals[used] == natural).any():
            words.append(f"No {name} was weighed: their step is not known, so their band is wide.")
    return " ".join(words)
