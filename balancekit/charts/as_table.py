"""The numbers of a chart as a table, for who cannot see it, or wants to copy them.

A table says what the pointer would be told at each point, row by row, and beside it the
curves that have a name in the legend.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from bokeh.models import GlyphRenderer, HoverTool, LayoutDOM, Line, MultiLine, Plot

_FIELD = re.compile(r"@(?:\{([^}]*)\}|(\w+))(?:\{([^}]*)\})?")
_KEY = "key"
_NAMELESS, _MARK = "What", "Mark"
"""Headings of what needs none beside the pointer: a remark, and the mark's name in the legend."""


@dataclass(frozen=True)
class ChartNumbers:
    """What one figure shows.

    Attributes
    ----------
    title : of the figure.
    headings, rows : of its table, all of it text.
    """

    title: str
    headings: Sequence[str]
    rows: Sequence[Sequence[str]]


def chart_numbers(model: LayoutDOM) -> list[ChartNumbers]:
    """Return the tables of all figures of a chart, from the top; none for an empty figure.

    Parameters
    ----------
    model : a figure, or figures in rows and columns.
    """
    tables = [_table_of(fig) for fig in _figures(model)]
    return [table for table in tables if table.rows]


def _figures(model: Any) -> Iterator[Plot]:
    if isinstance(model, Plot):
        yield model
    for child in getattr(model, "children", ()):
        yield from _figures(child)


def _table_of(fig: Plot) -> ChartNumbers:
    names = _legend(fig)
    rows, keys = _pointed_all(fig, names)
    curves = _curves(fig, names)
    if rows and len(keys) == len(rows):
        order = sorted(range(len(rows)), key=lambda place: keys[place])
        rows = [rows[place] | _at(curves, keys[place]) for place in order]
    elif not rows:
        across = str(fig.xaxis.axis_label or "") if fig.xaxis else ""
        places = sorted({x for curve in curves.values() for x in curve})
        rows = [{across: _number(x)} | _at(curves, x) for x in places]
    headings = list(dict.fromkeys(name for row in rows for name in row))
    filled = [name for name in headings if any(row.get(name) for row in rows)]
    return ChartNumbers(
        str(getattr(fig.title, "text", "") or ""),
        [name[:1].upper() + name[1:] or _NAMELESS for name in filled],
        [[row.get(name, "") for name in filled] for row in rows],
    )


def _legend(fig: Plot) -> dict[str, str]:
    """Return the name in the legend, or the column that holds it, by the renderer's id."""
    return {
        renderer.id: str(getattr(item.label, "value", None) or getattr(item.label, "field", ""))
        for legend in fig.legend
        for item in legend.items
        for renderer in item.renderers
    }


def _pointed_all(fig: Plot, names: Mapping[str, str]) -> tuple[list[dict[str, str]], list[Any]]:
    """Return what the pointer is told at every point of a figure, and the keys of the points."""
    parts: dict[str, tuple[str, list[dict[str, str]], list[Any]]] = {}
    for tool in fig.toolbar.tools:
        renderers = getattr(tool, "renderers", None)
        if isinstance(tool, HoverTool) and isinstance(renderers, list):
            for renderer in renderers:
                source = renderer.data_source
                told = _pointed(tool.tooltips, source.data)
                if source.id not in parts:
                    keys = list(source.data.get(_KEY, ()))
                    parts[source.id] = (names.get(renderer.id, ""), told, keys)
    every = [key for _, _, keys in parts.values() for key in keys]
    repeated = len(parts) > 1 and len(set(every)) < len(every)
    rows = [
        row | ({_MARK: name} if repeated else {})
        for name, told, _ in parts.values()
        for row in told
    ]
    return rows, every


def _at(curves: Mapping[str, Mapping[Any, float]], x: Any) -> dict[str, str]:
    return {name: _number(curve.get(x)) for name, curve in curves.items()}


def _pointed(tips: Any, data: Mapping[str, Any]) -> list[dict[str, str]]:
    """Return what the pointer is told at each point of a source."""
    count = min((len(column) for column in data.values()), default=0)
    pairs = [("", tips)] if isinstance(tips, str) else list(tips)
    pairs = [("", f"{a}: {b}") if "@" in a else (a, b) for a, b in pairs]
    rows = []
    for place in range(count):
        row: dict[str, str] = {}
        for label, template in pairs:
            told = _filled(template, data, place)
            row[label] = ", ".join(filter(None, (row.get(label, ""), told)))
        rows.append(row)
    return rows


def _filled(template: str, data: Mapping[str, Any], place: int) -> str:
    """Fill the values of one point into the words of a hover; nothing where none is known."""
    values = []

    def put(found: re.Match[str]) -> str:
        column = data.get(found[1] or found[2])
        values.append("" if column is None else _shown(column[place], found[3]))
        return values[-1]

    text = _FIELD.sub(put, template)
    return " ".join(text.split()) if any(values) else ""


def _shown(value: Any, form: str | None) -> str:
    if value is None or value != value:
        return ""
    if isinstance(value, str):
        return value
    if form is None:
        return f"{value:g}"
    places = len(form.partition(".")[2])
    return f"{value:{'+' if form.startswith('+') else ''}.{places}f}".replace("-", "−")


def _curves(fig: Plot, names: Mapping[str, str]) -> dict[str, dict[Any, float]]:
    """Return the lines of a figure by their name in the legend, else by the axis beside them."""
    axis = str(fig.yaxis.axis_label or "") if fig.yaxis else ""
    curves: dict[str, dict[Any, float]] = {}
    for renderer in fig.renderers:
        if not isinstance(renderer, GlyphRenderer):
            continue
        glyph, data = renderer.glyph, renderer.data_source.data
        name = names.get(renderer.id)
        if isinstance(glyph, MultiLine) and name in data:
            for label, xs, ys in zip(data[name], data[glyph.xs], data[glyph.ys], strict=True):
                curves[str(label)] = _points(xs, ys)
        elif isinstance(glyph, Line) and (name or not names):
            points = _points(data[glyph.x], data[glyph.y])
            curves.setdefault(name or axis, {}).update(points)
    return {name: points for name, points in curves.items() if points}


def _points(xs: Any, ys: Any) -> dict[Any, float]:
    pairs = zip(np.asarray(xs).tolist(), np.asarray(ys, dtype=float).tolist(), strict=True)
    return {x: y for x, y in pairs if y == y}


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.4g}".replace("-", "−")
