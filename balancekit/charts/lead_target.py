"""The front weight that each key needs, with its band, its limits, and what is there now."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from bokeh.models import ColumnDataSource, HoverTool, Span

from balancekit.charts.look import (
    INK,
    MARKER,
    MARKER_SIZE,
    NATURAL,
    PALE_INK,
    SHARP,
    Chart,
    draw_band,
    keys_figure,
    mark_sections,
)
from balancekit.charts.marks import colours_in_legend, plain_legend, ring_keys

LIMIT = "#7a4a00"


@dataclass(frozen=True)
class FrontWeights:
    """What is drawn of the front weights; every Series is indexed by every key.

    Attributes
    ----------
    colour, note_name : of each key.
    target : see ``front_weight.front_weight_target``.
    now_g : front weight as it is [g].
    limit_g : highest front weight allowed [g].
    """

    colour: pd.Series
    note_name: pd.Series
    target: pd.DataFrame
    now_g: pd.Series
    limit_g: pd.Series


def target_limits(front: FrontWeights) -> tuple[float, float]:
    """Return y limits that hold target, limit and what is there, in steps of 5 g."""
    low = min(0.0, float(front.target["low_g"].min()), float(front.now_g.min()))
    tops = (front.target["high_g"], front.now_g, front.limit_g)
    high = max(float(top.max()) for top in tops)
    return 5 * np.floor((low - 3) / 5), 5 * np.ceil((high + 6) / 5)


def target_data(front: FrontWeights) -> dict[str, dict[str, Any]]:
    """Return the data of ``target_chart``, by source."""
    keys, target = front.target.index.to_numpy(), front.target
    wanted, now = target["front_weight_g"].to_numpy(), front.now_g.to_numpy(dtype=float)
    beyond = target["beyond_g"].fillna(0.0).to_numpy()
    words = np.where(beyond > 0, "above the limit", np.where(beyond < 0, "below 0", ""))
    colours = front.colour.tolist()
    return {
        "target": {
            "key": keys,
            "y": wanted,
            "lower": target["low_g"].to_numpy(),
            "upper": target["high_g"].to_numpy(),
            "marker": [MARKER[each] for each in colours],
            "size": [MARKER_SIZE[each] for each in colours],
            "color": [SHARP if each == "sharp" else NATURAL for each in colours],
            "note_name": front.note_name.tolist(),
            "colour": colours,
            "now": now,
            "change": wanted - now,
            "words": words,
        },
        "now": {"key": keys, "y": now},
        "limit": {"key": keys, "y": front.limit_g.to_numpy(dtype=float)},
        "beyond": {"key": keys[beyond != 0], "y": wanted[beyond != 0]},
    }


def target_chart(front: FrontWeights, *, sections: Sequence[tuple[str, int]] = ()) -> Chart:
    """Draw the front weight that each key needs.

    Naturals are round and sharps are diamonds, each in its band of about 95 %; short bars are
    what is there now. A key that asks for too much or for less than nothing has a square
    around it.
    """
    sources = {name: ColumnDataSource(data) for name, data in target_data(front).items()}
    fig = keys_figure(
        len(front.colour), "Front weight (g)", title="Front weight that each key needs",
        height=340,
    )  # fmt: skip
    low, high = target_limits(front)
    fig.y_range.update(start=low, end=high)
    mark_sections(fig, sections)
    fig.add_layout(Span(location=0, dimension="width", line_color=INK, line_width=1.5))
    draw_band(fig, sources["target"], color=NATURAL)
    fig.line("key", "y", source=sources["limit"], color=LIMIT, line_width=2.5,
             line_dash="dashed", legend_label="highest allowed")  # fmt: skip
    fig.scatter("key", "y", source=sources["now"], marker="dash", size=10, color=PALE_INK,
                line_width=3, legend_label="now")  # fmt: skip
    dots = fig.scatter("key", "y", source=sources["target"], marker="marker", size="size",
                       color="color", line_color="white", line_width=1,
                       nonselection_alpha=1.0)  # fmt: skip
    ring_keys(fig, sources["beyond"], "cannot be")
    colours_in_legend(fig)
    plain_legend(fig)
    tips = [
        ("Key", "@key  @note_name, @colour"),
        ("Needs", "@y{0.0} g  @words"),
        ("Band", "@lower{0.0} to @upper{0.0} g"),
        ("Now", "@now{0.0} g, change @change{+0.0} g"),
    ]
    fig.add_tools(HoverTool(renderers=[dots], tooltips=tips))
    return Chart(fig, sources)
