"""Choosing an instrument, starting one, and bringing readings in from a file."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import ipywidgets as widgets

from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.words import escape, plural
from balancekit.instrument.bench import Bench
from balancekit.instrument.disk import typed_path
from balancekit.instrument.in_hand import data_folder, home_folder, instruments_in
from balancekit.instrument.model import ACTIONS, BenchSettings, Instrument
from balancekit.panels.frame import button, panel, row, words
from balancekit.panels.saving import Saving

WIDE_LABELS = {"description_width": "11em"}
LINE = widgets.Layout(width="100%", max_width="560px")


def problems_html(error: BalancekitError) -> str:
    """Say every problem, at most thirty on a screen."""
    shown = [f"<li>{escape(problem)}</li>" for problem in error.problems[:30]]
    more = len(error.problems) - len(shown)
    tail = f"<li>and {more} more</li>" if more > 0 else ""
    return f'<div class="bench-bad">This cannot be taken:</div><ul>{"".join(shown)}{tail}</ul>'


class ChooseInstrument(widgets.VBox):
    """Open one of the instruments that are there, any other folder, or start a new one."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.listed = widgets.Dropdown(description="Instrument", style=WIDE_LABELS, layout=LINE)
        self.folder = widgets.Text(
            description="or a folder",
            placeholder="path of the folder",
            style=WIDE_LABELS,
            layout=LINE,
        )
        self.title = widgets.Text(description="Its name", style=WIDE_LABELS, layout=LINE)
        self.count = widgets.BoundedIntText(
            88, min=1, max=97, description="Number of keys", style=WIDE_LABELS
        )
        self.first = widgets.Text("A0", description="First note", style=WIDE_LABELS)
        self.action = widgets.Dropdown(options=ACTIONS, description="Action", style=WIDE_LABELS)
        self.said = words()
        start = widgets.VBox(
            [self.title, row(self.count, self.first, self.action),
             row(button("Start this instrument", self.start))]
        )  # fmt: skip
        new = widgets.Accordion([start], titles=("Start a new instrument",))
        self.look_again = button("Look again for the one in hand last", self._look_again)
        super().__init__(
            [row(self.listed, button("Open", self.open_listed, main=True)),
             row(self.folder, button("Open the folder", self.open_folder)), new, self.said,
             self.look_again]
        )  # fmt: skip
        bench.when_changed(self.refresh, "instrument", "saved")

    def refresh(self) -> None:
        """List what is there and say what is on the bench."""
        own = [(path.name, str(path)) for path in instruments_in(home_folder())]
        demo = [(f"demo: {path.name}", str(path)) for path in instruments_in(data_folder())]
        options = own + demo
        if options != list(self.listed.options):
            self.listed.options = options
        here = str(self.bench.folder)
        if here in dict(options).values():
            self.listed.value = here
        held = self.bench.instrument
        visits = ", ".join(f"{v.title} ({v.date or 'no date'})" for v in held.visits)
        self.said.value = (
            f"On the bench: <b>{escape(held.title)}</b>, {plural(held.settings.key_count, 'key')} "
            f"from {escape(held.settings.first_note)}, {held.settings.action}. Readings: "
            f"{escape(visits)}. {escape(self.bench.saved_where)}"
        )
        self.look_again.layout.display = "" if self.bench.away else "none"

    def open_listed(self) -> None:
        """Open the instrument that is chosen in the list."""
        self._try(lambda: self.bench.open(Path(self.listed.value or ".")))

    def open_folder(self) -> None:
        """Open the folder that was typed."""
        self._try(lambda: self.bench.open(typed_path(self.folder.value.strip()).absolute()))

    def _look_again(self) -> None:
        self._try(self.bench.look_again)

    def _try(self, call: Callable[[], None]) -> None:
        try:
            call()
        except BalancekitError as error:
            self.said.value = problems_html(error)

    def start(self) -> None:
        """Start a new, empty instrument."""
        try:
            settings = BenchSettings(self.count.value, self.first.value, self.action.value)
            new = Instrument(self.title.value.strip() or "My instrument", settings)
        except BalancekitError as error:
            self.said.value = problems_html(error)
            return
        self.bench.start(new)


def instrument_panel(bench: Bench) -> widgets.VBox:
    """Choose or start an instrument."""
    return panel("The instrument on the bench", ChooseInstrument(bench), Saving(bench))
