"""A chart takes new data, and sends no more of it than has changed."""

import numpy as np
import pytest
from bokeh.document import Document
from bokeh.document.events import ColumnDataChangedEvent, ModelChangedEvent
from bokeh.models import ColumnDataSource

from balancekit.charts.look import Chart, keys_figure

HELD = {"key": np.array([1, 2, 3]), "y": np.array([5.0, np.nan, 7.0]), "text": ["a", "b", "c"]}


@pytest.fixture
def chart():
    fig = keys_figure(3, "Grams (g)", title="Some")
    sources = {"points": ColumnDataSource(dict(HELD))}
    fig.line("key", "y", source=sources["points"])
    return Chart(fig, sources)


@pytest.fixture
def sent(chart):
    """The columns of each change that reaches the page; None for a whole source."""
    document, changes = Document(), []
    document.add_root(chart.figure)

    class Page:
        def _document_patched(self, event):
            if isinstance(event, ColumnDataChangedEvent):
                changes.append(None if event.cols is None else set(event.cols))
            elif isinstance(event, ModelChangedEvent):
                changes.append(None)

    document.on_change_dispatch_to(Page())
    return changes


def test_the_same_data_is_not_sent_again(chart, sent):
    chart.show({"points": {**HELD, "y": np.array([5.0, np.nan, 7.0])}})
    assert sent == []


def test_only_the_columns_that_changed_are_sent(chart, sent):
    chart.show({"points": {**HELD, "y": np.array([5.0, 6.0, 7.0]), "text": ["a", "b", "d"]}})
    assert sent == [{"y", "text"}]
    assert chart.sources["points"].data["y"].tolist() == [5.0, 6.0, 7.0]
    assert chart.sources["points"].data["key"].tolist() == [1, 2, 3]


@pytest.mark.parametrize("count", [0, 2, 4])
def test_another_number_of_points_takes_the_place_of_all(chart, sent, count):
    fewer = {"key": np.arange(count), "y": np.arange(count) / 2, "text": ["e"] * count}
    chart.show({"points": fewer})
    assert len(sent) == 1
    assert {name: len(values) for name, values in chart.sources["points"].data.items()} == {
        "key": count, "y": count, "text": count,
    }  # fmt: skip


def test_another_set_of_columns_takes_the_place_of_all(chart):
    chart.show({"points": {"key": np.array([1, 2, 3]), "y": np.array([1.0, 2.0, 3.0])}})
    assert set(chart.sources["points"].data) == {"key", "y"}
