"""One quantity before the work, what is expected after it with its band, and what came out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from bokeh.models import BoxAnnotation, ColumnDataSource, HoverTool

from balancekit.calculation.quantities import QUANTITIES
from balancekit.charts.look import (
    PALE_INK,
    TREND,
    Chart,
    keys_figure,
    legend_above,
    mark_sections,
    point_columns,
)
from balancekit.charts.marks import colours_in_legend, ring_keys
from balancekit.charts.over_keys import quantity_limits

BAND = 2.0
"""A band is this many standard uncertainties to each side: about 95 of 100 keys lie in it."""


@dataclass(frozen=True)
class BeforeAfter:
    """One quantity on two occasions; every Series is by key, in the unit of the quantity.

    Attributes
    ----------
    name : of the quantity.
    keys : ``note_name, colour`` by key.
    before : as read before the work.
    expected, expected_u : after the work, and the standard uncertainty of the next reading of
        it: of the prediction and of the weighing together.
    came_out : as read after the work; None while it was not.
    marked : sentence by key, for keys to look at.
    """

    name: str
    keys: pd.DataFrame
    before: pd.Series
    expected: pd.Series
    expected_u: pd.Series
    came_out: pd.Series | None = None
    marked: Mapping[int, str] = field(default_factory=dict)

    @property
    def title(self) -> str:
        """What the chart shows."""
        label = QUANTITIES[self.name].label
        return f"{label}: before, expected" + ("" if self.came_out is None else ", came out")


def before_after_limits(drawn: BeforeAfter) -> tuple[float, float]:
    """Return y limits that hold the body of all that is drawn."""
    parts = [drawn.before, drawn.expected - BAND * drawn.expected_u,
             drawn.expected + BAND * drawn.expected_u]  # fmt: skip
    if drawn.came_out is not None:
        parts.append(drawn.came_out)
    return quantity_limits(drawn.name, pd.concat([part.astype(float) for part in parts]))


def before_after_data(drawn: BeforeAfter) -> dict[str, dict[str, Any]]:
    """Return the data of ``before_after_chart``, by source."""
    limits = before_after_limits(drawn)
    band = pd.DataFrame({"y": drawn.expected, "u": drawn.expected_u.fillna(0.0)}).dropna()
    shown = drawn.expected if drawn.came_out is None else drawn.came_out
    before, points = _at(drawn, drawn.before, limits), _points(drawn, shown, limits)
    marked = [place for place, key in enumerate(points["key"]) if key in drawn.marked]
    return {
        "band": {
            "key": band.index.to_numpy(),
            "bottom": np.clip((band["y"] - BAND * band["u"]).to_numpy(), *limits),
            "top": np.clip((band["y"] + BAND * band["u"]).to_numpy(), *limits),
        },
        "before": {"key": before["key"], "y": before["y"]},
        "expected": {"key": band.index.to_numpy(), "y": band["y"].to_numpy()},
        "points": points,
        "marked": {"key": points["key"][marked], "y": points["y"][marked]},
    }


def _points(drawn: BeforeAfter, shown: pd.Series, limits: tuple[float, float]) -> dict[str, Any]:
    points = _at(drawn, shown, limits)
    keys, quantity = points["key"], QUANTITIES[drawn.name]

    def text(values: pd.Series) -> list[str]:
        return ["not known" if v != v else quantity.text(v) for v in values.loc[keys]]

    bands = [f"{middle} ± {quantity.text(BAND * u)}" if u == u and middle != "not known" else middle
             for middle, u in zip(text(drawn.expected), drawn.expected_u.loc[keys],
                                  strict=True)]  # fmt: skip
    none = ["not weighed yet"] * len(keys)
    return points | {
        "before": text(drawn.before),
        "expected": bands,
        "came_out": none if drawn.came_out is None else text(drawn.came_out),
        "remark": [drawn.marked.get(key, "") for key in keys],
    }


def _at(drawn: BeforeAfter, values: pd.Series, limits: tuple[float, float]) -> dict[str, Any]:
    """Return the columns of points for values by key; see ``point_columns``."""
    return point_columns(drawn.keys.assign(**{drawn.name: values}), drawn.name, limits)


def before_after_chart(
    drawn: BeforeAfter,
    *,
    sections: Sequence[tuple[str, int]] = (),
) -> Chart:
    """Draw one quantity over the keyboard: crosses before, bars for the band, points after.

    The points are what is expected, and once it was weighed what came out; then what is
    expected is a short line in its bar.
    """
    sources = {name: ColumnDataSource(data) for name, data in before_after_data(drawn).items()}
    quantity = QUANTITIES[drawn.name]
    fig = keys_figure(len(drawn.keys), quantity.axis_label, title=drawn.title, height=330)
    low, high = before_after_limits(drawn)
    fig.y_range.update(start=low, end=high)
    usual = BoxAnnotation(fill_color="#009e73", fill_alpha=0.08, level="underlay", name="usual")
    fig.add_layout(usual)
    mark_sections(fig, sections)
    fig.vbar("key", 0.78, "top", "bottom", source=sources["band"], fill_color=TREND,
             fill_alpha=0.22, line_color=None, legend_label="expected, 95 % band")  # fmt: skip
    fig.scatter("key", "y", source=sources["before"], marker="x", size=8, color=PALE_INK,
                line_width=1.6, legend_label="before")  # fmt: skip
    came = drawn.came_out is not None
    if came:
        fig.scatter("key", "y", source=sources["expected"], marker="dash", size=9, color=TREND,
                    line_width=2)  # fmt: skip
    dots = fig.scatter("key", "y", source=sources["points"], marker="marker", size="size",
                       color="color", line_color="white")  # fmt: skip
    dots.selection_glyph = dots.nonselection_glyph = None
    colours_in_legend(fig, "came out, " if came else "expected, ")
    ring_keys(fig, sources["marked"], "look at it" if came else "")
    legend_above(fig)
    tips = [("Key", "@key  @note_name"), ("Before", "@before"), ("Expected", "@expected")]
    tips += [("Came out", "@came_out"), ("Remark", "@remark")] if came else []
    fig.add_tools(HoverTool(renderers=[dots], tooltips=tips))
    chart = Chart(fig, sources)
    name_axes(chart, drawn)
    return chart


def name_axes(chart: Chart, drawn: BeforeAfter) -> None:
    """Put title, axis, limits and usual band of a quantity on the chart."""
    quantity, fig = QUANTITIES[drawn.name], chart.figure
    low, high = before_after_limits(drawn)
    fig.title.text = drawn.title
    fig.yaxis.axis_label = quantity.axis_label
    fig.y_range.update(start=low, end=high)
    usual = fig.select_one({"name": "usual"})
    known = quantity.usual_low is not None and quantity.usual_high is not None
    usual.update(bottom=quantity.usual_low, top=quantity.usual_high, visible=known)
