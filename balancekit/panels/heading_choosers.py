"""A chooser beside each heading of a file that was not understood."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import ipywidgets as widgets

from balancekit.calculation.words import escape, plural
from balancekit.instrument.bring_in.import_memory import forget_headings, remembered_headings
from balancekit.instrument.bring_in.import_parts import (
    ASKED,
    GUESS,
    LEAVE_OUT,
    REMEMBERED,
    UNCLEAR,
    Heading,
)
from balancekit.panels.frame import button, row, words

_HOW = {
    GUESS: "a guess: {guess}. Say yes, or what it is",
    ASKED: "please choose",
    UNCLEAR: "not known here: left out until you say what it is",
    REMEMBERED: "as you said for an earlier file",
}


class HeadingChoosers(widgets.VBox):
    """Gives each heading that was not understood its meaning.

    Parameters
    ----------
    answered : called after each answer.

    Attributes
    ----------
    given : what the user said, by heading.
    boxes : the chooser of each heading.
    """

    def __init__(self, answered: Callable[[], None]) -> None:
        self._answered = answered
        self.given: dict[str, str] = {}
        self._ids: dict[str, str] = {}
        self.boxes: dict[str, widgets.Dropdown] = {}
        self._lines: dict[str, tuple[widgets.HTML, widgets.Box, widgets.Button]] = {}
        self._guesses: Mapping[str, str] = {}
        self._setting = False
        self.all_guesses = button("Yes, all guesses are right", self.take_guesses, main=True)
        self.kept = words()
        self.forget_all = button("Forget them", self._forget_all)
        super().__init__()

    def clear(self) -> None:
        """Begin anew, for another file."""
        self.given, self._ids, self.boxes, self._lines = {}, {}, {}, {}
        self.children = ()

    @property
    def answers(self) -> dict[str, str]:
        """What the user said, by the ids of answers."""
        return {self._ids[name]: meaning for name, meaning in self.given.items()}

    def show(self, headings: Sequence[Heading]) -> None:
        """Show the headings that need a chooser; one that is there stays, with its focus."""
        unclear = [heading for heading in headings if heading.choices]
        self._guesses = {h.written: h.choices[0][0] for h in unclear if h.how == GUESS}
        self._setting = True
        for heading in unclear:
            self._line(heading)
        self._setting = False
        count = len(remembered_headings())
        self.kept.value = (
            f"Remembered on this machine: {plural(count, 'heading')}." if count else ""
        )
        parts: list[widgets.Widget] = [self._lines[heading.written][1] for heading in unclear]
        if len(self._guesses) > 1:
            parts.insert(0, row(self.all_guesses))
        if count:
            parts.append(row(self.kept, self.forget_all))
        if tuple(parts) != tuple(self.children):
            self.children = tuple(parts)

    def _line(self, heading: Heading) -> None:
        name = heading.written
        self._ids[name] = heading.answer_id
        if name not in self._lines:
            box = widgets.Dropdown(
                options=_options(heading), layout=widgets.Layout(width="auto", min_width="20em")
            )
            box.observe(lambda change: self._chosen(name, change["new"]), "value")
            box.tooltip = f"What the column '{name}' is"
            forget = button(
                "Forget", lambda: self._forget(name), hint=f"Forget what '{name}' meant"
            )
            text = words()
            self.boxes[name] = box
            self._lines[name] = text, row(text, box, forget), forget
        text, _, forget = self._lines[name]
        first = escape(", ".join(heading.first_values)) or "nothing in the first rows"
        guess = escape(heading.choices[0][1].removeprefix("yes, "))
        how = _HOW.get(heading.how, "{understood}").format(
            guess=guess, understood=escape(heading.understood)
        )
        text.value = f"<b>{escape(name)}</b>: {first}; {how}"
        forget.layout.display = None if heading.how == REMEMBERED else "none"
        self.boxes[name].value = self.given.get(name) or _settled(heading)

    def _chosen(self, name: str, value: str) -> None:
        if self._setting:
            return
        if value:
            self.given[name] = value
        else:
            self.given.pop(name, None)
        self._answered()

    def take_guesses(self) -> None:
        """Say yes to every guess."""
        self.given |= self._guesses
        self._answered()

    def _forget(self, name: str) -> None:
        forget_headings(name)
        self._answered()

    def _forget_all(self) -> None:
        forget_headings()
        self._answered()


def _settled(heading: Heading) -> str:
    """Return the choice that stands without an answer, "" if one is waited for."""
    if heading.how in (GUESS, ASKED):
        return ""
    return heading.column or LEAVE_OUT


def _options(heading: Heading) -> list[tuple[str, str]]:
    return [("please choose", ""), *((text, value) for value, text in heading.choices)]
