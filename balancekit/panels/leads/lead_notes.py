"""Plugs as they were noted, from the user's own table: asked, drawn, and then put on record."""

from __future__ import annotations

import ipywidgets as widgets
import pandas as pd

from balancekit.calculation.leads.key_stick import front_end_mm
from balancekit.calculation.problems import BalancekitError, Problem, refuse
from balancekit.calculation.words import escape, plural
from balancekit.instrument.bench import Bench
from balancekit.instrument.bring_in.import_leads import PIN, LeadNotes, understand_leads
from balancekit.instrument.leads_record import FoundPlug, key_sticks, with_plugs
from balancekit.instrument.model import Instrument
from balancekit.panels.frame import button, row, words, wrong
from balancekit.panels.leads.drawn_key import DrawnKey, draw_key
from balancekit.panels.widgets import FileDrop


class NotedPlugs(widgets.VBox):
    """A table of plugs: what is unclear is asked, the key in hand is drawn as it was understood."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self._name, self._data = "", b""
        self._found: LeadNotes | None = None
        self.boxes: dict[str, widgets.Dropdown] = {}
        self.drop = FileDrop(
            self.take_file, low=True,
            text="or drop a table of plugs as you noted them: key, and columns or words",
        )  # fmt: skip
        self.said, self.asked = words(), widgets.VBox()
        self.drawn = DrawnKey(lambda _: None)
        self.taking = row(
            button("Put these plugs on record", self.take, main=True),
            button("Leave it", self.leave),
        )
        super().__init__([self.drop, self.said, self.asked, self.drawn, self.taking])
        self.leave("")
        bench.observe(lambda _: self._draw(), "key")

    def take_file(self, name: str, data: bytes) -> None:
        """Look at a file; nothing is taken yet."""
        self._name, self._data = name, data
        self.boxes, self.asked.children = {}, ()
        self._look()

    def _look(self) -> None:
        answers = {name: box.value for name, box in self.boxes.items() if box.value}
        count = self.bench.instrument.settings.key_count
        try:
            found = understand_leads(self._data, self._name, key_count=count, answers=answers)
        except BalancekitError as error:
            self.leave(_first_problems(error))
            return
        self._found = found
        for question in found.questions:
            if question.id not in self.boxes:
                options = [("please choose", ""), *((t, v) for v, t in question.choices)]
                box = widgets.Dropdown(options=options, layout=widgets.Layout(max_width="560px"))
                box.observe(lambda _: self._look(), "value")
                self.boxes[question.id] = box
                label = words(f"<b>{escape(question.text)}</b>")
                self.asked.children = (*self.asked.children, label, box)
        with_some = sum(bool(plugs) for plugs in found.plugs.values())
        self.said.value = (
            f"<b>{escape(self._name)}</b>: plugs in {plural(with_some, 'key')}, none in "
            f"{len(found.plugs) - with_some}, measured from the {found.measured_from}. "
            f"Counted, places unknown: {len(found.counted)}. Not understood: "
            f"{plural(len(found.left_out), 'row')}."
        )
        self.taking.layout.display = "none" if found.questions else "flex"
        self._draw()

    def _of(self, key: int) -> list[FoundPlug]:
        """Return what was noted of one key, measured from its front edge."""
        assert self._found is not None
        front = float(front_end_mm(self._sticks())[key])
        pin = self._found.measured_from == PIN
        return [
            FoundPlug(front - place if pin else place, diameter)
            for diameter, place in self._found.plugs.get(key, ())
        ]

    def _sticks(self) -> pd.DataFrame:
        return key_sticks(self.bench.instrument, self.bench.table["key_ratio"])

    def _draw(self) -> None:
        found, key = self._found, self.bench.key
        if found is None or found.questions:
            self.drawn.layout.display = "none"
            return
        state = "as noted, not on record yet" if key in found.plugs else "nothing noted: unknown"
        draw_key(self.drawn, self.bench.instrument, self._sticks(), key, self._of(key), state)
        self.drawn.layout.display = ""

    def take(self) -> None:
        """Put what was noted on record; counts without places become notes of their keys."""
        found = self._found
        if found is None or found.questions:
            return
        try:
            changed = self._taken(found)
        except BalancekitError as error:
            self.said.value = _first_problems(error)
            return
        self.bench.change(changed)
        self.leave(f"{plural(len(found.plugs), 'key')} put on record; Undo takes it back.")

    def _taken(self, found: LeadNotes) -> Instrument:
        changed: Instrument = self.bench.instrument
        most = changed.settings.key_count
        beyond = [key for key in (*found.plugs, *found.counted) if key > most]
        if beyond:
            raise refuse(
                f"Key {beyond[0]} of {found.file} is beyond the keyboard.",
                f"The instrument on the bench has keys 1 to {most}: open the one that was noted.",
            )
        sticks = self._sticks()
        problems: list[Problem] = []
        for key in found.plugs:
            try:
                changed = with_plugs(changed, [key], self._of(key), sticks)
            except BalancekitError as error:
                problems += error.problems
        if problems:
            raise BalancekitError(problems)
        for key, count in found.counted.items():
            before = changed.key_notes.get(key, "")
            note = f"{plural(count, 'plug')} counted, places not noted"
            if note not in before.split("; "):
                changed = changed.with_key_note(key, "; ".join(filter(None, (before, note))))
        return changed

    def leave(self, said: str = "Nothing was taken.") -> None:
        """Take nothing."""
        self._found, self.asked.children, self.boxes = None, (), {}
        self.said.value = said
        self.taking.layout.display = self.drawn.layout.display = "none"


def _first_problems(error: BalancekitError) -> str:
    return wrong("\n".join(str(problem) for problem in error.problems[:10]))
