"""What is believed of a visit: one table, sentences for doubted keys, and joint draws."""

import numpy as np
import pandas as pd
import pytest

from balancekit.calculation.balance import solve_for_balance_weight
from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.quantities import uncertainty_name
from balancekit.instrument.believed import BELIEVED, believe
from balancekit.instrument.demo import MOVED_POINT_KEY, studio_grand
from balancekit.instrument.occasion import Occasion
from balancekit.instrument.table_files import from_bytes
from balancekit.instrument.tables import TABLES
from balancekit.instrument.write_table import to_bytes

GRAND = studio_grand()
OCCASION = Occasion(GRAND)


def test_every_quantity_of_every_key_has_a_value_and_an_uncertainty():
    table = OCCASION.believed.table
    assert table.index.equals(GRAND.keys.index)
    for name in BELIEVED:
        assert table[[name, uncertainty_name(name)]].notna().all(axis=None), name


def test_a_doubted_reading_is_to_be_weighed_first_until_it_is_confirmed():
    assert "strike weight" in OCCASION.believed.weigh_first[MOVED_POINT_KEY]
    visit = GRAND.visits[0]
    kept = GRAND.with_visit(
        type(visit)(visit.title, visit.date, visit.readings,
                    visit.confirmed | {(MOVED_POINT_KEY, "strike_weight_g")}), 0
    )  # fmt: skip
    assert MOVED_POINT_KEY not in believe(kept).weigh_first


def test_the_balance_equation_holds_in_every_draw_and_the_seed_decides():
    draws = OCCASION.believed.draws(5, seed=3)
    parts = {name: draws[name] for name in (
        "front_weight_g", "spring_relief_g", "wippen_weight_g", "key_ratio", "strike_weight_g",
        "action_ratio")}  # fmt: skip
    assert np.allclose(draws["balance_weight_g"], solve_for_balance_weight(**parts))
    again = OCCASION.believed.draws(5, seed=3)
    assert all(np.array_equal(draws[name], again[name]) for name in BELIEVED)


def test_draws_scatter_as_the_table_says():
    draws = OCCASION.believed.draws(4000, seed=1)
    for name in ("front_weight_g", "key_ratio", "action_ratio", "friction_g"):
        u = OCCASION.believed.table[uncertainty_name(name)]
        assert np.allclose(draws[name].std(axis=0), u, rtol=0.1), name


def test_the_time_of_a_reading_is_kept_and_a_time_that_is_none_is_refused():
    readings = pd.DataFrame({"key": [1], "down_weight_g": [50.0], "read_at": ["2026-05-04T10:30"]})
    kept = GRAND.with_readings(readings).visits[0].readings
    back = from_bytes(to_bytes(kept), "readings.csv", TABLES["readings"], 88)
    assert back["read_at"].tolist() == ["2026-05-04T10:30"]
    spoiled = to_bytes(kept.assign(read_at="yesterday"))
    with pytest.raises(BalancekitError, match="'yesterday' is not a time"):
        from_bytes(spoiled, "readings.csv", TABLES["readings"], 88)
