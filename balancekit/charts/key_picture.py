"""Pictures of the keys to scale: one key from the side, and the whole keyboard from above.

A plug that stays is plain and dark. One that comes out is hollow and crossed. One that goes in
is blue, hatched, and carries a plus. So each has a shape, a pattern and a colour.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, TypeAlias

import numpy as np
import pandas as pd
from bokeh.models import BoxAnnotation, ColumnDataSource, CustomJS, HoverTool, Range1d
from bokeh.plotting import figure

from balancekit.calculation.leads.key_stick import CAPSTAN_FREE_MM, Zone, back_end_mm, front_end_mm
from balancekit.calculation.leads.layout import KEEP, PLUG_ACTIONS, PUT_IN, TAKE_OUT
from balancekit.charts.look import (
    DOUBT,
    INK,
    LEFT_BORDER,
    PALE_INK,
    RIGHT_BORDER,
    Chart,
    keys_figure,
    legend_above,
    plain_figure,
)
from balancekit.charts.marks import OUTSIDE

Stick: TypeAlias = Mapping[Any, Any] | pd.Series
"""One row of the table of key sticks."""

KEPT, OUT = PLUG_ACTIONS[KEEP], PLUG_ACTIONS[TAKE_OUT]
WOOD, WOOD_EDGE = "#f6ead3", "#a58a5b"
BLOCKED = "#cfc4ae"
PLUG_LOOK: dict[str, dict[str, Any]] = {
    KEPT: {"fill_color": "#4a5763", "line_color": INK, "line_width": 1.5},
    OUT: {"fill_color": "white", "line_color": "#d55e00", "line_width": 2, "line_dash": "dashed"},
    PUT_IN: {"fill_color": "#56b4e9", "line_color": "#0072b2", "line_width": 2.5,
             "hatch_pattern": "right_diagonal_line", "hatch_color": "#0072b2", "hatch_alpha": 0.6,
             "hatch_scale": 6, "hatch_weight": 1},
}  # fmt: skip
_SIGN = {OUT: ("x", "#d55e00"), PUT_IN: ("cross", "#00304d")}

OCTAVE_MM = 164.8
# From memory: seven naturals of 23.5 mm and their gaps; twelve keys share it.
PITCH_MM = OCTAVE_MM / 12

KEEP_SCALE = """
const fig = figure, wide = fig.inner_width, tall = fig.inner_height;
if (!wide || !tall) return;
const mm = across_mm / wide;
if (adapt) {
  const wanted = Math.round(needed_mm / mm) + (fig.outer_height - tall);
  if (Math.abs(wanted - fig.height) > 2) { fig.height = wanted; return; }
}
const half = mm * tall / 2, side = flip ? -1 : 1;
fig.y_range.setv({start: middle_mm - side * half, end: middle_mm + side * half});
"""


def _keep_scale(fig: figure, across_mm: float, middle_mm: float, *, needed_mm: float = 0.0,
                flip: bool = False) -> None:  # fmt: skip
    """Let the page keep a millimetre as long upwards as across, whatever the width."""
    call = CustomJS(
        args={"figure": fig, "across_mm": across_mm, "middle_mm": middle_mm,
              "needed_mm": needed_mm, "adapt": needed_mm > 0, "flip": flip},
        code=KEEP_SCALE,
    )  # fmt: skip
    fig.js_on_change("inner_width", call)
    fig.js_on_change("inner_height", call)


# One key from the side


def named_zones(stick: Stick, zones: Sequence[Zone] = ()) -> list[tuple[float, float, str]]:
    """Return the places of one key where no hole may be: from, to [mm from the pin], and why."""
    front = float(stick["arm_mm"] + stick["front_edge_mm"])
    back = front - float(stick["stick_length_mm"])
    pin, capstan = float(stick["balance_free_mm"]), float(stick["capstan_mm"])
    places = [
        (front - float(stick["front_free_mm"]), front, "front mortise"),
        (-pin, pin, "balance pin"),
        (capstan - CAPSTAN_FREE_MM, capstan + CAPSTAN_FREE_MM, "capstan"),
        (back, back + float(stick["back_free_mm"]), "back end"),
    ]
    own = [zone for zone in zones if zone.colour in ("", stick["colour"])]
    return places + [(zone.from_mm, zone.to_mm, zone.note or "no hole") for zone in own]


def side_data(
    stick: Stick, plugs: pd.DataFrame, zones: Sequence[Zone] = ()
) -> dict[str, dict[str, Any]]:
    """Return the data of ``side_chart``, by source; x counts from the front edge [mm].

    Parameters
    ----------
    stick : one row of the table of key sticks.
    plugs : the rows of this key of a plan; see ``layout.Layout.plan``.
    zones : places without holes that the user gave.
    """
    front = float(stick["arm_mm"] + stick["front_edge_mm"])
    length, height = float(stick["stick_length_mm"]), float(stick["stick_height_mm"])
    blocked = [
        (max(front - to, 0.0), min(front - start, length), why)
        for start, to, why in named_zones(stick, zones)
        if front - start > 0 and front - to < length
    ]
    data: dict[str, dict[str, Any]] = {
        "stick": {"left": [0.0], "right": [length], "top": [height]},
        "zones": {
            "left": [each[0] for each in blocked],
            "right": [each[1] for each in blocked],
            "top": [height] * len(blocked),
            "middle": [(each[0] + each[1]) / 2 for each in blocked],
            "why": [each[2] for each in blocked],
        },
        "marks": {
            "x": [float(stick["front_edge_mm"]), front - float(stick["capstan_mm"]), front],
            "y": [height + 5.0, height + 4.0, -5.0],
            "marker": ["inverted_triangle", "square", "triangle"],
            "what": ["measuring point", "capstan", "balance pin"],
            "text_x": [0.0, front - float(stick["capstan_mm"]), front],
            "off": [-9.0, -9.0, 9.0],
            "base": ["bottom", "bottom", "top"],
            "align": ["left", "center", "center"],
        },
        "pin": {"x": [front], "top": [height]},
    }
    place = plugs["from_front_edge_mm"].to_numpy(dtype=float)
    columns = {
        "x": place,
        "y": np.full(len(plugs), height / 2),
        "radius": plugs["diameter_mm"].to_numpy(dtype=float) / 2,
        "plug": plugs["plug"].to_numpy(dtype=object),
        "mass": plugs["mass_g"].to_numpy(dtype=float),
        "pin": plugs["distance_mm"].to_numpy(dtype=float),
        "hole": plugs["hole"].to_numpy(dtype=object),
        "text": np.array([f"{each:.0f}" for each in place], dtype=object),
        "text_y": np.full(len(plugs), height + 1.0),
    }
    return data | _by_action(columns, plugs["action"])


def _by_action(columns: dict[str, Any], actions: pd.Series) -> dict[str, dict[str, Any]]:
    """Part the columns of plugs by what is done to them."""
    done = actions.to_numpy(dtype=object)
    return {
        action: {name: column[done == action] for name, column in columns.items()}
        for action in PLUG_LOOK
    }


def side_chart(
    stick: Stick,
    plugs: pd.DataFrame,
    zones: Sequence[Zone] = (),
    *,
    title: str,
    longest_mm: float,
) -> Chart:
    """Draw one key from the side, to scale, its front at the left and a ruler under it.

    Parameters
    ----------
    stick, plugs, zones : see ``side_data``.
    title : of the figure.
    longest_mm : length of the longest key stick, so that the scale stays the same [mm].
    """
    sources = {n: ColumnDataSource(data) for n, data in side_data(stick, plugs, zones).items()}
    edge = 6.0
    across = longest_mm + 2 * edge
    fig = plain_figure(
        title=title, height=240, tools="save",
        x_range=Range1d(-edge, longest_mm + edge), y_range=Range1d(-30.0, 50.0),
        x_axis_label="Distance from the front edge (mm)", min_border_left=LEFT_BORDER,
        min_border_right=RIGHT_BORDER,
    )  # fmt: skip
    fig.toolbar_location = None
    fig.yaxis.visible = False
    fig.grid.visible = False
    fig.xaxis.ticker.desired_num_ticks = 12
    middle = float(stick["stick_height_mm"]) / 2
    _keep_scale(fig, across, middle)
    fig.quad("left", "right", "top", 0.0, source=sources["stick"], fill_color=WOOD,
             line_color=WOOD_EDGE, line_width=2)  # fmt: skip
    fig.quad("left", "right", "top", 0.0, source=sources["zones"], fill_color=BLOCKED,
             fill_alpha=0.55, line_color=None, hatch_pattern="left_diagonal_line",
             hatch_color=PALE_INK, hatch_alpha=0.35, hatch_scale=8)  # fmt: skip
    fig.segment("x", -2.0, "x", "top", source=sources["pin"], line_color=INK, line_width=3)
    fig.scatter("x", "y", source=sources["marks"], marker="marker", size=12, color=INK)
    fig.text("text_x", "y", "what", source=sources["marks"], text_align="align", y_offset="off",
             text_baseline="base", text_font_size="13px", text_color=INK)  # fmt: skip
    rounds = []
    for action, look in PLUG_LOOK.items():
        rounds.append(
            fig.circle("x", "y", radius="radius", source=sources[action], **look)
        )  # fmt: skip
        if action in _SIGN:
            marker, color = _SIGN[action]
            fig.scatter("x", "y", source=sources[action], marker=marker, size=15, color=color,
                        line_width=2.5)  # fmt: skip
    fig.text("x", "text_y", "text", source=sources[PUT_IN], text_align="center",
             text_baseline="bottom", text_font_size="13px", text_color="#00304d",
             text_font_style="bold")  # fmt: skip
    _legend(fig, "circle")
    tips = [
        ("", "@plug, @mass{0.0} g"),
        ("From the front edge", "@x{0.0} mm"),
        ("From the balance pin", "@pin{0.0} mm"),
        ("Hole", "@hole"),
    ]
    fig.add_tools(HoverTool(renderers=rounds, tooltips=tips))
    return Chart(fig, sources)


def _legend(fig: figure, marker: str) -> None:
    """Explain the plugs above the picture, on one line, whether there are any or not."""
    for action, look in PLUG_LOOK.items():
        plain = look | {"line_dash": "solid"}
        fig.scatter([OUTSIDE], [0.0], marker=marker, size=15, legend_label=action, **plain)
        if action in _SIGN:
            sign, color = _SIGN[action]
            fig.scatter([OUTSIDE], [0.0], marker=sign, size=8, color=color, line_width=2,
                        legend_label=action)  # fmt: skip
    legend_above(fig)


# The whole keyboard from above


def plan_view_data(plan: pd.DataFrame, lengths_mm: dict[str, float]) -> dict[str, dict[str, Any]]:
    """Return the plugs of ``plan_view_chart``, by source.

    Parameters
    ----------
    plan : see ``layout.Layout.plan``.
    lengths_mm : length of each kind of plug by name; old plugs are drawn as usual ones.
    """
    names = plan["plug"].to_numpy(dtype=object)
    lengths = [lengths_mm.get(name, lengths_mm[""]) for name in names]
    columns = {
        "key": plan["key"].to_numpy(),
        "y": plan["distance_mm"].to_numpy(dtype=float),
        "along": plan["diameter_mm"].to_numpy(dtype=float),
        "across": np.array(lengths, dtype=float) / PITCH_MM,
        "plug": names,
        "mass": plan["mass_g"].to_numpy(dtype=float),
        "ruler": plan["from_front_edge_mm"].to_numpy(dtype=float),
    }
    return _by_action(columns, plan["action"])


def missed_data(keys: pd.DataFrame, sticks: pd.DataFrame) -> dict[str, Any]:
    """Return where a key misses its front weight: a mark before its front edge.

    Parameters
    ----------
    keys : see ``layout.Layout.keys``.
    sticks : table of key sticks.
    """
    missed = keys.index[~keys["within"]]
    return {"key": missed.to_numpy(), "y": front_end_mm(sticks)[missed].to_numpy() + 9.0}


def _sticks_data(sticks: pd.DataFrame, zones: Sequence[Zone]) -> dict[str, dict[str, Any]]:
    wide = sticks["stick_width_mm"].to_numpy(dtype=float) / PITCH_MM / 2
    keys = sticks.index.to_numpy(dtype=float)
    blocked = [
        (key, start, to, half, why)
        for (key, stick), half in zip(sticks.iterrows(), wide, strict=True)
        for start, to, why in named_zones(stick, zones)
    ]
    return {
        "sticks": {
            "key": sticks.index.to_numpy(),
            "left": keys - wide,
            "right": keys + wide,
            "top": front_end_mm(sticks).to_numpy(dtype=float),
            "bottom": back_end_mm(sticks).to_numpy(dtype=float),
            "color": np.where(sticks["colour"] == "natural", WOOD, "#e4d3b0"),
        },
        "zones": {
            "left": [each[0] - each[3] for each in blocked],
            "right": [each[0] + each[3] for each in blocked],
            "bottom": [each[1] for each in blocked],
            "top": [each[2] for each in blocked],
        },
    }


def plan_view_chart(
    sticks: pd.DataFrame,
    layout_keys: pd.DataFrame,
    plan: pd.DataFrame,
    lengths_mm: dict[str, float],
    zones: Sequence[Zone] = (),
) -> Chart:
    """Draw the keyboard from above with every plug to scale.

    Parameters
    ----------
    sticks : table of key sticks.
    layout_keys, plan : of a layout; see ``layout.Layout``.
    lengths_mm : see ``plan_view_data``.
    zones : places without holes that the user gave.
    """
    data = _sticks_data(sticks, zones) | plan_view_data(plan, lengths_mm)
    data["missed"] = missed_data(layout_keys, sticks)
    sources = {name: ColumnDataSource(columns) for name, columns in data.items()}
    count = len(sticks)
    fig = keys_figure(
        count,
        "From the balance pin (mm)",
        title="All keys from above, to scale; front edges at the bottom",
        height=520,
    )
    low, high = float(back_end_mm(sticks).min()), float(front_end_mm(sticks).max())
    margin = 18.0
    fig.y_range.update(start=high + margin, end=low - margin)
    fig.ygrid.visible = False
    fig.tools = [tool for tool in fig.tools if type(tool).__name__ in ("TapTool", "SaveTool")]
    _keep_scale(fig, count * PITCH_MM, (low + high) / 2, needed_mm=high - low + 2 * margin,
                flip=True)  # fmt: skip
    fig.quad("left", "right", "top", "bottom", source=sources["sticks"], fill_color="color",
             line_color=WOOD_EDGE, line_width=0.5, nonselection_alpha=1.0)  # fmt: skip
    fig.quad("left", "right", "top", "bottom", source=sources["zones"], fill_color=BLOCKED,
             fill_alpha=0.55, line_color=None)  # fmt: skip
    fig.add_layout(BoxAnnotation(top=1.0, bottom=-1.0, fill_color=INK, fill_alpha=0.7))
    plugs = []
    for action, look in PLUG_LOOK.items():
        thin = look | {"line_width": 1, "hatch_weight": 1, "hatch_scale": 4}
        plugs.append(
            fig.rect("key", "y", "across", "along", source=sources[action],
                     nonselection_alpha=1.0, **thin)
        )  # fmt: skip
        if action in _SIGN:
            marker, color = _SIGN[action]
            fig.scatter("key", "y", source=sources[action], marker=marker, size=6, color=color,
                        line_width=1.5, nonselection_alpha=1.0)  # fmt: skip
    fig.scatter("key", "y", source=sources["missed"], marker="triangle", size=12, color=DOUBT)
    fig.scatter([OUTSIDE], [0.0], marker="triangle", size=12, color=DOUBT,
                legend_label="misses its front weight")  # fmt: skip
    _legend(fig, "square")
    tips = [
        ("Key", "@key"),
        ("", "@plug, @mass{0.0} g"),
        ("From the front edge", "@ruler{0.0} mm"),
        ("From the balance pin", "@y{0.0} mm"),
    ]
    fig.add_tools(HoverTool(renderers=plugs, tooltips=tips))
    return Chart(fig, sources)
