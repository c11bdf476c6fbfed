"""An electronic scale that sends its number into the one-key view."""

from __future__ import annotations

import asyncio
import time
import uuid
from collections.abc import Callable, Mapping
from typing import Any

import ipywidgets as widgets

from balancekit.calculation.quantities import QUANTITIES
from balancekit.calculation.weighing.scale import ON_THE_SCALE
from balancekit.calculation.words import escape, plural
from balancekit.instrument.weighing_scale.line import GRAMS
from balancekit.instrument.weighing_scale.listener import Event, Listener
from balancekit.instrument.weighing_scale.steady import BY_HAND, BY_ITSELF, TRIGGERS, OnTheScale
from balancekit.panels.frame import Later, button, caution, row, words
from balancekit.panels.widgets import OneKey

_ANSWER_S = 8.0
# Our own choice: a page that has not answered for so long is said to have taken nothing yet.

_NAMED = {"style": {"description_width": "initial"}, "layout": widgets.Layout(width="auto")}


class TalkingScale(widgets.VBox):
    """Follows the scale, and offers its numbers to the page, which takes them as typed."""

    def __init__(self, view: OneKey) -> None:
        self.view, self.scale = view, OnTheScale()
        self._listener: Listener | None = None
        self._offered = self._late = self._text = self._next = ""
        self._loss = self._state = ""
        self._garbled, self._garbled_last = 0, ""
        self.port = widgets.Text(description="Port", placeholder="any", **_NAMED)
        self.trigger = widgets.ToggleButtons(
            options=TRIGGERS, value=BY_HAND, description="A number is taken", **_NAMED
        )
        self.unit = widgets.Dropdown(
            options=[("please choose", ""), *((unit, unit) for unit in GRAMS)],
            description="Unit, if the scale names none", **_NAMED,
        )  # fmt: skip
        self.told = words()
        self._unanswered = Later(_ANSWER_S, self._say_unanswered)
        super().__init__(
            [row(self.port, button("Find the scale", self.find, main=True),
                 button("Let it go", self.let_go)),
             row(self.trigger, self.unit), self.told]
        )  # fmt: skip
        self.trigger.observe(lambda _: self._set_up(), "value")
        self.unit.observe(lambda _: self._set_up(), "value")
        view.scale_says = self._page_says

    def find(self) -> None:
        """Look for the scale at the port that is named, or at all, and listen to it."""
        self.let_go()
        self._state, self._garbled, self._loss = "looking", 0, ""
        name, hand_over = self.port.value.strip(), _to_the_loop()
        listener = Listener(
            [name] if name else [], lambda: hand_over(lambda: self._heard(listener))
        )
        self._listener = listener
        listener.start()

    def let_go(self) -> None:
        """Listen no more; another program can have the port."""
        if self._listener is not None:
            self._listener.close()
            self._listener = None
        self._state = self._offered = self._late = self._next = self.told.value = ""
        self.scale.begin()
        self.view.scale = {}

    def _set_up(self) -> None:
        self.scale.trigger, self.scale.unit = self.trigger.value, self.unit.value
        self.scale.not_before_empty()
        self._loss = ""
        self._show()

    def _heard(self, listener: Listener) -> None:
        """Take what the thread has heard, in the kernel's own time."""
        if listener is not self._listener:
            return
        numbers: list[str | None] = []
        for event in listener.taken():
            if event.kind == "line":
                numbers.append(self._line(event))
            elif event.kind == "quiet":
                numbers.append(self.scale.quiet())
            else:
                self._said(event)
        for text in numbers:
            if text is not None:
                self._offer_if_there(text)
        self._show()

    def _line(self, event: Event) -> str | None:
        if self._state == "silent":
            self._loss = ""
        self._state = ""
        if event.line is None:
            self._garbled, self._garbled_last = self._garbled + 1, event.words
        return self.scale.line(event.line, event.at)

    def _said(self, event: Event) -> None:
        self._state = event.kind
        said = escape(event.words)
        if event.kind == "looking":
            self.told.value = said
        elif event.kind == "not found":
            self.told.value = (
                f'<span class="bench-bad">No scale was found. {said} {self.told.value}</span> '
                "Without one, type; a scale that types like a keyboard needs nothing but the field."
            )
        elif event.kind == "found":
            self.told.value = f"Found: {said}."
            self.scale.begin()
        elif event.kind == "lost":
            self.scale.begin()
            self._lose(f"The scale's cable is lost ({event.words}). What was on its way was not "
                       "taken; plug it in again.")  # fmt: skip
        elif event.kind == "back":
            self._lose("The scale is back. What it showed meanwhile was not taken.")
        elif event.kind == "silent" and self.scale.shown.state:
            self._lose("The scale is silent: switched off, asleep, or its cable is out.")

    def _page_says(self, content: Mapping[str, Any]) -> None:
        """Hear from the page: take what lies on the scale, or what came of a number."""
        if content["kind"] == "take":
            self._take(str(content["text"]))
        elif content["id"] == self._late:
            self._late = self._loss = ""
        elif content["id"] == self._offered:
            self._offered, why = "", str(content["why"])
            self._loss = f"{self._text} g was not taken: {why}" if why else ""
            self._offer_next()
        self._show()

    def _take(self, seen: str) -> None:
        """Take what the user saw when they asked, if it lies there still."""
        if self._listener is not None:
            self._heard(self._listener)
        text, why = self.scale.when_asked(time.monotonic())
        if text is None:
            self._lose(why)
        elif text != seen:
            self._lose(f"It showed {seen} g when it was asked, and {text} g now: ask again.")
        else:
            self._offer(text, asked=True)

    def _offer_if_there(self, text: str) -> None:
        """Offer a number that was taken by itself, if it lies there still."""
        if text == self.scale.shown.text:
            self._offer(text)
        else:
            self._lose(f"{text} g came while other work was done, and lies there no more. "
                       "Weigh it again.")  # fmt: skip

    def _offer_next(self) -> None:
        """Offer the number that came while the page had yet to answer for the one before."""
        text, self._next = self._next, ""
        if text:
            self._offer_if_there(text)

    def _offer(self, text: str, asked: bool = False) -> None:
        """Offer a number to the page for the reading that is asked for, or say why not."""
        column = self.view.columns[self.view.column]
        if self._offered:
            self._next = text
        elif column["unit"] != "g":
            self._lose(f"{column['label']} is not weighed: type it. {text} g was not taken.")
        elif not asked and column["name"] not in ON_THE_SCALE:
            self._lose(f"{text} g was not taken: {column['label'].lower()} is set with weights on "
                       "the key. If these lie on the scale now, press Take it.")  # fmt: skip
        else:
            self._offered, self._text = uuid.uuid4().hex, text
            if self.view.offer(self._offered, text):
                self._unanswered.ask()
            else:
                self._offered = ""
                self._lose(f"{text} g was not taken: no page shows the field.")

    def _say_unanswered(self) -> None:
        if self._offered:
            self._offered, self._late = "", self._offered
            self._lose(f"The page has not answered: look whether {self._text} g is in the field.")
            self._offer_next()
            self._show()

    def _lose(self, loss: str) -> None:
        self._loss = loss

    def _show(self) -> None:
        shown = self.scale.shown
        state = self._state if self._state in ("lost", "silent") else shown.state
        if self._listener is None or not (state or self._loss):
            self.view.scale = {}
            return
        parts = [self._loss, shown.words if shown.words != self._loss else ""]
        if self.trigger.value == BY_ITSELF and self.scale.why_not not in parts:
            parts.append(self.scale.why_not)
        if self._garbled:
            parts.append(f"{plural(self._garbled, 'line')} could not be read, the last "
                         f"'{self._garbled_last}', and no number was taken from it.")  # fmt: skip
        self.view.scale = {
            "text": shown.text, "state": state or "no line yet", "loss": self._loss,
            "words": " ".join(part for part in parts if part),
        }  # fmt: skip


