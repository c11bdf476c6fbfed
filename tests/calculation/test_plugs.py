"""The plug stock: weighed first, else computed; what is refused."""

from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from balancekit.calculation.leads.plugs import (
    Plug,
    make_plug,
    plugs_from_table,
    stock_table,
    usual_plugs,
)
from balancekit.calculation.problems import BalancekitError
from balancekit.instrument.tables import TABLES, typed


def test_the_weighed_mass_comes_before_the_computed_one():
    table = pd.DataFrame(
        {"metal": ["lead", ""], "diameter_mm": [9.5, 9.5], "length_mm": 9.5, "mass_g": [7.2, None],
         "name": ["weighed", "computed"]}
    )  # fmt: skip
    weighed, computed = plugs_from_table(typed(table, TABLES["plug_stock"]))
    assert weighed.mass_g == 7.2
    assert computed.mass_g == pytest.approx(make_plug(9.5, 9.5).mass_g)


def test_an_empty_table_means_the_usual_plugs():
    assert plugs_from_table(TABLES["plug_stock"].empty()) == usual_plugs()


def test_a_stock_goes_into_a_table_and_back():
    plugs = (*usual_plugs(), make_plug(9.5, 9.5, "tungsten"), make_plug(6.0, 5.0, "own", mass_g=1))
    assert plugs_from_table(typed(stock_table(plugs), TABLES["plug_stock"])) == plugs


@given(st.floats(2, 15), st.floats(3, 15), st.floats(0.3, 0.8))
def test_net_mass_is_the_plug_less_the_same_volume_of_wood(diameter, length, density):
    plug = make_plug(diameter, length)
    assert plug.net_mass_g(density) == pytest.approx(plug.mass_g * (1 - density / 11.34))


def test_plugs_by_hand():
    """A cylinder of 20 x 10 mm is pi cm3; brass from the middle of the handbooks' 8.4 to 8.5."""
    assert make_plug(20, 10, " Brass ") == Plug(
        "brass 20 x 10 mm", "brass", 20.0, 10.0, pytest.approx(26.546, abs=5e-4)
    )
    assert make_plug(20, 10, " ", mass_g=float("nan"), name=" big ") == Plug(
        "big", "lead", 20.0, 10.0, pytest.approx(35.626, abs=5e-4)
    )
    # The ends of what is possible: 1 and 30 mm; 23 g/cm3, just above osmium; under 1 g.
    for size in (1, 30):
        assert make_plug(size, 5).diameter_mm == make_plug(5, size).length_mm == size
    assert make_plug(20, 10, "own", mass_g=23 * 3.1415926).mass_g == pytest.approx(72.2566)
    assert make_plug(2, 2, "own", mass_g=0.05).mass_g == 0.05
    only_sizes = plugs_from_table(pd.DataFrame({"diameter_mm": [9.5], "length_mm": [8.0]}))
    assert only_sizes == (make_plug(9.5, 8.0),)
    columns = ["name", "metal", "diameter_mm", "length_mm", "mass_g"]
    assert stock_table(only_sizes).columns.tolist() == columns


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ({"diameter_mm": 0.5}, "Diameter of a plug is 0.5 mm. Give 1 to 30 mm."),
        ({"diameter_mm": 30.5}, "Diameter of a plug is 30.5 mm"),
        ({"length_mm": 0.5}, "Length of a plug is 0.5 mm"),
        ({"length_mm": 60.0}, "Length of a plug is 60 mm"),
        ({"metal": "putty"},
         "density of 'putty' is not known here. Weigh .* one of lead, hard lead, tungsten, brass"),
        # pi / 4 x 9.5 x 9.5 x 9.5 mm3 at 23 g/cm3 are 15.5 g
        ({"mass_g": 90.0}, "9.5 x 9.5 mm cannot weigh 90 g. Give a mass above 0, up to 15.5 g"),
        ({"mass_g": 15.6}, "cannot weigh 15.6 g"),
        ({"mass_g": 0.0}, "cannot weigh 0 g"),
        ({"name": "a"}, "'a' is there twice. Give each plug a name of its own"),
    ],
)  # fmt: skip
def test_rows_that_cannot_be_are_refused_with_their_line(row, words):
    good = {"name": "a", "metal": "lead", "diameter_mm": 9.5, "length_mm": 9.5, "mass_g": None}
    rows = [good, {**good, "name": "b", **row}, {**good, "name": "c"}, {**good, "metal": "x"}]
    table = typed(pd.DataFrame(rows), TABLES["plug_stock"])
    with pytest.raises(BalancekitError, match=words) as caught:
        plugs_from_table(table)
    places = [(problem.file, problem.line) for problem in caught.value.problems]
    assert places == [("plug_stock.csv", 3), ("plug_stock.csv", 5)]
