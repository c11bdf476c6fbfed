"""Drift over time: what it is taken to be, and the readings of keys that were read again."""

from __future__ import annotations

from typing import Any

import pandas as pd
from bokeh.models import ColumnDataSource

from balancekit.charts.look import NATURAL, Chart, draw_course, plain_figure

_EMPTY = pd.DataFrame(
    {name: pd.Series(dtype=float) for name in ("key", "hours", "drift", "drift_u", "off")}
)


def drift_data(course: pd.DataFrame) -> dict[str, dict[str, Any]]:
    """Return the data of ``drift_chart``, by source; ``course`` is that of ``drift_course``."""
    again = course[course["off"].notna()]
    x, y, u = (course[name].to_numpy(dtype=float) for name in ("hours", "drift", "drift_u"))
    return {
        "line": {"x": x, "y": y, "lower": y - 2 * u, "upper": y + 2 * u},
        "again": {
            "x": again["hours"].to_numpy(dtype=float),
            "y": again["off"].to_numpy(dtype=float),
            "key": again["key"].to_numpy(dtype=int),
        },
    }


def drift_chart(course: pd.DataFrame = _EMPTY) -> Chart:
    """Draw the drift with its band, and how far each repeated reading is from its key."""
    sources = {name: ColumnDataSource(data) for name, data in drift_data(course).items()}
    fig = plain_figure(
        height=230, x_axis_label="Time since the first reading (h)", y_axis_label="Drift (g)",
        title="Drift over time",
    )  # fmt: skip
    draw_course(fig, sources["line"])
    fig.scatter("x", "y", source=sources["again"], size=9, color=NATURAL, line_color="white")
    return Chart(fig, sources)
