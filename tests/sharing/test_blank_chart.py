"""A chart that is filled in is the chart that Bokeh would have written."""

from __future__ import annotations

import json
import re

import pandas as pd
import pytest

from balancekit.calculation.quantities import QUANTITIES
from balancekit.charts.look import Chart, section_marks
from balancekit.charts.over_keys import Extra, over_keys_chart
from balancekit.instrument.demo import one_key_model, studio_grand
from balancekit.instrument.occasion import Occasion
from balancekit.sharing.blank_chart import bokeh_json, fill_over_keys, lighten

SECTIONS = [("bass", 1), ("tenor", 27)]


def of_bokeh(chart: Chart) -> object:
    return plain(bokeh_json(lighten(chart)))


def plain(figure: object) -> object:
    """Models get other numbers each time; here they are numbered as they come."""
    text = json.dumps(figure)
    ids = dict.fromkeys(re.findall(r'"id": "([^"]*)"', text))
    order = {name: f"model {place}" for place, name in enumerate(ids)}
    return json.loads(re.sub(r'"id": "([^"]*)"', lambda it: f'"id": "{order[it[1]]}"', text))


@pytest.fixture(scope="module")
def grand() -> Occasion:
    return Occasion(studio_grand())


def all_drawn(keys: pd.DataFrame, name: str) -> Extra:
    values = keys[name]
    return Extra(trend=values, trend_u=values / 20, flagged={keys.index[0]: "<odd> \"p1\""},
                 earlier=values, target=values)  # fmt: skip


@pytest.mark.parametrize("name", ["friction_g", "action_ratio", "strike_weight_g"])
def test_it_is_what_the_chart_itself_would_be(grand, name):
    extra = all_drawn(grand.table, name)
    chart = over_keys_chart(grand.table, name, extra, title="<b>", height=210, sections=SECTIONS)
    filled = fill_over_keys(
        grand.table, name, extra, title="<b>", height=210,
        marks=bokeh_json(section_marks(SECTIONS)), prefix="1-",
    )  # fmt: skip
    assert plain(filled) == of_bokeh(chart)


def models(node: object) -> list[dict]:
    """Every model that is written whole, with what stands in its place in the figure."""
    if isinstance(node, list):
        return [each for item in node for each in models(item)]
    if not isinstance(node, dict):
        return []
    inside = [each for item in node.values() for each in models(item)]
    return [node, *inside] if node.get("type") == "object" else inside


@pytest.mark.parametrize(
    ("given", "drawn"),
    [
        (set(), []),
        ({"trend", "trend_u"}, ["trend", "sharps trend"]),
        ({"earlier", "target", "flagged"}, []),
    ],
)
def test_what_is_empty_is_left_out_and_nothing_names_it(grand, given, drawn):
    keys = grand.table
    every = all_drawn(keys, "friction_g")
    extra = Extra(**{name: getattr(every, name) for name in given})
    figure = fill_over_keys(
        keys, "friction_g", extra, title="Friction", height=300,
        marks=bokeh_json(section_marks(SECTIONS)), prefix="7-",
    )  # fmt: skip
    found = models(figure)
    ids = [model["id"] for model in found]
    assert len(ids) == len(set(ids)) and all(each.startswith("7-") for each in ids)
    assert set(re.findall(r'"id": "([^"]*)"', json.dumps(figure))) == set(ids)
    sources = [m["attributes"] for m in found if m["name"] == "ColumnDataSource"]
    rows = [dict(each["data"]["entries"]).get("key") for each in sources]
    assert all(each["shape"] != [0] for each in rows if each is not None)
    layers = len(given - {"trend_u"}) + ("trend" in given)
    assert len(sources) == 1 + layers + 2, "the points, what is drawn, two marks in the legend"
    items = [m["attributes"]["label"]["value"] for m in found if m["name"] == "LegendItem"]
    assert items == ["natural", "sharp", *drawn]


@pytest.mark.parametrize("name", ["friction_g", "inertia_g"])
def test_another_keyboard_has_its_own_ends_and_only_what_has_a_usual_range_shows_it(name):
    keys = Occasion(one_key_model()).table.assign(inertia_g=100.0)
    figure = fill_over_keys(keys, name, Extra(), title="t", height=300, marks=[], prefix="1-")
    chart = over_keys_chart(keys, name, Extra(), title="t", height=300)
    ends = figure["attributes"]["x_range"]["attributes"]
    assert (ends["start"], ends["end"]) == (chart.figure.x_range.start, chart.figure.x_range.end)
    drawn = [each["name"] for each in figure["attributes"]["center"]]
    assert ("BoxAnnotation" in drawn) == (QUANTITIES[name].usual_low is not None)
