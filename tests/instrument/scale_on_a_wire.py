"""A scale for tests: a pseudo-terminal that sends what lies on it, as often as it is told to."""

from __future__ import annotations

import os
import random
import termios
import threading
import tty
from collections.abc import Callable
from pathlib import Path


def with_marks(grams: float, steady: bool = True) -> bytes:
    return (
        f"{'ST' if steady else 'US'},GS,{'-' if grams < 0 else '+'}{abs(grams):7.1f} g\r\n".encode()
    )


def plain(grams: float, steady: bool = True) -> bytes:
    return f"{grams:.2f}g\r\n".encode()


def with_comma(grams: float, steady: bool = True) -> bytes:
    return f"{'' if steady else '?'}{grams:.1f} g\r".replace(".", ",").encode()


def in_ounces(grams: float, steady: bool = True) -> bytes:
    return f"{grams / 28.349523125:8.3f} oz {'' if steady else 'US'}\n".encode()


def without_unit(grams: float, steady: bool = True) -> bytes:
    return f"{grams:.1f}\r\n".encode()


def with_parity(form: Callable[..., bytes]) -> Callable[..., bytes]:
    """Seven bits and even parity: the highest bit makes the number of ones even."""

    def send(grams: float, steady: bool = True) -> bytes:
        raw = form(grams, steady)
        return bytes(byte | 0x80 if byte.bit_count() % 2 else byte for byte in raw)

    return send


class ScaleOnAWire:
    """Sends a line ``rate`` times a second, at one speed; at any other speed it is noise.

    Attributes
    ----------
    load_g, steady : what lies on it.
    sends : whether it sends by itself; ``say`` sends something else, once.
    """

    def __init__(self, at: Path, form: Callable[..., bytes] = with_marks, *,
                 speed: int = 9600, rate: float = 20.0, sends: bool = True) -> None:  # fmt: skip
        self.name = str(at)
        self.form, self.rate, self.sends = form, rate, sends
        self.speed = getattr(termios, f"B{speed}")
        self.load_g, self.steady = 0.0, True
        self._noise = random.Random(7)
        self._stop = threading.Event()
        self.plug_in()

    def plug_in(self) -> None:
        self._stop.clear()
        self._here, self._there = os.openpty()
        tty.setraw(self._there)
        os.set_blocking(self._here, False)
        at = Path(self.name)
        at.unlink(missing_ok=True)
        at.symlink_to(os.ttyname(self._there))
        self._thread = threading.Thread(target=self._send, daemon=True)
        self._thread.start()

    def unplug(self) -> None:
        self._stop.set()
        self._thread.join()
        os.close(self._here)
        os.close(self._there)
        Path(self.name).unlink()

    def say(self, raw: bytes) -> None:
        if termios.tcgetattr(self._here)[4] != self.speed:
            raw = bytes(self._noise.randrange(256) for _ in raw)
        try:
            os.write(self._here, raw)
        except BlockingIOError:
            return  # nobody reads: the wire is full

    def _send(self) -> None:
        while not self._stop.wait(1 / self.rate):
            if self.sends:
                self.say(self.form(self.load_g, self.steady))

    def close(self) -> None:
        if not self._stop.is_set():
            self.unplug()