def _to_the_loop() -> Callable[[Callable[[], None]], None]:
    """Return what hands a call from a thread over to the kernel's loop.

    In a plain script no loop runs, and the thread makes the call itself.
    """
    try:
        loop = asyncio.get_running_loop()
    except RuntimeError:
        return lambda call: call()

    def hand_over(call: Callable[[], None]) -> None:
        if not loop.is_closed():
            loop.call_soon_threadsafe(call)

    return hand_over


def talking_scale(view: OneKey) -> widgets.Accordion:
    """A scale for the one-key view, folded until it is wanted."""
    weighed = ", ".join(QUANTITIES[name].label.lower() for name in ON_THE_SCALE)
    inside = widgets.VBox(
        [words("An electronic scale on a serial or USB port of the computer that this notebook "
               "runs on. A number is taken when you press Take it, when it was steady for a second "
               "(then the next key is asked for), or when the scale sends one at a press of its "
               f"own key. By itself it gives {weighed}; down and up weight are set with weights "
               "on the key."),
         TalkingScale(view),
         caution("Set the scale to zero, and put a rest for the key on it, while numbers are taken "
                 "by hand: by itself it takes whatever lies on it for a second.")]
    )  # fmt: skip
    return widgets.Accordion([inside], titles=("A scale that sends its number",))
