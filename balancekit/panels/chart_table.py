"""The numbers of a chart as a table, folded below the chart and made only while it is open."""

from __future__ import annotations

from typing import Any

import anywidget
from bokeh.models import LayoutDOM

from balancekit.calculation.words import escape
from balancekit.charts.as_table import chart_numbers
from balancekit.panels.frame import Later, asset, table_html

_FOLLOWS_AFTER_S = 0.3
# Our own choice: a table is read, so it follows a slider when that rests.


class ChartTable(anywidget.AnyWidget):
    """The same numbers as a chart, for a keyboard and a screen reader.

    Parameters
    ----------
    model : the chart's Bokeh layout, in a document already: make its ``ChartView`` first.
    """

    _esm = asset("chart_table.js")

    def __init__(self, model: LayoutDOM) -> None:
        self._model = model
        self.is_open = False
        self._follow = Later(_FOLLOWS_AFTER_S, self._tell)
        super().__init__()
        self.on_msg(self._received)
        if model.document is not None:
            model.document.on_change(self._changed)

    def _received(self, _: Any, content: dict[str, Any], __: list[Any]) -> None:
        if content.get("kind") == "open":
            self.is_open = bool(content.get("open"))
            if self.is_open:
                self._tell()

    def _changed(self, _: object) -> None:
        if self.is_open:
            self._follow.ask()

    def _tell(self) -> None:
        self.send({"kind": "table", "html": self.html})

    @property
    def html(self) -> str:
        """The tables of all figures, one below the other."""
        tables = [
            f"<b>{escape(each.title)}</b>{table_html(each.headings, each.rows)}"
            for each in chart_numbers(self._model)
        ]
        return "".join(tables) or "There is nothing in this chart yet."
