"""The browser parts of the panels: a keyboard, two entry views and a place to drop a file.

Each is a thin anywidget: traits go in, traits and messages come out.
"""

from __future__ import annotations

from typing import Any

import anywidget
import traitlets

from balancekit.charts.look import LEFT_BORDER, RIGHT_BORDER
from balancekit.panels.frame import asset


class Keyboard(anywidget.AnyWidget):
    """A drawn keyboard; click or arrows choose the key in hand.

    Traits
    ------
    sticks : ``{"note_name", "colour"}`` of each key, from the left.
    key : the key in hand.
    marks : a sentence by key number (as text), for the keys that carry a mark.
    left, right : borders in pixels, the same as those of the chart above.
    """

    _esm = asset("keyboard.js")
    _css = asset("keyboard.css")
    sticks = traitlets.List(traitlets.Dict()).tag(sync=True)
    key = traitlets.Int(1).tag(sync=True)
    marks = traitlets.Dict().tag(sync=True)
    left = traitlets.Int(LEFT_BORDER).tag(sync=True)
    right = traitlets.Int(RIGHT_BORDER).tag(sync=True)


class _Entry(anywidget.AnyWidget):
    """What the two entry views share."""

    columns = traitlets.List(traitlets.Dict()).tag(sync=True)
    rows = traitlets.List(traitlets.Dict()).tag(sync=True)
    marks = traitlets.Dict().tag(sync=True)
    key = traitlets.Int(1).tag(sync=True)


class Grid(_Entry):
    """The table for entry at the bench.

    Traits
    ------
    columns : ``name, label, heading, unit, kind, minimum, maximum, meaning`` of each column.
    rows : ``id, name, heads, values`` of each row, and ``key, note_name, colour`` where it is
        a key's.
    marks : why a cell is doubted, by ``"row id:column name"``.
    key : the key in hand.
    name : what the table is called, for a screen reader.
    heads : headings of the columns that name a row.

    Messages to Python: ``{"kind": "cells", "cells": [{"row", "column", "value"}]}``,
    ``{"kind": "keep", "key", "column"}``, ``{"kind": "undo"}``, ``{"kind": "redo"}``.
    """

    _esm = asset("cells.js", "grid.js")
    _css = asset("grid.css")
    name = traitlets.Unicode("Readings").tag(sync=True)
    heads = traitlets.List(traitlets.Unicode(), ["Key", "Note"]).tag(sync=True)


class OneKey(_Entry):
    """One reading at a time in large digits.

    Traits beyond those of ``Grid``
    ------
    column : place of the column that is asked for.
    order : "key by key" or "weight by weight".
    expected : what the neighbours suggest, in words, or "".
    latest : the doubt about the reading taken last, or "".
    """

    _esm = asset("cells.js", "one_key.js")
    _css = asset("one_key.css")
    column = traitlets.Int(0).tag(sync=True)
    order = traitlets.Unicode("key by key").tag(sync=True)
    expected = traitlets.Unicode("").tag(sync=True)
    latest = traitlets.Unicode("").tag(sync=True)


class FileDrop(anywidget.AnyWidget):
    """A button and a place to drop a file.

    Traits
    ------
    text : what the button says.
    most_bytes : largest file that is taken.
    low : a small place, for a table's own file.
    several : whether more than one file may come at once.

    ``on_file(name, data)`` is called with each file.
    """

    _esm = asset("file_drop.js")
    _css = asset("file_drop.css")
    text = traitlets.Unicode("").tag(sync=True)
    most_bytes = traitlets.Int(20_000_000).tag(sync=True)
    low = traitlets.Bool(False).tag(sync=True)
    several = traitlets.Bool(False).tag(sync=True)

    def __init__(self, on_file: Any, **traits: Any) -> None:
        super().__init__(**traits)
        self._on_file = on_file
        self.on_msg(self._received)

    def _received(self, _: Any, content: dict[str, Any], buffers: list[Any]) -> None:
        if content.get("kind") == "file" and buffers:
            self._on_file(str(content.get("name", "")), bytes(buffers[0]))
            self.send({"kind": "taken"})
