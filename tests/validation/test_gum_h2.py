"""JCGM 100:2008 (GUM), annex H.2: resistance and reactance measured at the same time.

Five simultaneous readings of voltage, current and phase (table H.2); results, standard
uncertainties and correlations of table H.4. The GUM rounds on the way, so 0.001 is allowed. What
is believed of a key is drawn jointly in the same way: three of its quantities stand for the
three readings here, and the results are worked out from the draws.
"""

import numpy as np
import pandas as pd
import pytest

from balancekit.instrument.believed import BELIEVED, Believed

GUARDS = ("balancekit.instrument.believed.Believed",)

VOLTAGE_V = (5.007, 4.994, 5.005, 4.990, 4.999)
CURRENT_MA = (19.663, 19.639, 19.640, 19.685, 19.678)
PHASE_RAD = (1.0456, 1.0438, 1.0468, 1.0428, 1.0433)
ROUNDING = 1e-3
DRAWS = 400_000  # the standard error of a standard deviation is then 0.11 %

STAND_FOR = ("front_weight_g", "strike_weight_g", "friction_g")
READINGS = np.column_stack([VOLTAGE_V, np.array(CURRENT_MA), PHASE_RAD])


@pytest.fixture(scope="module")
def drawn() -> dict[str, np.ndarray]:
    """R, X and Z of the joint draws of one key."""
    places = [BELIEVED.index(name) for name in STAND_FOR]
    centre, cover = np.zeros(len(BELIEVED)), np.zeros((len(BELIEVED), len(BELIEVED)))
    centre[places] = READINGS.mean(axis=0)
    cover[np.ix_(places, places)] = np.cov(READINGS, rowvar=False) / len(READINGS)
    table = pd.DataFrame({"action_ratio": [float("nan")]}, index=[1])
    found = Believed(table, {}, (), centre, cover).draws(DRAWS, seed=1)
    voltage, current, phase = (found[name][:, 0] for name in STAND_FOR)
    size = voltage / (current / 1000)
    return {"R": size * np.cos(phase), "X": size * np.sin(phase), "Z": size}


@pytest.mark.parametrize(("name", "expected"), [("R", 127.732), ("X", 219.847), ("Z", 254.260)])
def test_results(drawn: dict[str, np.ndarray], name: str, expected: float) -> None:
    assert drawn[name].mean() == pytest.approx(expected, abs=ROUNDING)


@pytest.mark.parametrize(("name", "expected"), [("R", 0.071), ("X", 0.295), ("Z", 0.236)])
def test_uncertainties(drawn: dict[str, np.ndarray], name: str, expected: float) -> None:
    assert drawn[name].std() == pytest.approx(expected, abs=ROUNDING)


@pytest.mark.parametrize(
    ("one", "other", "expected"), [("R", "X", -0.588), ("R", "Z", -0.485), ("X", "Z", 0.993)]
)
def test_correlations(drawn: dict[str, np.ndarray], one: str, other: str, expected: float) -> None:
    found = np.corrcoef(drawn[one], drawn[other])[0, 1]
    assert found == pytest.approx(expected, abs=3 * ROUNDING)
