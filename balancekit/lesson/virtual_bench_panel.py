"""The virtual bench on the screen."""

from __future__ import annotations

from typing import Any

import ipywidgets as widgets

from balancekit.calculation.quantities import QUANTITIES
from balancekit.lesson.exercise import read_entry
from balancekit.lesson.exercise_panel import fresh_seed
from balancekit.lesson.lever_view import LeverView, key_scene
from balancekit.lesson.one_key import LessonKey
from balancekit.lesson.virtual_bench import (
    ASKED,
    COMPUTED,
    RULERS,
    SCALES,
    VirtualKey,
    assess,
    shown,
)
from balancekit.panels.frame import button, escape, panel, row, slider, table_html, words

_TEXT = {
    "front_weight_g": "Weigh the key's front",
    "strike_weight_g": "Weigh the hammer",
    "wippen_weight_g": "Weigh the wippen",
    "arm_mm": "Measure the arm",
    "capstan_arm_mm": "Measure the capstan arm",
}


class VirtualDesk(widgets.VBox):
    """A key to be weighed, a place for what was found, and the comparison with the truth.

    Parameters
    ----------
    seed : of the key; a fresh one if left out.
    """

    def __init__(self, seed: int | None = None) -> None:
        self.usual = LessonKey()
        self.weight = slider("Weight to set", 30, 0, 90, 1, unit="g", whole=True)
        self.view = LeverView(self._scene(0))
        self.title_line, self.said, self.taken, self.result = words(), words(), words(), words()
        self.entries = {name: self._entry(name) for name in ASKED}
        self.weight.observe(lambda _: self.lay_weight(), "value")
        set_row = row(
            self.weight,
            button("Set it on the key at rest", lambda: self.set_weight(False), main=True),
            button("Set it on the pressed key", lambda: self.set_weight(True), main=True),
        )
        read_row = row(*[self._reader(name) for name in (*SCALES, *RULERS)])
        found = widgets.GridBox(
            list(self.entries.values()),
            layout=widgets.Layout(
                grid_template_columns="repeat(auto-fit, minmax(330px, 1fr))", width="100%"
            ),
        )
        super().__init__(
            [
                self.title_line, self.view, set_row, self.said, read_row, self.taken,
                words("<b>What you found</b>; leave open what you did not find."), found,
                row(button("How near did I come?", self.compare, main=True),
                    button("Another key", self.take_key)),
                self.result,
            ]
        )  # fmt: skip
        self.take_key(seed)

    def _scene(self, weight_g: int) -> dict[str, Any]:
        return key_scene(
            self.usual, weight_g=float(weight_g), weight_word="weight on the key", hidden=True
        )

    def _entry(self, name: str) -> widgets.Text:
        quantity = QUANTITIES[name]
        return widgets.Text(
            description=quantity.axis_label, placeholder="computed" if name in COMPUTED else "read",
            style={"description_width": "13em"}, layout=widgets.Layout(width="auto"),
            # One message when the box is left, not one a letter.
            continuous_update=False,
        )  # fmt: skip

    def _reader(self, name: str) -> widgets.Button:
        return button(_TEXT[name], lambda: self.read(name))

    def take_key(self, seed: int | None = None) -> None:
        """Put another key on the bench."""
        self.key = VirtualKey(fresh_seed() if seed is None else seed)
        self.title_line.value = (
            f"<b>Key {self.key.key}, {self.key.note_name}, a {self.key.colour}</b> "
            f"(bench number {self.key.seed}). Its numbers are hidden; it has no support spring. "
            "The drawing shows a usual key, not this one."
        )
        for entry in self.entries.values():
            entry.value = ""
        self.said.value = self.result.value = ""
        self.view.put_key(0.0)
        self.lay_weight()
        self._show_log()

    def lay_weight(self) -> None:
        """Show the chosen weight in the drawing."""
        self.view.scene = self._scene(self.weight.value)

    def set_weight(self, pressed: bool) -> None:
        """Set the weight on the key and let it do what it does."""
        trial = self.key.set_weight(self.weight.value, pressed=pressed)
        bottom = float(self.usual.linkage.stroke_mm)
        start, end = (bottom, 0.0) if pressed else (0.0, bottom)
        self.view.put_key(start)
        if trial.moved:
            self.view.run_key(end, trial.seconds)
        self.said.value = f'<div class="lesson-said" role="status">{trial.words}</div>'
        self._show_log()

    def read(self, name: str) -> None:
        """Read a scale or a ruler once more."""
        self.key.read(name)
        self._show_log()

    def _show_log(self) -> None:
        """List what was tried and read."""
        rows = []
        for pressed, start, moved, still in (
            (False, "key at rest", "sinks", "stays up"),
            (True, "pressed key", "lifts", "stays down"),
        ):
            tried = sorted(
                (t for t in self.key.trials if t.pressed == pressed), key=lambda t: t.weight_g
            )
            does = ", ".join(f"{t.weight_g} g {moved if t.moved else still}" for t in tried)
            rows.append((f"Weights on the {start}", does or "none yet"))
        for name, taken in self.key.readings.items():
            read = ", ".join(shown(name, value) for value in taken)
            rows.append((QUANTITIES[name].label, read or "not read yet"))
        self.taken.value = table_html(("At the bench", "So far"), rows)

    def compare(self) -> None:
        """Show the truth beside what was found."""
        entered, problems = {}, []
        for name, entry in self.entries.items():
            if not entry.value.strip():
                continue
            quantity = QUANTITIES[name]
            value, hindered = _read(entry.value.strip(), quantity.unit)
            if hindered or (value <= 0 and name not in SCALES):
                text = hindered or f"{entry.value.strip()} is not above 0."
                problems.append(f"{quantity.label}: {text}")
            else:
                entered[name] = value
        if problems or not entered:
            text = "<br>".join(map(escape, problems)) or "Enter what you found first."
            self.result.value = f'<span class="bench-bad" role="alert">{text}</span>'
            return
        table = assess(self.key, entered)
        rows = [
            (
                QUANTITIES[name].label,
                shown(name, line["entered"]),
                shown(name, line["truth"]),
                shown(name, line["from_weighing"]),
                shown(name, line["from_slip"]),
                f"{round(line['in_u'], 1) + 0.0:.1f}".replace("-", "−"),
                line["verdict"],
            )
            for name, line in ((str(name), line) for name, line in table.to_dict("index").items())
        ]
        headings = (
            "Quantity", "You", "Truth", "Miss from weighing", "Miss from a slip",
            "Miss in standard uncertainties", "Verdict",
        )  # fmt: skip
        near = int((table["in_u"].abs() <= 2).sum())
        self.result.value = (
            f"<b>{near} of {len(table)} lie within two standard uncertainties.</b> From weighing "
            "alone, about 19 of 20 should." + table_html(headings, rows)
        )


def _read(typed: str, unit: str) -> tuple[float, str]:
    """Read an entry; a number alone has the unit of its field, cm are taken too."""
    bare = f"{typed} {unit}" if unit and not typed[-1:].isalpha() else typed
    return read_entry(bare, unit)


def virtual_bench_panel(seed: int | None = None) -> widgets.VBox:
    """A key with hidden truth, to be weighed and computed.

    Parameters
    ----------
    seed : the bench number; everyone with the same number has the same key.
    """
    return panel(
        "The virtual bench",
        words(
            "Find the down weight with the key at rest: the least weight that makes it sink. Find "
            "the up weight with the key pressed: the greatest that it still lifts. Near the border "
            "the key wavers, as a real one does. Then read scales and rulers, compute, and enter."
        ),
        VirtualDesk(seed),
    )
