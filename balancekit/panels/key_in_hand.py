"""The key in hand: its slider, steps to its neighbours, and the note on it."""

from __future__ import annotations

from collections.abc import Mapping

import ipywidgets as widgets
import traitlets

from balancekit.instrument.bench import Bench
from balancekit.instrument.person import signature
from balancekit.panels.frame import button, row, slider
from balancekit.panels.pictures import Pictures
from balancekit.panels.saving import Saving

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
        self.note = widgets.Text(
            description="Note on this key",
            continuous_update=False,
            style={"description_width": "9em"},
            layout=widgets.Layout(width="100%", max_width="640px"),
        )
        self.note.observe(self._noted, "value")
        self.pictures = Pictures(bench, KEY_CHAPTER, of_key=True)
        self.saving = Saving(bench)

    def _step(self, by: int) -> None:
        self.bench.key += by

    def _noted(self, change: Mapping[str, str]) -> None:
        bench = self.bench
        if change["new"] != bench.instrument.key_notes.get(bench.key, ""):
            changed = bench.instrument.with_key_note(bench.key, change["new"], signature())
            bench.change(changed)

    def show(self) -> None:
        """Show the note on the key that is in hand now, on the keyboard as it is now."""
        self.key.max = self.bench.instrument.settings.key_count
        self.note.value = self.bench.instrument.key_notes.get(self.bench.key, "")
