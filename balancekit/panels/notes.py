"""The note at the end of a chapter."""

from __future__ import annotations

import ipywidgets as widgets

from balancekit.instrument.bench import Bench
from balancekit.panels.frame import panel, words
from balancekit.panels.saving import Saving


def note_panel(bench: Bench, chapter: str) -> widgets.VBox:
    """A box for what was found and decided in a chapter, in simple Markdown."""
    box = widgets.Textarea(
        placeholder="What you found, what you decided, what to ask.",
        continuous_update=False,
        rows=4,
        layout=widgets.Layout(width="auto"),
    )

    def show() -> None:
        box.value = bench.instrument.chapter_notes.get(chapter, "")

    def keep(change: dict[str, str]) -> None:
        if change["new"] != bench.instrument.chapter_notes.get(chapter, ""):
            bench.change(bench.instrument.with_chapter_note(chapter, change["new"]))

    bench.when_changed(show, "instrument")
    box.observe(keep, "value")
    return panel(
        "Your note on this chapter",
        words("Kept with the instrument, and printed in its report."),
        box,
        Saving(bench),
    )
