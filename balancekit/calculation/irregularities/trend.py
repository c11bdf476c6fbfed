"""What is the piano and what is the weighing: every series over the keyboard taken apart.

A series of readings is a slow course, groups that are shifted, real scatter from key to key, and
weighing error of known size. All series are taken apart at once, by ``believed.joint``: what is
read of one tells of the others. Here stands what is shown of it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy

from balancekit.calculation.balance import slopes_of
from balancekit.calculation.believed.causes import KeyEvidence, Readings
from balancekit.calculation.believed.joint import SIGNS, STANDS_OUT_AT, System
from balancekit.calculation.believed.one_series import Course, as_read
from balancekit.calculation.course import EXPECTED, Floats
from balancekit.calculation.quantities import QUANTITIES, uncertainty_name

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
    reading : what was read; NaN where nothing was.
    trend, trend_u : slow course and groups, without scatter.
    expected, expected_u : what the readings of the other keys say that a reading of this key
        will be.
    scatter, scatter_u : real standard deviation from key to key.
    scatter_shows : whether the readings by themselves tell it from none.
    bend : typical departure of the course from a straight line.
    weighing : root mean square of the weighing errors, where the others believe the reading.
    remark : what so few readings cannot tell, in a sentence or two; "" if nothing.
    """

    reading: pd.Series
    trend: pd.Series
    trend_u: pd.Series
    expected: pd.Series
    expected_u: pd.Series
    scatter: float
    scatter_u: float
    scatter_shows: bool
    bend: float
    weighing: float
    remark: str

    @property
    def deviation(self) -> pd.Series:
        """How far the reading lies from what is expected, in standard units; NaN without one."""
        return (self.reading - self.expected) / self.expected_u

    @property
    def set_aside(self) -> tuple[int, ...]:
        """Keys whose readings the others do not believe, the worst first."""
        off = self.deviation.abs()
        far = off[off > STANDS_OUT_AT].sort_values(ascending=False, kind="stable")
        return tuple(int(key) for key in far.index)

    @property
    def count(self) -> int:
        """How many readings the others believe."""
        return int(self.reading.notna().sum()) - len(self.set_aside)


def find_trends(readings: Readings | None, table: pd.DataFrame) -> dict[str, Trend]:
    """Take every series of the table of keys apart that has a reading.

    At the bench: is this bump in the piano, or in my weighing?

    Parameters
    ----------
    readings : the same readings, held against each other; see ``causes.find_causes``. None of
        none.
    table : the table of keys, with ``colour``, readings, results and their uncertainties.

    Returns
    -------
    trends by name, in the order of ``EXPECTED``. A spring relief that is the same on every
    key, as on an action without springs, is no series and left out.

    References
    ----------
    Rasmussen and Williams, Gaussian Processes for Machine Learning (2006), 2.7 (explicit basis
    functions), 5.4.2 (leave one out).
    """
    if readings is None:
        return {}
    names = [
        name for name in EXPECTED
        if name in table and _is_told(name, readings.system) and as_read(table, name).notna().any()
    ]  # fmt: skip
    shapes, off = _Shapes(readings), _held_against_others(names, table, readings)
    return {name: _trend(name, table, readings, shapes, *off[name]) for name in names}


def _is_told(name: str, system: System) -> bool:
    """Whether a series is among those taken together, or follows from them."""
    if name in (*SIGNS, "balance_weight_g"):
        return "friction_g" in system.start
    return name in system.start or (name == "front_weight_g" and system.lever)


class _Shapes:
    """Course and groups of all quantities at once: where they are believed to run."""

    def __init__(self, readings: Readings) -> None:
        system = readings.system
        moves = system.moves(system.begin())
        shapes: Floats = scipy.linalg.block_diag(*(b.shapes for b in system.blocks.values()))
        seen = moves @ shapes
        self.system, self.shapes = system, shapes
        self.cover: Floats = np.eye(shapes.shape[1]) - seen.T @ readings.inverse @ seen
        self.parts = system.parts(system.prior + shapes @ (seen.T @ readings.left))

    def course(self, name: str) -> tuple[Floats, Floats]:
        """Return where a quantity runs, and the standard uncertainty of that, (K,) each."""
        value, slopes = self.system.course(name, self.parts)
        start, count = self.system.start, self.system.count
        rows = np.sum(
            [slope[:, None] * self.shapes[start[part] : start[part] + count]
             for part, slope in slopes.items()], axis=0,
        )  # fmt: skip
        square = np.sum((rows @ self.cover) * rows, axis=1)
        return value, np.sqrt(np.maximum(square, 0.0))


