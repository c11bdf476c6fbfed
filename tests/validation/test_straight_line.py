"""A straight line, the limit of a trend without bends, against published fits.

- JCGM 100:2008 (GUM), annex H.3: correction of a thermometer, table H.6; b(30) and its
  uncertainty from H.3.4. Tolerances from the rounding of the GUM.
- NIST Statistical Reference Datasets, Norris, certified values; the data as the scipy wheel
  carries them.
"""

import importlib.resources

import numpy as np
import pytest

from balancekit.calculation.course import Sizes, bend_shapes
from balancekit.calculation.irregularities.trend_grid import SolvedGrid, solve_grid
from balancekit.calculation.weighing.scale import fit_line

GUARDS = (
    "balancekit.calculation.weighing.scale.fit_scale",
    "balancekit.calculation.irregularities.trend_grid.solve_grid",
)

TEMPERATURE_C = np.array(
    [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
)
CORRECTION_C = -np.array(
    [0.171, 0.169, 0.166, 0.159, 0.164, 0.165, 0.156, 0.157, 0.159, 0.161, 0.160]
)
FREE_LINE = Sizes(change=1e7, bend=1.0, step=1e-9, scatter=1.0)


def straight(places: np.ndarray, values: np.ndarray, scatter: float) -> SolvedGrid:
    """Fit a line, with bends of no size, to the first places; the last two are predicted."""
    used, count = np.arange(len(values)), len(places)
    line = np.column_stack([np.ones(count), places, np.zeros((count, 2))])
    return solve_grid(
        used, values, np.zeros(len(values)), line, bend_shapes(count),
        FREE_LINE, (scatter, 1e-12),
    )  # fmt: skip


def test_gum_h3_line_and_its_standard_deviations() -> None:
    """The scatter is the GUM's own s = 0.0035, so that only the line is compared."""
    places = np.append(TEMPERATURE_C - 20, [0.0, 10.0])
    slope, intercept = np.polyfit(TEMPERATURE_C - 20, CORRECTION_C, 1)
    left = CORRECTION_C - intercept - slope * (TEMPERATURE_C - 20)
    grid = straight(places, CORRECTION_C, float(np.sqrt(left @ left / 9)))
    mean, spread = grid.mean[-1, 0], np.sqrt(grid.variance[-1, 0])
    assert mean[-2] == pytest.approx(-0.1712, abs=5e-5)
    assert spread[-2] == pytest.approx(0.0029, abs=5e-5)
    assert mean[-1] == pytest.approx(-0.1494, abs=5e-5)
    assert spread[-1] == pytest.approx(0.0041, abs=5e-5)
    assert (mean[-1] - mean[-2]) / 10 == pytest.approx(0.00218, abs=5e-6)


def test_gum_h3_line_of_a_scale() -> None:
    """The same by ``scale.fit_line``, with the correlation and the scatter."""
    line = fit_line(TEMPERATURE_C, CORRECTION_C, reference=20.0)
    assert line.intercept == pytest.approx(-0.1712, abs=5e-5)
    assert line.intercept_u == pytest.approx(0.0029, abs=5e-5)
    assert line.slope == pytest.approx(0.00218, abs=5e-6)
    assert line.slope_u == pytest.approx(0.00067, abs=5e-6)
    assert line.correlation == pytest.approx(-0.930, abs=5e-4)
    assert line.at(30.0) == pytest.approx(-0.1494, abs=5e-5)
    assert line.u_at(30.0) == pytest.approx(0.0041, abs=5e-5)
    assert line.freedom == 9


def norris() -> tuple[np.ndarray, np.ndarray]:
    """Read y and x; the data are the 36 lines from line 61, as the file itself says."""
    file = importlib.resources.files("scipy") / "stats/tests/data/nist_linregress/Norris.dat"
    rows = [line.split() for line in file.read_text().splitlines()[60:96]]
    table = np.array(rows, dtype=float)
    assert table.shape == (36, 2)
    return table[:, 0], table[:, 1]


def test_norris_line_is_the_certified_one() -> None:
    y, x = norris()
    grid = straight(np.append(x, [0.0, 1.0]), y, 0.884796396144373)
    mean, spread = grid.mean[-1, 0], np.sqrt(grid.variance[-1, 0])
    assert mean[-2] == pytest.approx(-0.262323073774029, rel=1e-5)
    assert mean[-1] - mean[-2] == pytest.approx(1.00211681802045, rel=1e-8)
    assert spread[-2] == pytest.approx(0.232818234301152, rel=1e-5)
    line = fit_line(x, y)
    assert line.intercept == pytest.approx(-0.262323073774029, rel=1e-9)
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-12)
    assert line.scatter == pytest.approx(0.884796396144373, rel=1e-12)
