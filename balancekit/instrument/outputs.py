"""Files that are written for people beside an instrument: sheets, tables, a report.

They are no part of the instrument. Nothing is lost without a word: a file of the same name and
other content stays, or is said to have been replaced.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from balancekit.calculation.problems import BalancekitError, Problem

NEW_FILE, SAME, REPLACED = "new", "the same was there already", "replaced the one that was there"

_MOST_NAMES = 999


@dataclass(frozen=True)
class Output:
    """One file that was written.

    Attributes
    ----------
    path : where it is.
    state : "new", "the same was there already" or "replaced the one that was there".
    """

    path: Path
    state: str


def put_file(folder: Path, name: str, data: bytes, *, replace: bool = False) -> Output:
    """Write a file, whole or not at all.

    Parameters
    ----------
    folder : made if it is not there.
    name : of the file.
    data : its content.
    replace : write over a file of that name; else a number is put after the name.

    Raises
    ------
    BalancekitError : it cannot be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        path, state = _place(folder, name, data, replace)
        if state != SAME:
            beside = path.with_name(f".{path.name}.{os.getpid()}")
            try:
                beside.write_bytes(data)
                os.replace(beside, path)
            finally:
                beside.unlink(missing_ok=True)
    except OSError as error:
        advice = "Free some space or allow the folder to be written, then try again."
        message = f"The file cannot be written ({error.strerror})."
        raise BalancekitError(Problem(message, advice, file=name)) from None
    return Output(path, state)


def _place(folder: Path, name: str, data: bytes, replace: bool) -> tuple[Path, str]:
    stem, dot, ending = name.rpartition(".")
    for number in range(1, _MOST_NAMES):
        path = folder / (name if number == 1 else f"{stem}_{number}{dot}{ending}")
        if not path.exists():
            return path, NEW_FILE
        if path.read_bytes() == data:
            return path, SAME
        if replace:
            return path, REPLACED
    raise BalancekitError(
        Problem("There are too many files of this name.", "Move some away.", file=name)
    )
