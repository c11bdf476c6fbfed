"""A scale's correction against its reading, with the line through it and its band."""

from __future__ import annotations

from typing import Any

import numpy as np
from bokeh.models import ColumnDataSource, Whisker

from balancekit.calculation.weighing.scale import ScaleFit
from balancekit.charts.look import NATURAL, PALE_INK, Chart, draw_course, plain_figure

_POINTS = 60


def scale_data(fit: ScaleFit | None) -> dict[str, dict[str, Any]]:
    """Return the data of ``scale_chart``, by source; empty without a fit."""
    if fit is None:
        none: list[float] = []
        return {
            "points": {"x": none, "y": none, "lower": none, "upper": none},
            "line": {"x": none, "y": none, "lower": none, "upper": none},
        }
    points = fit.points
    x = np.linspace(0.0, float(points["reading_g"].max()) * 1.05, _POINTS)
    y, u = fit.correction_g(x), fit.correction_u_g(x)
    spread = 2 * points["weight_u_g"]
    return {
        "points": {
            "x": points["reading_g"].to_numpy(),
            "y": points["correction_g"].to_numpy(),
            "lower": (points["correction_g"] - spread).to_numpy(),
            "upper": (points["correction_g"] + spread).to_numpy(),
        },
        "line": {"x": x, "y": y, "lower": y - 2 * u, "upper": y + 2 * u},
    }


def scale_chart(fit: ScaleFit | None) -> Chart:
    """Draw what must be added to a reading, load by load."""
    sources = {name: ColumnDataSource(data) for name, data in scale_data(fit).items()}
    fig = plain_figure(
        height=230, x_axis_label="Scale reading (g)", y_axis_label="Correction (g)",
        title="What must be added to a reading",
    )  # fmt: skip
    draw_course(fig, sources["line"])
    fig.add_layout(
        Whisker(base="x", lower="lower", upper="upper", source=sources["points"],
                line_color=PALE_INK)
    )  # fmt: skip
    fig.scatter("x", "y", source=sources["points"], size=10, color=NATURAL, line_color="white")
    return Chart(fig, sources)
