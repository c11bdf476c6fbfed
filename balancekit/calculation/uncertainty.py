"""How far to each side of a result the truth may lie."""

from __future__ import annotations

from scipy.special import stdtrit


def coverage_factor(freedom: float = float("inf"), probability: float = 0.95) -> float:
    """Return how many standard uncertainties to each side hold the truth with a probability.

    References
    ----------
    JCGM 100:2008, G.3.

    >>> round(coverage_factor(), 2), round(coverage_factor(16, 0.99), 2)
    (1.96, 2.92)
    """
    return float(stdtrit(freedom, (1 + probability) / 2))
