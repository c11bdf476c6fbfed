"""What a panel says when the instrument could not be saved, with the ways on."""

from __future__ import annotations

import ipywidgets as widgets

from balancekit.calculation.problems import BalancekitError
from balancekit.instrument.bench import Bench
from balancekit.panels.frame import button, row, words, wrong


class Saving(widgets.VBox):
    """Not there while all is saved; else the reason, and buttons for what can be done.

    Every panel in which something can be entered has one at its end, so that a full disk or a
    second window is seen where the work is.
    """

    def __init__(self, bench: Bench) -> None:
        self.bench, self.text = bench, words()
        super().__init__(layout=widgets.Layout(display="none"))
        bench.when_changed(self.show, "saved", "conflict")

    def show(self) -> None:
        """Say how it stands with saving, if there is something to say."""
        if self.bench.not_saved and not self.children:
            self._make()
        self._say(self.bench.saved)
        if self.children:
            self.again.layout.display = "none" if self.bench.conflict else "flex"
            self.choice.layout.display = "flex" if self.bench.conflict else "none"
        self.layout.display = "flex" if self.bench.not_saved else "none"

    def _make(self) -> None:
        """Make what is shown, once it is needed."""
        self.again = row(
            button("Save again", self.bench.save),
            button("Save in a new folder", self.bench.save_anew),
        )
        self.choice = row(
            button("Take the one on disk", self._take_from_disk),
            button("Keep the one here", lambda: self.bench.save(replace_changed=True)),
        )
        self.children = [self.text, self.again, self.choice]

    def _take_from_disk(self) -> None:
        try:
            self.bench.take_from_disk()
        except BalancekitError as error:
            self._say(f"Not taken. {error}")

    def _say(self, text: str) -> None:
        self.text.value = wrong(text, "alert")
