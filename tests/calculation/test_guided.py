"""A threshold is found between two weights in few placements."""

from __future__ import annotations

from math import ceil

import numpy as np
import pytest

from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.weighing.guided import (
    BY_GRAM,
    PLACEMENTS,
    Threshold,
    step_variance,
)


def sought(truth_g: float, expected_g: float, u_g: float, step_g: float = 1.0) -> Threshold:
    """Put weights on as told until the threshold is found."""
    search = Threshold(expected_g, u_g, step_g)
    while not search.found:
        weight = search.next_g
        search = search.after(weight, weight >= truth_g)
    return search


@pytest.mark.parametrize("step_g", [0.5, 1.0, 2.0])
def test_the_two_weights_enclose_the_truth_and_are_one_step_apart(step_g):
    draw = np.random.default_rng(7)
    for truth in draw.uniform(5.0, 90.0, 60):
        found = sought(truth, 50.0, 1.5, step_g)
        assert found.below_g < truth <= found.above_g
        assert found.above_g - found.below_g == pytest.approx(step_g)
        assert found.middle_g - found.within_g == pytest.approx(found.below_g)
        assert found.middle_g + found.within_g == pytest.approx(found.above_g)


def test_the_uncertainty_between_two_limits_is_that_of_the_guide():
    """JCGM 100:2008, 4.3.7, example 1: the expansion of copper is 16.52, at most 0.40 off.

    Its variance is 0.40^2 / 3, its standard uncertainty 0.23, in millionths a degree.
    """
    assert step_variance(0.40, 0.0) == pytest.approx(0.0533, abs=5e-5)
    assert round(float(step_variance(0.40, 0.0)) ** 0.5, 2) == 0.23
    # Beside 0.7 g, which holds a step of 1 g: only what is coarser adds to it.
    widths = np.array([0.25, 0.5, 1.0, 2.0, np.nan])
    added = [0.0, 0.0, (1 - 0.25) / 3, (4 - 0.25) / 3, 0.0]
    assert step_variance(widths, 0.7) == pytest.approx(added)
    # A reading stated to be better than its step holds no more of the step than it is.
    assert 0.1**2 + step_variance(0.5, 0.1) == pytest.approx(0.5**2 / 3)


def test_it_takes_less_than_half_the_placements_of_going_up_gram_by_gram():
    """1,000 keys whose neighbours predict them to 1.3 g: drawn apart from the search.

    Gram by gram a careful hand begins 5 g below what the neighbours have.
    """
    draw = np.random.default_rng(11)
    truth = 50.0 + draw.normal(0.0, 1.3, 1000)
    guided = np.mean([sought(each, 50.0, 1.3).placements for each in truth])
    by_gram = np.mean([max(ceil(each) - 45 + 1, 1) for each in truth])
    # The entropy of a normal threshold on a 1 g grid is a bound from below: by Shannon
    # 0.5 log2(2 pi e 1.3^2) = 2.43 answers of yes or no.
    assert 2.43 <= guided < by_gram / 2
    assert guided == pytest.approx(PLACEMENTS, abs=0.1), "as the panel says"
    assert by_gram == pytest.approx(BY_GRAM, abs=0.1)


def test_a_key_far_from_its_neighbours_costs_a_few_placements_more():
    for truth in (80.3, 12.3):  # gram by gram from 45 g it takes 36 placements, up or down 33
        assert sought(truth, 50.0, 1.0).placements <= 20


def test_a_weight_is_never_asked_twice():
    search, seen = Threshold(50.0, 2.0), set()
    while not search.found:
        weight = search.next_g
        assert weight not in seen
        seen.add(weight)
        search = search.after(weight, weight >= 57.2)


def test_answers_that_contradict_each_other_are_refused():
    search = Threshold(50.0, 1.0).after(52.0, False)
    with pytest.raises(BalancekitError, match="does not agree"):
        search.after(51.0, True)
    for wrong in ((float("nan"), 1.0, 1.0), (50.0, -1.0, 1.0), (50.0, 1.0, 0.0)):
        with pytest.raises(BalancekitError):
            Threshold(*wrong)
