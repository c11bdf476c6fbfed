"""The straight line of a scale's errors, against published fits.

- JCGM 100:2008 (GUM), annex H.3: correction of a thermometer, table H.6; b(30) and its
  uncertainty from H.3.4. Tolerances from the rounding of the GUM.
- NIST Statistical Reference Datasets, Norris, certified values; the data as the scipy wheel
  carries them.
"""

import importlib.resources

import numpy as np
import pytest

from balancekit.calculation.weighing.scale import fit_line

GUARDS = ("balancekit.calculation.weighing.scale.fit_scale",)

TEMPERATURE_C = np.array(
    [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
)
CORRECTION_C = -np.array(
    [0.171, 0.169, 0.166, 0.159, 0.164, 0.165, 0.156, 0.157, 0.159, 0.161, 0.160]
)


def test_gum_h3_line_of_a_scale() -> None:
    """Line, standard deviations, correlation and scatter; b(30) from H.3.4."""
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
    line = fit_line(x, y)
    assert line.intercept == pytest.approx(-0.262323073774029, rel=1e-9)
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-12)
    assert line.scatter == pytest.approx(0.884796396144373, rel=1e-12)