def _trend(
    name: str,
    table: pd.DataFrame,
    readings: Readings,
    shapes: _Shapes,
    off: Floats,
    off_u: Floats,
) -> Trend:
    """Lay what is told of one series on the keys."""
    index, reading = table.index, as_read(table, name).astype(float)
    course = _sizes_of(name, readings.system.known.courses)
    errors = table[uncertainty_name(name)].to_numpy(dtype=float)
    sound = errors[np.abs(off) <= STANDS_OUT_AT * off_u]
    weighing = float(np.sqrt(np.mean((sound if len(sound) else errors[reading.notna()]) ** 2)))
    trend, trend_u = shapes.course(name)
    read = np.isfinite(off)
    expected = np.where(read, reading - off, trend)
    alone = np.sqrt(trend_u**2 + course.scatter**2 + weighing**2)

    def on_keys(values: Floats) -> pd.Series:
        return pd.Series(values, index)

    return Trend(
        reading, on_keys(trend), on_keys(trend_u), on_keys(expected),
        on_keys(np.where(read, off_u, alone)), course.scatter, course.scatter_u,
        course.scatter_shows, course.bend, weighing, _remark(reading, table["colour"]),
    )  # fmt: skip


def _sizes_of(name: str, courses: Mapping[str, Course]) -> Course:
    """Return scatter and bend of a series; those of a weight are of balance and friction."""
    if name in courses or name not in SIGNS:
        sizes = EXPECTED[name]
        return courses.get(name, Course(sizes.scatter, sizes.bend, 0.0, 0.0, (), sizes.scatter))
    two = [_sizes_of(part, courses) for part in ("balance_weight_g", "friction_g")]
    scatter, scatter_u, bend = (
        float(np.hypot(*(getattr(each, size) for each in two)))
        for size in ("scatter", "scatter_u", "bend")
    )
    return Course(scatter, bend, 0.0, scatter_u=scatter_u)


def _held_against_others(
    names: Sequence[str], table: pd.DataFrame, readings: Readings
) -> dict[str, Floats]:
    """Return how far each key lies from what the other keys say, and how sure that is, (2, K).

    Parameters
    ----------
    names : readings, or results of readings; of a result to first order.
    table, readings : see ``find_trends``.
    """
    found = np.full((2, len(names), len(table)), np.nan)
    columns = {part: table[part].to_numpy(dtype=float) for part in _RATIO_PARTS if part in table}
    for place, evidence in readings.by_key.items():
        sums = [_slopes(name, evidence, columns, place) for name in names]
        found[:, :, place] = evidence.of(sums)
    return {name: found[:, number] for number, name in enumerate(names)}


_RATIO_PARTS = ("strike_weight_g", "wippen_weight_g", "key_ratio", "action_ratio")


def _slopes(
    name: str, evidence: KeyEvidence, columns: Mapping[str, Floats], place: int
) -> dict[str, float]:
    """Return how a result moves with the readings of its key."""
    if name == "friction_g":
        return {"down_weight_g": 0.5, "up_weight_g": -0.5}
    if name == "balance_weight_g":
        return {"down_weight_g": 0.5, "up_weight_g": 0.5}
    if name != "action_ratio":
        return {name: 1.0}
    by = slopes_of(name, {part: float(columns[part][place]) for part in _RATIO_PARTS})
    half = by.pop("balance_weight_g") / 2
    if "spring_relief_g" not in evidence.names:  # the same on every key: no reading
        del by["spring_relief_g"]
    return {"down_weight_g": half, "up_weight_g": half, **by}


def scatter_sentence(trend: Trend, name: str) -> str:
    """Say how the scatter of a series divides into weighing and piano.

    The two add in squares: weighing^2 + piano^2 = whole^2.

    Parameters
    ----------
    trend : from ``find_trends``.
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
    if not trend.scatter_shows:
        sentence += " So small a scatter in the piano cannot be told from none."
    return sentence


def _remark(reading: pd.Series, colours: pd.Series) -> str:
    """Say what so few readings cannot tell."""
    read, words = reading.notna(), []
    count = int(read.sum())
    if count == 1:
        words.append(
            "One reading only: it gives the level. Change over the keyboard, step and scatter "
            "are what is usual, not what was weighed."
        )
    elif count < FEW:
        words.append(
            f"{count} readings only: they say little of the scatter from key to key, so the "
            "usual scatter counts as much as they do."
        )
    for colour in ("natural", "sharp"):
        own = colours == colour
        if own.any() and not (own & read).any():
            words.append(
                f"No {colour} was weighed: their step is not known, so their band is wide."
            )
    return " ".join(words)
