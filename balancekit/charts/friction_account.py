"""The friction of sampled keys as stacked shares of their parts."""

from __future__ import annotations

from typing import Any

import pandas as pd
from bokeh.models import ColumnDataSource, FactorRange

from balancekit.calculation.friction_account import FRICTION_PARTS, REMAINDER
from balancekit.charts.look import INK, Chart, plain_figure

_COLORS = ("#0072b2", "#56b4e9", "#e69f00", "#d9d9d9")
_PATTERNS = (" ", "/", ".", "x")


def friction_account_data(account: pd.DataFrame) -> dict[str, dict[str, Any]]:
    """Return the stacked bars: one bar a key, one piece a part, in grams.

    A remainder below zero, which only weighing explains, is drawn as nothing.
    """
    bars: dict[str, list[Any]] = {name: [] for name in _COLUMNS}
    parts = (*FRICTION_PARTS, REMAINDER)
    for key, rows in account.groupby(level="key"):
        bottom = 0.0
        for place, part in enumerate(parts):
            share = float(rows["share_g"].get((key, part), float("nan")))
            if not share > 0:
                continue
            values = (str(key), bottom, bottom + share, _COLORS[place], _PATTERNS[place], part,
                      f"{share:.1f} g")  # fmt: skip
            for name, value in zip(_COLUMNS, values, strict=True):
                bars[name].append(value)
            bottom += share
    return {"bars": bars}


_COLUMNS = ("key", "bottom", "top", "color", "hatch", "part", "text")


def friction_account_chart(account: pd.DataFrame) -> Chart:
    """Draw where the friction of each sampled key sits."""
    source = ColumnDataSource(friction_account_data(account)["bars"])
    keys = [str(key) for key in account.index.unique("key")] or [""]
    fig = plain_figure(
        height=280,
        x_range=FactorRange(*keys),
        title="Where the friction sits",
        x_axis_label="Key",
        y_axis_label="Friction at the measuring point (g)",
        tools="hover",
        tooltips="key @key, @part: @text",
    )
    fig.vbar(x="key", bottom="bottom", top="top", width=0.6, color="color", source=source,
             line_color="white", hatch_pattern="hatch", hatch_color=INK, hatch_alpha=0.3,
             legend_group="part")  # fmt: skip
    legend = fig.legend[0]
    legend.update(border_line_color=None, label_text_font_size="13px")
    fig.add_layout(legend, "right")
    fig.y_range.start = 0
    return Chart(fig, {"bars": source})
