"""The key in hand: its slider, steps to its neighbours, and the note on it."""

from __future__ import annotations

import ipywidgets as widgets
import traitlets

from balancekit.instrument.bench import Bench
from balancekit.instrument.person import signature
from balancekit.panels.frame import button, row, slider
from balancekit.panels.pictures import Pictures
from balancekit.panels.places import place_of
from balancekit.panels.saving import Saving
from balancekit.panels.widgets import NoteField

KEY_CHAPTER = "readings"
"""The chapter of a report in which notes and photographs of single keys stand."""


class KeyInHand:
    """The controls with which any panel walks from key to key.

    Parameters
    ----------
    bench : what is looked at.
    further : buttons that stand beside the steps.

    Attributes
    ----------
    key, steps, note, pictures, saving : the slider, the row of buttons, the field of the note,
        the photographs of the key, and what is said when it cannot be saved.
    """

    def __init__(self, bench: Bench, *further: widgets.Button) -> None:
        self.bench = bench
        self.key = slider("Key in hand", bench.key, 1, 97, 1, whole=True)
        traitlets.link((bench, "key"), (self.key, "value"))
        self.steps = row(
            button("◀ Key before", lambda: self._step(-1)),
            button("Next key ▶", lambda: self._step(1)),
            *further,
        )
        self.note = NoteField(label="Note on this key")
        self.note.taken_by(self._noted)
        self.pictures = Pictures(bench, KEY_CHAPTER, of_key=True)
        self.saving = Saving(bench)

    def around(self, story: widgets.Widget) -> list[widgets.Widget]:
        """Return all controls, with what is told of the key among them."""
        return [self.key, self.steps, story, self.note, self.pictures, self.saving]

    def _step(self, by: int) -> None:
        self.bench.key += by

    def _noted(self, key: str, text: str) -> None:
        instrument = self.bench.instrument
        if text != instrument.key_notes.get(int(key), ""):
            self.bench.change(instrument.with_key_note(int(key), text, signature()))

    def show(self) -> None:
        """Show the note on the key that is in hand now, on the keyboard as it is now."""
        self.key.max = self.bench.instrument.settings.key_count
        instrument, key = self.bench.instrument, self.bench.key
        with self.note.hold_sync():
            self.note.place = place_of("notes on keys", instrument)
            self.note.row, self.note.row_name = str(key), f"Note on key {key}"
            self.note.text = instrument.key_notes.get(key, "")
