"""Listening to a scale beside everything else: a thread reads, and whoever asked is told."""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from balancekit.instrument.weighing_scale.line import SentLine
from balancekit.instrument.weighing_scale.wire import Wire, find_wire, port_names

QUIET_S, SILENT_S = 0.6, 3.0
# Our own choice: a line that nothing follows for the first came alone; a scale that sends all the
# time and then nothing for the second was switched off, or its cable is out.

AGAIN_S = 0.5
# Our own choice: how often a lost port is tried again.


@dataclass(frozen=True)
class Event:
    """What was heard.

    Attributes
    ----------
    kind : "looking", "found", "not found", "line", "quiet", "silent", "lost" or "back".
    at : when, on the clock of ``time.monotonic`` [s].
    words : for a screen.
    line : what a "line" says; None if it is garbled.
    """

    kind: str
    at: float
    words: str = ""
    line: SentLine | None = None


class Listener:
    """Looks for a scale and listens to it, from its start until it is closed.

    ``tell`` is called in the thread when events wait, and not again until they were taken: it
    hands over to whoever takes them, and does no more. One process listens to one scale.
    """

    _in_hand: Listener | None = None

    def __init__(self, names: list[str], tell: Callable[[], None]) -> None:
        if Listener._in_hand is not None:
            Listener._in_hand.close()
        Listener._in_hand = self
        self._names, self._tell = names, tell
        self._events: deque[Event] = deque()
        self._told = False
        self._lock = threading.Lock()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="scale", daemon=True)

    def start(self) -> None:
        """Begin to look."""
        self._thread.start()

    def taken(self) -> list[Event]:
        """Take the events that wait, in order."""
        with self._lock:
            self._told = False
            events = list(self._events)
            self._events.clear()
        return events

    def close(self) -> None:
        """Listen no more, and let the port go."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join()
        if Listener._in_hand is self:
            Listener._in_hand = None

    def _say(self, kind: str, words: str = "", line: SentLine | None = None) -> None:
        with self._lock:
            self._events.append(Event(kind, time.monotonic(), words, line))
            first, self._told = not self._told, True
        if first:
            self._tell()

    def _run(self) -> None:
        try:
            names = self._names or port_names()
            looked = "" if names else "This computer has no serial or USB port."
            wire = find_wire(names, lambda words: self._say("looking", words), self._stop.is_set)
            if wire is None:
                self._say("not found", looked)
                return
            self._say("found", wire.words)
            self._follow(wire)
        except Exception as error:
            self._say("lost", f"Listening ended: {error}")
            raise

    def _follow(self, wire: Wire) -> None:
        """Listen until it is closed; a lost cable is said, and its port tried again."""
        while not self._stop.is_set():
            try:
                self._listen(wire)
            except OSError as error:
                self._say("lost", f"{wire.name}: {error}")
                while not self._stop.wait(AGAIN_S):
                    if wire.open_again():
                        self._say("back", wire.name)
                        break
        wire.port.close()

    def _listen(self, wire: Wire) -> None:
        last, said = time.monotonic(), ""
        while not self._stop.is_set():
            data = wire.port.read(wire.port.in_waiting or 1)
            for raw in wire.cutter.cut(data):
                text = ascii(raw.decode("latin-1"))[1:-1]
                self._say("line", text, wire.lines.read(raw))
            if data:
                last, said = time.monotonic(), ""
            pause = time.monotonic() - last
            kind = "silent" if pause > SILENT_S else "quiet" if pause > QUIET_S else ""
            if kind and kind != said:
                self._say(kind)
                said = kind
