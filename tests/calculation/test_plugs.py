"""The plug stock: weighed first, else computed; what is refused."""

from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from balancekit.calculation.leads.plugs import make_plug, plugs_from_table, stock_table, usual_plugs
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


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ({"diameter_mm": 0.5}, "Diameter of a plug is 0.5 mm"),
        ({"length_mm": 60.0}, "Length of a plug is 60 mm"),
        ({"metal": "putty"}, "density of 'putty' is not known"),
        ({"mass_g": 90.0}, "cannot weigh 90 g"),
    ],
)
def test_rows_that_cannot_be_are_refused_with_their_line(row, words):
    good = {"name": "", "metal": "lead", "diameter_mm": 9.5, "length_mm": 9.5, "mass_g": None}
    table = typed(pd.DataFrame([good, {**good, **row, "name": "b"}]), TABLES["plug_stock"])
    with pytest.raises(BalancekitError, match=words) as caught:
        plugs_from_table(table)
    assert [problem.line for problem in caught.value.problems] == [3]


def test_two_plugs_of_one_name_are_refused():
    table = pd.concat([stock_table(usual_plugs()[:1])] * 2)
    with pytest.raises(BalancekitError, match="there twice"):
        plugs_from_table(table)
