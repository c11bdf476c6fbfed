"""Whether a report was made before from just the same, so that a batch goes on where it stopped.

What a report is made from has a fingerprint: the files of the source and of what stands beside it,
what was asked for, the instruments that tell what is usual, and the program itself. It stands, with
what became of the source, in the list of what the report wrote.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields
from functools import lru_cache
from math import isnan, nan
from pathlib import Path

import balancekit
from balancekit.instrument.descriptor import DESCRIPTOR
from balancekit.instrument.store import VERSIONS
from balancekit.instrument.usual_in_use import shop
from balancekit.sharing.carry import LARGEST_REPORT
from balancekit.sharing.outcome import Outcome
from balancekit.sharing.report_folder import read_told, still_there

_TOLD = ("source", "folder", "title", "evenness", "flags", "remarks", "inside")


def made_from(sources: Sequence[Path], asked: str) -> str:
    """Return the fingerprint of what a report is made from; "" if a source is none.

    Parameters
    ----------
    sources : folder or file of the instrument, then of those that stand beside it.
    asked : everything that was asked for, in words.
    """
    whole = hashlib.sha256(f"{asked}\n{shop()!r}\n{_program()}".encode())
    try:
        for source in sources:
            for path in _files(source):
                if path.stat().st_size > LARGEST_REPORT:
                    return ""
                whole.update(f"\n{path.name}\n{_mark(path)}".encode())
    except OSError:
        return ""  # what is wrong with a source is said where it is read
    return whole.hexdigest()


def done_before(folder: Path, mark: str) -> Outcome | None:
    """Return what became of a source if its report is there, whole, and made from the same.

    Parameters
    ----------
    folder : where the report is written.
    mark : from ``made_from``.
    """
    told = read_told(folder)
    if not mark or told.get("made_from") != mark or not still_there(folder):
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
    told = {each.name: getattr(outcome, each.name) for each in fields(outcome)}
    evenness = {name: None if isnan(v) else v for name, v in outcome.evenness.items()}
    return {"made_from": mark, **{name: told[name] for name in _TOLD}, "evenness": evenness}


def _files(source: Path) -> Iterator[Path]:
    """Return the files of a source in a fixed order, without the versions that are kept of it."""
    if source.is_file():
        yield source
        return
    if not (source / DESCRIPTOR).is_file():
        raise FileNotFoundError(source)
    for path in sorted(source.rglob("*")):
        if path.is_file() and VERSIONS not in path.relative_to(source).parts:
            yield path


def _mark(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


@lru_cache(maxsize=1)
def _program() -> str:
    """Return the fingerprint of the program, which does not change while it runs."""
    place = Path(balancekit.__file__).parent
    whole = hashlib.sha256()
    for path in sorted(place.rglob("*")):
        if path.suffix in (".py", ".js", ".css", ".html"):
            whole.update(_mark(path).encode())
    return whole.hexdigest()
