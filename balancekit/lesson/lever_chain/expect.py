"""Say what you expect before it is shown: a mark on the axis, then the answer beside it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import ipywidgets as widgets

from balancekit.lesson.lever_chain.lever_view import grams
from balancekit.panels.frame import button, row, words

NEAR_G = 1.0
# Our own choice: a guess within a gram is as good as weighing.


class Expectation(widgets.VBox):
    """A place for a guess. While one is asked for, the panel keeps its answer back.

    Parameters
    ----------
    what : what is to be guessed, in words.
    refresh : draws the panel anew.
    """

    def __init__(self, what: str, refresh: Callable[[], None]) -> None:
        self.what, self._refresh = what, refresh
        self.guess_g: float | None = None
        self.first = widgets.Checkbox(
            value=False, description="Let me say what I expect first", indent=False
        )
        self.entry = widgets.BoundedFloatText(
            value=37.0, min=-100, max=200, step=0.5, description=f"I expect a {what} of (g)",
            style={"description_width": "initial"},
        )  # fmt: skip
        self.asked = row(self.entry, button("Now show it", self.show, main=True))
        self.said = words()
        self.first.observe(self._switched, "value")
        super().__init__([self.first, self.asked, self.said])
        self._lay_out()

    @property
    def hides(self) -> bool:
        """Whether the answer is kept back."""
        return bool(self.first.value) and self.guess_g is None

    def _switched(self, _: Any) -> None:
        self.guess_g = None
        self._lay_out()
        self._refresh()

    def _lay_out(self) -> None:
        self.asked.layout.display = "" if self.first.value else "none"
        self.said.value = ""

    def show(self) -> None:
        """Take the guess and show the answer beside it."""
        self.guess_g = float(self.entry.value)
        self._refresh()

    def changed(self) -> None:
        """Ask anew: a part was moved."""
        if self.guess_g is not None:
            self.guess_g = None
            self.said.value = ""

    def compare(self, value_g: float) -> None:
        """Say how near the guess came."""
        if self.guess_g is None or not self.first.value:
            return
        off = value_g - self.guess_g
        near = abs(off) <= NEAR_G
        how = (
            "Near enough." if near else f"It is {grams(abs(off))} {'more' if off > 0 else 'less'}."
        )
        self.said.value = (
            f'<div role="status">You expected {grams(self.guess_g)}, it is '
            f"<b>{grams(value_g)}</b>. {how}</div>"
        )

    def mark(self, at: float) -> dict[str, Any]:
        """Return the mark of the guess for the stacks' axis, at so many grams."""
        return {"at": at, "side": "guess", "text": "▲ expected"}
