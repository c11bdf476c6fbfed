"""What the panels of a choice share: the desk that holds it, and the views of that desk."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from math import isclose
from typing import Any, Generic, TypeVar

import ipywidgets as widgets
import traitlets
from bokeh.layouts import column

from balancekit.calculation.problems import BalancekitError, refuse
from balancekit.calculation.words import escape
from balancekit.charts.look import Chart, mark_key
from balancekit.instrument.bench import Bench, is_same
from balancekit.panels.frame import Later, words
from balancekit.panels.with_keyboard import with_keyboard

OTHERS_AFTER_S = 0.3
NEXT_AFTER_S = 0.02
WORDS_AFTER_S = 0.05
KEPT_AFTER_S = 1.5
# Our own choice: the picture in hand follows at once, and its words when it is on its way; the
# other panels at rest, one by one, so that a new move never waits for all of them; the folder
# after that.

_HIDDEN = "none"

Choice = TypeVar("Choice")
Inputs = TypeVar("Inputs")


class ChoiceDesk(traitlets.HasTraits, Generic[Choice, Inputs]):
    """A choice as it stands on the screen, and the views that look at it.

    A choice reaches the instrument by itself, a little after the last move of a control.
    A subclass gives ``proposal``, the choice that nobody made yet, ``_read``, which takes what
    the bench holds, ``keep`` and ``as_found``.

    Traits
    ------
    said : a sentence about saving and undo, for a screen.
    """

    said = traitlets.Unicode("")
    proposal: Choice

    def __init__(self, bench: Bench) -> None:
        super().__init__()
        self.bench = bench
        self.choice: Choice = self.proposal
        self.refusal = ""
        self._inputs: Inputs | None = None
        self._made_from: tuple[Any, ...] = ()
        self._views: list[Callable[[], None]] = []
        self._stale: list[Callable[[], None]] = []
        self._others = Later(OTHERS_AFTER_S, self._show_next)
        self._next = Later(NEXT_AFTER_S, self._show_next)
        self._keep_later = Later(KEPT_AFTER_S, self.keep)
        self._read()
        bench.observe(lambda _: self._bench_changed(), ["instrument", "visit"])

    # What is seen

    @property
    def inputs(self) -> Inputs:
        """The instrument as the choice sees it; ask ``refusal`` first."""
        if self._inputs is None:
            raise refuse(self.refusal, "")
        return self._inputs

    @property
    def sections(self) -> list[tuple[str, int]]:
        """Name and first key of each section."""
        return [(part.name, part.first_key) for part in self.bench.instrument.sections]

    @property
    def ready(self) -> bool:
        """Whether what the views show is at hand, or found at once."""
        return True

    def get_ready(self, call: Callable[[], None]) -> None:
        """Find what the views show, and call one of them when it is there."""
        call()

    # What changes it

    def when_changed(self, call: Callable[[], None]) -> None:
        """Call a view now and after each change."""
        self._views.append(call)
        call()

    def take(self, choice: Choice, by: Callable[[], None] | None = None) -> None:
        """Take a choice; the view it came from is shown at once, the others at rest."""
        if choice == self.choice:
            return
        self.choice = choice
        self._stale = list(self._views)
        if by is not None:
            self._stale.remove(by)
            by()
        self._others.ask()
        self._keep_later.ask()

    def as_found(self) -> None:
        """Leave the instrument as it is; undo brings the choice back."""
        raise NotImplementedError

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

    # Following the bench

    def _read(self) -> None:
        """Take what the bench holds."""
        raise NotImplementedError

    def _bench_changed(self) -> None:
        before, choice = self._inputs, self.choice
        self._read()
        if self._inputs is not before or self.choice != choice:
            self._stale = list(self._views)
            self._show_all()

    def _work_through(self, work: Callable[[], Inputs], *kinds: str) -> bool:
        """Work through what the bench holds if it is new; tell whether it was."""
        rests_on = self.bench.rests_on(self.bench.visit, *kinds)
        if is_same(rests_on, self._made_from):
            return False
        self._made_from, self.refusal = rests_on, ""
        try:
            self._inputs = work()
        except BalancekitError as error:
            self._inputs, self.refusal = None, str(error)
        return True

    def _show_next(self) -> None:
        """Show one view that is behind, and see to the next one a little later."""
        if not self._can_show(self._show_next):
            return
        if self._stale:
            self._stale.pop(0)()
            self._next.ask()

    def _show_all(self) -> None:
        if not self._can_show(self._show_all):
            return
        while self._stale:
            self._stale.pop(0)()

    def _can_show(self, then: Callable[[], None]) -> bool:
        """Tell whether a view can be shown; else call again when it can."""
        can = bool(self.refusal) or self.ready
        if not can:
            self.get_ready(then)
        return can


class ChoiceView(widgets.VBox):
    """One view of a desk: made anew for another instrument, else only shown anew.

    A subclass gives ``make``, which returns its widgets, ``show``, which puts the present state
    into them, ``tell``, which says it in words, ``value_of`` and ``changed`` for its controls,
    and ``nothing``, the sentence for a screen where there is nothing to choose yet.
    """

    nothing = ""

    def __init__(self, desk: Any) -> None:
        self.desk = desk
        self.controls: dict[str, Any] = {}
        self.charts: dict[str, Chart] = {}
        self.view: Any = None
        self._made_for: object = None
        self._showing = False
        self._words = Later(WORDS_AFTER_S, self._tell)
        super().__init__()
        desk.when_changed(self.refresh)
        desk.bench.observe(lambda _: self._key_changed(), "key")

    def make(self) -> Sequence[widgets.Widget]:
        """Return the widgets."""
        raise NotImplementedError

    def show(self) -> None:
        """Put the present state into the widgets."""
        raise NotImplementedError

    def tell(self) -> None:
        """Say the present state in words; done a moment after ``show``, for the picture's sake."""

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
        fresh = self._made_for is not self.desk.inputs
        if fresh:
            self.controls, self.charts, self.view = {}, {}, None
            self.children = tuple(self.make())
            self._made_for = self.desk.inputs
        self._showing = True
        try:
            for name, control in self.controls.items():
                if control.layout.display != _HIDDEN:
                    self.put(name, control)
            self.show()
        finally:
            self._showing = False
        if fresh:
            self._tell()
        else:
            self._words.ask()

    def _tell(self) -> None:
        if not self.desk.refusal and self._made_for is self.desk.inputs:
            self.tell()

    def put(self, name: str, control: Any) -> None:
        """Put the present value into one control; a last bit is not worth a message."""
        value = self.on_control(name)
        numbers = isinstance(value, float) and isinstance(control.value, float)
        if not (numbers and isclose(value, control.value, abs_tol=1e-9)):
            control.value = value

    def on_control(self, name: str) -> Any:
        """Return what a control can show of its value."""
        return self.value_of(name)

    def seen(self, names: Sequence[str], shown: bool) -> None:
        """Show or hide controls; one that is hidden is not kept up to date."""
        for name in names:
            control = self.controls[name]
            appears = shown and control.layout.display == _HIDDEN
            control.layout.display = "" if shown else _HIDDEN
            if appears:
                self.put(name, control)

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
        parts = with_keyboard(self.desk.bench, figures, self.desk.inputs.table, name)
        self.view, self.keyboard, _ = parts
        self.keyboard.marks = dict(marks or {})
        self.mark()
        return list(parts)

    def mark(self, *names: str) -> None:
        """Move the mark of the key in hand, in all charts or in those named."""
        if self.view is None:
            return
        with self.view.one_change():
            for name in names or self.charts:
                mark_key(self.charts[name].figure, self.key)
