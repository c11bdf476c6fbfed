"""The files that a panel wrote, each to be opened or saved as a copy."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import anywidget
import traitlets

from balancekit.calculation.problems import BalancekitError
from balancekit.instrument.outputs import Output
from balancekit.instrument.store import read_file
from balancekit.panels.frame import asset

LARGEST_WRITTEN = 100_000_000
"""Bytes of a file that is opened from here; a report with all its photographs has fewer."""


class Files(anywidget.AnyWidget):
    """A list of files.

    Traits
    ------
    files : ``name, size, state`` of each.
    problem : why a file could not be read, or "".

    The bytes go to the page only when they are asked for, so that any folder will do.
    """

    _esm = asset("files.js")
    _css = asset("files.css")
    files = traitlets.List(traitlets.Dict()).tag(sync=True)
    problem = traitlets.Unicode("")

    def __init__(self) -> None:
        self.paths: tuple[Path, ...] = ()
        super().__init__()
        self.on_msg(self._received)

    def show(self, outputs: Sequence[Output]) -> None:
        """List what was written."""
        self.paths = tuple(output.path for output in outputs)
        self.files = [
            {"name": each.path.name, "size": size_text(each.path.stat().st_size),
             "state": each.state}
            for each in outputs
        ]  # fmt: skip

    def _received(self, _: Any, content: dict[str, Any], buffers: list[Any]) -> None:
        number = content.get("number")
        if content.get("kind") != "read" or not isinstance(number, int):
            return
        if not 0 <= number < len(self.paths):
            return
        try:
            data = read_file(self.paths[number], LARGEST_WRITTEN)
        except BalancekitError as error:
            self.problem = str(error)
            return
        self.problem = ""
        self.send({"kind": "file", "number": number, "name": self.paths[number].name}, [data])


def size_text(count: int) -> str:
    """Return a number of bytes for a reader.

    >>> size_text(1_743_000), size_text(5_200), size_text(120)
    ('1.7 MB', '5 kB', '1 kB')
    """
    return f"{count / 1e6:.1f} MB" if count >= 1e6 else f"{max(1, round(count / 1e3))} kB"
