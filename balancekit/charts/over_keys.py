"""One quantity over the keyboard: points with error bars, usual band, trend, and what stands out.

Friction, balance weight, action ratio, strike weight and every other reading
are drawn by this one function, so that they all read alike.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from bokeh.models import (
    BoxAnnotation,
    ColumnDataSource,
    GlyphRenderer,
    HoverTool,
    Legend,
    LegendItem,
    Line,
    Scatter,
)

from balancekit.calculation.quantities import QUANTITIES, uncertainty_name
from balancekit.charts.look import (
    DOUBT,
    LEGEND_LOOK,
    PALE_INK,
    TREND,
    Chart,
    draw,
    draw_band,
    draw_points,
    keys_figure,
    mark_sections,
    point_columns,
    view_limits,
)
from balancekit.charts.marks import COLOUR_MARKS, OUTSIDE, ring_keys


@dataclass(frozen=True)
class Extra:
    """What may be drawn beside the readings.

    Attributes
    ----------
    trend, trend_u : slow trend and its standard uncertainty at every key; None for none.
    flagged : sentence by key, for keys that stand out.
    earlier : the same quantity on an earlier occasion, drawn pale; None for none.
    target : a wanted curve; None for none.
    limits : y limits that several charts share; None for those of the values.
    """

    trend: pd.Series | None = None
    trend_u: pd.Series | None = None
    flagged: Mapping[int, str] = field(default_factory=dict)
    earlier: pd.Series | None = None
    target: pd.Series | None = None
    limits: tuple[float, float] | None = None


def quantity_limits(name: str, values: pd.Series) -> tuple[float, float]:
    """Return y limits that hold the body of the values of one quantity.

    Parameters
    ----------
    name : the quantity; its usual range says how near the view may come.
    values : shape (n,), NaN allowed.
    """
    low, high = QUANTITIES[name].usual_low, QUANTITIES[name].usual_high
    if low is None or high is None:
        known = values.dropna()
        low, high = (known.min(), known.max()) if len(known) else (0.0, 1.0)
    return view_limits(values, low=float(low), high=float(high))


def over_keys_limits(
    table: pd.DataFrame, name: str, target: pd.Series | None = None
) -> tuple[float, float]:
    """Return the y limits for one quantity, and for the curve that is wanted of it."""
    return quantity_limits(
        name, table[name] if target is None else pd.concat([table[name], target])
    )


def over_keys_data(
    table: pd.DataFrame, name: str, extra: Extra | None = None
) -> dict[str, dict[str, Any]]:
    """Return the data of ``over_keys_chart``, by source.

    Parameters
    ----------
    table : table of keys.
    name : column to draw.
    extra : what else to draw.
    """
    extra = extra or Extra()
    quantity = QUANTITIES[name]
    limits = extra.limits or over_keys_limits(table, name, extra.target)
    points = point_columns(table, name, limits)
    keys = points["key"]
    spread = table.get(uncertainty_name(name), pd.Series(0.0, table.index)).fillna(0.0)
    u = spread.loc[keys].to_numpy()
    texts = [
        f"{quantity.text(value)} ± {quantity.text(error)}" if error else quantity.text(value)
        for value, error in zip(points["value"], u, strict=True)
    ]
    remarks = [
        "; ".join(filter(None, (extra.flagged.get(key, ""), filled and _FILLED, note)))
        for key, filled, note in zip(
            keys, points["filled"], _column(table, "note", keys), strict=True
        )
    ]
    points |= {
        "lower": np.clip(points["value"] - u, *limits),
        "upper": np.clip(points["value"] + u, *limits),
        "text": texts,
        "remark": remarks,
    }
    sharp = (table["colour"] == "sharp").to_numpy()
    flagged = [place for place, key in enumerate(keys) if key in extra.flagged]
    return {
        "points": points,
        "flagged": {"key": keys[flagged], "y": points["y"][flagged]},
        "trend": _band(table.index[~sharp], extra.trend, extra.trend_u),
        "sharps trend": _line(table.index[sharp], extra.trend),
        "earlier": _line(table.index, extra.earlier),
        "target": _line(table.index, extra.target),
    }


_FILLED = "rests on a reading that was not taken"


def _column(table: pd.DataFrame, name: str, keys: Sequence[int]) -> Sequence[str]:
    """A column of words, empty where the table has none."""
    return table[name].loc[list(keys)].tolist() if name in table else [""] * len(keys)


def _line(keys: pd.Index, values: pd.Series | None) -> dict[str, Any]:
    known = pd.Series(dtype=float) if values is None else values.reindex(keys).dropna()
    return {"key": known.index.to_numpy(), "y": known.to_numpy()}


def _band(keys: pd.Index, middle: pd.Series | None, u: pd.Series | None) -> dict[str, Any]:
    line = _line(keys, middle)
    width = 0.0 if u is None else u.loc[line["key"]].to_numpy()
    return {**line, "lower": line["y"] - 2 * width, "upper": line["y"] + 2 * width}


def over_keys_chart(
    table: pd.DataFrame,
    name: str,
    extra: Extra | None = None,
    *,
    title: str | None = None,
    sections: Sequence[tuple[str, int]] = (),
    height: int = 320,
    x_label: str = "Key",
) -> Chart:
    """Draw one quantity over the keyboard.

    Naturals are round and sharps are diamonds, each in its own colour. The usual
    band is shaded. The trend of the naturals is a line in its band of two standard
    uncertainties, that of the sharps is dotted. A key that stands out has a square round it.
    """
    quantity = QUANTITIES[name]
    data = over_keys_data(table, name, extra)
    sources = {each: ColumnDataSource(columns) for each, columns in data.items()}
    fig = keys_figure(
        len(table), quantity.axis_label, title=title or quantity.label, height=height,
        x_label=x_label,
    )  # fmt: skip
    extra = extra or Extra()
    low, high = extra.limits or over_keys_limits(table, name, extra.target)
    fig.y_range.update(start=low, end=high)
    if quantity.usual_low is not None:
        fig.add_layout(
            BoxAnnotation(bottom=quantity.usual_low, top=quantity.usual_high,
                          fill_color="#009e73", fill_alpha=0.08, level="underlay")
        )  # fmt: skip
    mark_sections(fig, sections)
    dots, lines = _draw_all(fig, sources)
    _legend(fig, lines)
    fig.add_tools(
        HoverTool(
            renderers=[dots],
            tooltips=tooltips(name),
        )
    )
    return Chart(fig, sources)


def tooltips(name: str) -> list[tuple[str, str]]:
    """Return what is told of a point of this quantity that is pointed at."""
    return [
        ("Key", "@key  @note_name, @colour"),
        (QUANTITIES[name].label, "@text"),
        ("Remark", "@remark"),
    ]


def _draw_all(
    fig: Any, sources: Mapping[str, ColumnDataSource]
) -> tuple[GlyphRenderer, dict[str, GlyphRenderer]]:
    """Draw every source, the points last but one; return points and trends."""
    draw_band(fig, sources["trend"])
    looks: dict[str, Line | Scatter] = {
        "trend": Line(x="key", y="y", line_color=TREND, line_width=2.5),
        "sharps trend": Line(x="key", y="y", line_color=TREND, line_width=1.2, line_dash="dotted"),
        "target": Line(x="key", y="y", line_color=DOUBT, line_width=2.5, line_dash="dashed"),
        "earlier": Scatter(x="key", y="y", marker="x", size=8, line_color=PALE_INK),
    }
    lines = {name: draw(fig, sources[name], look) for name, look in looks.items()}
    dots = draw_points(fig, sources["points"])
    ring_keys(fig, sources["flagged"])
    return dots, lines


def _legend(fig: Any, lines: Mapping[str, GlyphRenderer]) -> None:
    """Say which mark is a natural and which a sharp, and which trend is whose, above the frame."""
    items = []
    for label, marker, size, color in COLOUR_MARKS:
        glyph = Scatter(x="x", y="y", marker=marker, size=size, line_color=color, fill_color=color)
        mark = draw(fig, ColumnDataSource({"x": [OUTSIDE], "y": [0.0]}), glyph)
        items.append(LegendItem(label=label, renderers=[mark]))
    items += [
        LegendItem(label=name, renderers=[line]) for name, line in lines.items() if "trend" in name
    ]
    fig.add_layout(Legend(items=items, **LEGEND_LOOK), "above")
