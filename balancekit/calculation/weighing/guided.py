"""The next weight to put on, so that down or up weight is found in the fewest placements.

The threshold of a key lies near what its neighbours predict. Each placement says on which side
of the weight it lies, so the weight that halves what is still likely tells most.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf, isfinite
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from balancekit.calculation.problems import refuse

_TAIL = 3
# Our own choice: Student's t with three degrees of freedom, so that a key far from its
# neighbours costs a few placements more and not dozens.

_LEAST_SPREAD = 0.5
"""Steps by which a prediction is taken to be off at least. Our own choice."""

PLACEMENTS, BY_GRAM = 2.6, 6.5
"""Placements a reading, simulated: guided, and gram by gram from 5 g below what is expected.

1,000 keys which their neighbours predict to 1.3 g, steps of 1 g; a test runs it.
"""

_USUAL_WITHIN_G = 0.5
# From memory: weights are set in steps of 1 g, and the stated uncertainty holds such a step.


@dataclass(frozen=True)
class Threshold:
    """A threshold between two weights, as far as it was found.

    Attributes
    ----------
    expected_g, expected_u_g : what the neighbours predict, with its standard uncertainty [g].
    step_g : the smallest weight that is put on or taken off [g].
    below_g : the largest weight that is known to be too light, -inf if none is [g].
    above_g : the smallest weight that is known to be enough, inf if none is [g].
    placements : how often a weight was put on.
    """

    expected_g: float
    expected_u_g: float
    step_g: float = 1.0
    below_g: float = -inf
    above_g: float = inf
    placements: int = 0

    def __post_init__(self) -> None:
        numbers = (self.expected_g, self.expected_u_g, self.step_g)
        if not all(map(isfinite, numbers)) or self.step_g <= 0 or self.expected_u_g < 0:
            raise refuse(
                "There is nothing to search from.",
                "Give what is expected, its uncertainty, and a step above 0 g.",
            )

    @property
    def found(self) -> bool:
        """Whether the two weights are one step apart."""
        return self.above_g - self.below_g <= self.step_g * (1 + 1e-9)

    @property
    def middle_g(self) -> float:
        """The middle of the two weights: what is expected of a threshold between them [g].

        References
        ----------
        JCGM 100:2008, 4.3.7: a value anywhere between two limits.
        """
        return (self.above_g + max(self.below_g, 0.0)) / 2

    @property
    def within_g(self) -> float:
        """How far from that middle the threshold may lie, either way [g]."""
        return self.above_g - self.middle_g

    @property
    def next_g(self) -> float:
        """The weight to put on next: it halves what is still likely [g].

        >>> Threshold(50.2, 1.0).next_g, Threshold(50.2, 1.0, below_g=50.0).next_g
        (50.0, 51.0)
        """
        scale = max(self.expected_u_g, _LEAST_SPREAD * self.step_g)
        low, high = (
            float(scipy.special.stdtr(_TAIL, (limit - self.expected_g) / scale))
            for limit in (self.below_g, self.above_g)
        )
        middle = self.expected_g + scale * float(scipy.special.stdtrit(_TAIL, (low + high) / 2))
        if not isfinite(middle):
            middle = self.above_g if isfinite(self.above_g) else self.below_g
        steps = round(middle / self.step_g)
        if isfinite(self.below_g):
            steps = max(steps, round(self.below_g / self.step_g) + 1)
        if isfinite(self.above_g):
            steps = min(steps, round(self.above_g / self.step_g) - 1)
        return max(steps, 0) * self.step_g

    def after(self, weight_g: float, enough: bool) -> Threshold:
        """Return what is known after one weight was put on, and was enough or was not.

        Raises
        ------
        BalancekitError : the weight was answered otherwise before.
        """
        if (enough and weight_g <= self.below_g) or (not enough and weight_g >= self.above_g):
            raise refuse(
                f"{weight_g:g} g does not agree with what was answered before.",
                "Take the last answer back, or begin this reading anew.",
            )
        placed = self.placements + 1
        if enough:
            return replace(self, above_g=min(self.above_g, weight_g), placements=placed)
        return replace(self, below_g=max(self.below_g, weight_g), placements=placed)


def step_variance(within: Any, one: Any) -> NDArray[np.float64]:
    """Return by how much the square of a reading's uncertainty grows for its coarse step.

    The stated uncertainty of a reading holds the usual step, as far as it is large enough for it.

    Parameters
    ----------
    within : how far from the reading the truth may lie, either way [g]; NaN is not known.
    one : standard uncertainty of the reading, the usual step included [g].

    References
    ----------
    JCGM 100:2008, 4.3.7: anywhere between two limits, their half-width over the root of three.

    >>> round(float(step_variance(1.0, 0.7)), 3)  # 1 / 3 less the usual 0.25 / 3
    0.25
    """
    held = np.minimum(_USUAL_WITHIN_G**2, 3 * np.square(one))
    return np.asarray((np.fmax(np.square(within), held) - held) / 3, dtype=np.float64)
