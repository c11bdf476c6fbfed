"""Where groups of keys lie on the keyboard: a bar from the first key to the last of each."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from bokeh.models import ColumnDataSource, FactorRange, HoverTool, LabelSet, Range1d

from balancekit.calculation.believed.name_groups import Group
from balancekit.calculation.quantities import QUANTITIES
from balancekit.calculation.uncertainty import known_decimals
from balancekit.calculation.words import run_in_words
from balancekit.charts.look import (
    INK,
    NATURAL,
    SHARP,
    SMALL_FONT,
    Chart,
    key_ticks,
    plain_figure,
)

_ROW, _AROUND = 44, 120
# Pixels: height of one quantity, and of title and axis.


def shift_words(quantity: str, shift: float, shift_u: float) -> str:
    """Return a shift with the band that holds 95 of 100; "" where it is not known.

    >>> shift_words("key_ratio", -0.023, 0.0015), shift_words("balance_weight_g", float("nan"), 0.1)
    ('−0.0230 ± 0.0030', '')
    """
    if shift != shift:
        return ""
    known = QUANTITIES[quantity]
    digits = known.decimals
    if not known.unit and shift_u > 0:
        digits = known_decimals(2 * shift_u)
    unit = f" {known.unit}" if known.unit else ""
    shift = round(shift, digits) + 0.0  # no "-0.0"
    return f"{shift:+.{digits}f} ± {2 * shift_u:.{digits}f}{unit}".replace("-", "\u2212")


def groups_data(groups: Sequence[Group]) -> dict[str, dict[str, Any]]:
    """Return the data of ``groups_chart``.

    Parameters
    ----------
    groups : from the left; see ``name_groups``.
    """
    return {
        "bars": {
            "key": [group.first_key for group in groups],
            "left": [group.first_key - 0.5 for group in groups],
            "right": [group.last_key + 0.5 for group in groups],
            "middle": [(group.first_key + group.last_key) / 2 for group in groups],
            "quantity": [QUANTITIES[group.quantity].label for group in groups],
            "color": [NATURAL if group.shift > 0 else SHARP for group in groups],
            "pattern": [" " if group.shift > 0 else "/" for group in groups],
            "of": [run_in_words(g.first_key, g.last_key, g.members) for g in groups],
            "text": [shift_words(g.quantity, g.shift, g.shift_u) for g in groups],
        }
    }


def groups_chart(groups: Sequence[Group], key_count: int) -> Chart:
    """Draw each group as a bar over its keys, a row for each quantity; hatched is lower.

    Parameters
    ----------
    groups : from the left; at least one.
    key_count : number of keys.
    """
    source = ColumnDataSource(groups_data(groups)["bars"])
    rows = list(dict.fromkeys(reversed(source.data["quantity"])))
    fig = plain_figure(
        title="Keys that are off together",
        height=_AROUND + _ROW * len(rows),
        x_range=Range1d(0.5, key_count + 0.5, bounds=(0.5, key_count + 0.5)),
        y_range=FactorRange(*rows),
        x_axis_label="Key",
        tools="tap,save",
    )
    fig.ygrid.grid_line_color = None
    fig.xaxis.ticker = key_ticks(key_count)
    fig.yaxis.major_label_text_font_size = SMALL_FONT
    bars = fig.hbar(
        "quantity", 0.62, "right", "left", source=source, color="color", fill_alpha=0.55,
        hatch_pattern="pattern", hatch_color="white", hatch_alpha=0.7,
    )  # fmt: skip
    fig.add_layout(
        LabelSet(x="middle", y="quantity", text="text", source=source, text_align="center",
                 text_baseline="middle", text_font_size=SMALL_FONT, text_color=INK)
    )  # fmt: skip
    tips = [("Where", "@of"), ("", "@quantity"), ("Shifted by", "@text")]
    fig.add_tools(HoverTool(renderers=[bars], tooltips=tips))
    return Chart(fig, {"bars": source})
