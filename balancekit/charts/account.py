"""The balance of one key as two stacks of grams: what presses its front down, what lifts it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from bokeh.models import ColumnDataSource, Range1d

from balancekit.charts.look import LIFTS, PRESSES, Chart, plain_figure
from balancekit.charts.marks import lying_bars

PRESSING = "presses the front down"
LIFTING = "lifts the front"
_PATTERNS = (" ", "/", ".")


def account_data(row: Mapping[str, Any]) -> dict[str, dict[str, Any]]:
    """Return the two stacks of one key, in grams.

    Parameters
    ----------
    row : one row of the table of keys; a missing term is drawn as nothing and named so.
    """
    hammer = row["strike_weight_g"] * row["action_ratio"]
    wippen = row["wippen_weight_g"] * row["key_ratio"]
    pressing = (
        ("balance weight", row["balance_weight_g"], PRESSES[0]),
        ("front weight", row["front_weight_g"], PRESSES[1]),
        ("spring relief", row["spring_relief_g"], PRESSES[2]),
    )
    lifting = (
        ("hammer: strike weight × action ratio", hammer, LIFTS[0]),
        ("wippen: wippen weight × key ratio", wippen, LIFTS[1]),
    )
    bars: dict[str, list[Any]] = {
        name: [] for name in ("y", "left", "right", "color", "hatch", "text", "middle", "part")
    }
    for side, parts in ((PRESSING, pressing), (LIFTING, lifting)):
        left = 0.0
        for place, (part, grams, color) in enumerate(parts):
            known = grams == grams
            if known and abs(grams) < 0.05 and part == "spring relief":
                continue
            right = left + (float(grams) if known else 0.0)
            size = f"{grams:.1f} g".replace("-", "−") if known else "not known"
            bars["y"].append(side)
            bars["left"].append(left)
            bars["right"].append(right)
            bars["color"].append(color)
            bars["hatch"].append(_PATTERNS[place])
            bars["text"].append(f"{part.split(':')[0]}\n{size}")
            bars["middle"].append((left + right) / 2)
            bars["part"].append(f"{part}: {size}")
            left = right
    return {"bars": bars}


def account_chart(row: Mapping[str, Any]) -> Chart:
    """Draw the two stacks of one key; equal lengths are the balance equation.

    Parameters
    ----------
    row : one row of the table of keys.
    """
    source = ColumnDataSource(account_data(row)["bars"])
    fig = plain_figure(
        height=210,
        y_range=[LIFTING, PRESSING],
        x_range=Range1d(0.0, 90.0),
        x_axis_label="Grams at the measuring point",
        tools="",
        toolbar_location=None,
        min_border_right=18,
    )
    lying_bars(fig, source, 0.72)
    fig.yaxis.major_label_text_font_size = "14px"
    return Chart(fig, {"bars": source})
