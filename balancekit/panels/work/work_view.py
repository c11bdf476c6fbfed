"""What the panels of sheets and proof share: a view of the desk, and a chart before and after."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import ipywidgets as widgets
import pandas as pd

from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.quantities import QUANTITIES, uncertainty_name
from balancekit.calculation.words import escape
from balancekit.charts.before_after import (
    BeforeAfter,
    before_after_chart,
    before_after_data,
    name_axes,
)
from balancekit.charts.look import mark_key
from balancekit.instrument.bench import Bench
from balancekit.instrument.choices.sheet_plan import (
    DECIDED,
    NOTHING,
    PROPOSED,
    WRITTEN,
    PlannedInstrument,
)
from balancekit.panels.frame import words
from balancekit.panels.with_keyboard import with_keyboard
from balancekit.panels.work.work_desk import WorkDesk
from balancekit.sharing.work import Work

PLAN_WORDS: Mapping[str, str] = {
    DECIDED: "This is what you decided.",
    WRITTEN: "You have decided nothing anew. This is the plan of the sheets written on {day}.",
    PROPOSED: "Nothing is decided yet. This is a proposal, worked out with usual wishes.",
    NOTHING: "Nothing is decided about hammers, leads and springs.",
}


def plan_words(plan: PlannedInstrument) -> str:
    """Say in one sentence what plan this is."""
    return PLAN_WORDS[plan.kind].format(day=escape(plan.day))


class WorkView(widgets.VBox):
    """A view of the desk that says why there is nothing to show, where there is nothing.

    A subclass gives ``make``, which returns its widgets once, and ``show``, which puts the
    present state into them and may raise ``BalancekitError``.
    """

    def __init__(self, desk: WorkDesk) -> None:
        self.desk, self.bench = desk, desk.bench
        self.refusal = words()
        super().__init__()
        self.parts = widgets.VBox(list(self.make()))
        self.children = (self.refusal, self.parts)
        desk.when_changed(self.refresh)

    def make(self) -> Sequence[widgets.Widget]:
        """Return the widgets."""
        raise NotImplementedError

    def show(self) -> None:
        """Put the present state into the widgets."""
        raise NotImplementedError

    def refresh(self) -> None:
        """Show the present state."""
        try:
            self.show()
        except BalancekitError as error:
            self.refusal.value = f"Nothing can be shown here yet. {escape(error)}"
            self.parts.layout.display = "none"
        else:
            self.refusal.value = ""
            self.parts.layout.display = ""


def toggles(options: Sequence[tuple[str, str]], label: str) -> widgets.ToggleButtons:
    """Return buttons of which one is down; ``options`` are words and value."""
    return widgets.ToggleButtons(
        options=list(options),
        description=label,
        style={"description_width": "initial", "button_width": "auto"},
    )


def compared(
    work: Work,
    name: str,
    second: pd.DataFrame | None = None,
    marked: Mapping[int, str] | None = None,
) -> BeforeAfter:
    """Gather one quantity before and after the work; the band is that of the next reading.

    Parameters
    ----------
    work : see ``sharing.work.Work``.
    name : of the quantity.
    second : table of keys after the work; None before it.
    marked : sentence by key, for keys to look at.
    """
    u = uncertainty_name(name)
    weighed = work.found if second is None else second
    nothing = pd.Series(float("nan"), work.found.index)
    weighing = weighed.get(u, nothing).fillna(0.0)
    return BeforeAfter(
        name,
        work.found[["note_name", "colour"]],
        work.found.get(name, nothing).astype(float),
        work.expected[name],
        (work.expected[u] ** 2 + weighing**2) ** 0.5,
        None if second is None else second.get(name, nothing).astype(float),
        marked or {},
    )


class BeforeAfterView(widgets.VBox):
    """One quantity at a time over the drawn keyboard, chosen by buttons."""

    def __init__(
        self, bench: Bench, names: Sequence[str], drawn: Callable[[str], BeforeAfter]
    ) -> None:
        self.bench, self.drawn = bench, drawn
        self.quantity = toggles([(QUANTITIES[name].label, name) for name in names], "Show")
        self.quantity.observe(lambda _: self.refresh(), "value")
        self._shape: object = None
        super().__init__()
        bench.observe(lambda _: self._mark(), "key")

    def refresh(self) -> None:
        """Draw the chosen quantity; the figure is made anew only for another keyboard."""
        drawn = self.drawn(str(self.quantity.value))
        instrument = self.bench.instrument
        shape = (len(drawn.keys), instrument.settings.first_note, instrument.sections,
                 drawn.came_out is None)  # fmt: skip
        if shape != self._shape:
            self._build(drawn)
            self._shape = shape
        with self.view.one_change():
            self.chart.show(before_after_data(drawn))
            name_axes(self.chart, drawn)
        self.keyboard.marks = {str(key): text for key, text in drawn.marked.items()}

    def _build(self, drawn: BeforeAfter) -> None:
        sections = [(part.name, part.first_key) for part in self.bench.instrument.sections]
        self.chart = before_after_chart(drawn, sections=sections)
        name = "Chart over the keyboard: before, expected with its band, and what came out."
        parts = with_keyboard(self.bench, self.chart.figure, drawn.keys, name)
        self.view, self.keyboard, _ = parts
        self.children = (self.quantity, *parts)
        self._mark()

    def _mark(self) -> None:
        if self.children:
            with self.view.one_change():
                mark_key(self.chart.figure, self.bench.key)
