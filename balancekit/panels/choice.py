"""What the panels of a choice share: the desk that holds it, and the views of that desk."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import ipywidgets as widgets
import traitlets
from bokeh.layouts import column

from balancekit.charts.look import Chart, mark_key
from balancekit.instrument.bench import Bench
from balancekit.panels.chart_table import ChartTable
from balancekit.panels.chart_view import ChartView
from balancekit.panels.frame import escape, words
from balancekit.panels.widgets import Keyboard


class ChoiceDesk(traitlets.HasTraits):
    """A choice as it stands on the screen, and the views that look at it.

    Traits
    ------
    said : a sentence about saving and undo, for a screen.
    """

    said = traitlets.Unicode("")

    def __init__(self, bench: Bench) -> None:
        super().__init__()
        self.bench = bench
        self.refusal = ""
        self._made_from: tuple[Any, ...] = ()
        self._views: list[Callable[[], None]] = []
        self._stale: list[Callable[[], None]] = []

    def when_changed(self, call: Callable[[], None]) -> None:
        """Call a view now and after each change."""
        self._views.append(call)
        call()

    def keep(self) -> None:
        """Put the choice into the instrument, if it is not there yet."""
        raise NotImplementedError

    def undo(self) -> None:
        """Take the last change back."""
        self.keep()
        if self.bench.can_undo:
            self.bench.undo()
        else:
            self.said = "There is nothing to take back."

    def redo(self) -> None:
        """Do again what was taken back."""
        if self.bench.can_redo:
            self.bench.redo()
        else:
            self.said = "There is nothing to do again."

    def _is_new(self, source: tuple[Any, ...]) -> bool:
        """Tell whether what the bench holds differs from what was worked through, and note it."""
        new = len(source) != len(self._made_from) or any(
            new is not old for new, old in zip(source, self._made_from, strict=True)
        )
        if new:
            self._made_from = source
        return new


class ChoiceView(widgets.VBox):
    """One view of a desk: made anew for another instrument, else only shown anew.

    A subclass gives ``make``, which returns its widgets, ``show``, which puts the present state
    into them, ``value_of`` and ``changed`` for its controls, and ``nothing``, the sentence for a
    screen where there is nothing to choose yet.
    """

    nothing = ""

    def __init__(self, desk: Any) -> None:
        self.desk = desk
        self.controls: dict[str, Any] = {}
        self.charts: dict[str, Chart] = {}
        self.view: Any = None
        self._made_for: object = None
        self._showing = False
        super().__init__()
        desk.when_changed(self.refresh)
        desk.bench.observe(lambda _: self._key_changed(), "key")

    def make(self) -> Sequence[widgets.Widget]:
        """Return the widgets."""
        raise NotImplementedError

    def show(self) -> None:
        """Put the present state into the widgets."""
        raise NotImplementedError

    def show_key(self) -> None:
        """Put the key in hand into the widgets, where it matters."""

    def value_of(self, name: str) -> Any:
        """Return what a control shows."""
        raise NotImplementedError

    def changed(self, name: str, value: Any) -> Any:
        """Return the choice after a control was moved."""
        raise NotImplementedError

    @property
    def key(self) -> int:
        """The key in hand."""
        return int(self.desk.bench.key)

    def refresh(self) -> None:
        """Show the present state."""
        if self.desk.refusal:
            self._made_for = None
            told = "<br>".join(escape(line) for line in self.desk.refusal.splitlines())
            self.children = (words(f"{self.nothing} {told}"),)
            return
        if self._made_for is not self.desk.inputs:
            self.controls, self.charts, self.view = {}, {}, None
            self.children = tuple(self.make())
            self._made_for = self.desk.inputs
        self._showing = True
        try:
            for name, control in self.controls.items():
                self.put(name, control)
            self.show()
        finally:
            self._showing = False

    def put(self, name: str, control: Any) -> None:
        """Put the present value into one control."""
        control.value = self.value_of(name)

    def _key_changed(self) -> None:
        if not self.desk.refusal:
            self.show_key()

    def toggles(self, name: str, options: Mapping[str, str], label: str) -> Any:
        """Return buttons for one choice between words; ``options`` are words shown by value."""
        made = widgets.ToggleButtons(
            options=[(text, value) for value, text in options.items()],
            description=label,
            style={"description_width": "initial", "button_width": "auto"},
        )
        return self.bound(name, made)

    def bound(self, name: str, control: Any) -> Any:
        """Bind a control to one value of the choice."""
        self.controls[name] = control
        control.observe(lambda change: self._moved(name, change["new"]), "value")
        return control

    def same(self, name: str, value: Any) -> bool:
        """Tell whether a control only echoes the value that it was given."""
        return False

    def _moved(self, name: str, value: Any) -> None:
        if not self._showing and not self.same(name, value):
            self.desk.take(self.changed(name, value), self.refresh)

    def over_keys(
        self, charts: Mapping[str, Chart], name: str, marks: Mapping[str, str] | None = None
    ) -> list[widgets.Widget]:
        """Put charts over the keys into one view, with the drawn keyboard under them."""
        self.charts = dict(charts)
        figures = column(*[chart.figure for chart in charts.values()], sizing_mode="stretch_width")
        self.view = ChartView(
            figures,
            name=f"{name} The table below has the same numbers.",
            on_key=lambda key: setattr(self.desk.bench, "key", key),
        )
        self.keyboard = Keyboard()
        table = self.desk.inputs.table
        self.keyboard.sticks = table[["note_name", "colour"]].to_dict("records")
        self.keyboard.marks = dict(marks or {})
        traitlets.link((self.desk.bench, "key"), (self.keyboard, "key"))
        self.mark()
        return [self.view, self.keyboard, ChartTable(figures)]

    def mark(self, *names: str) -> None:
        """Move the mark of the key in hand, in all charts or in those named."""
        if self.view is None:
            return
        with self.view.one_change():
            for name in names or self.charts:
                mark_key(self.charts[name].figure, self.key)
