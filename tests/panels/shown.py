"""What a panel shows in words."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

import ipywidgets as widgets

from balancekit import panels
from balancekit.charts.as_table import chart_numbers
from balancekit.instrument.bench import Bench
from balancekit.panels.chart_view import ChartView
from balancekit.panels.widgets import NoteField

_NO_WORDS = {"layout", "style", "children", "tooltip"}
NO_NUMBER = re.compile(r"(?<![A-Za-z])(nan|NaN|inf|Infinity|None(?! of)|NaT|<NA>|null|undefined)\b")
ONE_OF_MANY = re.compile(r"\b1 (keys|rows|readings|plugs|holes|hammers|springs|visits)\b")


def text_of(widget: object) -> str:
    """All words that a panel shows, without tags and previews."""
    own = str(getattr(widget, "value", "")) if type(widget).__name__ == "HTML" else ""
    own = re.sub("<[^>]*>", " ", re.sub("<iframe.*</iframe>", " ", own, flags=re.S))
    return " ".join([own, *(text_of(child) for child in getattr(widget, "children", ()))])


def look_at(bench: Bench, names: Iterable[str]) -> None:
    """Open panels: all say something, none shows a NaN, and the instrument stays as it was."""
    before = bench.instrument
    for name in names:
        text = text_of(getattr(panels, name)(bench)).lower()
        assert text.strip() and "nan" not in text.split(), f"{name}: {text}"
    assert bench.instrument is before


def type_note(field: NoteField, row: str, text: str, place: str = "") -> dict[int, str]:
    """Type a note for what is, or was, in hand; return why it was refused."""
    cell = {"row": row, "column": "note", "value": text}
    assert field.take is not None
    return dict(field.take([{"place": place or field.place, "cells": [cell]}]))


def inside(widget: widgets.Widget) -> Iterator[widgets.Widget]:
    """A widget and all that it holds."""
    yield widget
    for child in getattr(widget, "children", ()):
        yield from inside(child)


def all_words(panel: widgets.Widget) -> Iterator[str]:
    """Every text that a panel and its widgets send to the page, charts as their tables."""
    for widget in inside(panel):
        if isinstance(widget, ChartView):
            yield from _chart_words(widget)
        for name in widget.keys:
            if name not in _NO_WORDS and not name.startswith("_"):
                for text in _texts(getattr(widget, name)):
                    yield re.sub("<[^>]*>", " ", text)


def _chart_words(view: ChartView) -> Iterator[str]:
    for root in view._document.roots:
        for table in chart_numbers(root):
            yield " | ".join([table.title, *table.headings, *(" | ".join(r) for r in table.rows)])
        for model in root.references():
            yield from _texts([getattr(model, name, None) for name in ("text", "axis_label")])


def _texts(value: object) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        yield from _texts(list(value.values()))
    elif isinstance(value, list | tuple):
        for each in value:
            yield from _texts(each)


def misprints(texts: Iterable[str]) -> list[str]:
    """Return what no person would write: a number that is none, one thing named as many."""
    found = []
    for text in texts:
        for pattern in (NO_NUMBER, ONE_OF_MANY):
            found += [
                text[max(0, hit.start() - 60) : hit.end() + 30] for hit in pattern.finditer(text)
            ]
    return found


def ends_of(control: widgets.Widget) -> list[object]:
    """Return the values at both ends of a slider, or every choice of a list."""
    if isinstance(control, widgets.IntSlider | widgets.FloatSlider):
        return [control.min, control.max, control.value]
    if isinstance(control, widgets.Dropdown | widgets.ToggleButtons | widgets.RadioButtons):
        return [value for _, value in control._options_full]
    if isinstance(control, widgets.Checkbox):
        return [not control.value, control.value]
    return []
