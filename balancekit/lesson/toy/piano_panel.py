"""An uneven piano to be played, and the equation as its answer."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import anywidget
import ipywidgets as widgets
import traitlets

from balancekit.calculation.balance import TERMS
from balancekit.lesson.lever_chain.lever_view import equation_html, grams, lesson_asset
from balancekit.lesson.lever_chain.one_key import LessonKey
from balancekit.lesson.toy.piano import (
    FULL_M_S,
    MENDS,
    WORKS_MJ,
    PlayedNote,
    mend,
    play,
    uneven_keys,
    unevenness_db,
)
from balancekit.panels.frame import button, panel, row, table_html, words


class Tones(anywidget.AnyWidget):
    """Keys that sound.

    Traits
    ------
    notes : ``{"key", "name", "sharp", "frequency", "gain", "repeats", "words"}`` each.
    all : changed to have them all played in a row.
    played : ``{"key", "gain", "number"}``, the key struck last.
    """

    _esm = (Path(__file__).parent / "piano.js").read_text(encoding="utf-8")
    _css = lesson_asset("lesson.css")
    notes = traitlets.List(traitlets.Dict()).tag(sync=True)
    all = traitlets.Int(0).tag(sync=True)
    played = traitlets.Dict().tag(sync=True)


class UnevenPiano(widgets.VBox):
    """Keys to play, what is done to them, and the numbers behind what is heard."""

    def __init__(self) -> None:
        self.found = uneven_keys()
        self.tones = Tones()
        self.touch = widgets.ToggleButtons(
            options=list(WORKS_MJ), value="middle", description="The finger plays",
            style={"description_width": "initial"},
        )  # fmt: skip
        self.done = widgets.ToggleButtons(
            options=list(MENDS), description="The keys are",
            style={"description_width": "initial", "button_width": "auto"},
        )  # fmt: skip
        self.said, self.equation, self.numbers = words(), words(), words()
        for control in (self.touch, self.done):
            control.observe(lambda _: self.refresh(), "value")
        self.tones.observe(lambda change: self.tell(int(change["new"]["key"])), "played")
        table = widgets.Accordion([self.numbers], titles=["All keys in numbers"])
        table.selected_index = None
        super().__init__(
            [
                row(self.touch, button("Play all in a row", self.play_all, main=True)),
                self.tones, self.said, self.done, self.equation, table,
            ]
        )  # fmt: skip
        self.refresh()

    @property
    def now(self) -> dict[int, LessonKey]:
        """The keys as they are now."""
        return mend(self.found, self.done.value)

    def refresh(self) -> None:
        """Work out how each key plays."""
        keys, work = self.now, WORKS_MJ[self.touch.value]
        self.notes = {number: play(number, key, work) for number, key in keys.items()}
        self.tones.notes = [_tone(note) for note in self.notes.values()]
        levels = [key.balance_weight_g for key in keys.values()]
        heavy = [key.inertia_g for key in keys.values()]
        self.said.value = (
            f'<div role="status"><b>From the softest key to the loudest: '
            f"{unevenness_db(list(self.notes.values())):.1f} dB.</b> Balance weights "
            f"{grams(min(levels))} to {grams(max(levels))}, inertia {grams(min(heavy), 0)} to "
            f"{grams(max(heavy), 0)}.</div>"
        )
        rows = [
            (
                note.name, grams(keys[n].balance_weight_g), grams(keys[n].friction_g),
                grams(keys[n].inertia_g, 0), f"{note.speed_m_s:.2f}",
                f"{note.repeats_a_second:.1f}" if note.repeats_a_second else "stays down",
            )
            for n, note in self.notes.items()
        ]  # fmt: skip
        self.numbers.value = table_html(
            ("Key", "Balance weight", "Friction", "Inertia", "Hammer (m/s)", "Times a second"), rows
        )
        self.tell(min(keys))

    def tell(self, number: int) -> None:
        """Say why a key plays as it does: its terms of the equation."""
        key, note = self.now[number], self.notes[number]
        often = (
            f"comes back {note.repeats_a_second:.1f} times a second"
            if note.repeats_a_second
            else "does not come back by itself"
        )
        self.equation.value = (
            f"<b>{note.name}</b> throws the hammer at {note.speed_m_s:.2f} m/s and {often}. "
            f"Friction {grams(key.friction_g)}, inertia {grams(key.inertia_g, 0)}."
            + equation_html({name: getattr(key, name) for name in TERMS})
        )

    def play_all(self) -> None:
        """Have all keys played, one after the other."""
        self.tones.all += 1


def _tone(note: PlayedNote) -> dict[str, Any]:
    gain = min(note.speed_m_s / FULL_M_S, 1.0)
    loud = f"{note.loudness_db:.1f} dB".replace("-", "−") if gain else "no sound"
    return {
        "key": note.key, "name": note.name, "sharp": "#" in note.name, "gain": gain,
        "frequency": note.frequency_hz, "repeats": note.repeats_a_second,
        "words": f"{note.name}, {loud}",
    }  # fmt: skip


def uneven_piano_panel() -> widgets.VBox:
    """An octave of an uneven piano, to be played and mended."""
    return panel(
        "An uneven piano",
        words(
            "<b>A toy</b>, for the ear: the levers are true, the sound is not. The same finger "
            "does the same work on each key; the bars show how loud it gets. Click a key, hold it "
            "to repeat, or use the arrows and Enter."
        ),
        UnevenPiano(),
    )
