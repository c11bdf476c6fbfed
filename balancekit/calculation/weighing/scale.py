"""The scale held against check weights: offset, slope, and whether it is fit for the work.

The correction of a scale is what must be added to its reading. It is taken to be a
straight line in the load, found by least squares as the GUM does for a thermometer.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import scipy
from numpy.typing import NDArray

from balancekit.calculation.problems import BalancekitError, Problem, refuse
from balancekit.calculation.quantities import QUANTITIES

Floats = NDArray[np.float64]

SCALE_CORRECTED = "scale corrected"
"""The note in a row of readings that a scale's correction was added to."""

ON_THE_SCALE = ("front_weight_g", "strike_weight_g", "wippen_weight_g")
"""Readings that a scale gives; down and up weight are set with weights on the key."""

FEWEST_LOADS = 3
# Two loads give a line and nothing to judge it by (JCGM 100:2008, H.3: freedom n - 2).

_NOMINAL_G = (1, 2, 5, 10, 20, 50, 100, 200)
_LIMITS_MG = {
    "F1": (0.10, 0.12, 0.16, 0.20, 0.25, 0.3, 0.5, 1.0),
    "F2": (0.3, 0.4, 0.5, 0.6, 0.8, 1.0, 1.6, 3.0),
    "M1": (1.0, 1.2, 1.6, 2.0, 2.5, 3.0, 5.0, 10.0),
    "M2": (3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 16.0, 30.0),
    "M3": (10.0, 12.0, 16.0, 20.0, 25.0, 30.0, 50.0, 100.0),
}
# OIML R 111-1:2004, table 1, maximum permissible errors in mg.

WEIGHT_CLASSES = tuple(_LIMITS_MG)


