"""What looks wrong, as a list with what to do."""

from __future__ import annotations

from collections.abc import Sequence

import ipywidgets as widgets

from balancekit.calculation.believed.find import shown_runs
from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.quantities import QUANTITIES, READING_COLUMNS
from balancekit.calculation.words import plural, run_in_words
from balancekit.instrument.bench import Bench
from balancekit.instrument.doubts import MISSING_READING, STANDS_OUT, Doubt
from balancekit.instrument.findings import Findings
from balancekit.instrument.mend import take_fitting
from balancekit.panels.frame import Later, panel, words, wrong
from balancekit.panels.saving import Saving
from balancekit.panels.widgets import DoubtList

_MOST_LINES = 60
_SETTLE_SECONDS = 0.5
"""Pause after the last change, so that the list does not hold up someone who types."""


def lines_of(doubts: Sequence[Doubt], show: bool = True) -> list[dict[str, object]]:
    """Return what a list shows of some doubts; ``show`` for a button that shows the key."""
    return [
        {
            "id": doubt_id(doubt),
            "key": "All keys" if doubt.key is None else f"Key {doubt.key}",
            "words": f"{_KINDS.get(doubt.kind, '')}{doubt.words}",
            "advice": doubt.advice,
            "take": doubt.take,
            "keep": doubt.keep,
            "show": show and doubt.key is not None,
        }
        for doubt in doubts
    ]


_KINDS = {STANDS_OUT: "stands out: ", "slip": "slip of the pen? "}


def doubt_id(doubt: Doubt) -> str:
    """Return what a doubt is known by, as long as the same was read."""
    return f"{doubt.key}:{doubt.quantity}:{doubt.read}"


class Flags(widgets.VBox):
    """The list of what is doubted: each can be taken as it would fit, kept, or shown."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.text = words()
        self.list = DoubtList(self.press)
        super().__init__([self.list, self.text])
        later = Later(_SETTLE_SECONDS, self.refresh)
        self.refresh()
        bench.observe(lambda _: later.ask(), ["instrument", "visit"])

    def refresh(self) -> None:
        """List what is found now."""
        findings = self.bench.findings
        shown = [doubt for doubt in findings.told if doubt.kind != MISSING_READING]
        missing = len([flag for flag in findings.flags if flag.kind == "missing"])
        self.list.lines = lines_of(shown[:_MOST_LINES])
        parts = []
        if not shown:
            parts.append("Nothing stands out: every reading is what the others lead one to expect.")
        if len(shown) > _MOST_LINES:
            parts.append(f"And {len(shown) - _MOST_LINES} more.")
        if missing:
            parts.append(
                f"Missing: {plural(missing, 'reading')}. What needs them is left open, or "
                "taken from what all readings tell, with a larger uncertainty."
            )
        parts += _off_together(findings)
        self.text.value = "<br>".join(parts)

    def press(self, what: str, name: str) -> None:
        """Take what would fit, keep what was read, or show the key of one line."""
        told = {doubt_id(doubt): doubt for doubt in self.bench.findings.told}
        doubt = told.get(name)
        if doubt is None:  # answered meanwhile, in another view
            self.refresh()
        elif what == "take":
            try:
                changed = take_fitting(self.bench.instrument, self.bench.visit, doubt)
            except BalancekitError as error:
                self.text.value = wrong(error)
                return
            self.bench.change(changed)
        elif doubt.key is not None and what == "keep":
            self.bench.confirm(doubt.key, *doubt.quantities)
        elif doubt.key is not None:
            columns = [name for name in doubt.quantities if name in READING_COLUMNS]
            self.bench.show(doubt.key, columns[0] if columns else READING_COLUMNS[0])


def _off_together(findings: Findings) -> list[str]:
    """Name the groups of keys, which another panel explains."""
    keys = findings.table.index
    said = [
        f"{QUANTITIES[name].label.lower()} of "
        + run_in_words(keys[run.first], keys[run.last], "sharps" if run.sharps else "keys")
        for name, run in shown_runs(findings.runs)
    ]
    return [f"<b>Off together:</b> {'; '.join(said)}. 3 · Balance says why."] if said else []


def flags_panel(bench: Bench) -> widgets.VBox:
    """What looks wrong in the readings in hand."""
    return panel("What looks wrong", Flags(bench), Saving(bench))
