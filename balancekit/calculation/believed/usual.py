"""What is usual in one's own shop: how much a quantity scatters and how it runs.

Instruments weighed before tell of the next one, each for what it is worth. How much keys scatter
is often hidden behind the weighing error, so the whole likelihood of each instrument counts, on a
grid of sizes. The logarithm of the scatter is normal over the instruments; with m and t its
unknown mean and standard deviation, and L the likelihood of one instrument::

    weight(m, t) = prior(m) prior(t) x product of sum(L(size) normal(log size; m, t))
    next one: mean of m; variance = mean of t^2 + variance of m

Level, change and step of the course are pooled with weights that hold the variance between
instruments; the next one lies about their mean as Student's t says.

References
----------
DerSimonian and Laird, Controlled Clinical Trials 7 (1986) 177: variance between studies.
Higgins, Thompson and Spiegelhalter, Journal of the Royal Statistical Society A 172 (2009) 137:
Student's t with two degrees of freedom less than there are studies, for the next one; from memory.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from balancekit.calculation.believed.expected_course import USUAL_SCATTER, WITHIN
from balancekit.calculation.course import Floats
from balancekit.calculation.uncertainty import coverage_factor

USUAL_OF = ("wippen_weight_g", "key_ratio", "friction_g")
"""What is alike from one instrument to the next, so that earlier ones tell of it."""

LOG_SIZES: Floats = np.log(USUAL_SCATTER) + np.linspace(-3.5, 3.0, 66)
"""Logs of the scatter over what is expected of it, at which instruments are held together."""

_FEWEST_FOR_COURSE = 4
# With two degrees of freedom less, Student's t needs one more than three.

_BETWEEN: Floats = np.array([0.02, 0.1, 0.2, 0.3, 0.45, 0.6, 0.8, 1.1])
_BETWEEN_SIZE = WITHIN * 0.55
_MEAN_SIZE = float(np.sqrt(WITHIN**2 - _BETWEEN_SIZE**2))
# Our own choice: without any instrument the next one is as uncertain as ``WITHIN`` says, and about
# a third of that variance lies between the instruments of one shop.


@dataclass(frozen=True)
class UsualEvidence:
    """What one instrument tells of one quantity.

    Attributes
    ----------
    scatter : log likelihood of its scatter at ``LOG_SIZES``.
    course, course_u : level, change over the keyboard and step from sharp to natural, and their
        standard uncertainties.
    """

    scatter: tuple[float, ...]
    course: tuple[float, float, float]
    course_u: tuple[float, float, float]


@dataclass(frozen=True)
class Usual:
    """What is usual of one quantity, for the next instrument.

    Attributes
    ----------
    scatter, within : middle of its scatter over what is expected of it, and the standard deviation
        of the logarithm about it.
    course, course_u : level, change and step, and how far the next one may be off; None where too
        few instruments tell.
    """

    scatter: float = USUAL_SCATTER
    within: float = WITHIN
    course: Floats | None = None
    course_u: Floats | None = None


def pool(told: Mapping[str, Sequence[UsualEvidence]]) -> dict[str, Usual]:
    """Take together what instruments tell, by quantity."""
    found = {}
    for name, each in told.items():
        scatter, within = usual_scatter([one.scatter for one in each])
        course = course_u = None
        if len(each) >= _FEWEST_FOR_COURSE:
            course, course_u = np.transpose([
                next_one(values, spread)
                for values, spread in zip(
                    np.transpose([one.course for one in each]),
                    np.transpose([one.course_u for one in each]), strict=True)
            ])  # fmt: skip
        found[name] = Usual(scatter, within, course, course_u)
    return found


def usual_scatter(likelihoods: Sequence[Sequence[float]]) -> tuple[float, float]:
    """Return the middle of the next instrument's scatter, and how far its logarithm may be off.

    Parameters
    ----------
    likelihoods : log likelihood of each instrument at ``LOG_SIZES``.

    >>> [round(value, 2) for value in usual_scatter([])]
    [0.7, 0.59]
    """
    means = np.log(USUAL_SCATTER) + np.linspace(-3, 3, 61) * _MEAN_SIZE
    normal = np.exp(-0.5 * ((LOG_SIZES - means[:, None]) / _BETWEEN[:, None, None]) ** 2)
    normal /= np.maximum(normal.sum(axis=2, keepdims=True), 1e-300)
    log_weight = -0.5 * ((means - np.log(USUAL_SCATTER)) / _MEAN_SIZE) ** 2
    log_weight = log_weight - 0.5 * (_BETWEEN[:, None] / _BETWEEN_SIZE) ** 2
    log_weight = log_weight + np.log(np.gradient(_BETWEEN))[:, None]
    for each in likelihoods:
        logs = np.asarray(each, dtype=np.float64)
        log_weight = log_weight + np.log(np.maximum(normal @ np.exp(logs - logs.max()), 1e-300))
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    middle = float(np.sum(weight * means))
    square = float(np.sum(weight * (_BETWEEN[:, None] ** 2 + (means - middle) ** 2)))
    return float(np.exp(middle)), square**0.5


def random_effects(values: Floats, spread: Floats) -> tuple[float, float, float]:
    """Return mean, its standard uncertainty, and the variance between instruments.

    Parameters
    ----------
    values, spread : one value of each instrument and its standard uncertainty.

    >>> random_effects(np.array([1.0, 1.0, 4.0]), np.array([1.0, 1.0, 1.0]))
    (2.0, 1.0, 2.0)
    """
    weight = 1 / spread**2
    mean = weight @ values / weight.sum()
    over = weight @ (values - mean) ** 2 - (len(values) - 1)
    between = max(0.0, over / (weight.sum() - (weight**2).sum() / weight.sum()))
    weight = 1 / (spread**2 + between)
    return float(weight @ values / weight.sum()), float(weight.sum() ** -0.5), float(between)


def next_one(values: Floats, spread: Floats) -> tuple[float, float]:
    """Return the mean, and how far the next instrument may be off it, as a standard deviation."""
    mean, mean_u, between = random_effects(values, spread)
    wider = coverage_factor(len(values) - 2) / coverage_factor()
    return mean, float(np.hypot(mean_u, between**0.5)) * wider
