"""Showing Bokeh charts in a notebook so that they stay alive.

The page asks for the document when it opens and gets it as it is then; changes
follow as patches. So a page that is loaded again shows the present state, and
nothing large is kept in the notebook.
"""

from __future__ import annotations

import contextlib
import json
from collections.abc import Callable, Iterator
from functools import cache
from typing import Any

import anywidget
import traitlets
from bokeh.document import Document
from bokeh.document.events import DocumentPatchedEvent, ModelChangedEvent
from bokeh.models import LayoutDOM
from bokeh.protocol import Protocol
from bokeh.resources import Resources

from balancekit.charts.look import KEY_IN_HAND
from balancekit.panels.frame import asset


@cache
def _bokeh_script() -> str:
    """BokehJS, as the installed Bokeh brings it."""
    return "\n".join(Resources(mode="inline", components=["bokeh"]).js_raw)


class ChartView(anywidget.AnyWidget):
    """A Bokeh layout as a widget.

    Traits
    ------
    name : what the chart shows, in words, for a screen reader.

    Changes made inside ``one_change`` reach the page together. ``on_key`` is
    called with the key whose point was clicked.
    """

    _esm = asset("../charts/pass_by.js", "paint_faster.js", "chart_view.js")
    _css = ".bench-chart { width: 100%; contain: layout paint style; }"
    name = traitlets.Unicode("").tag(sync=True)

    def __init__(
        self, model: LayoutDOM, name: str = "", on_key: Callable[[int], None] | None = None
    ) -> None:
        self._document = Document()
        self._document.add_root(model)
        self._gathered: list[DocumentPatchedEvent] | None = None
        self._on_key = on_key
        super().__init__(name=name)
        self._document.on_change_dispatch_to(self)
        self.on_msg(self._received)

    def _received(self, _: Any, content: dict[str, Any], buffers: list[Any]) -> None:
        if content.get("kind") == "open":
            reply = {
                "kind": "document",
                "token": content.get("token"),
                "document": json.dumps(self._document.to_json(deferred=False)),
            }
            self.send(reply | ({"script": _bokeh_script()} if content.get("script") else {}))
        elif content.get("kind") == "key" and self._on_key is not None:
            self._on_key(int(content["key"]))

    @contextlib.contextmanager
    def one_change(self) -> Iterator[None]:
        """Send all changes made inside as one message."""
        if self._gathered is not None:
            yield
            return
        self._gathered = []
        try:
            yield
        finally:
            events, self._gathered = self._gathered, None
            if events:
                self._send_events(events)

    def _document_patched(self, event: DocumentPatchedEvent) -> None:
        if isinstance(event, ModelChangedEvent) and event.attr == "tags":
            self._hold_key(event)
        elif self._gathered is not None:
            self._gathered.append(event)
        else:
            self._send_events([event])

    def _hold_key(self, event: ModelChangedEvent) -> None:
        """Move the mark of the key in hand; no chart is painted anew for it."""
        what, key = event.new
        if what == KEY_IN_HAND:
            self.send({"kind": "held", "figure": event.model.id, "key": key})

    def _send_events(self, events: list[DocumentPatchedEvent]) -> None:
        message = Protocol().create("PATCH-DOC", events)
        self.send(
            {
                "kind": "patch",
                "patch": message.content_json,
                "buffer_ids": [buffer.ref["id"] for buffer in message.buffers],
            },
            [buffer.to_bytes() for buffer in message.buffers],
        )
