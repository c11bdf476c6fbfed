"""What was decided in later chapters and binds every way, with a button that releases it."""

from __future__ import annotations

from functools import partial

import ipywidgets as widgets

from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.words import escape
from balancekit.instrument.bench import Bench
from balancekit.instrument.choices.plan_bounds import Bound, bounds_of
from balancekit.panels.frame import button, row, words, wrong


class Bounds(widgets.VBox):
    """Each decision that binds the plan in one line; the undo of the bench takes a release back."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.bounds: list[Bound] = []
        self._said = [""]
        super().__init__([])
        bench.when_changed(self.refresh, "instrument")

    def refresh(self) -> None:
        """Show what binds the plan of the instrument in hand."""
        unread = ""
        try:
            self.bounds = bounds_of(self.bench.instrument)
        except BalancekitError as error:
            self.bounds, unread = [], str(error)
        said = [unread, *(each.words for each in self.bounds)]
        if said == self._said:
            return
        self._said = said
        heading = words(
            "<b>Every way keeps what you decided in a later chapter.</b> Release what is to be "
            "left to the plan; undo brings it back."
        )
        lines = [self._line(number, bound) for number, bound in enumerate(self.bounds)]
        self.children = (words(wrong(unread)),) if unread else (heading, *lines) if lines else ()

    def _line(self, number: int, bound: Bound) -> widgets.Box:
        release = button(
            "Release" if bound.left else "Release this chapter",
            partial(self._release, number),
            hint=f"Release: {bound.words}",
        )
        said = words(f"{escape(bound.notebook)}: {escape(bound.words)}")
        said.layout = widgets.Layout(flex="1 1 55%", min_width="0")
        return row(release, said)

    def _release(self, number: int) -> None:
        self.bench.change(self.bounds[number].release(self.bench.instrument))
