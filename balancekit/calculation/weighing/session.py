"""Drift over a session of weighing: what a key that is read again and again tells of it.

Scale, humidity and the hand drift while a piano is weighed. Where keys are weighed from the left
to the right, drift looks like a course of the piano. Only keys that were read more than once, at
different times, tell it apart, because the piano cancels from the differences of their readings.

Drift starts from nothing at the first reading of a session. It is a line in time and a random
walk about it; its size is not known and laid on a grid, each point weighted by its marginal
likelihood, as in ``search``. With nothing to tell of it, what is usual remains and widens the
bands.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from balancekit.calculation.course import log_prior_of_size, size_grid
from balancekit.calculation.quantities import QUANTITIES, WITHIN_COLUMNS
from balancekit.calculation.weighing.guided import step_variance
from balancekit.calculation.weighing.scale import ON_THE_SCALE
from balancekit.calculation.words import plural

Floats = NDArray[np.float64]

PAUSE_H = 4.0
# Our own choice: after a longer pause the scale is set to zero anew, and a session begins.

_WALK, _TERMS = 0.2, 8
# Our own choice: the part of the variance that is a random walk, and the terms kept of it.

_SIZES, _FACTOR = 12, 1.6
# Our own choice: sizes from 8 uncertainties of one reading down to a twentieth of one.

_USUAL_WEIGHTS, _USUAL_SCALE = 2.5, 0.5
# Our own choice, no source: what drifts over a session, in uncertainties of a reading. A scale is
# set to zero between readings.

DRIFTING = (*ON_THE_SCALE, "down_weight_g", "up_weight_g", "spring_relief_g")
"""What is weighed. A ratio is measured with a rule, which does not drift."""

PAIR = ("down_weight_g", "up_weight_g")
"""Weighed together: what drifts is their mean, as with a scale, and half their difference, as with
the friction on a damp day."""


@dataclass(frozen=True)
class Drift:
    """The drift of one reading column.

    Attributes
    ----------
    rows : mean drift of each row, to be taken off (n,).
    shared : errors that the rows share, (n, errors), each of one standard deviation. The same
        column is the same error in down weight and up weight.
    end, end_u : the drift at the end of the longest session, and its standard uncertainty.
    keys : keys that were read again at another time and so tell of it.
    readings : readings of these keys.
    taken_off : whether ``rows`` is taken off. What is left in is an error that the rows share.
    """

    rows: Floats
    shared: Floats
    end: float
    end_u: float
    keys: int
    readings: int
    taken_off: bool = True

    @property
    def correction(self) -> Floats:
        """What is taken off each row (n,)."""
        return self.rows if self.taken_off else np.zeros_like(self.rows)

    @property
    def errors(self) -> Floats:
        """Errors that the rows share after that, (n, errors)."""
        return self.shared if self.taken_off else np.column_stack([self.rows, self.shared])


def find_drifts(readings: pd.DataFrame, reading_u: Mapping[str, float]) -> dict[str, Drift]:
    """Find the drift of every reading column of which all readings have their time.

    Parameters
    ----------
    readings : raw rows with ``key``, ``read_at`` (ISO 8601, "" for none) and the readings.
    reading_u : standard uncertainty of one reading, by column; ``DRIFTING`` are looked at.

    References
    ----------
    Rasmussen and Williams, Gaussian Processes for Machine Learning (2006), 2.7: explicit basis
    functions. The random walk is expanded as Karhunen and Loeve do; from memory.

    >>> rows = pd.DataFrame({"key": 1, "front_weight_g": [50.0, 51.0, 52.0, 53.0],
    ...     "read_at": [f"2026-05-04T{hour:02}:00" for hour in range(9, 13)]})
    >>> round(find_drifts(rows, {"front_weight_g": 0.2})["front_weight_g"].end, 1)
    2.9
    """
    timed = (readings["read_at"].fillna("") != "").to_numpy()
    if not timed.any():
        return {}
    times = pd.to_datetime(readings["read_at"].where(timed), format="ISO8601", utc=True)
    hours = np.asarray((times - times.min()) / pd.Timedelta(hours=1), dtype=np.float64)
    keys = readings["key"].to_numpy(dtype=int)
    columns = {name: readings[name].to_numpy(dtype=float) for name in DRIFTING if name in reading_u}
    whole = {
        name: values
        for name, values in columns.items()
        if np.isfinite(values).any() and not (np.isfinite(values) & ~timed).any()
    }
    found = {}
    for name in whole.keys() - PAIR:
        even = np.ones(len(keys))
        drift = _drift(keys, whole[name], hours, reading_u[name], _USUAL_SCALE, even)
        if drift is not None:
            found[name] = drift
    if all(name in whole for name in PAIR):
        mean: Floats = (whole[PAIR[0]] + whole[PAIR[1]]) / 2
        apart: Floats = (whole[PAIR[0]] - whole[PAIR[1]]) / 2
        spread = float(np.hypot(reading_u[PAIR[0]], reading_u[PAIR[1]]) / 2)
        weight = _weight_of_steps(readings, reading_u)
        level = _drift(keys, mean, hours, spread, _USUAL_WEIGHTS, weight)
        half = _drift(keys, apart, hours, spread, _USUAL_WEIGHTS, weight)
        if level is not None and half is not None:
            found |= {
                name: _sum(level, half, sign) for name, sign in zip(PAIR, (1, -1), strict=True)
            }
    return found


def _weight_of_steps(readings: pd.DataFrame, reading_u: Mapping[str, float]) -> Floats:
    """Return what each row of down and up weight counts, less than one after coarse steps (n,)."""
    usual = sum(reading_u[name] ** 2 for name in PAIR)
    coarse = [
        step_variance(readings[WITHIN_COLUMNS[name]].to_numpy(dtype=float), reading_u[name])
        for name in PAIR
        if WITHIN_COLUMNS[name] in readings
    ]
    return np.asarray(usual / (usual + sum(coarse, np.zeros(len(readings)))), dtype=np.float64)


def _sum(level: Drift, half: Drift, sign: int) -> Drift:
    """Return the drift of down or up weight, from that of their mean and half difference."""
    return Drift(
        level.rows + sign * half.rows, np.hstack([level.shared, sign * half.shared]),
        level.end + sign * half.end, float(np.hypot(level.end_u, half.end_u)),
        level.keys, level.readings,
    )  # fmt: skip


def _drift(
    keys: NDArray[np.int_], values: Floats, hours: Floats, reading_u: float, usual: float,
    weight: Floats,
) -> Drift | None:  # fmt: skip
    """Return the drift of one series, at every row that has a time."""
    timed, known = np.isfinite(hours), np.isfinite(values)
    if not known.any() or not reading_u > 0:
        return None
    shapes, longest = _basis(hours[timed])
    if not longest:
        return None
    basis = np.zeros((len(values), shapes.shape[1]))
    basis[timed] = shapes
    own, level = keys[known], values[known] - np.median(values[known])
    inside, left, again = _within_keys(own, basis[known], level, weight[known])
    mean, cover = _weigh(inside / reading_u, left / reading_u, reading_u, usual)
    root = np.linalg.cholesky(cover + 1e-12 * reading_u**2 * np.eye(len(cover)))
    rows, shared = basis @ mean, basis @ root
    last = int(np.argmax(basis[:, 0]))
    return Drift(
        rows, shared, float(rows[last]), float(np.linalg.norm(shared[last])), len(again),
        int(np.isin(own, again).sum()),
    )  # fmt: skip


def _basis(hours: Floats) -> tuple[Floats, float]:
    """Return the drift of unit size as columns, one set a session, and the longest session [h]."""
    order = np.argsort(hours, kind="stable")
    session = np.zeros(len(hours), dtype=int)
    session[order] = np.concatenate([[0], np.cumsum(np.diff(hours[order]) > PAUSE_H)])
    start = np.array([hours[session == each].min() for each in range(session.max() + 1)])
    passed = hours - start[session]
    longest = float(passed.max())
    if not longest:
        return np.zeros((len(hours), 0)), 0.0
    time = (passed / longest)[:, None]
    rate = (np.arange(_TERMS) + 0.5) * np.pi
    shapes = np.hstack([np.sqrt(1 - _WALK) * time, np.sqrt(2 * _WALK) * np.sin(rate * time) / rate])
    blocks = [np.where((session == each)[:, None], shapes, 0.0) for each in range(len(start))]
    return np.hstack(blocks), longest


def _within_keys(
    keys: NDArray[np.int_], basis: Floats, values: Floats, weight: Floats
) -> tuple[Floats, Floats, NDArray[np.int_]]:
    """Return basis and values less the mean of their key, and the keys that tell of drift."""
    _, place = np.unique(keys, return_inverse=True)
    count = np.bincount(place, weight)
    middle = np.bincount(place, weight * values) / count
    means = np.column_stack([np.bincount(place, weight * column) / count for column in basis.T])
    inside, root = basis - means[place], np.sqrt(weight)
    telling = np.unique(keys[np.abs(inside).max(axis=1) > 0])
    return inside * root[:, None], (values - middle[place]) * root, telling


def _weigh(inside: Floats, left: Floats, reading_u: float, usual: float) -> tuple[Floats, Floats]:
    """Return mean and covariance of the drift's coefficients, mixed over its size."""
    sizes = size_grid(8 * reading_u, _SIZES, _FACTOR)
    square, right = inside.T @ inside, inside.T @ left
    logs, means, covers = [], [], []
    for size in sizes:
        cover = np.linalg.inv(square + np.eye(len(square)) / size**2)
        mean = cover @ right
        turn = np.linalg.slogdet(np.eye(len(square)) + size**2 * square)[1]
        logs.append(0.5 * (right @ mean - turn))
        means.append(mean)
        covers.append(cover)
    log = np.array(logs) + log_prior_of_size(sizes, usual * reading_u)
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    mean = np.tensordot(weight, np.array(means), 1)
    off = np.array(means) - mean
    cover = np.tensordot(weight, np.array(covers), 1) + (off * weight[:, None]).T @ off
    return mean, cover


