"""The table of a chart says what the pointer would be told, and what the lines are."""

from __future__ import annotations

import pytest
from bokeh.layouts import column
from bokeh.models import HoverTool
from bokeh.plotting import figure

from balancekit.charts.as_table import chart_numbers
from balancekit.charts.over_keys import over_keys_chart
from balancekit.instrument.demo import studio_grand
from balancekit.instrument.filled_in import key_table
from balancekit.panels.chart_table import ChartTable
from balancekit.panels.chart_view import ChartView


def drawn() -> figure:
    """A figure with points under the pointer and a line beside them."""
    fig = figure(title="Weights", x_axis_label="Key", y_axis_label="Weight (g)")
    data = {"key": [2, 1], "y": [1.26, -3.0], "name": ["A#0", "A0"], "text": ["", "heavy"]}
    dots = fig.scatter("key", "y", source=data)
    fig.line([1, 2], [1.5, 2.5], legend_label="target")
    tips = [("Key", "@key  @name"), ("Weight", "@y{+0.0} g"), ("", "@text")]
    fig.add_tools(HoverTool(renderers=[dots], tooltips=tips))
    return fig


def test_points_in_the_order_of_the_keys_with_the_lines_beside():
    (table,) = chart_numbers(drawn())
    assert table.title == "Weights"
    assert table.headings == ["Key", "Weight", "What", "Target"]
    assert table.rows == [["1 A0", "−3.0 g", "heavy", "1.5"], ["2 A#0", "+1.3 g", "", "2.5"]]


def test_lines_alone_stand_side_by_side_and_nothing_is_made_of_nothing():
    fig = figure(title="Two", x_axis_label="Relief (g)", y_axis_label="Lead (g)")
    fig.line([0, 2], [float("nan"), 7.125], legend_label="one")
    fig.line([0, 1], [3.0, 4.0], legend_label="other")
    (table,) = chart_numbers(column(fig, figure(title="Empty")))
    assert table.headings == ["Relief (g)", "One", "Other"]
    assert table.rows == [["0", "", "3"], ["1", "", "4"], ["2", "7.125", ""]]


def test_every_key_of_an_instrument_stands_in_the_table():
    keys = key_table(studio_grand(), 0)
    chart = over_keys_chart(keys, "friction_g")
    (table,) = chart_numbers(chart.figure)
    known = keys["friction_g"].dropna()
    assert [row[0].split()[0] for row in table.rows] == [str(key) for key in known.index]
    shown = [float(row[1].split()[0].replace("−", "-")) for row in table.rows]
    assert shown == pytest.approx(known.tolist(), abs=0.0501)


def test_the_fold_follows_its_chart_only_while_it_is_open(monkeypatch):
    fig = drawn()
    ChartView(fig)
    fold, sent = ChartTable(fig), []
    monkeypatch.setattr(fold, "send", lambda content: sent.append(content["html"]))
    fold._received(fold, {"kind": "open", "open": True}, [])
    assert "heavy" in sent[-1] and "<td" in sent[-1]
    source = fig.renderers[0].data_source
    source.data = {**source.data, "text": ["", "<b>light</b>"]}
    assert "&lt;b&gt;light" in sent[-1]
    count = len(sent)
    fold._received(fold, {"kind": "open", "open": False}, [])
    source.data = {**source.data, "text": ["", "even"]}
    assert len(sent) == count
