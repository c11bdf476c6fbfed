"""What springs carry: over the keyboard and along the stroke of one key, and the wire's stress."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from bokeh.models import BoxAnnotation, ColumnDataSource, HoverTool, Range1d, Span

from balancekit.calculation.leads.springs import STROKE
from balancekit.charts.look import (
    DOUBT,
    INK,
    NATURAL,
    PALE_INK,
    Chart,
    keys_figure,
    mark_sections,
    plain_figure,
)
from balancekit.charts.marks import plain_legend

STROKE_LOOK = {
    "at rest": ("relief_at_rest_g", NATURAL, "solid", "circle"),
    "in the middle": ("relief_middle_g", "#e69f00", "dashed", "square"),
    "at the end": ("relief_end_g", "#d55e00", "dotted", "triangle"),
}
"""Column, colour, dash and marker of the three places of the stroke."""

RESERVE = 0.8
# Our own choice: above it a spring is called near its limit; see ``TorsionSpring.warning``.


def relief_limit(stroke: pd.DataFrame) -> float:
    """Return the upper end of the scale for reliefs, in steps of 5 g."""
    return float(5 * np.ceil((float(stroke["relief_at_rest_g"].max()) * 1.25 + 2) / 5))


def relief_data(stroke: pd.DataFrame) -> dict[str, dict[str, Any]]:
    """Return the data of ``relief_chart``, by source; see ``springs.relief_along_stroke``."""
    columns = {name: stroke[name].to_numpy(dtype=float) for name, *_ in STROKE_LOOK.values()}
    slack = np.where(stroke["goes_slack"], "goes slack before the end", "")
    return {"stroke": {"key": stroke.index.to_numpy(), **columns, "slack": slack}}


def relief_chart(stroke: pd.DataFrame, *, sections: Sequence[tuple[str, int]] = ()) -> Chart:
    """Draw what the springs carry over the keyboard, at rest, in the middle, and at the end."""
    sources = {name: ColumnDataSource(data) for name, data in relief_data(stroke).items()}
    fig = keys_figure(len(stroke), "Spring relief (g)", title="What the spring carries", height=290)
    fig.y_range.update(start=0.0, end=relief_limit(stroke))
    mark_sections(fig, sections)
    source = sources["stroke"]
    for label, (name, color, dash, marker) in STROKE_LOOK.items():
        fig.line("key", name, source=source, color=color, line_width=2.5, line_dash=dash,
                 legend_label=label)  # fmt: skip
        dots = fig.scatter("key", name, source=source, marker=marker, size=6, color=color,
                           legend_label=label, nonselection_alpha=1.0)  # fmt: skip
        if label == "at rest":
            tips = [("Key", "@key  @slack")]
            tips += [(where, f"@{col}{{0.0}} g") for where, (col, *_) in STROKE_LOOK.items()]
            fig.add_tools(HoverTool(renderers=[dots], tooltips=tips))
    plain_legend(fig)
    return Chart(fig, sources)


def key_stroke_data(
    row: Mapping[Any, Any] | pd.Series, key_dip_mm: float
) -> dict[str, dict[str, Any]]:
    """Return the data of ``key_stroke_chart``, by source.

    Parameters
    ----------
    row : one row of ``springs.relief_along_stroke``.
    key_dip_mm : travel of the key [mm].
    """
    reliefs = [float(row[name]) for name, *_ in STROKE_LOOK.values()]
    return {
        "places": {
            "x": [key_dip_mm * part for part in STROKE.values()],
            "y": reliefs,
            "marker": [look[3] for look in STROKE_LOOK.values()],
            "color": [look[1] for look in STROKE_LOOK.values()],
            "text": [f"{grams:.1f} g" for grams in reliefs],
        }
    }


def key_stroke_chart(row: Mapping[Any, Any] | pd.Series, key_dip_mm: float) -> Chart:
    """Draw the relief of one key along its stroke."""
    sources = {n: ColumnDataSource(data) for n, data in key_stroke_data(row, key_dip_mm).items()}
    fig = plain_figure(
        title="Relief along the stroke of this key", height=260, tools="save",
        x_axis_label="Key travel (mm)", y_axis_label="Spring relief (g)",
        x_range=Range1d(-0.06 * key_dip_mm, 1.16 * key_dip_mm), y_range=Range1d(0.0, 10.0),
    )  # fmt: skip
    fig.toolbar_location = None
    source = sources["places"]
    fig.line("x", "y", source=source, color=PALE_INK, line_width=2)
    fig.scatter("x", "y", source=source, marker="marker", color="color", size=13)
    fig.text("x", "y", "text", source=source, x_offset=4, y_offset=-10, text_font_size="14px",
             text_color=INK)  # fmt: skip
    return Chart(fig, sources)


def stress_data(share: float) -> dict[str, dict[str, Any]]:
    """Return the data of ``stress_chart``, by source: stress as a share of the yield stress."""
    safe = share <= RESERVE
    return {
        "bar": {
            "right": [100 * share],
            "text": [f"{100 * share:.0f} %"],
            "color": [NATURAL if safe else "#d55e00" if share <= 1 else DOUBT],
            "hatch": [" " if safe else "right_diagonal_line" if share <= 1 else "cross"],
        }
    }


def stress_limit(share: float) -> float:
    """Return the right end of the scale for a stress [%]."""
    return max(130.0, 115.0 * share)


def stress_chart(share: float) -> Chart:
    """Draw the greatest stress in the wire against its yield stress."""
    sources = {name: ColumnDataSource(data) for name, data in stress_data(share).items()}
    fig = plain_figure(
        title="Stress in the wire at rest", height=260, tools="save",
        x_axis_label="Part of the yield stress (%)", y_range=Range1d(0.0, 1.0),
        x_range=Range1d(0.0, stress_limit(share)),
    )  # fmt: skip
    fig.toolbar_location = None
    fig.yaxis.visible = False
    fig.ygrid.visible = False
    fig.add_layout(
        BoxAnnotation(left=100 * RESERVE, right=100, fill_color="#e69f00", fill_alpha=0.25,
                      hatch_pattern="right_diagonal_line", hatch_alpha=0.12, level="underlay")
    )  # fmt: skip
    fig.add_layout(BoxAnnotation(left=100, fill_color=DOUBT, fill_alpha=0.15, level="underlay"))
    fig.add_layout(Span(location=100, dimension="height", line_color=DOUBT, line_width=3))
    fig.hbar(0.42, 0.34, "right", 0.0, source=sources["bar"], fill_color="color",
             line_color=INK, hatch_pattern="hatch", hatch_color="white")  # fmt: skip
    fig.text("right", 0.42, "text", source=sources["bar"], x_offset=8, text_baseline="middle",
             text_font_size="17px", text_font_style="bold", text_color=INK)  # fmt: skip
    labels = ColumnDataSource(
        {"x": [40.0 * 1.0, 90.0, 101.5], "text": ["in order", "may set", "stays bent"],
         "align": ["center", "center", "left"]}
    )  # fmt: skip
    fig.text("x", 0.86, "text", source=labels, text_align="align", text_baseline="middle",
             text_font_size="13px", text_color=INK)  # fmt: skip
    return Chart(fig, sources)
