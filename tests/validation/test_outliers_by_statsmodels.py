"""What is off, against the outlier test of statsmodels on data sets that it carries.

- Studentized residuals and the mean shift outlier model: Cook and Weisberg, Residuals and
  Influence in Regression (1982), 2.2, as OLSInfluence computes them and as a regression with one
  more column for each outlier.
- Data: statecrime (murder against urban population, the District of Columbia far off) and engel
  (food expenditure against income, Koenker and Bassett 1982).

The readings of a key are taken to be those of the data set; their inverse covariance Q is that of a
line that is free and of errors of the regression's own size.
"""

import numpy as np
import pytest
import statsmodels.api as sm

from balancekit.calculation.believed.causes import Cause, KeyEvidence

GUARDS = ("balancekit.calculation.believed.causes.KeyEvidence",)


def state_crime() -> tuple[np.ndarray, np.ndarray]:
    data = sm.datasets.statecrime.load_pandas().data
    return data["urban"].to_numpy(), data["murder"].to_numpy()


def engel() -> tuple[np.ndarray, np.ndarray]:
    data = sm.datasets.engel.load_pandas().data
    return data["income"].to_numpy(), data["foodexp"].to_numpy()


@pytest.mark.parametrize("data", [state_crime, engel])
def test_outliers_are_the_same_one_after_the_other(data: object) -> None:
    x, y = data()  # type: ignore[operator]
    count, columns = len(x), sm.add_constant(x)
    model = sm.OLS(y, columns).fit()
    size = float(np.sqrt(model.mse_resid))
    hat = columns @ np.linalg.pinv(columns)
    names, eye = tuple(f"row {row}" for row in range(count)), np.eye(count)
    assert model.get_influence().resid_studentized_internal == pytest.approx(
        model.resid / np.sqrt(1 - np.diagonal(hat)) / size
    )
    causes = tuple(Cause(name, True, eye[row]) for row, name in enumerate(names))
    evidence = KeyEvidence(names, y, (eye - hat) / size**2, causes)
    free = np.full(count, True)
    for _ in range(3):
        best = evidence.explained()
        assert best is not None
        cause, shift, units = best
        # Studentized as OLSInfluence does it, but the size of the errors is kept.
        hidden = np.where(free, 1 - model.get_influence().hat_matrix_diag, np.inf)
        theirs = model.resid / np.sqrt(hidden) / size
        row = int(np.argmax(np.abs(theirs)))
        free[row] = False
        assert cause.name == f"row {row}" and units == pytest.approx(theirs[row], rel=1e-6)
        columns = np.column_stack([columns, eye[row]])
        model = sm.OLS(y, columns).fit()
        assert shift == pytest.approx(model.params[-1], rel=1e-6)
        evidence = evidence.beside(cause)
        # What is left to explain is the regression's own sum of squares.
        assert evidence.squares == pytest.approx(model.ssr / size**2, rel=1e-6)
