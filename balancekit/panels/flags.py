"""What looks wrong, as a list with what to do."""

from __future__ import annotations

import ipywidgets as widgets

from balancekit.calculation.quantities import QUANTITIES
from balancekit.calculation.words import plural
from balancekit.instrument.bench import Bench
from balancekit.panels.frame import Later, button, panel, row, table_html, words
from balancekit.panels.saving import Saving

_KINDS = {"slip": "slip of the pen?", "stands-out": "stands out", "missing": "not read"}
_MOST_ROWS = 60
_SETTLE_SECONDS = 0.5
"""Pause after the last change, so that the list does not hold up someone who types."""


class Flags(widgets.VBox):
    """The list of flags and doubts; the reading in question can be kept as it is."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.text = words()
        self.which = widgets.Dropdown(
            description="Reading", style={"description_width": "initial"},
            layout=widgets.Layout(width="auto", min_width="22em"),
        )  # fmt: skip
        self.keeping = row(
            self.which,
            button("Show this key", self.show_key),
            button("Keep it as it is", self.keep, hint="You looked at it; it is asked no more"),
        )
        super().__init__([self.text, self.keeping])
        later = Later(_SETTLE_SECONDS, self.refresh)
        self.refresh()
        bench.observe(lambda _: later.ask(), ["instrument", "visit"])

    def refresh(self) -> None:
        """List what is found now."""
        findings = self.bench.findings
        flags = [flag for flag in findings.flags if flag.kind != "missing"]
        missing = len(findings.flags) - len(flags)
        rows: list[tuple[object, ...]] = [
            (
                flag.key,
                _KINDS[flag.kind],
                QUANTITIES[flag.quantity].label,
                QUANTITIES[flag.quantity].text(flag.read),
                QUANTITIES[flag.quantity].text(flag.expected),
                flag.advice,
            )
            for flag in flags
        ]
        named = {(flag.key, flag.quantity) for flag in flags}
        rows += [
            (
                "all" if doubt.key is None else doubt.key,
                doubt.kind,
                QUANTITIES[doubt.quantity].label if doubt.quantity in QUANTITIES else "Row",
                doubt.read,
                doubt.expected,
                doubt.advice,
            )
            for doubt in findings.doubts
            if (doubt.key, doubt.quantity) not in named and doubt.kind != "missing reading"
        ]
        parts = []
        if rows:
            headings = ("Key", "What", "Quantity", "Read", "The others suggest", "What to do")
            parts.append(table_html(headings, rows[:_MOST_ROWS]))
        else:
            parts.append("Nothing stands out: every reading is what the others lead one to expect.")
        if missing:
            parts.append(
                f"Missing: {plural(missing, 'reading')}. What needs them is left open, or "
                "taken from the trend with a larger uncertainty."
            )
        self.text.value = "<br>".join(parts)
        self.which.options = [
            (f"key {flag.key}, {QUANTITIES[flag.quantity].label.lower()}",
             (flag.key, flag.quantity))
            for flag in flags
        ]  # fmt: skip
        self.which.index = 0 if flags else None
        self.keeping.layout.display = "flex" if flags else "none"

    def show_key(self) -> None:
        """Take the key of the chosen reading in hand."""
        if self.which.value:
            self.bench.key = self.which.value[0]

    def keep(self) -> None:
        """Keep the chosen reading as it is."""
        if self.which.value:
            self.bench.confirm(*self.which.value)


def flags_panel(bench: Bench) -> widgets.VBox:
    """What looks wrong in the readings in hand."""
    return panel("What looks wrong", Flags(bench), Saving(bench))
