"""What stands out, against the outlier test of statsmodels on data sets that it carries.

- Externally studentized residuals and their Bonferroni test: Cook and Weisberg, Residuals and
  Influence in Regression (1982), 2.2, as OLSInfluence and outlier_test compute them.
- Data: statecrime (murder against urban population, the District of Columbia far off) and engel
  (food expenditure against income, Koenker and Bassett 1982).

Studentizing knows nothing of the scatter beforehand; a trend expects some. With fifty readings
and more that no longer matters: 3 % is allowed, and 0.05 near zero.
"""

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from balancekit.calculation.course import Sizes, bend_shapes
from balancekit.calculation.irregularities.trend_grid import deviation, solve_grid

GUARDS = (
    "balancekit.calculation.irregularities.trend_grid.deviation",
    "balancekit.calculation.irregularities.trend_grid.solve_grid",
)


def state_crime() -> tuple[np.ndarray, np.ndarray]:
    data = sm.datasets.statecrime.load_pandas().data
    return data["urban"].to_numpy(), data["murder"].to_numpy()


def engel() -> tuple[np.ndarray, np.ndarray]:
    data = sm.datasets.engel.load_pandas().data
    return data["income"].to_numpy(), data["foodexp"].to_numpy()


@pytest.mark.parametrize("data", [state_crime, engel])
def test_deviations_and_outliers_are_the_same(data: object) -> None:
    x, y = data()  # type: ignore[operator]
    model = sm.OLS(y, sm.add_constant(x)).fit()
    test = model.outlier_test()
    freedom = len(x) - 3
    theirs = stats.norm.ppf(stats.t.cdf(test[:, 0], freedom))

    spread = float(np.std(model.resid))
    count = len(x)
    line = np.column_stack([np.ones(count), (x - x.mean()) / np.ptp(x), np.zeros((count, 2))])
    grid = solve_grid(
        np.arange(count), y - y.mean(), np.zeros(count), line, bend_shapes(count),
        Sizes(1e6, 1.0, 1e-9, spread), (2 * spread, 1e-9),
    )  # fmt: skip
    ours = deviation(grid.values, *grid.without_own())
    assert ours == pytest.approx(theirs, rel=0.03, abs=0.05)

    limit = stats.norm.ppf(1 - 0.025 / len(x))
    outliers = set(np.flatnonzero(test[:, 2] < 0.05))
    assert outliers and set(np.flatnonzero(np.abs(ours) > limit)) == outliers
