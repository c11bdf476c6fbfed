"""What every panel is made of: a frame with a title, sentences, and controls that have names."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import anywidget
import ipywidgets as widgets

from balancekit.calculation.words import escape


def asset(*names: str) -> str:
    """Return the text of files beside this module, one after the other."""
    folder = Path(__file__).parent
    return "\n".join((folder / name).read_text(encoding="utf-8") for name in names)


class _Manners(anywidget.AnyWidget):
    """Brings the style of the panels, names their slider handles, and keeps what is typed.

    A field that was changed asks whether its value was heard; messages are heard in order.
    """

    _esm = asset("keep_typed.js", "frame.js")
    _css = asset("frame.css")

    def __init__(self) -> None:
        super().__init__()
        self.on_msg(self._answer)

    def _answer(self, _: Any, content: dict[str, Any], __: Any) -> None:
        if "ask" in content:
            self.send({"heard": content["ask"]})


_NUMBER = re.compile(r"[+−-]?[0-9][0-9,]*([.][0-9]+)?( ± [0-9.]+)?")
_SHORT = 16
"""Letters in a cell that is kept on one line."""


def wrong(text: object, role: str = "") -> str:
    """Return a text of anyone, marked as what went wrong or must be seen to; its lines are kept.

    Parameters
    ----------
    role : "alert" or "status" where a screen reader is to say it by itself.

    >>> wrong("a < b"), wrong("No.", "alert")
    ('<span class="bench-bad">a &lt; b</span>', '<span class="bench-bad" role="alert">No.</span>')
    """
    said = f' role="{role}"' if role else ""
    return f'<span class="bench-bad"{said}>{escape(text).replace(chr(10), "<br>")}</span>'


def words(text: str = "") -> widgets.HTML:
    """Return a widget for sentences; the text is HTML, so what a user wrote must be escaped."""
    shown = widgets.HTML(text)
    shown.add_class("bench-words")
    return shown


def working(text: str) -> str:
    """Return a sentence about work that goes on, with a mark that turns."""
    return f'<span class="bench-working">{text}</span>'


def caution(text: str) -> widgets.HTML:
    """Return a caution, set apart."""
    return words(f'<div class="bench-caution"><b>Caution.</b> {text}</div>')


def panel(title: str, *children: widgets.Widget) -> widgets.VBox:
    """Put widgets into a frame with a title."""
    heading = widgets.HTML(f'<div class="bench-title" role="heading" aria-level="3">{title}</div>')
    box = widgets.VBox([_Manners(), heading, *children])
    box.add_class("bench-panel")
    return box


def row(*children: widgets.Widget) -> widgets.Box:
    """Put widgets side by side; they wrap where the page is narrow."""
    return widgets.Box(
        list(children),
        layout=widgets.Layout(
            display="flex", flex_flow="row wrap", align_items="center", grid_gap="4px 14px"
        ),
    )


def button(
    text: str, call: Callable[[], None], *, hint: str = "", main: bool = False
) -> widgets.Button:
    """Return a button that calls a function; ``main`` is the one that most people want."""
    made = widgets.Button(
        description=text,
        tooltip=hint or text,
        button_style="primary" if main else "",
        layout=widgets.Layout(width="auto"),
    )
    made.on_click(lambda _: call())
    return made


def slider(
    label: str,
    value: float,
    low: float,
    high: float,
    step: float,
    *,
    unit: str = "",
    whole: bool = False,
) -> widgets.IntSlider | widgets.FloatSlider:
    """Return a slider with its quantity and unit beside it, and a number that can be typed."""
    kind = widgets.IntSlider if whole else widgets.FloatSlider
    places = max(0, len(f"{step:g}".partition(".")[2]))
    return kind(
        value=value,
        min=low,
        max=high,
        step=step,
        description=f"{label} ({unit})" if unit else label,
        readout_format="d" if whole else f".{places}f",
        style={"description_width": "15em"},
        layout=widgets.Layout(width="100%", max_width="640px"),
    )


def table_html(headings: Sequence[str], rows: Sequence[Sequence[object]]) -> str:
    """Return a plain table; every cell is escaped, columns of numbers stand right."""
    columns = [[row[place] for row in rows] for place in range(len(headings))]
    right = [any(map(_is_number, column)) for column in columns]

    def cell(value: object, place: int, tag: str) -> str:
        kinds = ["number"] * right[place] + ["short"] * (len(str(value)) <= _SHORT)
        return f'<{tag} class="{" ".join(kinds)}">{escape(value)}</{tag}>'

    def line(values: Sequence[object], tag: str) -> str:
        return f"<tr>{''.join(cell(value, place, tag) for place, value in enumerate(values))}</tr>"

    head, body = line(headings, "th"), "".join(line(each, "td") for each in rows)
    return f"<table><thead>{head}</thead><tbody>{body}</tbody></table>"


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) or bool(_NUMBER.fullmatch(str(value)))


_SHARE_STEP = 0.04
# Our own choice: a progress bar moves twenty-five times.


class Later:
    """Calls a function once, a little after the last time it was asked for.

    In a kernel it waits; where no loop runs, as in a plain test, it calls at once.
    """

    def __init__(self, seconds: float, call: Callable[[], None]) -> None:
        self._seconds, self._call = seconds, call
        self._waiting: asyncio.TimerHandle | None = None

    def ask(self) -> None:
        """Ask for the call; asking again before it happens starts the wait anew."""
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            self._call()
            return
        if self._waiting is not None:
            self._waiting.cancel()
        self._waiting = loop.call_later(self._seconds, self._call)


def beside(
    work: Callable[[], Any], done: Callable[[Any], None], said: Callable[[str], None]
) -> None:
    """Do slow work beside the kernel, so that the screen stays alive, then show what came of it.

    Where no loop runs, as in a plain test, it is done at once.

    Parameters
    ----------
    said : shows a sentence in place of what came of it, when the work or the showing failed by a
        flaw of the program; the error itself goes on, to the log of the server.
    """
    try:
        loop = asyncio.get_running_loop()
    except RuntimeError:
        done(work())
        return

    def show(future: asyncio.Future[Any]) -> None:
        try:
            done(future.result())
        except Exception as error:
            said(
                f"This could not be worked out, by a flaw of the program ({type(error).__name__}: "
                f"{error}). What you entered is kept. Run All Cells and try again."
            )
            raise

    loop.run_in_executor(None, work).add_done_callback(show)


def from_beside(show: Callable[[float], None]) -> Callable[[float], None]:
    """Return a function that slow work beside the kernel calls, and that shows in the kernel.

    A share that is hardly more than the last one is not shown: each is a message to the page.
    """
    try:
        loop = asyncio.get_running_loop()
    except RuntimeError:
        return show
    last = [-1.0]

    def told(share: float) -> None:
        if share >= last[0] + _SHARE_STEP:
            last[0] = share
            loop.call_soon_threadsafe(show, share)

    return told
