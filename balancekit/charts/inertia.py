"""Inertia at the finger over the keyboard, part by part, and the step from key to key."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from bokeh.models import BoxAnnotation, ColumnDataSource, HoverTool, Span

from balancekit.calculation.hammers.inertia_account import FELT_SHARE, INERTIA_PARTS, felt_steps
from balancekit.charts.look import (
    DOUBT,
    INK,
    LIFTS,
    PALE_INK,
    PRESSES,
    Chart,
    keys_figure,
)
from balancekit.charts.marks import plain_legend

PART_LOOK = {
    "hammer_inertia_g": ("hammer and shank", LIFTS[0], " "),
    "wippen_inertia_g": ("wippen", LIFTS[1], "right_diagonal_line"),
    "stick_inertia_g": ("key stick", PRESSES[0], "dot"),
    "lead_inertia_g": ("lead", PALE_INK, "left_diagonal_line"),
}


def stack_data(account: pd.DataFrame, compared_g: pd.Series | None = None) -> dict[str, Any]:
    """Return the data of ``stack_chart``, by source.

    Parameters
    ----------
    account : indexed by key, see ``inertia_account``.
    compared_g : another total, drawn as a line of steps; None for none [g].
    """
    sums = account[list(INERTIA_PARTS)].to_numpy(dtype=float).cumsum(axis=1)
    bottom = np.column_stack([np.zeros(len(sums)), sums[:, :-1]])
    stack: dict[str, Any] = {"key": account.index.to_numpy(), "total": sums[:, -1]}
    for place, name in enumerate(INERTIA_PARTS):
        stack[f"{name}_from"] = bottom[:, place]
        stack[f"{name}_to"] = sums[:, place]
        stack[name] = account[name].to_numpy(dtype=float)
    line = pd.Series(dtype=float) if compared_g is None else compared_g
    return {
        "stack": stack,
        "compared": {"key": line.index.to_numpy(), "y": line.to_numpy(dtype=float)},
    }


def stack_chart(
    account: pd.DataFrame,
    compared_g: pd.Series | None = None,
    *,
    title: str,
    compared: str = "",
    height: int = 270,
) -> Chart:
    """Draw the account of inertia as stacked bars, one a key.

    Parameters
    ----------
    account, compared_g : see ``stack_data``.
    title : of the figure.
    compared : what the line is, for the legend.
    """
    sources = {n: ColumnDataSource(d) for n, d in stack_data(account, compared_g).items()}
    fig = keys_figure(len(account), "Inertia at the finger (g)", title=title, height=height)
    fig.y_range.update(start=0.0, end=inertia_limit(account["inertia_g"]))
    bars = [
        fig.vbar("key", 0.86, f"{name}_to", f"{name}_from", source=sources["stack"], color=color,
                 hatch_pattern=hatch, hatch_color=INK, hatch_alpha=0.4, hatch_scale=6,
                 legend_label=label)
        for name, (label, color, hatch) in PART_LOOK.items()
    ]  # fmt: skip
    if compared:
        fig.step("key", "y", source=sources["compared"], mode="center", color=DOUBT,
                 line_width=2, legend_label=compared)  # fmt: skip
    plain_legend(fig)
    tips = [("Key", "@key"), ("Together", "@total{0} g")]
    tips += [(label, f"@{name}{{0.0}} g") for name, (label, _, _) in PART_LOOK.items()]
    fig.add_tools(HoverTool(renderers=bars, tooltips=tips))
    return Chart(fig, sources)


def inertia_limit(inertia_g: pd.Series) -> float:
    """Return the upper end of the scale for an account [g]."""
    return float(np.ceil(inertia_g.max() * 1.22 / 50) * 50)


def steps_data(found_g: pd.Series, planned_g: pd.Series | None) -> dict[str, Any]:
    """Return the data of ``steps_chart``, by source: steps in percent of the inertia.

    Parameters
    ----------
    found_g, planned_g : inertia by key, as found and after the work; None for none [g].
    """

    def percent(inertia_g: pd.Series | None) -> dict[str, Any]:
        if inertia_g is None:
            return {"key": [], "y": []}
        share = felt_steps(inertia_g)["step_share"].dropna()
        return {"key": share.index.to_numpy(), "y": 100 * share.to_numpy(dtype=float)}

    return {"found": percent(found_g), "planned": percent(planned_g)}


def steps_chart(found_g: pd.Series, planned_g: pd.Series | None, *, title: str) -> Chart:
    """Draw the step of the inertia to each key from the key at its left."""
    sources = {n: ColumnDataSource(d) for n, d in steps_data(found_g, planned_g).items()}
    fig = keys_figure(len(found_g), "Step (% of inertia)", title=title, height=220)
    most = max([100 * FELT_SHARE, *np.abs(sources["found"].data["y"])])
    fig.y_range.update(start=-1.25 * most, end=1.5 * most)
    fig.add_layout(Span(location=0, dimension="width", line_color=PALE_INK, line_width=1))
    fig.add_layout(
        BoxAnnotation(bottom=-100 * FELT_SHARE, top=100 * FELT_SHARE, fill_color="#009e73",
                      fill_alpha=0.08, level="underlay")
    )  # fmt: skip
    dots = [
        fig.scatter("key", "y", source=sources["found"], marker="x", size=8, color=PALE_INK,
                    line_width=1.5, legend_label="as found"),
        fig.scatter("key", "y", source=sources["planned"], marker="circle", size=7, color=LIFTS[0],
                    legend_label="after the work"),
    ]  # fmt: skip
    plain_legend(fig)
    tips = [("Key", "@key"), ("Step from the key to the left", "@y{+0.0} %")]
    fig.add_tools(HoverTool(renderers=dots, tooltips=tips))
    return Chart(fig, sources)