def permitted_error_g(nominal_g: float, weight_class: str) -> float:
    """Return how far a check weight may be off at most [g].

    A load of several weights may be off by the sum of theirs.

    Parameters
    ----------
    nominal_g : what is written on the weight, or the sum of several; whole grams, 1 to 500 [g].
    weight_class : F1, F2, M1, M2 or M3.

    Raises
    ------
    BalancekitError : a class or a load that the table does not have.

    References
    ----------
    OIML R 111-1:2004, table 1.

    >>> permitted_error_g(20, "M1"), permitted_error_g(70, "M1")  # 70 g is 50 g and 20 g
    (0.0025, 0.0055)
    """
    if weight_class not in _LIMITS_MG:
        raise refuse(
            f"'{weight_class}' is not a class of weights.",
            f"Choose one of {', '.join(WEIGHT_CLASSES)}; it stands on the box of the weights.",
        )
    if not (1 <= nominal_g <= 500 and float(nominal_g).is_integer()):
        raise refuse(
            f"A check weight of {nominal_g:g} g is not in the table.",
            "Use weights of 1 to 200 g, or loads made up of them, in whole grams up to 500 g.",
        )
    rest, total = int(nominal_g), 0.0
    for nominal, limit in zip(_NOMINAL_G[::-1], _LIMITS_MG[weight_class][::-1], strict=True):
        total += (rest // nominal) * limit
        rest %= nominal
    return total / 1000


def weight_u_g(nominal_g: float, weight_class: str) -> float:
    """Return the standard uncertainty of a check weight [g]: its limit over the root of 3.

    References
    ----------
    JCGM 100:2008, 4.3.7: anywhere within its limits with equal probability.

    >>> round(weight_u_g(100, "M1"), 5)  # 5 mg / 1.732
    0.00289
    """
    return float(permitted_error_g(nominal_g, weight_class) / np.sqrt(3))


@dataclass(frozen=True)
class Line:
    """A straight line by least squares: y = intercept + slope x (x - reference).

    ``scatter`` is the standard deviation about the line, ``freedom`` its degrees of freedom,
    ``correlation`` that of intercept and slope.
    """

    intercept: float
    intercept_u: float
    slope: float
    slope_u: float
    correlation: float
    scatter: float
    freedom: int
    reference: float

    def at(self, x: Any) -> Any:
        """The line at x."""
        return self.intercept + self.slope * (x - self.reference)

    def u_at(self, x: Any) -> Any:
        """Standard uncertainty of the line at x, with intercept and slope correlated."""
        away = x - self.reference
        both = 2 * away * self.intercept_u * self.slope_u * self.correlation
        return np.sqrt(np.maximum(self.intercept_u**2 + (away * self.slope_u) ** 2 + both, 0.0))


def fit_line(x: Any, y: Any, reference: float = 0.0, least_scatter: float = 0.0) -> Line:
    """Fit a straight line by least squares, with its uncertainty.

    Parameters
    ----------
    x, y : shape (n,), n at least 3, x not all the same.
    reference : where on x the intercept is taken.
    least_scatter : the scatter is taken as at least this, for a coarse display.

    References
    ----------
    JCGM 100:2008, H.3.2, equations H.13a to H.13g, and H.3.4.

    >>> line = fit_line([0, 1, 2], [1.0, 3.0, 5.0])
    >>> round(line.intercept, 9), round(line.slope, 9)
    (1.0, 2.0)
    """
    away, level = np.asarray(x, dtype=float) - reference, np.asarray(y, dtype=float)
    count = len(away)
    spread = count * np.sum(away**2) - np.sum(away) ** 2
    slope = (count * np.sum(away * level) - np.sum(away) * np.sum(level)) / spread
    intercept = float(level.mean() - slope * away.mean())
    left = level - intercept - slope * away
    scatter = max(float(np.sqrt(left @ left / (count - 2))), least_scatter)
    return Line(
        intercept=intercept,
        intercept_u=float(scatter * np.sqrt(np.sum(away**2) / spread)),
        slope=float(slope),
        slope_u=float(scatter * np.sqrt(count / spread)),
        correlation=float(-np.sum(away) / np.sqrt(count * np.sum(away**2))),
        scatter=scatter,
        freedom=count - 2,
        reference=reference,
    )


@dataclass(frozen=True)
class ScaleFit:
    """A scale as its check weights show it.

    Attributes
    ----------
    line : correction [g] against reading [g].
    points : ``nominal_g, weight_class, reading_g, correction_g, left_g`` (left over from the line)
        and ``weight_u_g``, one row a load.
    """

    line: Line
    points: pd.DataFrame

    def correction_g(self, reading_g: Any) -> Any:
        """What must be added to a reading [g]."""
        return self.line.at(reading_g)

    @property
    def few(self) -> float:
        """By how much the few loads widen a band: Student's t over the normal, at 95 %.

        With one degree of freedom 6.5, with two 2.2, with many 1 (JCGM 100:2008, G.3).
        """
        return float(scipy.special.stdtrit(self.line.freedom, 0.975) / scipy.special.ndtri(0.975))

    def errors_g(self, reading_g: Any) -> Floats:
        """Return what is open of the correction, as errors that all readings share, (n, 3) [g].

        Each column is one standard deviation: of the line's level and slope, and of the check
        weights, which are one set, between two loads in proportion.
        """
        line, load = self.line, np.asarray(reading_g, dtype=float)
        away = load - line.reference
        held = line.correlation * line.slope_u
        free = line.slope_u * (1 - line.correlation**2) ** 0.5
        known = self.points.groupby("nominal_g")["weight_u_g"].max()
        weights = np.interp(load, known.index.to_numpy(dtype=float), known.to_numpy())
        own = np.array([line.intercept_u + away * held, away * free]) * self.few
        result: Floats = np.stack([*own, weights], axis=-1)
        return result

    def correction_u_g(self, reading_g: Any) -> Any:
        """Standard uncertainty of the correction [g]; see ``errors_g``."""
        return np.linalg.norm(self.errors_g(reading_g), axis=-1)

    def correct(self, reading_g: Any, reading_u_g: Any = 0.0) -> tuple[Any, Any]:
        """Return corrected readings and their standard uncertainty [g]."""
        u = np.hypot(self.correction_u_g(reading_g), reading_u_g)
        return reading_g + self.correction_g(reading_g), u


def fit_scale(
    nominal_g: Any, weight_class: Any, reading_g: Any, *, display_step_g: float = 0.0
) -> ScaleFit:
    """Find a scale's correction from check weights.

    At the bench: level the scale, let it warm up, set it to zero, and put on each check
    weight in the middle of the pan, from the lightest to the heaviest load in use.

    Parameters
    ----------
    nominal_g : what is written on the weights, shape (n,), at least three different [g].
    weight_class : class of each, shape (n,), or one for all.
    reading_g : what the scale shows, shape (n,) [g].
    display_step_g : last digit of the display [g]; the scatter is taken as at least its
        standard uncertainty, step / sqrt(12) (JCGM 100:2008, F.2.2.1).

    Raises
    ------
    BalancekitError : fewer than three different loads, a load or class not in the table, a
        reading that is missing or more than a tenth off its load.

    References
    ----------
    JCGM 100:2008, H.3; OIML R 111-1:2004, table 1.
    """
    points = pd.DataFrame({"nominal_g": np.asarray(nominal_g, dtype=float)})
    points["weight_class"] = weight_class
    points["reading_g"] = np.asarray(reading_g, dtype=float)
    problems = list(_wrong_loads(points))
    if problems:
        raise BalancekitError(problems)
    if points["nominal_g"].nunique() < FEWEST_LOADS:
        raise refuse(
            f"There are {points['nominal_g'].nunique()} different loads.",
            f"Take at least {FEWEST_LOADS}, over the range that is weighed in the work.",
        )
    points["correction_g"] = points["nominal_g"] - points["reading_g"]
    line = fit_line(
        points["reading_g"], points["correction_g"], least_scatter=display_step_g / 12**0.5
    )
    points["left_g"] = points["correction_g"] - line.at(points["reading_g"])
    points["weight_u_g"] = [*map(weight_u_g, points["nominal_g"], points["weight_class"])]
    return ScaleFit(line, points)


def _wrong_loads(points: pd.DataFrame) -> Any:
    """Yield what is wrong with single loads."""
    for row, (nominal, kind, reading) in enumerate(points.itertuples(index=False), start=1):
        try:
            permitted_error_g(nominal, kind)
        except BalancekitError as error:
            yield from (Problem(p.message, p.advice, line=row) for p in error.problems)
            continue
        if not abs(reading - nominal) <= nominal / 10 + 0.5:
            yield Problem(
                f"The scale shows {reading:g} g for {nominal:g} g.",
                "No scale is so far off. Check which weight was on, the unit, and the zero.",
                line=row,
            )


def last_digit_g(readings: Collection[float]) -> float:
    """Return the last digit that a display shows, as its readings do [g].

    >>> last_digit_g([5.0, 20.01])
    0.01
    """
    places = max(len(f"{value:g}".partition(".")[2]) for value in readings)
    return float(10.0**-places)


_LOADS_G = (4.0, 50.0)
# Lightest and heaviest load in the work, from memory: a light hammer, a heavy front weight.


def judge_scale(fit: ScaleFit, allowed_g: float | None = None) -> str:
    """Say whether a scale is fit for the work, and why.

    Parameters
    ----------
    fit : from ``fit_scale``.
    allowed_g : how far a reading may be off [g]; if left out, the smallest uncertainty of a
        weighed reading in the register.

    >>> fit = fit_scale([5, 20, 50], "M1", [5.0, 20.0, 50.01], display_step_g=0.01)
    >>> judge_scale(fit).split(":")[0]
    'Fit for the work'
    """
    usual = [QUANTITIES[name].reading_u for name in ON_THE_SCALE]
    allowed = min(u for u in usual if u) if allowed_g is None else allowed_g
    loads = np.linspace(*_LOADS_G)
    off, u = np.abs(fit.correction_g(loads)), fit.correction_u_g(loads)
    worst, doubt = float(off.max()), 2 * float(u.max())
    digits = max(2, int(np.ceil(-np.log10(allowed))) + 1)
    said = (
        f"from {_LOADS_G[0]:g} to {_LOADS_G[1]:g} g it is off by at most {worst:.{digits}f} g, "
        f"known to \u00b1{doubt:.{digits}f} g, and {allowed:g} g is allowed."
    )
    heaviest = float(fit.points["nominal_g"].max())
    if heaviest < _LOADS_G[1]:
        said += f" The heaviest check weight was {heaviest:g} g; above it this is a guess."
    if float(np.max(off + 2 * u)) <= allowed:
        return f"Fit for the work: {said}"
    if doubt <= allowed:
        return f"Fit for the work if its readings are corrected: {said}"
    coarse = 2 * float(fit.points["weight_u_g"].max()) > allowed
    reason = (
        "the check weights are too coarse to tell. Use a finer class."
        if coarse
        else "its readings scatter too much. Check level, draught, warm-up and batteries."
    )
    return f"Not fit for the work: {said} Here {reason}"


def correct_readings(readings: pd.DataFrame, fit: ScaleFit) -> pd.DataFrame:
    """Return readings with the scale's correction added, and a note of it in every such row.

    Parameters
    ----------
    readings : raw readings with ``note``; they are not changed.
    fit : from ``fit_scale``.
    """
    corrected = readings.copy()
    touched = pd.Series(False, index=readings.index)
    for name in ON_THE_SCALE:
        corrected[name] = fit.correct(readings[name])[0]
        touched |= readings[name].notna()
    notes = readings["note"].fillna("").astype(str)
    joined = notes.where(notes == "", notes + "; ") + SCALE_CORRECTED
    corrected["note"] = notes.where(~touched, joined)
    return corrected
