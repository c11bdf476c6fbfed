"""Photographs on a chapter or on the key in hand: dropped, shown, left out again."""

from __future__ import annotations

import base64
from datetime import datetime

import ipywidgets as widgets

from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.words import escape, plural
from balancekit.instrument.bench import Bench
from balancekit.instrument.notes import Note
from balancekit.instrument.person import cleaned, own_name
from balancekit.instrument.photographs import LARGEST_BROUGHT, MOST_PICTURE_BYTES, prepared
from balancekit.panels.frame import button, words, wrong
from balancekit.panels.widgets import FileDrop

_ASK = "Drop a photograph here, or press to choose one"


class Pictures(widgets.VBox):
    """The photographs of a chapter, or of the key in hand in that chapter.

    Parameters
    ----------
    bench : what is looked at.
    chapter : to which they belong.
    name : the field with the name of who writes; the remembered name without one.
    of_key : whether they belong to the key in hand.
    """

    def __init__(
        self, bench: Bench, chapter: str, name: widgets.Text | None = None, *, of_key: bool = False
    ) -> None:
        self.bench, self.chapter, self.name, self.of_key = bench, chapter, name, of_key
        self.drop = FileDrop(
            self.take, text=_ASK, low=True, several=True, most_bytes=LARGEST_BROUGHT
        )
        self.said, self.shown = words(), widgets.VBox()
        super().__init__([self.drop, self.said, self.shown])
        bench.when_changed(self.show, *(("instrument", "key") if of_key else ("instrument",)))

    @property
    def key(self) -> int:
        """The key to which they belong; 0 for the chapter as a whole."""
        return self.bench.key if self.of_key else 0

    @property
    def notes(self) -> list[Note]:
        """The notes here that have photographs."""
        return [
            note
            for note in self.bench.instrument.notes
            if note.photographs and note.chapter == self.chapter and note.first_key == self.key
        ]

    def take(self, file: str, data: bytes) -> None:
        """Scale a picture down, take place and device out of it, and keep it in a note."""
        author = own_name() if self.name is None else cleaned(self.name.value)
        now = datetime.now().isoformat(timespec="seconds")
        try:
            kept, clean = prepared(data, file)
            held = self.bench.instrument.with_photographs({kept: clean})
        except BalancekitError as error:
            self.said.value = wrong(error)
            return
        note = Note(self.chapter, "", author, now, self.key, self.key, photographs=(kept,))
        self.bench.change(held.with_notes(note))

    def show(self) -> None:
        """Show them, and how many megabytes all photographs of the instrument have."""
        held = self.bench.instrument
        size = sum(map(len, held.photographs.values()))
        self.said.value = (
            f"{plural(len(held.photographs), 'photograph')} of this instrument, "
            f"{size / 1e6:.1f} of {MOST_PICTURE_BYTES / 1e6:.0f} MB. They are scaled down; place "
            "and device are taken out."
            if held.photographs
            else ""
        )
        self.shown.children = [part for note in self.notes for part in self._parts(note)]

    def _parts(self, note: Note) -> list[widgets.Widget]:
        pictures = self.bench.instrument.photographs
        shown = "".join(
            f'<img alt="Photograph" style="max-width: 320px; max-height: 240px" '
            f'src="data:image/jpeg;base64,{base64.b64encode(pictures[name]).decode()}"> '
            for name in note.photographs
            if name in pictures
        )
        signed = escape(note.signature or "Somebody")
        leave = button("Leave this photograph out", lambda: self._leave_out(note))
        return [words(f"{shown}<br>{signed}: {escape(note.text)}"), leave]

    def _leave_out(self, note: Note) -> None:
        self.bench.change(self.bench.instrument.without_notes(note.identity))
