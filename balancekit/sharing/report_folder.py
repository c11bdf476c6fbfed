"""The folder that a report is written to: what it may be, and what a report owns in it.

A report owns the files that it wrote, and nothing else. Their names and fingerprints stand in a
small list beside them. What an earlier report wrote and this one does not is taken away, so that
no sheet of another piano stays; what it did not write, or what was changed since, is never
touched.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from balancekit.calculation.problems import BalancekitError, Problem
from balancekit.instrument.descriptor import DESCRIPTOR
from balancekit.instrument.outputs import put_file
from balancekit.instrument.store import fingerprint

WRITTEN = "written_by_report.json"
"""Name of the list of what a report wrote."""

_LONGEST_LIST = 1_000_000
_REMEDY = "Name a new folder for what is written, for example results."


def refuse_folder(to: Path, folders: Iterable[str], inputs: Sequence[Path]) -> None:
    """Refuse to write into an instrument, or over what is read; nothing is written before.

    Parameters
    ----------
    to : folder of all that is written.
    folders : where in it each report goes; "" for itself.
    inputs : files and folders that were named, and the sources found in them.

    Raises
    ------
    BalancekitError : a folder that belongs to an instrument, or that is one of the inputs.
    """
    read = [path.resolve() for path in inputs]
    for folder in dict.fromkeys(("", *folders)):
        place = (to / folder).resolve()
        if any((each / DESCRIPTOR).exists() for each in (place, *place.parents)):
            raise _refused(place, "belongs to an instrument, whose files would be overwritten")
        for source in read:
            if source.is_dir() and place == source:
                raise _refused(place, "is to be read")
            if not source.is_dir() and place == source.parent and _written_by_report(source):
                raise _refused(place, f"holds {source.name}, which is to be read")


def _refused(place: Path, why: str) -> BalancekitError:
    return BalancekitError(Problem(f"The folder {place.name} {why}.", _REMEDY, file=place.name))


def _written_by_report(source: Path) -> bool:
    """Whether a report in the same folder might write over this file."""
    ending = source.suffix.lower() in (".html", ".pdf", ".xlsx", ".csv")
    return source.name in read_list(source.parent) or (ending and source.stem in RESULT_NAMES)


RESULT_NAMES = frozenset(
    {
        "report", "overview", "bench_sheets", "work", "keys", "flags", "groups", "groups_after",
        "evenness", "friction",
        "order_of_work", "owner_page", "hammers", "planned_leads", "shopping_list", "springs",
        "expected", "ways",
    }
)  # fmt: skip
"""Every name that a report may give a file, without its ending; none is a table of an instrument.

A test holds that the two never meet.
"""


def read_list(folder: Path) -> dict[str, str]:
    """Return the fingerprints of what an earlier report wrote, by file name.

    A list that is not there, or that somebody spoiled, names nothing: then nothing is taken away.
    """
    return {name: mark for name, mark in _read(folder, "files").items() if isinstance(mark, str)}


def _read(folder: Path, part: str) -> dict[str, Any]:
    """Return one part of the list, names of this folder only."""
    path = folder / WRITTEN
    try:
        if not path.is_file() or path.stat().st_size > _LONGEST_LIST:
            return {}
        found = json.loads(path.read_text(encoding="utf-8"))[part]
        named = dict.fromkeys(found, "") if isinstance(found, list) else dict(found)
    except (OSError, ValueError, TypeError, KeyError, RecursionError):
        return {}
    return {
        name: value
        for name, value in named.items()
        if isinstance(name, str) and name == Path(name).name and name not in ("", ".", "..")
    }


def put_told(folder: Path, told: Mapping[str, object]) -> None:
    """Keep what a report says of itself beside what it wrote."""
    _put_list(folder, read_list(folder), _read(folder, "folders"), told)


def read_told(folder: Path) -> dict[str, Any]:
    """Return what an earlier report said of itself; nothing if the list is gone or spoiled."""
    return _read(folder, "told")


def still_there(folder: Path) -> bool:
    """Whether all that an earlier report wrote is there as it was written."""
    marks = read_list(folder)
    try:
        return bool(marks) and all(
            fingerprint((folder / n).read_bytes()) == m for n, m in marks.items()
        )
    except OSError:
        return False


def write_report(
    files: Mapping[str, bytes],
    folder: Path,
    folders: Iterable[str] = (),
) -> tuple[str, ...]:
    """Write the files of a report, and take away what an earlier one left there.

    Parameters
    ----------
    files : content by name.
    folder : made if it is not there.
    folders : reports below it that belong to this one; others that an earlier one led to go.

    Returns
    -------
    remarks : what was there and was left alone, one sentence each.

    Raises
    ------
    BalancekitError : a file of that name was not written by a report, or the folder cannot be
        written. In the first case nothing is written.
    """
    before = read_list(folder)
    foreign = [
        name
        for name, data in files.items()
        if name not in before and (folder / name).exists() and not _same(folder / name, data)
    ]
    if foreign:
        raise BalancekitError(
            [
                Problem(
                    "A file of this name is there, and no report wrote it.",
                    "Move it away, or name a new folder.",
                    file=f"{folder.name}/{name}",
                )
                for name in foreign
            ]
        )
    # Listed before they are written: what a stop in between leaves is still the report's own.
    marks = {name: fingerprint(data) for name, data in files.items()}
    below = _read(folder, "folders")
    _put_list(folder, {**before, **marks}, {*below, *folders})
    for name, data in files.items():
        put_file(folder, name, data, replace=True)
    remarks = _take_away(folder, {n: m for n, m in before.items() if n not in files})
    for name in sorted(below.keys() - set(folders)):
        remarks += _clear(folder / name)
    _put_list(folder, marks, folders)
    return remarks


def _same(path: Path, data: bytes) -> bool:
    return path.is_file() and path.stat().st_size == len(data) and path.read_bytes() == data


def _put_list(
    folder: Path,
    marks: Mapping[str, str],
    folders: Iterable[str],
    told: Mapping[str, object] | None = None,
) -> None:
    listed = {"files": dict(sorted(marks.items())), "folders": sorted(folders), "told": told or {}}
    text = json.dumps(listed, indent=1, ensure_ascii=False)
    put_file(folder, WRITTEN, f"{text}\n".encode(), replace=True)


def _take_away(folder: Path, stale: Mapping[str, str]) -> tuple[str, ...]:
    """Take away what an earlier report wrote, unless it was changed since."""
    kept = []
    for name, mark in stale.items():
        path = folder / name
        try:
            if not path.is_file() or path.is_symlink():
                continue
            if fingerprint(path.read_bytes()) == mark:
                path.unlink()
            else:
                kept.append(
                    f"{name} is of an earlier report and was changed since: it was left there."
                )
        except OSError as error:
            kept.append(f"{name} is of an earlier report and could not be removed "
                        f"({error.strerror}).")  # fmt: skip
    return tuple(kept)


def _clear(folder: Path) -> tuple[str, ...]:
    """Take away a whole earlier report; the folder goes too if nothing else is in it."""
    if folder.is_symlink() or not folder.is_dir():
        return ()
    remarks = _take_away(folder, read_list(folder))
    if remarks:
        return remarks
    try:
        (folder / WRITTEN).unlink(missing_ok=True)
        if any(folder.iterdir()):
            return (f"{folder.name} holds other files: it was left there.",)
        folder.rmdir()
    except OSError as error:
        return (f"{folder.name} could not be removed ({error.strerror}).",)
    return ()
