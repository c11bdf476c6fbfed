"""What more or less spring relief costs: lead, inertia, its unevenness, and the work."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd
from bokeh.models import ColumnDataSource, HoverTool, Range1d

from balancekit.charts.look import DOUBT, NATURAL, Chart, plain_figure

QUANTITIES_SHOWN: Mapping[str, str] = {
    "lead_g": "Lead in all keys (g)",
    "mean_inertia_g": "Mean inertia at the finger (g)",
    "unevenness_g": "Step from key to key (g)",
    "operations": "Operations",
}
"""Column of ``leads_plan.totals`` and the label of its axis, for each small picture."""


def trade_data(table: pd.DataFrame, here: Mapping[str, float] | None) -> dict[str, dict[str, Any]]:
    """Return the data of each picture of ``trade_charts``, by source.

    Parameters
    ----------
    table : ``relief_g`` and the sums of ``leads_plan.totals``, one row a relief; may be empty.
    here : the same sums for this choice; None for none.
    """
    names = ("relief_g", *QUANTITIES_SHOWN)
    columns = {name: table[name].to_numpy(dtype=float) for name in names}
    point = {name: [] if here is None else [here[name]] for name in names}
    return {"tried": columns, "here": point}


def trade_limits(
    table: pd.DataFrame, here: Mapping[str, float] | None, name: str
) -> tuple[float, float]:
    """Return the limits of one axis, with a little room; 0 to 1 where there is nothing yet."""
    values = table[name].to_list() + ([] if here is None else [here[name]])
    if not values:
        return 0.0, 1.0
    low, high = min(values), max(values)
    room = max(0.12 * (high - low), 0.02 * abs(high), 0.5)
    return low - room, high + room


def trade_charts(table: pd.DataFrame, here: Mapping[str, float] | None) -> dict[str, Chart]:
    """Draw lead, inertia, unevenness and work against the relief, this choice marked."""
    charts = {}
    across = Range1d(*trade_limits(table, here, "relief_g"))
    for name, label in QUANTITIES_SHOWN.items():
        sources = {n: ColumnDataSource(data) for n, data in trade_data(table, here).items()}
        fig = plain_figure(
            title=label, height=270, tools="save", x_range=across,
            y_range=Range1d(*trade_limits(table, here, name)),
            x_axis_label="Mean spring relief (g)", min_width=235, max_width=275, min_border_left=55,
        )  # fmt: skip
        fig.toolbar_location = None
        fig.title.text_font_size = "15px"
        fig.line("relief_g", name, source=sources["tried"], color=NATURAL, line_width=2)
        dots = fig.scatter("relief_g", name, source=sources["tried"], color=NATURAL, size=8)
        fig.vspan("relief_g", source=sources["here"], line_color=DOUBT, line_dash="dashed",
                  line_width=1.5)  # fmt: skip
        fig.scatter("relief_g", name, source=sources["here"], marker="diamond", size=20,
                    color=DOUBT, line_color="white")  # fmt: skip
        tips = [("Relief", "@relief_g{0.0} g"), (label, f"@{name}{{0.0}}")]
        fig.add_tools(HoverTool(renderers=[dots], tooltips=tips))
        charts[name] = Chart(fig, sources)
    return charts


def show_trade(
    charts: Mapping[str, Chart], table: pd.DataFrame, here: Mapping[str, float] | None
) -> None:
    """Put other sums into the pictures of ``trade_charts``."""
    for name, chart in charts.items():
        chart.show(trade_data(table, here))
        low, high = trade_limits(table, here, name)
        chart.figure.y_range.update(start=low, end=high)
        low, high = trade_limits(table, here, "relief_g")
        chart.figure.x_range.update(start=low, end=high)
