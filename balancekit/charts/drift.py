"""Drift over time: what it is taken to be, and the readings of keys that were read again."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from bokeh.models import ColumnDataSource, HoverTool

from balancekit.calculation.words import moment_in_words
from balancekit.charts.look import NATURAL, PALE_INK, SMALL_FONT, Chart, draw_course, plain_figure

_PAUSE_SHOWN, _LEAST_SHOWN_H = 0.08, 0.02
# Our own choices: how wide a pause is drawn, as a part of the time weighed, and the least of it.

_EMPTY = pd.DataFrame(
    {
        name: pd.Series(dtype=float)
        for name in ("key", "read_at", "hours", "session", "drift", "drift_u", "off")
    }
)


def drift_data(course: pd.DataFrame) -> dict[str, dict[str, Any]]:
    """Return the data of ``drift_chart``, by source; ``course`` is that of ``drift_course``.

    Pauses between sessions are cut short, and nothing is drawn across them: drift begins anew.
    """
    sessions = [part for _, part in course.groupby("session")]
    lasted = sum(_lasted(part) for part in sessions)
    pause = max(_PAUSE_SHOWN * lasted, _LEAST_SHOWN_H)
    parts: list[pd.DataFrame] = []
    middles, told, at, ended = [], [], 0.0, 0.0
    for part in sessions:
        begins = float(part["hours"].iloc[0])
        if parts:
            middles.append(at - pause / 2)
            told.append(_later(begins - ended))
        parts.append(part.assign(x=part["hours"] - begins + at))
        at, ended = at + _lasted(part) + pause, float(part["hours"].iloc[-1])
    drawn = pd.concat(parts) if parts else course.assign(x=course["hours"])
    again = drawn[drawn["off"].notna()]
    return {
        "line": _apart(parts),
        "again": {
            "x": again["x"].to_numpy(dtype=float),
            "y": again["off"].to_numpy(dtype=float),
            "of_key": again["key"].to_numpy(dtype=int),
            "when": [moment_in_words(when) for when in again["read_at"]],
        },
        "pauses": {"x": middles, "y": [0.0] * len(middles), "text": told},
    }


def _lasted(part: pd.DataFrame) -> float:
    return float(part["hours"].iloc[-1] - part["hours"].iloc[0])


def _later(hours: float) -> str:
    """Say how long a pause was.

    >>> _later(21.0), _later(960.4)
    ('21 h later', '40 days later')
    """
    return f"{hours:.0f} h later" if hours < 48 else f"{hours / 24:.0f} days later"


def _apart(parts: list[pd.DataFrame]) -> dict[str, Any]:
    """Return the line and its band, which closes to nothing at both ends of a session."""
    columns: dict[str, list[float]] = {name: [] for name in ("x", "y", "lower", "upper")}
    for part in parts:
        x, y, u = (part[name].to_numpy(dtype=float) for name in ("x", "drift", "drift_u"))
        columns["x"] += [x[0], *x, x[-1]]
        columns["y"] += [np.nan, *y, np.nan]
        columns["lower"] += [0.0, *(y - 2 * u), 0.0]
        columns["upper"] += [0.0, *(y + 2 * u), 0.0]
    return {name: np.array(values) for name, values in columns.items()}


def drift_chart() -> Chart:
    """Draw the drift with its band, and how far each repeated reading is from its key."""
    sources = {name: ColumnDataSource(data) for name, data in drift_data(_EMPTY).items()}
    fig = plain_figure(
        height=260, x_axis_label="Time weighed, pauses cut short (h)", y_axis_label="Drift (g)",
        title="Drift over time",
    )  # fmt: skip
    draw_course(fig, sources["line"])
    dots = fig.scatter("x", "y", source=sources["again"], size=9, color=NATURAL, line_color="white")
    fig.text(
        "x", "y", text="text", source=sources["pauses"], angle=np.pi / 2, text_align="center",
        text_baseline="middle", text_color=PALE_INK, text_font_size=SMALL_FONT,
    )  # fmt: skip
    tips = [("Key", "@of_key"), ("When", "@when"), ("Off its key's mean", "@y{+0.0} g")]
    fig.add_tools(HoverTool(renderers=[dots], tooltips=tips))
    return Chart(fig, sources)
