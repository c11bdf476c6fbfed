"""Marks and legends that several charts share, so that they look alike."""

from __future__ import annotations

from bokeh.models import ColumnDataSource, LabelSet, Scatter
from bokeh.plotting import figure

from balancekit.charts.look import DOUBT, INK, NATURAL, SHARP, SMALL_FONT, draw

OUTSIDE = -1000.0
"""Left of every keyboard: a mark there is seen in the legend only."""

COLOUR_MARKS = (("natural", "circle", 10, NATURAL), ("sharp", "diamond", 14, SHARP))
"""Name, marker, size and colour of naturals and sharps in a legend."""


def colours_in_legend(fig: figure, before: str = "") -> None:
    """Say in the legend that naturals are round and sharps are diamonds.

    Parameters
    ----------
    before : words in front of "natural" and "sharp".
    """
    for label, marker, size, color in COLOUR_MARKS:
        fig.scatter([OUTSIDE], [0.0], marker=marker, size=size, color=color,
                    legend_label=f"{before}{label}")  # fmt: skip


def ring_keys(fig: figure, source: ColumnDataSource, label: str = "") -> None:
    """Draw a square around each point of a source, to be looked at.

    Parameters
    ----------
    source : with ``key`` and ``y``.
    label : what it means, for the legend; "" for none.
    """
    look = {"marker": "square", "fill_alpha": 0.0, "line_color": DOUBT, "line_width": 2.5}
    draw(fig, source, Scatter(x="key", y="y", size=20, **look))
    if label:
        fig.scatter([OUTSIDE], [0.0], size=12, legend_label=label, **look)


def plain_legend(fig: figure) -> None:
    """Put the legend into the upper right corner, on one line."""
    fig.legend[0].update(
        orientation="horizontal",
        location="top_right",
        label_text_font_size="13px",
        border_line_color=None,
        background_fill_alpha=0.8,
        padding=2,
        margin=2,
        spacing=10,
    )


def lying_bars(fig: figure, source: ColumnDataSource, height: float) -> None:
    """Draw bars that lie end to end, each with its words inside.

    Parameters
    ----------
    source : with ``y, left, right, middle, color, hatch, text``.
    height : of a bar, in parts of its place.
    """
    fig.hbar(y="y", left="left", right="right", height=height, color="color", source=source,
             line_color="white", line_width=2, hatch_pattern="hatch", hatch_color=INK,
             hatch_alpha=0.25)  # fmt: skip
    fig.add_layout(
        LabelSet(x="middle", y="y", text="text", source=source, text_align="center",
                 text_baseline="middle", text_color=INK, text_font_size=SMALL_FONT,
                 background_fill_color="white", background_fill_alpha=0.75)
    )  # fmt: skip
    fig.ygrid.grid_line_color = None
