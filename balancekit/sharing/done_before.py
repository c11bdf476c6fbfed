"""Whether a report was made before from just the same, so that a batch goes on where it stopped.

What a report is made from has a fingerprint: the files of the source and of what stands beside it,
what was asked for, the instruments that tell what is usual, and the program itself. It stands, with
what became of the source, in the list of what the report wrote.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from math import isnan, nan
from pathlib import Path

import balancekit
from balancekit.instrument.store import fingerprint, read_file, stamp_of
from balancekit.instrument.usual_in_use import shop
from balancekit.sharing.carry import LARGEST_REPORT
from balancekit.sharing.outcome import Outcome
from balancekit.sharing.report_folder import read_told, still_there

_CODE = (".py", ".js", ".css", ".html")
_TOLD = ("source", "folder", "title", "evenness", "flags", "remarks", "inside")


def made_from(sources: Sequence[Path], asked: str) -> str:
    """Return the fingerprint of what a report is made from.

    Parameters
    ----------
    sources : folder or file of the instrument, then of those that stand beside it.
    asked : everything that was asked for, in words.

    Raises
    ------
    BalancekitError : a file cannot be read, or another window goes on saving a folder.
    """
    stamps = [
        stamp_of(each) if each.is_dir() else fingerprint(read_file(each, LARGEST_REPORT))
        for each in sources
    ]
    return fingerprint(f"{asked}\n{stamps}\n{shop()!r}\n{_program()}".encode())


def done_before(folder: Path, mark: str) -> Outcome | None:
    """Return what became of a source if its report is there, whole, and made from the same.

    Parameters
    ----------
    folder : where the report is written.
    mark : from ``made_from``.
    """
    told = read_told(folder)
    if told.get("made_from") != mark or not still_there(folder):
        return None
    try:
        found = {name: told[name] for name in _TOLD}
        evenness = {str(n): nan if v is None else float(v) for n, v in found["evenness"].items()}
        flags = {str(name): int(count) for name, count in found["flags"].items()}
        remarks, inside = (tuple(map(str, found[name])) for name in ("remarks", "inside"))
    except (KeyError, TypeError, ValueError, AttributeError):
        return None  # somebody spoiled the list: the report is made anew
    source, place, title = (str(found[name]) for name in ("source", "folder", "title"))
    return Outcome(source, place, title, (), evenness, flags, remarks, inside, before=True)


def as_told(outcome: Outcome, mark: str) -> Mapping[str, object]:
    """Return an outcome and the fingerprint of what it was made from, to be kept beside it."""
    evenness = {name: None if isnan(v) else v for name, v in outcome.evenness.items()}
    told = {name: getattr(outcome, name) for name in _TOLD}
    return {"made_from": mark, **told, "evenness": evenness}


@lru_cache(maxsize=1)
def _program() -> str:
    """Return the fingerprint of the program, which does not change while it runs."""
    place = Path(balancekit.__file__).parent
    files = [path for path in sorted(place.rglob("*")) if path.suffix in _CODE]
    return fingerprint(b"".join(path.read_bytes() for path in files))
