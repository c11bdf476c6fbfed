"""Sets of hammers over the keyboard, a line each, with the ceiling and the target."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd
from bokeh.models import ColumnDataSource

from balancekit.charts.hammer_mass import CEILING, TARGET_LINE
from balancekit.charts.look import INK, Chart, body_limits, keys_figure, mark_sections
from balancekit.charts.marks import plain_legend

_COLORS = (INK, "#0072b2", "#009e73", "#d55e00", "#cc79a7", "#56b4e9")
_DASHES = ("solid", "dashed", "dotted", "dashdot", "dotdash", "solid")


def sets_data(
    sets: Mapping[str, pd.Series], ceiling_g: pd.Series | None, target_g: pd.Series | None
) -> dict[str, dict[str, Any]]:
    """Return the data of ``sets_chart``, by source.

    Parameters
    ----------
    sets : strike weights by name of the set, each at every key or with gaps [g].
    ceiling_g, target_g : curves to compare with; None for none [g].
    """
    lines: dict[str, list[Any]] = {name: [] for name in ("xs", "ys", "color", "dash", "text")}
    for place, (name, weights_g) in enumerate(sets.items()):
        known = weights_g.dropna()
        lines["xs"].append(known.index.to_numpy())
        lines["ys"].append(known.to_numpy(dtype=float))
        lines["color"].append(_COLORS[place % len(_COLORS)])
        lines["dash"].append(_DASHES[place % len(_DASHES)])
        lines["text"].append(name)
    curves = {"ceiling": ceiling_g, "target": target_g}
    return {"sets": lines} | {
        name: {"key": [], "y": []}
        if curve is None
        else {"key": curve.index.to_numpy(), "y": curve.to_numpy(dtype=float)}
        for name, curve in curves.items()
    }


def sets_limits(sets: Mapping[str, pd.Series]) -> tuple[float, float]:
    """Return y limits that hold every set but its gross slips."""
    lows, highs = zip(*filter(None, map(body_limits, sets.values())), strict=True)
    return min(lows) - 0.8, max(highs) + 2.6


def sets_chart(
    sets: Mapping[str, pd.Series],
    ceiling_g: pd.Series | None,
    target_g: pd.Series | None,
    *,
    sections: Sequence[tuple[str, int]] = (),
) -> Chart:
    """Draw every set over the keyboard, each line in its own colour and dashes."""
    data = sets_data(sets, ceiling_g, target_g)
    sources = {name: ColumnDataSource(columns) for name, columns in data.items()}
    known = next(iter(sets.values()))
    fig = keys_figure(len(known), "Strike weight (g)", title="The sets side by side", height=300)
    low, high = sets_limits(sets)
    fig.y_range.update(start=low, end=high)
    mark_sections(fig, sections)
    fig.line("key", "y", source=sources["ceiling"], color=CEILING, line_width=2.5,
             legend_label="ceiling by leverage")  # fmt: skip
    fig.multi_line("xs", "ys", source=sources["sets"], color="color", line_dash="dash",
                   line_width=2.2, legend_field="text")  # fmt: skip
    fig.line("key", "y", source=sources["target"], color=TARGET_LINE, line_width=3,
             line_dash="dashed", legend_label="target")  # fmt: skip
    plain_legend(fig)
    fig.legend[0].ncols = 3
    return Chart(fig, sources)
