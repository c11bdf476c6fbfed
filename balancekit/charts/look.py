"""What all charts share: colours, marks, sizes, and the empty figure over the keyboard."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from bokeh.models import (
    Band,
    ColumnDataSource,
    CustomJSTickFormatter,
    Glyph,
    GlyphRenderer,
    Label,
    Range1d,
    Scatter,
    Span,
    Whisker,
)
from bokeh.plotting import figure
from numpy.typing import NDArray

INK = "#22303c"
PALE_INK = "#5b6b79"
GRID = "#e3e8ec"
NATURAL = "#0072b2"
SHARP = "#d55e00"
LIFTS = ("#0072b2", "#56b4e9")
PRESSES = ("#e69f00", "#f0e442", "#009e73")
TREND = "#3d5163"
DOUBT = "#a3005f"
# The plot colours are the eight of Okabe and Ito, "Color Universal Design" (2008), told apart by
# colour-blind readers; shape or pattern always says the same again.

MARKER = {"natural": "circle", "sharp": "diamond"}
MARKER_SIZE = {"natural": 9, "sharp": 12}
LEFT_BORDER = 76
RIGHT_BORDER = 18
# Pixels; the drawn keyboard under a chart uses the same, so that the keys stand under the points.

FONT = "15px"
SMALL_FONT = "13px"


@dataclass(frozen=True)
class Chart:
    """A figure and the sources that feed it, by name."""

    figure: figure
    sources: Mapping[str, ColumnDataSource]

    def show(self, data: Mapping[str, Mapping[str, Any]]) -> None:
        """Put new data in, each source once; what would not change is left, and not sent."""
        for name, columns in data.items():
            held = self.sources[name].data
            if held.keys() != columns.keys() or _rows(held) != _rows(columns):
                self.sources[name].data = dict(columns)
                continue
            changed = {
                each: values for each, values in columns.items() if not _equal(held[each], values)
            }
            if changed:
                held.update(changed)


def _rows(columns: Mapping[str, Any]) -> int:
    return max((len(values) for values in columns.values()), default=0)


def _equal(one: Any, other: Any) -> bool:
    if isinstance(one, list) and isinstance(other, list):  # of words, or of lines of a figure
        return len(one) == len(other) and all(map(_equal, one, other))
    if isinstance(one, str | int | float):
        return bool(one == other)
    first, second = np.asarray(one), np.asarray(other)
    numbers = first.dtype.kind in "fiu" and second.dtype.kind in "fiu"
    return np.array_equal(first, second, equal_nan=numbers)


def _plain(fig: figure) -> None:
    """Set fonts, lines and borders that every figure has."""
    fig.toolbar.logo = None
    fig.toolbar_location = "above"
    fig.outline_line_color = None
    fig.background_fill_color = "white"
    fig.border_fill_color = "white"
    fig.grid.grid_line_color = GRID
    fig.axis.axis_line_color = PALE_INK
    fig.axis.major_tick_line_color = PALE_INK
    fig.axis.minor_tick_line_color = None
    fig.axis.axis_label_text_font_style = "normal"
    fig.axis.axis_label_text_font_size = FONT
    fig.axis.axis_label_text_color = INK
    fig.axis.major_label_text_font_size = SMALL_FONT
    fig.axis.major_label_text_color = INK
    fig.title.text_font_size = "17px"
    fig.title.text_color = INK
    fig.title.text_font_style = "bold"


def plain_figure(**options: Any) -> figure:
    """Return an empty figure in the suite's manner."""
    fig = figure(
        **{
            "height": 320,
            "sizing_mode": "stretch_width",
            "tools": "pan,wheel_zoom,box_zoom,reset,save",
            "active_scroll": None,
            **options,
        }
    )
    _plain(fig)
    return fig


KEY_IN_HAND, NO_KEY = "key in hand", -9
"""Tag of a figure over the keyboard, and the key that is marked before one is taken in hand."""


