"""The charts of a report: drawn by the browser from data in the page, each with its table."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import pandas as pd
from bokeh.document import Document
from bokeh.resources import Resources

from balancekit.calculation.quantities import QUANTITIES, uncertainty_name
from balancekit.calculation.words import escape
from balancekit.charts.look import section_marks
from balancekit.charts.over_keys import Extra
from balancekit.sharing.blank_chart import Json, Parts, bokeh_json, fill_over_keys
from balancekit.sharing.markup import folded, table

CHART_HEIGHT, LOW_HEIGHT = 300, 210

Sections = list[tuple[str, int]]


def bokeh_script() -> str:
    """Return BokehJS, the part of it that draws charts, once for the whole page."""
    return "\n".join(Resources(mode="inline", components=["bokeh"]).js_raw)


@dataclass
class ChartBook:
    """Collects the charts of one page: their data, and the places where they stand.

    Attributes
    ----------
    sections : name and first key of each section, drawn on every chart.
    figures : each figure as JSON by the id of the element in which it stands.
    """

    sections: Sections
    figures: dict[str, Json] = field(default_factory=dict)

    @cached_property
    def marks(self) -> list[Json]:
        """The section breaks and their names, which all charts of the piano have."""
        marks: list[Json] = bokeh_json(section_marks(self.sections))
        return marks

    def to_json(self) -> dict[str, Any]:
        """Return all charts as one document for BokehJS, and where each of them stands."""
        document = {**Document().to_json(deferred=False), "roots": list(self.figures.values())}
        roots = {figure["id"]: place for place, figure in self.figures.items()}
        return {"document": document, "roots": roots}

    def over_keys(
        self,
        keys: pd.DataFrame,
        name: str,
        *,
        title: str,
        extra: Extra | None = None,
        legend: str = "",
        place: str = "",
        low: bool = False,
        other_piano: bool = False,
    ) -> str:
        """Add a quantity over the keyboard and return its place in the page.

        Parameters
        ----------
        keys : table of keys.
        name : quantity to draw.
        title : of the chart and its table.
        extra : what else to draw; see ``charts.over_keys``.
        legend : sentence under the chart that says what the lines are.
        place : id of the element, where a script needs it.
        low : a low picture without its table, for the first screen.
        other_piano : another instrument, whose sections are not those of this page.
        """
        if name not in keys or keys[name].notna().sum() == 0:
            label = QUANTITIES[name].label
            return f'<p class="nothing">{escape(label)}: no reading, so no chart.</p>'
        extra = extra or Extra()
        target = place or f"chart-{len(self.figures) + 1}"
        self.draw(
            target, keys, name, extra, title=title, other_piano=other_piano,
            height=LOW_HEIGHT if low else CHART_HEIGHT,
        )  # fmt: skip
        rows = _rows(keys, name, extra)
        headings = ["Key", "Note", QUANTITIES[name].axis_label, "±"]
        beside = {"Line": extra.trend, "Target": extra.target, "Before": extra.earlier}
        headings += [heading for heading, values in beside.items() if values is not None]
        headings += ["Stands out"] if extra.flagged else []
        return chart_place(
            target,
            alternative="" if low else table(f"{title}, key by key", headings, rows),
            summary=_summary(keys, name, title),
            legend=legend,
            quantity=name,
        )

    def draw(
        self,
        place: str,
        keys: pd.DataFrame,
        name: str,
        extra: Extra,
        *,
        title: str,
        height: int = 320,
        other_piano: bool = False,
        changed: Parts | None = None,
    ) -> None:
        """Draw a quantity over the keyboard into a place; see ``blank_chart``."""
        self.figures[place] = fill_over_keys(
            keys, name, extra, title=title, height=height, changed=changed,
            marks=[] if other_piano else self.marks, prefix=f"{len(self.figures) + 1}-",
        )  # fmt: skip


def chart_place(place: str, *, alternative: str, summary: str, legend: str, quantity: str) -> str:
    """Return the place of a chart in the page, with its table folded below it.

    Parameters
    ----------
    place : id of the element.
    alternative : the chart's numbers as HTML; "" for none.
    summary : what the chart shows, for who cannot see it.
    legend : sentence under the chart.
    quantity : that is drawn.
    """
    caption = f"<figcaption>{escape(legend)}</figcaption>" if legend else ""
    told = folded("The same numbers as a table", alternative) if alternative else ""
    kind = "chart" if alternative else "chart low"
    return (
        f'<figure class="{kind}" data-quantity="{escape(quantity)}"><div class="plot" '
        f'id="{place}" role="group" aria-label="{escape(summary)}"></div>{caption}{told}'
        "</figure>"
    )


def _summary(keys: pd.DataFrame, name: str, title: str) -> str:
    quantity, known = QUANTITIES[name], keys[name].dropna()
    return (
        f"Chart: {title}. {len(known)} of {len(keys)} keys, from {quantity.text(known.min())} to "
        f"{quantity.text(known.max())}, half of them below {quantity.text(known.median())}. A "
        "table in the chapter has the same numbers."
    )


def _rows(keys: pd.DataFrame, name: str, extra: Extra) -> list[list[object]]:
    decimals = QUANTITIES[name].decimals
    spread = keys.get(uncertainty_name(name))

    def text(value: float, more: int = 0) -> str:
        return "" if value != value else f"{value:.{decimals + more}f}".replace("-", "−")

    index = keys.index.tolist()
    values = keys[name].tolist()
    spreads = [float("nan")] * len(index) if spread is None else spread.tolist()
    columns: list[list[object]] = [
        [f"{key}" for key in index],
        keys["note_name"].tolist(),
        [text(float(value)) for value in values],
        [text(float(u), 1) for u in spreads],
    ]
    for other in (extra.trend, extra.target, extra.earlier):
        if other is not None:
            columns.append([text(float(value)) for value in other.reindex(index).tolist()])
    if extra.flagged:
        columns.append([extra.flagged.get(key, "") for key in index])
    return [list(row) for row in zip(*columns, strict=True)]