def drift_sentence(name: str, drift: Drift) -> str:
    """Say what the repeats tell of the drift, or that they tell nothing.

    >>> none = np.zeros(1)
    >>> drift_sentence("down_weight_g", Drift(none, none, 2.0, 0.4, 1, 11))
    'Down weight: over the session it drifts by +2.0 ± 0.8 g, as 11 readings of 1 key tell. This \
is taken off.'
    >>> drift_sentence("down_weight_g", Drift(none, none, 2.0, 0.4, 1, 11, False))[-44:]
    'This is left in, and bands are wider for it.'
    """
    quantity = QUANTITIES[name]
    digits, unit = max(quantity.decimals, 1), f" {quantity.unit}".rstrip()
    doubt = f"{2 * drift.end_u:.{digits}f}{unit}"
    if not drift.keys:
        return (
            f"{quantity.label}: no key was read again at another time, so drift cannot be told "
            f"from the piano. Bands are widened for a drift of up to {doubt} over the session. "
            "Weigh one key again every quarter of an hour."
        )
    end = f"{drift.end:+.{digits}f}".replace("-", "\u2212")
    done = "is taken off" if drift.taken_off else "is left in, and bands are wider for it"
    return (
        f"{quantity.label}: over the session it drifts by {end} ± {doubt}, as "
        f"{drift.readings} readings of {plural(drift.keys, 'key')} tell. This {done}."
    )
