"""One page in the making: the story it tells, and the charts that it collects."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from balancekit.calculation.words import escape
from balancekit.charts.over_keys import Extra, over_keys_limits
from balancekit.instrument.model import chapter_place
from balancekit.sharing.markup import note_html, signature_html
from balancekit.sharing.report_charts import ChartBook
from balancekit.sharing.story import Story

_RELATED = {
    "balance_weight_g": ("balance_weight_g", "down_weight_g", "up_weight_g"),
    "friction_g": ("friction_g", "down_weight_g", "up_weight_g"),
    "action_ratio": (
        "action_ratio",
        "front_weight_g",
        "strike_weight_g",
        "wippen_weight_g",
        "key_ratio",
        "spring_relief_g",
    ),
}
"""Whose flags are marked on a chart beside its own."""


@dataclass(frozen=True)
class Page:
    """A report in the making.

    Attributes
    ----------
    story : what it tells.
    charts : what it draws.
    """

    story: Story
    charts: ChartBook

    @property
    def upright(self) -> bool:
        """Whether the instrument is an upright."""
        return self.story.instrument.settings.action == "upright"

    def note(self, chapter: str, title: str = "") -> str:
        """Return the note of a chapter, "" if there is none."""
        text = self.story.instrument.chapter_notes.get(chapter, "")
        if not text:
            return ""
        signed = self.story.instrument.signatures.get(chapter_place(chapter), "")
        heading = f"Note: {title}" if title else "Note"
        return (
            f'<aside class="note" aria-label="Note on this chapter"><strong>{escape(heading)}'
            f"</strong>{signature_html(signed)}{note_html(text)}</aside>"
        )

    def chart(
        self, name: str, title: str, *, target: pd.Series | None = None, legend: str = ""
    ) -> str:
        """Return the chart of a quantity as found, with its trend and what stands out."""
        first = self.story.first
        trend = first.findings.trends.get(name)
        flagged = first.findings.sentences(*_RELATED.get(name, (name,)))
        extra = Extra(
            trend=None if trend is None else trend.trend,
            trend_u=None if trend is None else trend.trend_u,
            flagged=flagged,
            target=target,
        )
        lines = "Line: the slow trend, in its band; dotted for the sharps."
        words = [legend, lines if trend is not None else "", "Green: usual values."]
        words.append("Squares: what stands out." if flagged else "")
        limits = over_keys_limits(first.table, name, target)
        if not first.table[name].dropna().between(*limits).all():
            words.append("Triangles at the edge: far outside, point at one to see its value.")
        return self.charts.over_keys(
            first.table, name, title=title, extra=extra, legend=" ".join(filter(None, words))
        )
