"""The front of ways: hours of work against what stays uneven, with the limit of knowledge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from bokeh.models import BoxAnnotation, ColumnDataSource, HoverTool, Label, Range1d
from numpy.typing import NDArray

from balancekit.charts.look import DOUBT, INK, NATURAL, PALE_INK, Chart, legend_above, plain_figure

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class DrawnWays:
    """The ways as a chart shows them.

    Attributes
    ----------
    hours, uneven_g : of each way, shape (ways,); root mean square over the keys [g].
    names : what each does.
    limit_g : below it more work cannot be told from less [g].
    here : number of the way in hand.
    gap_percent : by how much each may be above the best there is, proven.
    pinned : numbers of the ways that are kept beside it.
    """

    hours: Floats
    uneven_g: Floats
    names: Sequence[str]
    limit_g: float
    here: int
    gap_percent: Sequence[float]
    pinned: Sequence[int] = ()


def ways_data(drawn: DrawnWays | None) -> dict[str, dict[str, Any]]:
    """Return the data of ``ways_chart``, by source; empty before there are ways."""
    if drawn is None:
        none: dict[str, Any] = {"hours": [], "uneven_g": [], "name": [], "gap_percent": []}
        return {"ways": none, "here": dict(none), "pinned": dict(none)}
    every = list(range(len(drawn.hours)))
    return {"ways": some_ways(drawn, every), "here": some_ways(drawn, [drawn.here]),
            "pinned": some_ways(drawn, list(drawn.pinned))}  # fmt: skip


def some_ways(drawn: DrawnWays, numbers: Sequence[int]) -> dict[str, Any]:
    """Return the columns of some ways."""
    places = np.array(numbers, dtype=int)
    return {
        "hours": drawn.hours[places],
        "uneven_g": drawn.uneven_g[places],
        "name": [drawn.names[place] for place in numbers],
        "gap_percent": [drawn.gap_percent[place] for place in numbers],
    }


def ways_chart(drawn: DrawnWays | None) -> Chart:
    """Draw hours against what stays uneven; the way in hand is a diamond, pinned ones squares."""
    sources = {name: ColumnDataSource(data) for name, data in ways_data(drawn).items()}
    fig = plain_figure(
        title="More hours, less uneven: each dot is a way that no other beats",
        height=380,
        x_axis_label="Hours at the bench",
        y_axis_label="Stays uneven, root mean square (g)",
        x_range=Range1d(-0.3, 10),
        y_range=Range1d(0, 3),
        tools="save",
    )
    fig.add_layout(
        BoxAnnotation(fill_color=PALE_INK, fill_alpha=0.14, level="underlay", name="unknown")
    )
    fig.add_layout(
        Label(x=8, x_units="screen", y=0, text="cannot be told by weighing again",
              text_color=INK, text_font_size="14px", name="limit")
    )  # fmt: skip
    fig.line("hours", "uneven_g", source=sources["ways"], color=NATURAL, line_width=2)
    dots = fig.scatter("hours", "uneven_g", source=sources["ways"], color=NATURAL, size=7)
    fig.scatter("hours", "uneven_g", source=sources["pinned"], marker="square", size=15,
                color=INK, fill_alpha=0.0, line_width=2, legend_label="pinned")  # fmt: skip
    fig.scatter("hours", "uneven_g", source=sources["here"], marker="diamond", size=22,
                color=DOUBT, line_color="white", legend_label="the way in hand")  # fmt: skip
    legend_above(fig)
    tips = [("", "@name"), ("Hours", "@hours{0.0}"), ("Stays uneven", "@uneven_g{0.00} g"),
            ("No way leaves less by more than", "@gap_percent{0.00} %")]  # fmt: skip
    fig.add_tools(HoverTool(renderers=[dots], tooltips=tips))
    chart = Chart(fig, sources)
    fit_ways(chart, drawn)
    return chart


def fit_ways(chart: Chart, drawn: DrawnWays | None) -> None:
    """Fit axes, the limit of knowledge and the legend to the ways."""
    fig = chart.figure
    fig.legend[0].items[0].visible = drawn is not None and bool(drawn.pinned)
    if drawn is None:
        return
    most = float(drawn.hours[-1]) if len(drawn.hours) else 1.0
    fig.x_range.update(start=-0.03 * max(most, 1.0), end=1.04 * max(most, 1.0))
    fig.y_range.update(start=0.0, end=1.12 * max(float(drawn.uneven_g.max()), drawn.limit_g, 0.2))
    fig.select_one({"name": "unknown"}).update(bottom=0.0, top=drawn.limit_g)
    fig.select_one({"name": "limit"}).update(y=0.06 * drawn.limit_g)
