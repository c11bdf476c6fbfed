"""The wire to a scale: which port, how fast, and its bytes cut into lines."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from balancekit.instrument.weighing_scale.line import SentLines

SPEEDS = (9600, 2400, 4800, 1200, 19200, 38400, 57600, 115200)
"""Bits a second, the usual ones first: common practice, no source. A USB scale takes any."""

READ_S = 0.1
# Our own choice: a read waits for so long at most.

SILENT_PORT_S, SLOWEST_LINES_S, SEARCH_S = 1.5, 4.0, 20.0
# Our own choice: a port that sends nothing is left after the first; at each speed the lines of one
# that sends are waited for; the search goes round for so long, so that a key can be pressed.

WHOLE_AFTER_S = 0.2
# Our own choice: what comes after such a pause begins a line.

FOUND_LINES = 2
# Our own choice: whole lines of one shape, none garbled after them.

_MOST_GARBLED, _MOST_BYTES = 4, 200
# Our own choice: at a speed that gives so many lines, or bytes without a line, nothing is to come.

_LONGEST_LINE = 80
_ENDS = (0x03, 0x0A, 0x0D)
"""What ends a line: end of text, line feed, carriage return, with or without a parity bit."""


class Cutter:
    """Cuts bytes into lines, and drops what is left of a line that began before.

    >>> cutter = Cutter()
    >>> cutter.cut(b"2.3 g\\r\\n12.3 g\\r\\n 12."), cutter.cut(b"4 g\\r\\n")
    ([b'12.3 g'], [b' 12.4 g'])
    """

    def __init__(self, whole: bool = False) -> None:
        self._whole, self._held = whole, b""

    def cut(self, data: bytes) -> list[bytes]:
        """Return the lines that are whole now."""
        lines = []
        for byte in data:
            if byte & 0x7F in _ENDS:
                if self._whole and self._held:
                    lines.append(self._held)
                self._whole, self._held = True, b""
            else:
                self._held += bytes([byte])
                if len(self._held) > _LONGEST_LINE:
                    lines += [self._held] if self._whole else []
                    self._whole, self._held = False, b""
        return lines


@dataclass
class Wire:
    """An open port that a scale was found at."""

    name: str
    port: Any
    cutter: Cutter
    lines: SentLines
    sample: str

    @property
    def words(self) -> str:
        """Where it was found and what it sends."""
        return f"{self.name}, {self.port.baudrate} bits a second, for example '{self.sample}'"

    def open_again(self) -> bool:
        """Open the port again after its cable was lost; return whether it is there."""
        self.port.close()
        try:
            self.port.open()
        except OSError:
            return False
        self.cutter = Cutter()
        return True


def port_names() -> list[str]:
    """Return the serial and USB ports of this computer."""
    from serial.tools import list_ports

    return sorted(port.device for port in list_ports.comports())


def find_wire(
    names: list[str], say: Callable[[str], None], stopped: Callable[[], bool]
) -> Wire | None:
    """Look for a scale at some ports; return None if there is none or the search is stopped.

    Parameters
    ----------
    names : of ports; ``port_names`` lists them.
    say : is told what is tried, and why a port cannot be opened.
    stopped : asked again and again whether to stop.
    """
    until = time.monotonic() + SEARCH_S
    while names and time.monotonic() < until and not stopped():
        for name in list(names):
            port = _open(name, say)
            if port is None:
                names = [each for each in names if each != name]
                continue
            wire = _try_speeds(name, port, say, stopped)
            if wire is not None:
                return wire
            port.close()
    return None


def _open(name: str, say: Callable[[str], None]) -> Any:
    import serial

    try:
        return serial.Serial(name, SPEEDS[0], timeout=READ_S, exclusive=True)
    except (OSError, ValueError) as error:
        say(f"{name} cannot be opened ({error}). Another program may have it, or you may need "
            "the right to use ports.")  # fmt: skip
        return None


def _try_speeds(
    name: str, port: Any, say: Callable[[str], None], stopped: Callable[[], bool]
) -> Wire | None:
    for speed in SPEEDS:
        say(f"Looking at {name}, {speed} bits a second. If your scale sends only when its key is "
            "pressed, press it now and again.")  # fmt: skip
        try:
            port.baudrate = speed
            port.reset_input_buffer()
            heard, wire = _listen(name, port, stopped)
        except OSError as error:
            say(f"{name} was lost ({error}).")
            return None
        if wire is not None or not heard or stopped():
            return wire
    return None


def _listen(name: str, port: Any, stopped: Callable[[], bool]) -> tuple[bool, Wire | None]:
    """Listen at one speed; return whether anything came, and the wire if lines could be read."""
    began = time.monotonic()
    cutter: Cutter | None = None
    lines, good, bad, heard = SentLines(), 0, 0, 0
    while not stopped():
        passed = time.monotonic() - began
        if passed > (SILENT_PORT_S if cutter is None else SLOWEST_LINES_S):
            break
        data = port.read(port.in_waiting or 1)
        if data and cutter is None:
            cutter = Cutter(whole=passed > WHOLE_AFTER_S)
        heard += len(data)
        for raw in cutter.cut(data) if cutter else []:
            line = lines.read(raw)
            good, bad = (good + 1, bad) if line else (0, bad + 1)
            if line and line.number is not None and good >= FOUND_LINES and cutter:
                return True, Wire(name, port, cutter, lines, line.text.strip())
        if bad >= _MOST_GARBLED or (heard > _MOST_BYTES and not good):
            return True, None
    return cutter is not None, None
