"""Hammers over the keyboard: as found, ceiling and target; and what to do to each of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from bokeh.models import ColumnDataSource, HoverTool, Span

from balancekit.charts.look import (
    DOUBT,
    INK,
    PALE_INK,
    Chart,
    body_limits,
    draw_band,
    draw_points,
    keys_figure,
    mark_sections,
    point_columns,
)
from balancekit.charts.marks import colours_in_legend, plain_legend, ring_keys

TRIM = "#e69f00"
ADD = "#009e73"
CEILING = "#7a4a00"
TARGET_LINE = DOUBT


@dataclass(frozen=True)
class Hammers:
    """What is drawn of the hammers; every Series is indexed by every key.

    Attributes
    ----------
    colour, note_name : of each key.
    weighed_g, weighed_u_g : strike weight and its standard uncertainty; NaN where not weighed.
    estimate_g : strike weight, estimated where it was not weighed [g].
    ceiling_g, ceiling_u_g : ceiling by leverage and its standard uncertainty; None for none.
    target_g : the curve that is aimed at; None for none.
    remark : words by key, for the hover.
    clash : keys whose bounds contradict each other.
    """

    colour: pd.Series
    note_name: pd.Series
    weighed_g: pd.Series
    weighed_u_g: pd.Series
    estimate_g: pd.Series
    ceiling_g: pd.Series | None = None
    ceiling_u_g: pd.Series | None = None
    target_g: pd.Series | None = None
    remark: pd.Series | None = None
    clash: Sequence[int] = ()


def hammers_limits(hammers: Hammers) -> tuple[float, float]:
    """Return y limits that hold the hammers but gross slips, with room for a ceiling above."""
    low, high = body_limits(hammers.estimate_g) or (0.0, 1.0)
    return low - 1.2, high + 2.2


def hammers_data(hammers: Hammers) -> dict[str, dict[str, Any]]:
    """Return the data of ``hammers_chart``, by source."""
    name, limits = "strike_weight_g", hammers_limits(hammers)
    estimated = np.where(hammers.weighed_g.notna(), "", name)
    table = pd.DataFrame({name: hammers.estimate_g, "colour": hammers.colour,
                          "note_name": hammers.note_name, "estimated": estimated})  # fmt: skip
    points = point_columns(table, name, limits)
    value, there = points["value"], hammers.estimate_g.notna().to_numpy()
    known = hammers.weighed_g.notna().to_numpy()[there]
    u = np.nan_to_num(hammers.weighed_u_g.to_numpy(dtype=float)[there])
    keys = points["key"]
    points |= {
        "lower": np.clip(value - np.where(known, u, np.nan), *limits),
        "upper": np.clip(value + np.where(known, u, np.nan), *limits),
        "text": [
            f"{grams:.1f} g" if weighed else f"{grams:.1f} g, estimated"
            for grams, weighed in zip(value, known, strict=True)
        ],
        "remark": [""] * len(value) if hammers.remark is None else hammers.remark[there].tolist(),
    }
    ceiling: dict[str, Any] = {"key": [], "y": [], "lower": [], "upper": []}
    above: dict[str, Any] = {"key": [], "from": [], "to": []}
    if hammers.ceiling_g is not None and hammers.ceiling_u_g is not None:
        top = hammers.ceiling_g.to_numpy(dtype=float)
        reach = 2 * hammers.ceiling_u_g.to_numpy(dtype=float)
        ceiling = {"key": hammers.ceiling_g.index.to_numpy(), "y": top,
                   "lower": top - reach, "upper": top + reach}  # fmt: skip
        top, reach = top[there], reach[there]
        over = known & (value - top > np.hypot(reach, 2 * u))
        above = {"key": keys[over], "from": top[over], "to": points["y"][over]}
    target = pd.Series(dtype=float) if hammers.target_g is None else hammers.target_g
    clash = np.isin(keys, list(hammers.clash))
    return {
        "points": points,
        "ceiling": ceiling,
        "above": above,
        "target": {"key": target.index.to_numpy(), "y": target.to_numpy(dtype=float)},
        "clash": {"key": keys[clash], "y": points["y"][clash]},
    }


def hammers_chart(
    hammers: Hammers,
    *,
    title: str,
    sections: Sequence[tuple[str, int]] = (),
    with_target: bool = True,
    height: int = 330,
) -> Chart:
    """Draw strike weights over the keyboard, with ceiling and target.

    Naturals are round and sharps are diamonds; a hammer that was not weighed is hollow. The
    ceiling is a solid line in its band of two standard uncertainties, and a bar drops to it
    from each hammer that is surely above it. The target, if it is wanted, is dashed.
    """
    sources = {name: ColumnDataSource(data) for name, data in hammers_data(hammers).items()}
    fig = keys_figure(len(hammers.colour), "Strike weight (g)", title=title, height=height)
    low, high = hammers_limits(hammers)
    fig.y_range.update(start=low, end=high)
    mark_sections(fig, sections)
    draw_band(fig, sources["ceiling"], color=CEILING, alpha=0.22)
    fig.line("key", "y", source=sources["ceiling"], color=CEILING, line_width=2.5,
             legend_label="ceiling by leverage")  # fmt: skip
    fig.segment("key", "from", "key", "to", source=sources["above"], color=CEILING,
                line_width=4, line_alpha=0.45)  # fmt: skip
    dots = draw_points(fig, sources["points"])
    if with_target:
        fig.line("key", "y", source=sources["target"], color=TARGET_LINE, line_width=3,
                 line_dash="dashed", legend_label="target")  # fmt: skip
    ring_keys(fig, sources["clash"])
    colours_in_legend(fig)
    plain_legend(fig)
    tips = [
        ("Key", "@key  @note_name, @colour"),
        ("Strike weight", "@text"),
        ("", "@remark"),
    ]
    fig.add_tools(HoverTool(renderers=[dots], tooltips=tips))
    return Chart(fig, sources)


def work_limits(plan: pd.DataFrame | None) -> tuple[float, float]:
    """Return y limits for the work, from the most trimmed to the most added."""
    if plan is None:
        return -1.0, 1.0
    down = np.ceil(max(0.5, float(plan["trimmed_g"].max())) * 2.2) / 2
    up = np.ceil(max(0.5, float(plan["added_g"].max())) * 2.2) / 2
    return -down, up


def work_data(plan: pd.DataFrame | None, note_name: pd.Series) -> dict[str, dict[str, Any]]:
    """Return the data of ``work_chart``, by source.

    Parameters
    ----------
    plan : see ``hammer_curve.plan``; None for none.
    note_name : of each key.
    """
    if plan is None:
        empty: dict[str, Any] = {name: [] for name in ("key", "y", "text", "note_name")}
        return {name: dict(empty) for name in ("trim", "add", "leave", "unknown")}
    change = (plan["added_g"] - plan["trimmed_g"]).to_numpy(dtype=float)
    planned = plan["planned_strike_weight_g"].to_numpy(dtype=float)
    told = {
        "trim": [f"trim {-c:.1f} g, to {p:.1f} g" for c, p in zip(change, planned, strict=True)],
        "add": [f"add {c:.1f} g, to {p:.1f} g" for c, p in zip(change, planned, strict=True)],
        "leave": ["leave: less than weighing can tell"] * len(plan),
        "unknown": [f"not weighed: weigh first; target {p:.1f} g" for p in planned],
    }
    work = np.array(plan["work"].tolist())
    work[work == "not weighed"] = "unknown"
    keys, notes = plan.index.to_numpy(), note_name.to_numpy()
    return {
        kind: {
            "key": keys[work == kind],
            "y": np.nan_to_num(change[work == kind]),
            "text": [text for text, here in zip(texts, work == kind, strict=True) if here],
            "note_name": notes[work == kind],
        }
        for kind, texts in told.items()
    }


def work_chart(plan: pd.DataFrame | None, note_name: pd.Series) -> Chart:
    """Draw what to trim (hatched, downwards) and to add (upwards) over the keyboard."""
    sources = {n: ColumnDataSource(data) for n, data in work_data(plan, note_name).items()}
    fig = keys_figure(
        len(note_name), "Add or trim (g)", title="What to do to each hammer", height=230
    )
    low, high = work_limits(plan)
    fig.y_range.update(start=low, end=high)
    fig.add_layout(Span(location=0, dimension="width", line_color=PALE_INK, line_width=1))
    bars = [
        fig.vbar("key", 0.8, "y", source=sources["add"], color=ADD, legend_label="add"),
        fig.vbar("key", 0.8, "y", source=sources["trim"], color=TRIM, legend_label="trim",
                 hatch_pattern="right_diagonal_line", hatch_color=INK, hatch_alpha=0.5,
                 hatch_scale=6, hatch_weight=1),
        fig.scatter("key", "y", source=sources["leave"], marker="dash", size=8, color=PALE_INK,
                    line_width=2, legend_label="leave"),
        fig.scatter("key", "y", source=sources["unknown"], marker="circle_x", size=9,
                    line_color=INK, fill_color="white", legend_label="weigh first"),
    ]  # fmt: skip
    plain_legend(fig)
    tips = [("Key", "@key  @note_name"), ("", "@text")]
    fig.add_tools(HoverTool(renderers=bars, tooltips=tips))
    return Chart(fig, sources)
