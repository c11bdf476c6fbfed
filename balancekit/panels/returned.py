"""What a returned file holds that is new here: shown, then taken or left, all or one by one."""

from __future__ import annotations

from collections.abc import Callable, Collection

import ipywidgets as widgets

from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.words import escape, plural
from balancekit.instrument.bench import Bench
from balancekit.instrument.descriptor import identified
from balancekit.instrument.merge import News, merge, news
from balancekit.instrument.model import Instrument
from balancekit.panels.frame import button, row, words, wrong

_MOST_LISTED = 200
"""What is listed one by one; what is more than that can be taken all at once."""


class Returned(widgets.VBox):
    """The news of a returned file beside what is here.

    Attributes
    ----------
    ticks : the box to tick of each of the news, by its name.
    """

    def __init__(self, bench: Bench, done: Callable[[str], None]) -> None:
        self.bench, self._done = bench, done
        self._there: Instrument | None = None
        self._sure = False
        self.ticks: dict[str, widgets.Checkbox] = {}
        self.said, self.listed = words(), widgets.VBox()
        self.taking = row(
            button("Take all that is new", self.take_all, main=True),
            button("Take what is ticked", self.take_ticked),
            button("Leave it all", self.leave),
        )
        self.asking = row(
            button("It is the same instrument: show what is new", self.show_although_another)
        )
        super().__init__([self.said, self.asking, self.listed, self.taking])
        self.close_list()

    def look(self, there: Instrument) -> None:
        """Show what is new in the instrument of a returned file; nothing is taken yet."""
        self._there, self._sure = there, False
        self.close_list()
        if there.identity == identified(self.bench.instrument).identity:
            self._show()
        else:
            self.asking.layout.display = "flex"

    def show_although_another(self) -> None:
        """Show what is new although the file says that it holds another instrument."""
        self._sure = True
        self.asking.layout.display = "none"
        self._show()

    def _show(self) -> None:
        assert self._there is not None
        here = identified(self.bench.instrument)
        try:
            found = news(here, self._there, sure=self._sure)
        except BalancekitError as error:
            self.said.value = wrong(error)
            return
        if not found:
            self.said.value = "Nothing is new: all that is in the file is here already."
            return
        self.ticks = {each.name: _tick(each) for each in found[:_MOST_LISTED]}
        more = len(found) - len(self.ticks)
        tail = f" The first {_MOST_LISTED} are listed; take all to take the rest too." * (more > 0)
        self.said.value = (
            f"<b>{plural(len(found), 'thing')}</b> in the file "
            f"{'is' if len(found) == 1 else 'are'} new beside {escape(here.title)}. Tick what to "
            f"take. Where both sides have a value, both are shown; if you take the other one, "
            f"yours is kept as a note.{tail}"
        )
        lines = zip(self.ticks.values(), found, strict=False)
        self.listed.children = [part for tick, each in lines for part in (tick, _values(each))]
        self.taking.layout.display = "flex"

    def take_all(self) -> None:
        """Take everything that is new."""
        self._take(None)

    def take_ticked(self) -> None:
        """Take what is ticked."""
        names = [name for name, tick in self.ticks.items() if tick.value]
        if names:
            self._take(names)
        else:
            self.said.value = "Nothing is ticked. Tick what to take, or leave it all."

    def leave(self) -> None:
        """Take nothing."""
        self.close_list()
        self._done("Nothing was taken.")

    def _take(self, names: Collection[str] | None) -> None:
        assert self._there is not None
        here = identified(self.bench.instrument)
        try:
            merged = merge(here, self._there, names, sure=self._sure)
        except BalancekitError as error:
            self.said.value = wrong(f"Not taken. {error}")
            return
        self.bench.change(merged)
        taken = "All that was new was" if names is None else (
            f"{plural(len(names), 'thing')} {'was' if len(names) == 1 else 'were'}"
        )  # fmt: skip
        self.close_list()
        self._done(f"{taken} taken. Undo in the bench grid brings back what was before.")

    def close_list(self) -> None:
        """Show nothing."""
        self.ticks, self.listed.children, self.said.value = {}, (), ""
        self.taking.layout.display = self.asking.layout.display = "none"


def _tick(each: News) -> widgets.Checkbox:
    return widgets.Checkbox(
        description=each.title[:120], indent=False, layout=widgets.Layout(width="100%")
    )


def _values(each: News) -> widgets.HTML:
    there = f"<b>in the file:</b> {escape(each.there[:2000])}"
    here = f"<br><b>here:</b> {escape(each.here[:2000])}" if each.here else ""
    return words(f'<div style="margin-left: 28px">{there}{here}</div>')
