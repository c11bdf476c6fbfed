"""The map of one key: hammer mass across, action ratio up, lines of equal weight and inertia."""

from __future__ import annotations

from typing import Any

import numpy as np
from bokeh.models import Arrow, ColumnDataSource, HoverTool, Range1d, VeeHead

from balancekit.calculation.hammers.ratio_map import MapKey, RatioMap, outline
from balancekit.charts.look import DOUBT, INK, SMALL_FONT, Chart, plain_figure

_FRONT = "#0072b2"
_INERTIA = "#b34a00"
_FRONT_STEP_G = 5.0
INERTIA_STEP_G = 50.0
LEAST_ARROW = 0.02
# Our own choice: a proposal within 2 % of the present point has no arrow.


def _lines(mapped: RatioMap, grid: Any, step: float, *, at_top: bool) -> dict[str, Any]:
    """Return lines of equal value, each with its label at one of its ends.

    The value rises along each row of the grid, so each row says where a line crosses it.
    """
    first = np.ceil(float(grid.min()) / step) * step
    out: dict[str, Any] = {"xs": [], "ys": [], "x": [], "y": [], "text": []}
    for level in np.arange(first, float(grid.max()), step):
        across = [
            np.interp(level, row, mapped.strike_weight_g, left=np.nan, right=np.nan) for row in grid
        ]
        inside = np.isfinite(across)
        if inside.sum() < 4:
            continue
        xs, ys = np.asarray(across)[inside], mapped.action_ratio[inside]
        out["xs"].append(xs)
        out["ys"].append(ys)
        end = -1 if at_top else 0
        out["x"].append(float(xs[end]))
        out["y"].append(float(ys[end]))
        out["text"].append(f"{level:.0f}".replace("-", "−"))
    return out


def map_data(mapped: RatioMap) -> dict[str, dict[str, Any]]:
    """Return the lines of one map, by source."""
    return {
        "front": _lines(mapped, mapped.front_weight_g, _FRONT_STEP_G, at_top=False),
        "inertia": _lines(mapped, mapped.inertia_g, INERTIA_STEP_G, at_top=True),
    }


def point_data(key: MapKey, proposed: tuple[float, float] | None) -> dict[str, dict[str, Any]]:
    """Return this instrument's point with its outline, and the proposal as an arrow.

    Parameters
    ----------
    key : the key as it is.
    proposed : strike weight [g] and action ratio; None for none.
    """
    across, up = outline(key)
    here = (key.strike_weight_g, key.action_ratio)
    to = proposed or here
    moved = abs(to[0] / here[0] - 1) + abs(to[1] / here[1] - 1) > LEAST_ARROW
    ends = [to] if moved else []
    return {
        "outline": {"x": across, "y": up},
        "here": {"x": [here[0]], "y": [here[1]]},
        "arrow": {
            "x0": [here[0] for _ in ends],
            "y0": [here[1] for _ in ends],
            "x1": [end[0] for end in ends],
            "y1": [end[1] for end in ends],
        },
    }


def map_chart(
    key: MapKey,
    mapped: RatioMap,
    proposed: tuple[float, float] | None,
    *,
    title: str,
) -> Chart:
    """Draw the map of one key.

    Solid lines have equal front weight, dashed lines equal inertia at the finger. The circle
    is the instrument; its outline holds the true point with about 95 %.
    """
    data = map_data(mapped) | point_data(key, proposed)
    sources = {name: ColumnDataSource(columns) for name, columns in data.items()}
    fig = plain_figure(
        title=title,
        height=380,
        width=290,
        min_width=240,
        max_width=360,
        x_range=Range1d(float(mapped.strike_weight_g[0]), float(mapped.strike_weight_g[-1])),
        y_range=Range1d(float(mapped.action_ratio[0]), float(mapped.action_ratio[-1])),
        x_axis_label="Strike weight (g)",
        y_axis_label="Action ratio",
        tools="",
    )
    for name, color, dash, align, base in (
        ("front", _FRONT, "solid", "right", "bottom"),
        ("inertia", _INERTIA, "dashed", "left", "top"),
    ):
        fig.multi_line("xs", "ys", source=sources[name], color=color, line_width=1.6,
                       line_dash=dash, line_alpha=0.75)  # fmt: skip
        fig.text("x", "y", "text", source=sources[name], text_color=color, text_align=align,
                 text_baseline=base, text_font_size=SMALL_FONT, background_fill_color="white",
                 background_fill_alpha=0.85, x_offset=-3 if align == "right" else 3,
                 y_offset=-2 if base == "bottom" else 2)  # fmt: skip
    fig.patch("x", "y", source=sources["outline"], color=INK, fill_alpha=0.15, line_width=1.5)
    dot = fig.scatter("x", "y", source=sources["here"], size=9, color=INK)
    head = VeeHead(size=10, fill_color=DOUBT, line_color=DOUBT)
    fig.add_layout(
        Arrow(end=head, source=sources["arrow"], x_start="x0", y_start="y0", x_end="x1",
              y_end="y1", line_color=DOUBT, line_width=3)
    )  # fmt: skip
    tip = fig.scatter("x1", "y1", source=sources["arrow"], size=6, color=DOUBT, marker="square")
    fig.add_tools(
        HoverTool(renderers=[dot], tooltips=[("As found", "@x{0.0} g, ratio @y{0.00}")]),
        HoverTool(renderers=[tip], tooltips=[("Proposal", "@x1{0.0} g, ratio @y1{0.00}")]),
    )
    fig.grid.grid_line_color = None
    fig.toolbar_location = None
    return Chart(fig, sources)
