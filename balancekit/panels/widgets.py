"""The browser parts of the panels: a keyboard, two entry views and a place to drop a file.

Each is a thin anywidget: traits go in, traits and messages come out.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import anywidget
import traitlets

from balancekit.calculation.problems import BalancekitError
from balancekit.charts.look import LEFT_BORDER, RIGHT_BORDER
from balancekit.panels.frame import asset
from balancekit.panels.places import typed_elsewhere


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


Entries = Sequence[Mapping[str, Any]]
"""What was typed, in order: ``place`` and one of ``cells, keep, take, undo, redo`` each."""


class TypedView(anywidget.AnyWidget):
    """What is typed is taken once, in order, and answered.

    The page numbers its messages, keeps what is not answered, and sends it again. A number that
    was taken before is answered and nothing more.

    Traits
    ------
    place : what the fields belong to; what was typed for another place is not taken.

    Attributes
    ----------
    take : called with what was typed; returns why an entry was refused, by its place in the list.
    """

    place = traitlets.Unicode("").tag(sync=True)

    def __init__(self, **traits: Any) -> None:
        self.take: Callable[[Entries], Mapping[int, str]] | None = None
        self._answers: dict[str, dict[str, Any]] = {}
        super().__init__(**traits)
        self.on_msg(self._received)

    def _received(self, _: Any, content: Mapping[str, Any], __: Any) -> None:
        if content.get("kind") == "entries":
            self._take(str(content["page"]), int(content["number"]), content["entries"])

    def _take(self, page: str, number: int, entries: Entries) -> None:
        answer = self._answers.get(page)
        if answer is None or number > answer["number"]:
            refused = self.take(entries) if self.take else {}
            answer = {
                "kind": "taken",
                "page": page,
                "number": number,
                "refused": {str(at): reason for at, reason in refused.items()},
            }
            self._answers[page] = answer
        self.send({**answer, "number": number})


class EntryView(TypedView):
    """What the two entry views share.

    Where the page stands counts before what the kernel says, until the kernel has heard of the
    last step.
    """

    columns = traitlets.List(traitlets.Dict()).tag(sync=True)
    rows = traitlets.List(traitlets.Dict()).tag(sync=True)
    marks = traitlets.Dict().tag(sync=True)
    fits = traitlets.Dict().tag(sync=True)
    unsaved = traitlets.List(traitlets.Unicode()).tag(sync=True)
    go = traitlets.Dict().tag(sync=True)
    key = traitlets.Int(1)
    column = traitlets.Int(0)

    def __init__(self, **traits: Any) -> None:
        self._heard = self._shown = 0
        super().__init__(**traits)
        self.observe(lambda _: self._tell(), ["key", "column"])
        self._tell()

    def _received(self, _: Any, content: Mapping[str, Any], __: Any) -> None:
        super()._received(_, content, __)
        if content.get("kind") == "at":
            self._heard = max(self._heard, int(content["number"]))
            with self.hold_trait_notifications():
                self.key, self.column = int(content["key"]), int(content["column"])
            self._tell()

    def show(self, key: int, column: int) -> None:
        """Put the cursor into a cell and the cell into sight, asked for again or not."""
        self._shown += 1
        with self.hold_trait_notifications():
            self.key, self.column = key, column
        self._tell(show=self._shown)

    def _tell(self, show: int = 0) -> None:
        self.go = {"key": self.key, "column": self.column, "heard": self._heard, "show": show}


class Grid(EntryView):
    """The table for entry at the bench.

    Traits
    ------
    columns : ``name, label, heading, unit, kind, minimum, maximum, meaning`` of each column.
    rows : ``id, name, heads, values`` of each row, and ``key, note_name, colour`` where it is
        a key's.
    marks : why a cell is doubted, by ``"row id:column name"``.
    fits : what can be done about it at once, in words, by the same.
    unsaved : cells that were taken but could not be saved, as ``"row id:column name"``.
    place : what the rows belong to; what was typed for another place is not taken.
    key : the key in hand.
    name : what the table is called, for a screen reader.
    heads : headings of the columns that name a row.

    Messages to Python: ``{"kind": "entries", "page", "number", "entries"}``, an entry having a
    ``place`` and ``"cells": [{"row", "column", "value"}]``, ``"keep": {"key", "column"}``,
    ``"take": "row id:column name"``,
    ``"undo"`` or ``"redo"``; and ``{"kind": "at", "number", "key", "column"}`` for each step.
    Answer: ``{"kind": "taken", "page", "number", "refused"}``.
    """

    _esm = asset("cells.js", "outbox.js", "grid.js")
    _css = asset("grid.css")
    name = traitlets.Unicode("Readings").tag(sync=True)
    heads = traitlets.List(traitlets.Unicode(), ["Key", "Note"]).tag(sync=True)


class OneKey(EntryView):
    """One reading at a time in large digits.

    Traits beyond those of ``Grid``
    ------
    column : place of the column that is asked for.
    order : "key by key" or "weight by weight".
    expected : what the neighbours suggest: ``key``, ``name`` of the quantity, ``text`` in words.
    latest : the doubt about the reading taken last, or "".
    scale : what an electronic scale shows: ``text`` in grams, ``state``, ``words`` to the user and
        the ``loss`` among them; {} without a scale.

    Attributes
    ----------
    scale_says : called with what a page says of the scale: that a number is to be taken, or
        what came of one that was offered.
    """

    _esm = asset("cells.js", "outbox.js", "one_key_scale.js", "one_key.js")
    _css = asset("one_key.css")
    scale = traitlets.Dict().tag(sync=True)
    order = traitlets.Unicode("key by key").tag(sync=True)
    expected = traitlets.Dict().tag(sync=True)
    latest = traitlets.Unicode("").tag(sync=True)

    def __init__(self, **traits: Any) -> None:
        self.scale_says: Callable[[Mapping[str, Any]], None] | None = None
        self._page = ""
        super().__init__(**traits)

    def offer(self, offer_id: str, text: str) -> bool:
        """Offer a number to the page that was used last; return whether there is one."""
        at = {"key": self.key, "column": self.column}
        self.send({"kind": "offer", "page": self._page, "id": offer_id, "text": text, "at": at})
        return bool(self._page)

    def _received(self, _: Any, content: Mapping[str, Any], __: Any) -> None:
        super()._received(_, content, __)
        if content.get("kind") == "here":
            self._page = str(content["page"])
        elif content.get("kind") in ("take", "offered") and self.scale_says:
            self.scale_says(content)


class DoubtList(anywidget.AnyWidget):
    """What is doubted, one line each, with what can be done about it at once.

    Traits
    ------
    lines : ``id, key, words, advice, take, keep, show`` of each; ``take`` is the text of its
        button or "", ``keep`` and ``show`` whether there is one.

    ``on_press(what, id)`` is called with "take", "keep" or "show".
    """

    _esm = asset("doubt_list.js")
    _css = asset("doubt_list.css")
    lines = traitlets.List(traitlets.Dict()).tag(sync=True)

    def __init__(self, on_press: Callable[[str, str], None]) -> None:
        super().__init__()
        self._on_press = on_press
        self.on_msg(self._received)

    def _received(self, _: Any, content: dict[str, Any], __: Any) -> None:
        if content.get("kind") in ("take", "keep", "show"):
            self._on_press(str(content["kind"]), str(content.get("id", "")))


class NoteField(TypedView):
    """A note on a key or a chapter; what is typed is taken for the one that stood beside it.

    Traits
    ------
    row, row_name : what the note is on, for the kernel and in words.
    text : the note.
    label : what the field is called while ``row`` is the one that is typed for.
    lines : lines of the field; one, or a text of several.
    placeholder : what an empty field says.
    """

    _esm = asset("cells.js", "outbox.js", "note_field.js")
    _css = asset("note_field.css")
    row = traitlets.Unicode("").tag(sync=True)
    row_name = traitlets.Unicode("").tag(sync=True)
    text = traitlets.Unicode("").tag(sync=True)
    label = traitlets.Unicode("").tag(sync=True)
    lines = traitlets.Int(1).tag(sync=True)
    placeholder = traitlets.Unicode("").tag(sync=True)

    def taken_by(self, call: Callable[[str, str], None]) -> None:
        """Let a function take each note: what it is on, and its text."""

        def take(entries: Entries) -> dict[int, str]:
            refused: dict[int, str] = {}
            for at, entry in enumerate(entries):
                if entry["place"] != self.place:
                    refused[at] = str(typed_elsewhere(entry["place"], self.place))
                    continue
                try:
                    for cell in entry["cells"]:
                        call(str(cell["row"]), str(cell["value"]))
                except BalancekitError as error:
                    refused[at] = str(error)
            return refused

        self.take = take


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
        self._parts: list[bytes] = []
        self.on_msg(self._received)

    def _received(self, _: Any, content: dict[str, Any], buffers: list[Any]) -> None:
        if content.get("kind") != "file" or not buffers:
            return
        part, parts = int(content.get("part", 0)), int(content.get("parts", 1))
        self._parts = [*self._parts[:part], bytes(buffers[0])]
        if part + 1 == parts and len(self._parts) == parts:
            data, self._parts = b"".join(self._parts), []
            self._on_file(str(content.get("name", "")), data)
            self.send({"kind": "taken"})
