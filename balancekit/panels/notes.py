"""The note at the end of a chapter, signed, with photographs."""

from __future__ import annotations

import ipywidgets as widgets

from balancekit.calculation.words import escape
from balancekit.instrument.bench import Bench
from balancekit.instrument.model import chapter_place
from balancekit.instrument.person import own_name, remember_name, signature
from balancekit.panels.frame import panel, words
from balancekit.panels.pictures import Pictures
from balancekit.panels.places import place_of
from balancekit.panels.saving import Saving
from balancekit.panels.widgets import NoteField


def name_field() -> widgets.Text:
    """Return the field for the name of who writes; it is remembered for every other note."""
    field = widgets.Text(
        own_name(),
        description="Your name (may stay empty)",
        continuous_update=False,
        style={"description_width": "initial"},
        layout=widgets.Layout(width="100%", max_width="560px"),
    )
    field.observe(lambda change: remember_name(change["new"]), "value")
    return field


def note_panel(bench: Bench, chapter: str) -> widgets.VBox:
    """A box for what was found and decided in a chapter, in simple Markdown."""
    name, signed = name_field(), words()
    box = NoteField(
        label="Your note on this chapter",
        placeholder="What you found, what you decided, what to ask.",
        lines=4,
        row=chapter,
    )

    def show() -> None:
        with box.hold_sync():
            box.place = place_of("chapters", bench.instrument)
            box.text = bench.instrument.chapter_notes.get(chapter, "")
        who = bench.instrument.signatures.get(chapter_place(chapter), "")
        signed.value = f"Written by {escape(who)}." if who else ""

    def keep(of: str, text: str) -> None:
        if text != bench.instrument.chapter_notes.get(of, ""):
            who = signature(name.value)
            bench.change(bench.instrument.with_chapter_note(of, text, who))

    bench.when_changed(show, "instrument")
    box.taken_by(keep)
    return panel(
        "Your note on this chapter",
        words("Kept with the instrument, with your name and the day, and printed in its report."),
        name,
        box,
        signed,
        Pictures(bench, chapter, name),
        Saving(bench),
    )