def keys_figure(
    key_count: int, y_label: str, *, title: str, height: int = 320, x_label: str = "Key"
) -> figure:
    """Return an empty figure over the keyboard, ready for ``mark_key``.

    The left and right borders are fixed, so that a drawn keyboard fits under it.
    """
    fig = plain_figure(
        title=title,
        height=height,
        x_range=Range1d(0.5, key_count + 0.5, bounds=(0.5, key_count + 0.5)),
        y_range=Range1d(0.0, 1.0),
        x_axis_label=x_label,
        y_axis_label=y_label,
        tools="xpan,xwheel_zoom,box_zoom,reset,tap,save",
        min_border_left=LEFT_BORDER,
        min_border_right=RIGHT_BORDER,
        tags=[KEY_IN_HAND, NO_KEY],
    )
    fig.xgrid.grid_line_color = None
    fig.xaxis.ticker = key_ticks(key_count)
    fig.xaxis.formatter = CustomJSTickFormatter(code="return tick % 1 == 0 ? '' + tick : ''")
    return fig


def key_ticks(key_count: int) -> list[int]:
    """Return the key numbers to print on an axis: 1, 10, 20 and so on, and the last."""
    step = 10 if key_count > 20 else 1
    ticks = [1, *range(step, key_count, step), key_count]
    crowded = key_count > 20 and key_count - ticks[-2] < 4
    return sorted({tick for tick in ticks if not (crowded and tick == ticks[-2])})


def mark_key(fig: figure, key: int) -> None:
    """Move the mark of the key in hand; a figure that is not over the keyboard has none.

    The key is written into the figure's tags. The page draws the mark over the figure, so
    that the figure itself need not be painted anew.
    """
    if fig.tags:
        fig.tags = [KEY_IN_HAND, key]


def section_marks(sections: Sequence[tuple[str, int]]) -> list[Span | Label]:
    """Return the section breaks and their names, which figures of one page may share."""
    marks: list[Span | Label] = []
    for name, first in sections:
        if first > 1:
            marks.append(
                Span(location=first - 0.5, dimension="height", line_color=PALE_INK,
                     line_dash="dotted", line_width=1.5)
            )  # fmt: skip
        marks.append(
            Label(x=first - 0.3, y=4, y_units="screen", text=name, text_color=PALE_INK,
                  text_font_size=SMALL_FONT)
        )  # fmt: skip
    return marks


def mark_sections(fig: figure, sections: Sequence[tuple[str, int]]) -> None:
    """Draw the section breaks and their names along the lower edge."""
    for mark in section_marks(sections):
        fig.add_layout(mark)


LEGEND_LOOK = {
    "orientation": "horizontal", "location": "right", "label_text_font_size": SMALL_FONT,
    "label_text_color": INK, "border_line_color": None, "background_fill_alpha": 0.0,
    "padding": 0, "margin": 0, "spacing": 12,
}  # fmt: skip
"""A legend above its frame, on one line."""


def legend_above(fig: figure) -> None:
    """Put the legend above the frame, at the right, on one line."""
    fig.legend[0].update(**LEGEND_LOOK)
    fig.add_layout(fig.legend[0], "above")


NEIGHBOURS = 7
"""So many values make the slow course of a series; it takes four slips together to bend it."""


def body_limits(values: pd.Series) -> tuple[float, float] | None:
    """Return the lowest and the highest of the values that are no gross slips; None for none.

    A value is gross that lies far outside the middle half of all, or far from the slow course
    of its neighbours; how far is measured by the scatter there (our own choice, for the view
    alone: what is gross is drawn at the edge).

    Parameters
    ----------
    values : shape (n,), in the order of the keys, NaN allowed.
    """
    known = values.to_numpy(dtype=float)
    known = known[np.isfinite(known)]
    if not len(known):
        return None
    quarter, middle, upper = np.percentile(known, [25, 50, 75])
    least = max(0.02 * abs(middle), 1e-6)
    reach = 5 * max(upper - quarter, least)
    course = pd.Series(known).rolling(NEIGHBOURS, center=True, min_periods=1).median()
    away = known - course.to_numpy()
    scatter = max(float(np.subtract(*np.percentile(away, [75, 25]))), least)
    sound = (known >= quarter - reach) & (known <= upper + reach) & (abs(away) <= 12 * scatter)
    body = known[sound] if sound.any() else known
    return float(body.min()), float(body.max())


