"""A bench for lessons: in memory only, and silent about what stands out until it may speak."""

from __future__ import annotations

from dataclasses import replace

from traitlets import Bunch

from balancekit.instrument.bench import Bench
from balancekit.instrument.findings import Findings
from balancekit.instrument.model import Instrument


class LessonBench(Bench):
    """One invented instrument. Nothing is saved, and the user's own instruments are not touched."""

    def __init__(self, instrument: Instrument) -> None:
        self._silent = True
        super().__init__(instrument, None)

    def save(self, *, replace_changed: bool = False) -> None:
        """Keep everything in memory."""
        self.saved = "A lesson: nothing is saved."

    def findings_of(self, visit: int) -> Findings:
        """Return the findings; without flags and doubts while the bench is silent."""
        found = super().findings_of(visit)
        if not self._silent:
            return found
        return Findings(found.trends, (), (), found.table, replace(found.known, slips=()))

    @property
    def told(self) -> Findings:
        """All findings, also while the bench is silent."""
        return super().findings_of(self.visit)

    def begin(self, instrument: Instrument) -> None:
        """Put another instrument on the bench, and be silent about it."""
        self._silent = True
        self._take(instrument)

    def reveal(self) -> None:
        """Let every panel show what stands out."""
        self._silent = False
        change = {"name": "instrument", "owner": self, "type": "change"}
        self.notify_change(Bunch(change, old=self.instrument, new=self.instrument))
