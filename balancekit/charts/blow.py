"""Soft, middle and loud: the force over the dip, statics against inertia."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd
from bokeh.models import ColumnDataSource, LabelSet, Range1d

from balancekit.charts.look import DOUBT, FONT, INK, LIFTS, PRESSES, Chart, plain_figure
from balancekit.charts.marks import lying_bars

STATIC = PRESSES[0]
_INERTIA = LIFTS[0]


def force_data(
    blow: Mapping[str, float], planned: Mapping[str, float] | None = None
) -> dict[str, dict[str, Any]]:
    """Return the data of ``force_chart``, by source.

    Parameters
    ----------
    blow : one row of ``blows``, for the key as it is.
    planned : the same after the work; None for none.
    """
    end, static, force = blow["travel_mm"], blow["static_n"], blow["force_n"]
    parts = [("static_n", 0.0, static), ("inertia_n", static, force)]
    outline = {"x": [], "y": []} if planned is None else {
        "x": [0.0, 0.0, planned["travel_mm"], planned["travel_mm"]],
        "y": [0.0, planned["force_n"], planned["force_n"], 0.0],
    }  # fmt: skip
    return {
        "areas": {
            "left": [0.0] * 2,
            "right": [end] * 2,
            "bottom": [low for _, low, _ in parts],
            "top": [high for _, _, high in parts],
            "color": [STATIC, _INERTIA],
            "hatch": ["/", " "],
            "middle": [end / 2] * 2,
            "height": [(low + high) / 2 for _, low, high in parts],
        },
        "sum": {"x": [end / 2], "y": [force], "text": [f"{force:.1f} N"]},
        "planned": outline,
    }


def force_chart(
    blow: Mapping[str, float],
    *,
    title: str,
    most_n: float,
) -> Chart:
    """Draw the force over the travel of the key for one blow; the areas are work.

    Parameters
    ----------
    blow : see ``force_data``.
    title : says how loud.
    most_n : end of the scale of force [N].
    """
    sources = {n: ColumnDataSource(d) for n, d in force_data(blow, None).items()}
    fig = plain_figure(
        title=title,
        height=270,
        width=200,
        min_width=160,
        max_width=320,
        x_range=Range1d(0.0, 11.0),
        y_range=Range1d(0.0, most_n),
        x_axis_label="Key travel (mm)",
        y_axis_label="Force (N)",
        tools="",
    )
    fig.quad("left", "right", "top", "bottom", source=sources["areas"], color="color",
             line_color="white", hatch_pattern="hatch", hatch_color=INK,
             hatch_alpha=0.35)  # fmt: skip
    fig.line("x", "y", source=sources["planned"], color=DOUBT, line_width=2.5, line_dash="dashed")
    fig.add_layout(
        LabelSet(x="x", y="y", text="text", source=sources["sum"], text_align="center",
                 text_baseline="bottom", y_offset=5, text_color=INK, text_font_size="15px",
                 text_font_style="bold", background_fill_color="white",
                 background_fill_alpha=0.8)
    )  # fmt: skip
    fig.toolbar_location = None
    fig.title.text_font_size = FONT
    return Chart(fig, sources)


def shares_data(blows: pd.DataFrame) -> dict[str, dict[str, Any]]:
    """Return the data of ``shares_chart``: parts of the work in percent, by loudness."""
    inertia = 100 * blows["inertia_share"]
    rows: dict[str, list[Any]] = {
        name: [] for name in ("y", "left", "right", "color", "hatch", "text", "middle")
    }
    for loudness in blows.index:
        cut = 100 - float(inertia[loudness])
        for left, right, color, hatch, part in (
            (0.0, cut, STATIC, "/", "balance weight and friction"),
            (cut, 100.0, _INERTIA, " ", "inertia"),
        ):
            rows["y"].append(str(loudness))
            rows["left"].append(left)
            rows["right"].append(right)
            rows["color"].append(color)
            rows["hatch"].append(hatch)
            rows["middle"].append((left + right) / 2)
            percent = f"{right - left:.0f} %"
            name = f"{part} {percent}" if right - left > 36 else percent
            rows["text"].append(name if right - left > 6 else "")
    return {"shares": rows}


def shares_chart(blows: pd.DataFrame) -> Chart:
    """Draw for each loudness which part of the finger's work goes where."""
    source = ColumnDataSource(shares_data(blows)["shares"])
    fig = plain_figure(
        title="Where the finger's work goes",
        height=200,
        y_range=[str(name) for name in reversed(blows.index)],
        x_range=Range1d(0.0, 100.0),
        x_axis_label="Part of the work (%)",
        tools="",
        min_border_right=18,
    )
    lying_bars(fig, source, 0.74)
    fig.toolbar_location = None
    return Chart(fig, {"shares": source})