def view_limits(values: pd.Series, *, low: float, high: float) -> tuple[float, float]:
    """Return y limits that hold the body of the values, but not gross slips.

    Parameters
    ----------
    values : shape (n,), in the order of the keys, NaN allowed.
    low, high : what is usual; a third of it is the least that is in view.
    """
    least = 0.35 * (high - low)
    low, high = body_limits(values) or (low, high)
    middle = (low + high) / 2
    half = max(high - low, least, 1e-6) * 0.58
    return middle - half, middle + half


def _estimated(table: pd.DataFrame, name: str) -> NDArray[np.bool_]:
    """Tell which keys' values rest on a reading that was not taken, but filled in."""
    if "estimated" not in table:
        return np.zeros(len(table), dtype=bool)
    filled = table["estimated"].tolist()
    if name == "action_ratio":
        return np.array([names != "" for names in filled], dtype=bool)
    return np.array([name in names.split(", ") for names in filled], dtype=bool)


def point_columns(table: pd.DataFrame, name: str, limits: tuple[float, float]) -> dict[str, Any]:
    """Return the columns of a source that draws one quantity, one point a key.

    A value outside the limits is drawn at the edge as a triangle that points outward;
    its true value stays in the hover. A value that was filled in is hollow.
    """
    values = table[name].to_numpy(dtype=float)
    there = ~np.isnan(values)
    value = values[there]
    low, high = limits
    edge = 0.045 * (high - low)
    shown = np.clip(value, low + edge, high - edge)
    colours = table["colour"].to_numpy()[there].tolist()
    marker = np.where(
        value > high - edge, "triangle",
        np.where(value < low + edge, "inverted_triangle", [MARKER[each] for each in colours]),
    )  # fmt: skip
    color = np.array([SHARP if each == "sharp" else NATURAL for each in colours], dtype=str)
    filled = _estimated(table, name)[there]
    return {
        "key": table.index.to_numpy()[there],
        "y": shown,
        "value": value,
        "marker": marker.tolist(),
        "size": np.where(shown != value, 14, [MARKER_SIZE[each] for each in colours]).tolist(),
        "color": color.tolist(),
        "filled": filled.tolist(),
        "fill_alpha": np.where(filled, 0.0, 1.0).tolist(),
        "line_color": np.where(filled, color, "white").tolist(),
        "note_name": table["note_name"].to_numpy()[there].tolist(),
        "colour": colours,
    }


def draw(fig: figure, source: ColumnDataSource, glyph: Glyph) -> GlyphRenderer:
    """Draw a source in one look, whatever is chosen; other looks would only cost time."""
    drawn: GlyphRenderer = fig.add_glyph(
        source, glyph, selection_glyph=None, nonselection_glyph=None, muted_glyph=None
    )
    return drawn


def draw_band(
    fig: figure,
    source: ColumnDataSource,
    *,
    color: str = TREND,
    alpha: float = 0.18,
) -> None:
    """Shade from the columns ``lower`` to ``upper``."""
    fig.add_layout(
        Band(base="key", lower="lower", upper="upper", source=source, fill_color=color,
             fill_alpha=alpha, line_color=None)
    )  # fmt: skip


def draw_course(fig: figure, source: ColumnDataSource) -> None:
    """Draw a line in its band, and the line of 0, over something that is not the keyboard."""
    fig.add_layout(Span(location=0, dimension="width", line_color=PALE_INK, line_width=1))
    # An area, unlike a band, is taken in where the figure looks how high it must be.
    fig.varea("x", "lower", "upper", source=source, fill_color=TREND, fill_alpha=0.18)
    fig.line("x", "y", source=source, color=TREND, line_width=2.5)


def draw_points(fig: figure, source: ColumnDataSource) -> GlyphRenderer:
    """Draw the points of ``point_columns`` with their uncertainty from ``lower`` to ``upper``."""
    whisker = Whisker(base="key", lower="lower", upper="upper", source=source,
                      line_color=PALE_INK, line_alpha=0.8, level="glyph")  # fmt: skip
    whisker.upper_head.size = whisker.lower_head.size = 5
    fig.add_layout(whisker)
    look = Scatter(x="key", y="y", marker={"field": "marker"}, size="size", fill_color="color",
                   line_color="line_color", line_width=1.2, fill_alpha="fill_alpha")  # fmt: skip
    dots = draw(fig, source, look)
    dots.name = "points"
    return dots
