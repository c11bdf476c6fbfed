"""The virtual bench on the screen."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import ipywidgets as widgets
import traitlets

from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.quantities import QUANTITIES
from balancekit.calculation.words import escape
from balancekit.instrument.bench import Bench
from balancekit.lesson.lever_chain.holds import hold, weight_hold
from balancekit.lesson.lever_chain.lever_view import LeverView, key_scene
from balancekit.lesson.lever_chain.one_key import LessonKey
from balancekit.lesson.measure.bench_files import MOST_TRIAL_BYTES, bench_text, read_bench
from balancekit.lesson.measure.real_key import RealKey, real_key, text_beside
from balancekit.lesson.measure.virtual_bench import (
    COMPUTED,
    ENTERED,
    MAY_BE_BELOW_0,
    RULERS,
    SCALES,
    VirtualKey,
    as_shown,
    assess,
    near_and_slips,
)
from balancekit.lesson.practice.exercise import read_entry
from balancekit.lesson.practice.exercise_panel import download_link, file_name
from balancekit.lesson.practice.exercises import MOST_SEED, fresh_seed
from balancekit.lesson.practice.handed_in import text_of
from balancekit.lesson.practice.progress import note
from balancekit.panels.frame import button, panel, row, slider, table_html, words, wrong
from balancekit.panels.widgets import FileDrop

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

    def __init__(self, seed: int | None = None, bench: Bench | None = None) -> None:
        self.bench = bench
        self.entered: dict[str, float] = {}
        self.link, self.real_line = words(), words()
        self.name = widgets.Text(description="Your name", placeholder="for the result")
        self.name.observe(lambda _: self.show_link(), "value")
        self.seed = widgets.BoundedIntText(
            value=0, min=0, max=MOST_SEED, description="Bench number",
            style={"description_width": "initial"}, layout=widgets.Layout(width="16em"),
        )  # fmt: skip
        self.drop = FileDrop(
            self.take_file, text="Go on from a saved result", most_bytes=MOST_TRIAL_BYTES, low=True
        )
        self.usual = LessonKey()
        self.weight = slider("Weight to set", 30, 0, 90, 1, unit="g", whole=True)
        self.view = LeverView(self._scene(0))
        self.title_line, self.said, self.taken, self.result = words(), words(), words(), words()
        self.entries = {name: self._entry(name) for name in ENTERED}
        hold(self.view, weight_hold(self.weight))
        self.weight.observe(lambda _: self.lay_weight(), "value")
        set_row = row(
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
                self.title_line, self.view, self.weight, set_row, self.said, read_row, self.taken,
                words("<b>What you found</b>; leave open what you did not find."), found,
                row(button("How near did I come?", self.compare, main=True),
                    button("Another key", self.take_key)),
                self.result, self.real_line,
                row(self.seed, button("Put this key on the bench",
                                      lambda: self.take_key(self.seed.value)),
                    self.name, self.link),
                self.drop,
            ]
        )  # fmt: skip
        self.take_key(seed)
        if bench is not None:
            bench.when_changed(self._show_log, "instrument", "visit", "key")

    @property
    def real(self) -> RealKey | None:
        """The key in hand of the real instrument, if there is one."""
        if self.bench is None:
            return None
        bench = self.bench
        return real_key(bench.instrument, bench.key, bench.visit, table=bench.findings.table)

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
        self._put(VirtualKey(fresh_seed() if seed is None else seed), {})

    def _put(self, key: VirtualKey, entered: Mapping[str, float]) -> None:
        """Put a key on the bench, with what was entered before."""
        self.key, self.entered, self.compared = key, dict(entered), False
        self.seed.value = key.seed
        self.title_line.value = (
            f"<b>Key {self.key.key}, {self.key.note_name}, a {self.key.colour}</b> "
            f"(bench number {self.key.seed}). Its numbers are hidden; it has no support spring. "
            "The drawing shows a usual key, not this one."
        )
        for name, entry in self.entries.items():
            entry.value = f"{entered[name]:g}" if name in entered else ""
        self.said.value = self.result.value = ""
        self.view.put_key(0.0)
        self.lay_weight()
        self._show_log()
        self.show_link()

    def take_file(self, name: str, data: bytes) -> None:
        """Go on with a saved result: all its steps are done again."""
        try:
            worked = read_bench(text_of(data))
        except BalancekitError as error:
            self.result.value = wrong(f"{name}: {error}")
            return
        self.name.value = worked.name
        self._put(worked.key, worked.entered)

    def show_link(self) -> None:
        """Offer what was done to take along; every step is done again when it is read."""
        text = bench_text(self.key, self.entered, self.name.value.strip())
        file = file_name("bench", self.name.value, self.key.seed)
        self.link.value = download_link(
            file, "application/json", text, "Save the result for the teacher"
        )

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
        self.show_link()
        real, rows = self.real, []
        for pressed, start, moved, still in (
            (False, "key at rest", "sinks", "stays up"),
            (True, "pressed key", "lifts", "stays down"),
        ):
            tried = sorted(
                (t for t in self.key.trials if t.pressed == pressed), key=lambda t: t.weight_g
            )
            does = ", ".join(f"{t.weight_g} g {moved if t.moved else still}" for t in tried)
            weight = "up_weight_g" if pressed else "down_weight_g"
            beside = [text_beside(real, weight)] if real else []
            rows.append((f"Weights on the {start}", does or "none yet", *beside))
        for name, taken in self.key.readings.items():
            read = ", ".join(as_shown(name, value) for value in taken)
            beside = [text_beside(real, name)] if real else []
            rows.append((QUANTITIES[name].label, read or "not read yet", *beside))
        heads = ("At the bench", "So far", *([f"Real key {real.key}"] if real else []))
        self.taken.value = table_html(heads, rows)
        self.real_line.value = _real_words(real)

    def compare(self) -> None:
        """Show the truth beside what was found."""
        entered, problems = {}, []
        for name, entry in self.entries.items():
            if not entry.value.strip():
                continue
            quantity = QUANTITIES[name]
            value, hindered = _read(entry.value.strip(), quantity.unit)
            if hindered or (value <= 0 and name not in MAY_BE_BELOW_0):
                text = hindered or f"{entry.value.strip()} is not above 0."
                problems.append(f"{quantity.label}: {text}")
            else:
                entered[name] = value
        if problems or not entered:
            text = "\n".join(problems) or "Enter what you found first."
            self.result.value = wrong(text, "alert")
            return
        self.entered = entered
        self.show_link()
        table, real = assess(self.key, entered), self.real
        rows = [
            (
                QUANTITIES[name].label,
                as_shown(name, line["entered"]),
                as_shown(name, line["truth"]),
                as_shown(name, line["from_weighing"]),
                as_shown(name, line["from_slip"]),
                f"{round(line['in_u'], 1) + 0.0:.1f}".replace("-", "−"),
                line["verdict"],
                *([text_beside(real, name)] if real else []),
            )
            for name, line in ((str(name), line) for name, line in table.to_dict("index").items())
        ]
        headings = (
            "Quantity", "You", "Truth", "Miss from weighing", "Miss from a slip",
            "Miss in standard uncertainties", "Verdict",
            *([f"Real key {real.key}"] if real else []),
        )  # fmt: skip
        near, _ = near_and_slips(table)
        # Only the first comparison counts: after it the truth is known.
        kept = "" if self.compared else note("virtual bench", near == len(table))
        self.compared = True
        self.result.value = (
            f"{escape(kept)}<b>{near} of {len(table)} lie within two standard uncertainties.</b> "
            "From weighing alone, about 19 of 20 should." + table_html(headings, rows)
        )


def _real_words(real: RealKey | None) -> str:
    """Say what the real key beside is, and what is still to be weighed there."""
    if real is None:
        return ""
    lacks = ", ".join(QUANTITIES[name].label.lower() for name in real.lacks)
    rest = f"Not read there yet: {escape(lacks)}." if lacks else "All of it was read there."
    return (
        f"<b>Beside it: {escape(real.words)}.</b> {rest} Its truth nobody knows: only the "
        "uncertainty says how near you are."
    )


def _read(typed: str, unit: str) -> tuple[float, str]:
    """Read an entry; a number alone has the unit of its field, cm are taken too."""
    bare = f"{typed} {unit}" if unit and not typed[-1:].isalpha() else typed
    return read_entry(bare, unit)


def virtual_bench_panel(seed: int | None = None, bench: Bench | None = None) -> widgets.VBox:
    """A key with hidden truth, to be weighed and computed; beside it a real one, if you like.

    Parameters
    ----------
    seed : the bench number; everyone with the same number has the same key.
    bench : of your own instrument: its key in hand stands beside the virtual one.
    """
    children: list[widgets.Widget] = [
        words(
            "Find the down weight with the key at rest: the least weight that makes it sink. Find "
            "the up weight with the key pressed: the greatest that it still lifts. Near the border "
            "the key wavers, as a real one does. Then read scales and rulers, compute, and enter."
        )
    ]
    if bench is not None:
        last = len(bench.instrument.keys)
        hand = slider("Real key beside it", bench.key, 1, last, 1, whole=True)
        traitlets.link((bench, "key"), (hand, "value"))
        children.append(hand)
    title = "The virtual bench" if bench is None else "The virtual key and a real one"
    return panel(title, *children, VirtualDesk(seed, bench))
