"""The friction panel."""

from __future__ import annotations

import ipywidgets as widgets

from balancekit.calculation.irregularities.trend import scatter_sentence
from balancekit.instrument.bench import Bench
from balancekit.panels.frame import panel, words
from balancekit.panels.over_keys import KeyStory, OverKeys


class ScatterSentences(widgets.VBox):
    """What of the scatter is weighing and what is the piano, a sentence for each quantity."""

    def __init__(self, bench: Bench, *names: str) -> None:
        self.bench, self.names, self.text = bench, names, words()
        super().__init__([self.text])
        bench.when_changed(self.refresh, "instrument", "visit")

    def refresh(self) -> None:
        """Say it for the present readings."""
        trends = self.bench.findings.trends
        told = []
        for name in self.names:
            if name in trends:
                told.append(scatter_sentence(trends[name], name))
                told.append(trends[name].remark)
        self.text.value = "<br>".join(filter(None, told))


def friction_panel(bench: Bench) -> widgets.VBox:
    """Friction over the keyboard, with trend, what stands out, and the story of one key."""
    related = {"friction_g": ("friction_g", "down_weight_g", "up_weight_g")}
    return panel(
        "Friction over the keyboard",
        words(
            "Half of down weight minus up weight. The green band is what is usual. The line is "
            "the trend, with its band. A square marks a key that neither trend, scatter nor "
            "weighing explains; a triangle at the edge lies beyond the picture."
        ),
        OverKeys(bench, ["friction_g"], related=related, height=340),
        ScatterSentences(bench, "friction_g"),
        KeyStory(bench, ["down_weight_g", "up_weight_g", "friction_g"]),
    )
