"""A change that is known from textbooks: the yearly flow of the Nile at Aswan, 1871 to 1970.

The flow falls after 1898. Data: ``statsmodels.datasets.nile``. The change between 1898 and 1899:
G. W. Cobb, The problem of the Nile: conditional solution to a changepoint problem, Biometrika 65
(1978) 243; J. Durbin and S. J. Koopman, Time Series Analysis by State Space Methods, 2.2 and 2.3.
Sources from memory, the data from the package. Cobb puts the fall at about 250 of 1100.
"""

import numpy as np
import pytest
from statsmodels.datasets import nile

from balancekit.calculation.believed.groups import find_runs
from balancekit.calculation.believed.search import Search
from balancekit.calculation.course import Sizes

GUARDS = ("balancekit.calculation.believed.groups.find_runs",)

FLOW = nile.load_pandas().data
YEARS = FLOW["year"].to_numpy(dtype=int)


def search_of(values: np.ndarray) -> Search:
    """The flow as a series over a keyboard of naturals; what is read off is taken as exact."""
    count = len(values)
    sizes = Sizes(change=50, bend=2, step=250, scatter=150)  # level, with no course that bends
    return Search(
        np.arange(count), values - np.median(values), np.ones(count), np.ones(count, dtype=bool),
        sizes,
    )  # fmt: skip


def test_the_flow_changes_once_between_1898_and_1899_by_as_much_as_published():
    flow = FLOW["volume"].to_numpy(dtype=float)
    (run,) = find_runs(search_of(flow))
    assert (YEARS[run.first], YEARS[run.last]) == (1871, 1898)
    before = flow[run.first : run.last + 1].mean()
    assert before - flow[run.last + 1 :].mean() == pytest.approx(250, abs=25)


def test_neither_part_alone_changes_again():
    flow = FLOW["volume"].to_numpy(dtype=float)
    assert find_runs(search_of(flow[:28])) == []
    assert find_runs(search_of(flow[28:])) == []
