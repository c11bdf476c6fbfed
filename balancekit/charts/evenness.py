"""Evenness as charts: the piano's own step before and after, and over the years."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd
from bokeh.models import ColumnDataSource, FactorRange, HoverTool, Range1d
from bokeh.transform import dodge

from balancekit.calculation.quantities import QUANTITIES
from balancekit.charts.look import INK, NATURAL, PALE_INK, SHARP, Chart, legend_above, plain_figure

IN_GRAMS = ("down_weight_g", "up_weight_g", "balance_weight_g", "friction_g", "strike_weight_g")
"""Quantities that share one scale."""

_COLORS = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", INK)
_MARKERS = ("circle", "diamond", "square", "triangle", "inverted_triangle")
_DASHES = ("solid", "dashed", "dotted", "dashdot", "solid")


def bars_data(steps: pd.DataFrame) -> dict[str, dict[str, Any]]:
    """Return the data of ``bars_chart``.

    Parameters
    ----------
    steps : indexed by quantity: ``then`` and ``now``, the piano's own step [unit of each].
    """
    known = steps.loc[[name for name in IN_GRAMS if name in steps.index]].fillna(0.0)
    return {
        "bars": {
            "label": [QUANTITIES[name].label for name in known.index],
            "then": known["then"].tolist(),
            "now": known["now"].tolist(),
        }
    }


def bars_limit(steps: pd.DataFrame) -> float:
    """Return the upper end of the scale [g]."""
    data = bars_data(steps)["bars"]
    return 1.15 * max(float(step) for step in [*data["then"], *data["now"], 0.1])


def bars_chart(steps: pd.DataFrame, then: str, now: str) -> Chart:
    """Draw two bars for each quantity in grams; short bars are even.

    Parameters
    ----------
    steps : see ``bars_data``.
    then, now : what the two are called.
    """
    source = ColumnDataSource(bars_data(steps)["bars"])
    labels = [QUANTITIES[name].label for name in IN_GRAMS]
    fig = plain_figure(
        title="The piano's own step from key to key",
        height=290,
        x_range=FactorRange(*labels),
        y_range=Range1d(0.0, bars_limit(steps)),
        y_axis_label="Step (g)",
        tools="save",
    )
    fig.xgrid.grid_line_color = None
    fig.xaxis.major_label_text_font_size = "14px"
    bars = [
        fig.vbar(dodge("label", place, range=fig.x_range), 0.36, name, source=source, color=color,
                 hatch_pattern=pattern, hatch_color="white", hatch_alpha=0.55,
                 legend_label=called)
        for name, called, place, color, pattern in (
            ("then", then, -0.19, PALE_INK, "/"), ("now", now, 0.19, NATURAL, " "))
    ]  # fmt: skip
    legend_above(fig)
    tips = [("", "@label"), (then, "@then{0.00} g"), (now, "@now{0.00} g")]
    fig.add_tools(HoverTool(renderers=bars, tooltips=tips))
    return Chart(fig, {"bars": source})


def history_data(history: pd.DataFrame, occasions: Sequence[str]) -> dict[str, dict[str, Any]]:
    """Return the data of ``history_chart``: one source a quantity.

    Parameters
    ----------
    history : ``quantity, occasion, real``; see ``evenness.compare_evenness``.
    occasions : from the first to the last.
    """
    data: dict[str, dict[str, Any]] = {}
    for name in IN_GRAMS:
        own = history[history["quantity"] == name].set_index("occasion")["real"]
        known = own.reindex(list(occasions)).dropna()
        data[name] = {
            "occasion": known.index.tolist(),
            "y": known.tolist(),
            "label": [QUANTITIES[name].label] * len(known),
        }
    return data


MOST_LEVEL = 4
"""With more occasions than this their names stand aslant, so that none covers another."""


def _name_occasions(fig: Any, count: int) -> None:
    fig.xaxis.major_label_text_font_size = "14px"
    if count > MOST_LEVEL:
        fig.xaxis.major_label_orientation = 0.5
        fig.height += 70


def history_chart(history: pd.DataFrame, occasions: Sequence[str]) -> Chart:
    """Draw the piano's own step on every occasion, a line for each quantity in grams."""
    data = history_data(history, occasions)
    sources = {name: ColumnDataSource(columns) for name, columns in data.items()}
    most = max([value for columns in data.values() for value in columns["y"]], default=1.0)
    fig = plain_figure(
        title="Evenness over the years: the piano's own step from key to key",
        height=300,
        x_range=FactorRange(*occasions),
        y_range=Range1d(0.0, 1.15 * max(most, 0.1)),
        y_axis_label="Step (g)",
        tools="save",
    )
    _name_occasions(fig, len(occasions))
    dots = []
    for place, (name, source) in enumerate(sources.items()):
        color, label = _COLORS[place], QUANTITIES[name].label
        fig.line("occasion", "y", source=source, color=color, line_width=2.2,
                 line_dash=_DASHES[place], legend_label=label)  # fmt: skip
        dots.append(fig.scatter("occasion", "y", source=source, color=color, size=10,
                                marker=_MARKERS[place], legend_label=label))  # fmt: skip
    legend_above(fig)
    tips = [("", "@label"), ("", "@occasion"), ("Step", "@y{0.00} g")]
    fig.add_tools(HoverTool(renderers=dots, tooltips=tips))
    return Chart(fig, sources)


def friction_years_data(friction: pd.DataFrame) -> dict[str, dict[str, Any]]:
    """Return the data of ``friction_years_chart``.

    Parameters
    ----------
    friction : indexed by occasion: ``low, quarter, middle, upper, high``, the friction below
        which no key, a quarter, half, three quarters and all of the keys lie [g].
    """
    return {"boxes": {"occasion": friction.index.tolist(),
                      **{str(name): friction[name].tolist() for name in friction}}}  # fmt: skip


def friction_years_chart(friction: pd.DataFrame) -> Chart:
    """Draw the friction of all keys on every occasion: a box holds the middle half of them."""
    source = ColumnDataSource(friction_years_data(friction)["boxes"])
    usual = QUANTITIES["friction_g"]
    top = max([*friction["high"].dropna().tolist(), float(usual.usual_high or 1.0)])
    fig = plain_figure(
        title="Friction of all keys over the years",
        height=270,
        x_range=FactorRange(*friction.index.tolist()),
        y_range=Range1d(0.0, 1.1 * top),
        y_axis_label=usual.axis_label,
        tools="save",
    )
    _name_occasions(fig, len(friction))
    fig.xgrid.grid_line_color = None
    fig.segment("occasion", "low", "occasion", "high", source=source, color=PALE_INK, line_width=2)
    box = fig.vbar(
        "occasion",
        0.3,
        "upper",
        "quarter",
        source=source,
        fill_color=NATURAL,
        fill_alpha=0.35,
        line_color=NATURAL,
        legend_label="middle half of the keys",
    )
    fig.scatter("occasion", "middle", source=source, marker="dash", size=40, line_width=4,
                color=SHARP, legend_label="middle key")  # fmt: skip
    legend_above(fig)
    tips = [("", "@occasion"), ("Least", "@low{0.0} g"), ("Middle", "@middle{0.0} g"),
            ("Most", "@high{0.0} g")]  # fmt: skip
    fig.add_tools(HoverTool(renderers=[box], tooltips=tips))
    return Chart(fig, {"boxes": source})
