"""The chart over the keyboard as JSON: written once, and filled in for each chart of a page.

Bokeh takes some 40 ms to make a figure and to write it; most of that is alike in all of them.
So ``over_keys_chart`` is made and written once, of two keys. What differs from chart to chart is
filled in: data, limits and words. A test holds that this gives what the chart itself would.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import pandas as pd
from bokeh.core.serialization import Serializer
from bokeh.models import BoxAnnotation, HoverTool, Label, NumeralTickFormatter, TapTool

from balancekit.calculation.quantities import QUANTITIES
from balancekit.charts.look import Chart, key_ticks
from balancekit.charts.over_keys import (
    Extra,
    over_keys_chart,
    over_keys_data,
    over_keys_limits,
    tooltips,
)

Json = Any
Parts = dict[str, dict[str, Any]]
"""Attributes by the name of a part; a source is a part too."""


def bokeh_json(models: Any) -> Json:
    """Return Bokeh models, or plain data, as BokehJS reads them."""
    return Serializer(deferred=False).encode(models)


@dataclass(frozen=True)
class BlankChart:
    """A chart as JSON, and what in it is filled in.

    Attributes
    ----------
    figure : all models of the figure, nested.
    parts : name of the part by the id of its model.
    belongs : by the id of what is drawn, the part without which it is left out.
    marks : id of the model in whose place the marks of the sections are put.
    """

    figure: Json
    parts: Mapping[str, str]
    belongs: Mapping[str, str]
    marks: str

    def filled(self, parts: Parts, marks: Sequence[Json], prefix: str) -> Json:
        """Return the figure with parts filled in; what belongs to a part that is not there goes.

        Parameters
        ----------
        parts : attributes that are set.
        marks : of the sections, as JSON.
        prefix : put before each id, for no two models of a page may have the same.
        """

        def copy(node: Json) -> Json:
            if isinstance(node, list):
                return [each for item in node for each in items(item)]
            if not isinstance(node, dict):
                return node
            made = {name: copy(each) for name, each in node.items()}
            if "id" in node:
                made["id"] = prefix + node["id"]
                if "attributes" in node:
                    made["attributes"] |= parts.get(self.parts.get(node["id"], ""), {})
            return made

        def items(item: Json) -> Sequence[Json]:
            known = item.get("id", "") if isinstance(item, dict) else ""
            if known == self.marks:
                return [copy(mark) for mark in marks]
            needed = self.belongs.get(known)
            return [copy(item)] if needed is None or needed in parts else []

        return copy(self.figure)


def fill_over_keys(
    keys: pd.DataFrame,
    name: str,
    extra: Extra,
    *,
    title: str,
    height: int,
    marks: Sequence[Json],
    prefix: str,
    changed: Parts | None = None,
) -> Json:
    """Return what ``over_keys_chart`` draws, as JSON, without what is empty.

    Parameters
    ----------
    keys, name, extra, title, height : as for ``over_keys_chart``.
    marks, prefix : as for ``BlankChart.filled``.
    changed : further attributes, by part.
    """
    quantity, count = QUANTITIES[name], len(keys)
    low, high = extra.limits or over_keys_limits(keys, name, extra.target)
    ends = [0.5, count + 0.5]
    data = over_keys_data(keys, name, replace(extra, limits=(low, high)))
    parts: Parts = {
        "figure": {"height": height},
        "title": {"text": title},
        "x": {"start": ends[0], "end": ends[1], "bounds": ends},
        "y": {"start": low, "end": high},
        "ticks": {"ticks": key_ticks(count)},
        "y axis": {"axis_label": quantity.axis_label},
        "hover": {"tooltips": bokeh_json(tooltips(name))},
    }
    if quantity.usual_low is not None:
        parts["usual"] = {"bottom": quantity.usual_low, "top": quantity.usual_high}
    for source, columns in data.items():
        if len(columns["key"]) or source == "points":
            parts[source] = {"data": bokeh_json(columns)}
    for part, attributes in (changed or {}).items():
        parts[part] |= attributes
    return _blank().filled(parts, marks, prefix)


@lru_cache(maxsize=1)
def _blank() -> BlankChart:
    """The chart of two keys with all that may be drawn; it depends on nothing."""
    two = pd.Series(1.0, [1, 2])
    keys = pd.DataFrame(
        {"note_name": ["A0", "A#0"], "colour": ["natural", "sharp"], "friction_g": two}
    )
    extra = Extra(trend=two, trend_u=two, flagged={1: ""}, earlier=two, target=two)
    chart = over_keys_chart(keys, "friction_g", extra, sections=[("marks", 1)])
    figure = lighten(chart)
    usual, mark = (piece for piece in figure.center if isinstance(piece, BoxAnnotation | Label))
    parts = {
        "figure": figure, "title": figure.title, "x": figure.x_range, "y": figure.y_range,
        "ticks": figure.xaxis[0].ticker, "y axis": figure.yaxis[0],
        "hover": figure.select_one(HoverTool), "usual": usual, **chart.sources,
    }  # fmt: skip
    return BlankChart(
        bokeh_json(figure),
        {model.id: name for name, model in parts.items()},
        dict(_belongs(chart)) | {usual.id: "usual"},
        mark.id,
    )


def _belongs(chart: Chart) -> Iterator[tuple[str, str]]:
    """Yield each piece that draws a source, or stands for it in the legend, and the source."""
    names = {source.id: name for name, source in chart.sources.items()}
    figure = chart.figure
    for piece in (*figure.renderers, *figure.center):
        source = getattr(piece, "data_source", None) or getattr(piece, "source", None)
        if source is not None and source.id in names:
            yield piece.id, names[source.id]
    for item in figure.legend[0].items:
        source = item.renderers[0].data_source
        if source.id in names:
            yield item.id, names[source.id]


def lighten(chart: Chart) -> Any:
    """Leave out what a page without Python has no use for, which is half of a figure's weight.

    Page scripts may not be made from text, so the axis writes its numbers without one.
    """
    figure = chart.figure
    figure.xaxis.formatter = NumeralTickFormatter(format="0")
    figure.toolbar.tools = [tool for tool in figure.toolbar.tools if not isinstance(tool, TapTool)]
    return figure
