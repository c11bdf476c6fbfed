"""The uncertainties package (BSD licence): what a key will weigh after the work, and how surely.

The balance equation is written out anew in that package's own numbers, which follow by
themselves a reading that enters twice: first for the ratio, then for the weight afterwards.
"""

import pandas as pd
import pytest
from uncertainties import ufloat

from balancekit.calculation.proof.prediction import Planned, predict

GUARDS = ("balancekit.calculation.proof.prediction.predict",)

READ = {
    "down_weight_g": (50.0, 0.7),
    "up_weight_g": (26.0, 0.9),
    "front_weight_g": (27.0, 0.3),
    "spring_relief_g": (4.0, 0.7),
    "wippen_weight_g": (18.0, 0.2),
    "key_ratio": (0.51, 0.005),
    "strike_weight_g": (10.2, 0.1),
}
KEY = 40
AGREE = 1e-9


def as_found() -> pd.DataFrame:
    columns = {name: value for name, (value, _) in READ.items()}
    spreads = {
        name.removesuffix("_g") + ("_u_g" if name.endswith("_g") else "_u"): u
        for name, (_, u) in READ.items()
    }
    return pd.DataFrame(columns | spreads, index=[KEY])


def at_the_key(value: float) -> pd.Series:
    return pd.Series([value], index=[KEY])


CASES = {
    "front weight": ({"front_weight_g": 21.0}, 1.0, 1.0),
    "strike weight": ({"strike_weight_g": 9.1}, 1.0, 1.0),
    "spring relief": ({"spring_relief_g": 9.0}, 1.0, 1.0),
    "friction": ({"friction_g": 9.0}, 1.0, 1.0),
    "lever": ({}, 0.95, 0.97),
    "all": (
        {"front_weight_g": 21.0, "strike_weight_g": 9.1, "spring_relief_g": 0.0, "friction_g": 8.0},
        1.05,
        1.02,
    ),
}
REACHED = {"front_weight_g": 0.3, "strike_weight_g": 0.1, "spring_relief_g": 0.8, "friction_g": 1.0}


@pytest.mark.parametrize("case", CASES)
def test_weights_after_the_work(case: str) -> None:
    wanted, ratio_part, key_part = CASES[case]
    read = {name: ufloat(*pair) for name, pair in READ.items()}
    balance = (read["down_weight_g"] + read["up_weight_g"]) / 2
    pressed = balance + read["front_weight_g"] + read["spring_relief_g"]
    lifted_by_wippen = read["wippen_weight_g"] * read["key_ratio"]
    ratio = (pressed - lifted_by_wippen) / read["strike_weight_g"]
    after = read | {"friction_g": (read["down_weight_g"] - read["up_weight_g"]) / 2}
    after |= {name: ufloat(value, REACHED[name]) for name, value in wanted.items()}
    balance_after = (
        lifted_by_wippen * key_part
        + after["strike_weight_g"] * ratio * ratio_part
        - after["front_weight_g"]
        - after["spring_relief_g"]
    )
    expected = {
        "balance_weight_g": balance_after,
        "friction_g": after["friction_g"],
        "down_weight_g": balance_after + after["friction_g"],
        "up_weight_g": balance_after - after["friction_g"],
        "action_ratio": ratio * ratio_part,
    }
    planned = Planned(
        **{name: at_the_key(value) for name, value in wanted.items()},
        **{name.replace("_g", "_u_g"): u for name, u in REACHED.items()},
        ratio_part=ratio_part,
        key_ratio_part=key_part,
    )
    row = predict(as_found(), planned).loc[KEY]
    for name, value in expected.items():
        spread = name.removesuffix("_g") + ("_u_g" if name.endswith("_g") else "_u")
        assert row[name] == pytest.approx(value.nominal_value, rel=AGREE), name
        assert row[spread] == pytest.approx(value.std_dev, rel=1e-7), name
