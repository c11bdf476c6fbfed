"""What is doubted in readings that are not taken yet: the same list as on the bench."""

from __future__ import annotations

from collections.abc import Sequence

import ipywidgets as widgets

from balancekit.calculation.problems import BalancekitError
from balancekit.instrument.doubts import MISSING_READING, Doubt
from balancekit.instrument.findings import Findings, find_all
from balancekit.instrument.mend import take_fitting
from balancekit.instrument.model import Instrument, Visit
from balancekit.instrument.occasion import with_confirmed
from balancekit.instrument.table import reading_table
from balancekit.panels.flags import doubt_id, lines_of
from balancekit.panels.frame import beside, words, wrong
from balancekit.panels.widgets import DoubtList

_MOST_LINES = 30


class PendingDoubts(widgets.VBox):
    """Shows what the rows alone give to doubt at once, and what the other keys say a little later.

    Attributes
    ----------
    instrument : the readings in question as the one visit of an instrument, with what was
        taken and kept; None where there are none.
    """

    def __init__(self) -> None:
        self.instrument: Instrument | None = None
        self._told: tuple[Doubt, ...] = ()
        self._asked = 0
        self.list = DoubtList(self.press)
        self.text = words()
        super().__init__([self.list, self.text])

    @property
    def visit(self) -> Visit | None:
        """The readings with what was mended and kept here."""
        return None if self.instrument is None else self.instrument.visits[0]

    def clear(self) -> None:
        """Show nothing."""
        self._asked += 1
        self.instrument = None
        self._show((), "")

    def look(self, instrument: Instrument, doubts: Sequence[Doubt]) -> None:
        """Look at readings; ``doubts`` are those that are known at once."""
        self._asked += 1
        asked, self.instrument = self._asked, instrument
        self._show(doubts, "The readings are compared with those of the other keys …")

        def work() -> Findings:
            return find_all(instrument, 0, reading_table(instrument, 0))

        def done(found: Findings) -> None:
            if asked == self._asked:
                self._show(found.told, "")

        def failed(why: str) -> None:
            self.text.value = wrong(why)

        beside(work, done, failed)

    def _show(self, doubts: Sequence[Doubt], said: str) -> None:
        self._told = tuple(doubts)
        missing = [doubt for doubt in doubts if doubt.kind == MISSING_READING]
        shown = [doubt for doubt in doubts if doubt.kind != MISSING_READING] + missing
        self.list.lines = lines_of(shown[:_MOST_LINES], show=False)
        more = len(shown) - _MOST_LINES
        self.text.value = " ".join([said, f"And {more} more." if more > 0 else ""]).strip()

    def press(self, what: str, name: str) -> None:
        """Take what would fit, or keep what was read, in the readings that are not taken yet."""
        doubt = next((each for each in self._told if doubt_id(each) == name), None)
        held, visit = self.instrument, self.visit
        if doubt is None or held is None or visit is None:
            return
        if what == "take":
            try:
                changed = take_fitting(held, 0, doubt)
            except BalancekitError as error:
                self.text.value = wrong(error)
                return
        else:
            kept = with_confirmed(visit, doubt.key or 0, doubt.quantities)
            changed = held.with_visit(kept, 0)
        self.look(changed, [each for each in self._told if each is not doubt])
