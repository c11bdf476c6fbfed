"""The panel that chooses which set of readings is in hand."""

from __future__ import annotations

import ipywidgets as widgets

from balancekit.calculation.words import plural
from balancekit.instrument.bench import Bench
from balancekit.panels.frame import panel, words


class ChooseVisit(widgets.VBox):
    """A list of the sets of readings; the one chosen is in hand in every notebook."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self._showing = False
        self.listed = widgets.Dropdown(
            description="Readings in hand",
            style={"description_width": "11em"},
            layout=widgets.Layout(width="100%", max_width="560px"),
        )
        self.listed.observe(self._chosen, "value")
        self.said = words()
        super().__init__([self.listed, self.said])
        bench.when_changed(self.refresh, "instrument", "visit")

    def refresh(self) -> None:
        """List the sets of readings and say what the one in hand holds."""
        visits = self.bench.instrument.visits
        self._showing = True
        try:
            options = [
                (
                    f"{number + 1} · {visit.title}" + (f", {visit.date}" if visit.date else ""),
                    number,
                )
                for number, visit in enumerate(visits)
            ]
            if options != list(self.listed.options):
                self.listed.options = options
            self.listed.value = self.bench.visit
        finally:
            self._showing = False
        held = visits[self.bench.visit].readings
        count = self.bench.instrument.settings.key_count
        text = f"{held['key'].nunique()} of {plural(count, 'key')} read."
        if len(visits) == 1:
            text += " A later set is added with <b>Bring readings in</b>, notebook 1 · Readings."
        self.said.value = text

    def _chosen(self, change: dict[str, int | None]) -> None:
        if not self._showing and change["new"] is not None:
            self.bench.visit = change["new"]


def visit_panel(bench: Bench) -> widgets.VBox:
    """Choose which set of readings is in hand."""
    return panel("Which readings are in hand?", ChooseVisit(bench))
