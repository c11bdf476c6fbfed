"""How far to each side of a result the truth may lie."""

from __future__ import annotations

from math import floor, log10

from scipy.special import stdtrit


def known_decimals(uncertainty: float) -> int:
    """Return how many digits after the point are known, with two digits of the uncertainty.

    References
    ----------
    JCGM 100:2008, 7.2.6.

    >>> known_decimals(0.027), known_decimals(0.10), known_decimals(30.0)
    (3, 2, 0)
    """
    return max(1 - floor(log10(uncertainty)), 0)


def coverage_factor(freedom: float = float("inf"), probability: float = 0.95) -> float:
    """Return how many standard uncertainties to each side hold the truth with a probability.

    References
    ----------
    JCGM 100:2008, G.3.

    >>> round(coverage_factor(), 2), round(coverage_factor(16, 0.99), 2)
    (1.96, 2.92)
    """
    return float(stdtrit(freedom, (1 + probability) / 2))
