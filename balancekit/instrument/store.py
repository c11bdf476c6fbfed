"""The folder of an instrument: the one module that opens and writes its files.

A save is all or nothing. The new files are written into a folder beside the
old ones; one rename makes that folder ``.pending``, which is the moment the
save counts; then the files move into place. If the machine stops in between,
the next opening finishes the move.

No step asks the clock for an order: a version is named by the time, but never
before the one that it follows, so a clock that was set back loses none.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import shutil
import stat
from collections.abc import Iterator, Mapping
from datetime import datetime, timedelta
from pathlib import Path

from filelock import FileLock, Timeout

from balancekit.calculation.problems import BalancekitError, Problem, refuse
from balancekit.instrument.descriptor import (
    DESCRIPTOR,
    LARGEST_FILE,
    from_files,
    named_files,
    to_files,
)
from balancekit.instrument.disk import disk_problem, entries, gone, sync_names, write_through
from balancekit.instrument.model import Instrument

PENDING = ".pending"
UNFINISHED = ".unfinished"
VERSIONS = "versions"
NEWEST_KEPT = 5
DAYS_KEPT = 30
SET_ASIDE = "_set_aside"
"""End of the name of a version that somebody chose to give way; it is kept for good."""
_TIME = "%Y-%m-%dT%H-%M-%S-%f"
_TIME_LETTERS = len("2000-01-01T00-00-00-000000")
_LOCK_SECONDS = 10
_MOST_LOOKS = 50

Stamp = Mapping[str, str]
"""Fingerprint of each file, as it was when the instrument was opened or saved."""


class ChangedOnDisk(BalancekitError):
    """The folder holds something newer than what was opened; nothing was written."""


def fingerprint(data: bytes) -> str:
    """Return what tells some bytes from all others (SHA-256, FIPS 180-4)."""
    return hashlib.sha256(data).hexdigest()


def _stamp(files: Mapping[str, bytes]) -> dict[str, str]:
    return {name: fingerprint(data) for name, data in files.items()}


@contextlib.contextmanager
def _locked(folder: Path) -> Iterator[None]:
    """Hold the folder alone; where it cannot be written, go on without."""
    if not os.access(folder, os.W_OK):
        yield
        return
    try:
        with FileLock(folder / ".lock", timeout=_LOCK_SECONDS):
            yield
    except Timeout:
        raise refuse(
            f"Another window is using {folder.name}.", "Wait a moment and try again."
        ) from None
    except NotImplementedError:
        raise refuse(
            f"The disk of {folder.name} cannot hold a folder for one window alone.",
            "Keep the instrument on a disk of this machine.",
        ) from None


def _finish(folder: Path) -> None:
    """Move the files of a save that counts into place, the descriptor last."""
    pending = folder / PENDING
    if not pending.is_dir():
        return
    names = sorted(os.listdir(pending), key=lambda name: (name == DESCRIPTOR, name))
    for name in names:
        os.replace(pending / name, folder / name)
    os.rmdir(pending)


def read_file(path: Path, largest: int = LARGEST_FILE) -> bytes:
    """Return the bytes of a file that the user brings.

    Parameters
    ----------
    path : of the file.
    largest : number of bytes up to which it is read.

    Raises
    ------
    BalancekitError : it is not there, may not be read, or is far too large.
    """
    try:
        return _read(path, largest)
    except OSError as error:
        message = f"The file cannot be read ({error.strerror})."
        raise BalancekitError(
            Problem(message, "Check its name and place.", file=path.name)
        ) from None


def _read(path: Path, largest: int = LARGEST_FILE) -> bytes:
    """Read a regular file; a pipe or a device may have no end, or wait for ever."""
    if not stat.S_ISREG(path.stat().st_mode):
        raise BalancekitError(
            Problem("This is not a file with an end.", "Save it as a file first.", file=path.name)
        )
    if path.stat().st_size > largest:
        raise BalancekitError(
            Problem(
                f"The file has more than {largest // 1_000_000} MB.",
                "Choose the folder of an instrument.",
                file=path.name,
            )
        )
    with path.open("rb") as file:
        return file.read(largest + 1)


def _present(folder: Path) -> dict[str, bytes]:
    """Read the descriptor and the files that it names, as the folder holds them now."""

    def content(name: str) -> bytes | None:
        for place in (folder / PENDING / name, folder / name):
            # It may go to its place at this moment, when another window saves.
            with contextlib.suppress(FileNotFoundError):
                if place.is_file():
                    return _read(place)
        return None

    descriptor = content(DESCRIPTOR)
    if descriptor is None:
        return {}
    found = {name: content(name) for name in named_files(descriptor)}
    return {DESCRIPTOR: descriptor} | {n: data for n, data in found.items() if data is not None}


def _settled(folder: Path) -> dict[str, bytes]:
    """Read until two readings agree, so that a save in another window is not seen half done."""
    files = _present(folder)
    for _ in range(_MOST_LOOKS):
        again = _present(folder)
        if again == files:
            return files
        files = again
    raise refuse(f"Another window goes on saving {folder.name}.", "Wait a moment and try again.")


def _refuse_links(folder: Path) -> None:
    """Refuse a folder in which a link leads out of it: nothing is followed there."""
    own = os.path.realpath(folder)
    leading = [
        entry.name if place == folder else f"{place.name}/{entry.name}"
        for place in (folder, folder / PENDING, folder / VERSIONS)
        if place == folder or not place.is_symlink()
        for entry in entries(place)
        if not os.path.realpath(entry.path).startswith(own + os.sep)
    ]
    if leading:
        raise BalancekitError(
            [
                Problem(
                    f"{name} is a link that leads out of the folder.",
                    "Put the files themselves in its place; nothing was read, moved or written.",
                    file=folder.name,
                )
                for name in sorted(leading)
            ]
        )


def open_folder(folder: Path, *, only_look: bool = False) -> tuple[Instrument, Stamp]:
    """Return the instrument in a folder and the fingerprint of its files.

    Parameters
    ----------
    only_look : write and move nothing at all; a save that was cut short is read where it lies.

    Raises
    ------
    BalancekitError : the folder or a file in it cannot be used; every problem is listed.
    """
    try:
        if not folder.is_dir():
            raise NotADirectoryError(errno.ENOENT, "no such folder")
        _refuse_links(folder)
        if not only_look and (folder / PENDING).is_dir() and os.access(folder, os.W_OK):
            with _locked(folder):
                _finish(folder)
        files = _settled(folder)
    except OSError as error:
        raise disk_problem(error, folder, "Opening") from None
    return from_files(files), _stamp(files)


def stamp_of(folder: Path) -> Stamp:
    """Return the fingerprint of an instrument's files as they are now; empty if it is none.

    Raises
    ------
    BalancekitError : the folder or a file in it cannot be read.
    """
    try:
        _refuse_links(folder)
        return _stamp(_settled(folder))
    except OSError as error:
        raise disk_problem(error, folder, "Opening") from None


def save_folder(
    instrument: Instrument,
    folder: Path,
    known: Stamp | None,
    *,
    replace_changed: bool = False,
    keep_version: bool = True,
) -> Stamp:
    """Save an instrument, all or nothing, and keep the version before.

    Parameters
    ----------
    known : fingerprint from the last opening or saving; None for a folder that is new.
    replace_changed : write even if the folder changed since; what was there goes to
        ``versions`` first.
    keep_version : keep what was there before in ``versions``.

    Raises
    ------
    ChangedOnDisk : the folder changed since ``known``; nothing was written.
    BalancekitError : the disk cannot take it; the folder is as it was.
    """
    files = to_files(instrument)
    try:
        if known and not folder.is_dir():
            raise gone(folder)  # making it anew would hide this from who looks on the share
        if not known:
            folder.mkdir(parents=True, exist_ok=True)
        if not os.access(folder, os.W_OK):
            raise PermissionError(errno.EACCES, "not writable")
        _refuse_links(folder)
        with _locked(folder):
            _finish(folder)
            before = _present(folder)
            mine = _stamp(before) in (dict(known or {}), _stamp(files))
            if known and not mine and not _present(folder):
                raise gone(folder)  # before or while it was read
            if not mine and not replace_changed:
                raise ChangedOnDisk(
                    Problem(
                        "The instrument changed on disk since it was opened here.",
                        "Choose: take the one on disk, or keep the one here (the one on disk "
                        "then goes to the folder 'versions').",
                        file=folder.name,
                    )
                )
            if before and (keep_version or not mine):
                _keep_version(folder, before, set_aside=not mine)
            _write(folder, {n: data for n, data in files.items() if before.get(n) != data})
            # It is saved now. What is left to do, the next opening or saving does as well.
            with contextlib.suppress(OSError):
                _finish(folder)
                for name in before.keys() - files.keys():
                    (folder / name).unlink(missing_ok=True)
                _thin_versions(folder)
    except OSError as error:
        if known and error.errno == errno.ENOENT and not os.path.isdir(folder):
            raise gone(folder) from None
        raise disk_problem(error, folder, "Saving") from None
    return _stamp(files)


def _write(folder: Path, files: Mapping[str, bytes]) -> None:
    """Write all files and make the save count, or leave everything as it was."""
    unfinished = folder / UNFINISHED
    shutil.rmtree(unfinished, ignore_errors=True)
    try:
        unfinished.mkdir()
        write_through(unfinished, files)
        os.rename(unfinished, folder / PENDING)
        sync_names(folder)
    except OSError:
        shutil.rmtree(unfinished, ignore_errors=True)
        raise


def keep_aside(instrument: Instrument, folder: Path) -> str:
    """Keep a state that was never saved among the versions of a folder; return its name there.

    Raises
    ------
    BalancekitError : it cannot be written.
    """
    try:
        _refuse_links(folder)
        with _locked(folder):
            return _keep_version(folder, to_files(instrument), set_aside=True)
    except OSError as error:
        raise disk_problem(error, folder, "Saving") from None


def _keep_version(folder: Path, files: Mapping[str, bytes], *, set_aside: bool = False) -> str:
    versions = folder / VERSIONS
    place = versions / (_time_after(versions_of(folder)) + (SET_ASIDE if set_aside else ""))
    beside = place.with_name(f"{UNFINISHED}-{place.name}")
    try:
        versions.mkdir(exist_ok=True)
        beside.mkdir()
        if set_aside:
            write_through(beside, files)
        else:
            for name, data in files.items():
                (beside / name).write_bytes(data)
        os.rename(beside, place)
    except OSError:
        # On a full disk each further try would leave less of it.
        shutil.rmtree(beside, ignore_errors=True)
        raise
    return place.name


def _time_after(versions: list[str]) -> str:
    """Return the time of the clock, or a little after the newest version if that lies ahead."""
    now = datetime.now()
    for name in versions:
        with contextlib.suppress(ValueError):  # a folder that somebody named so
            now = max(
                now, datetime.strptime(name[:_TIME_LETTERS], _TIME) + timedelta(microseconds=1)
            )
    return now.strftime(_TIME)


def _thin_versions(folder: Path) -> None:
    """Keep what was set aside, the newest saves, and the last of each earlier day."""
    versions = folder / VERSIONS
    names = [name for name in versions_of(folder) if not name.endswith(SET_ASIDE)]
    for path in versions.glob(f"{UNFINISHED}-*"):
        shutil.rmtree(path, ignore_errors=True)
    days: dict[str, str] = {}
    for name in names[NEWEST_KEPT:]:
        days.setdefault(name[:10], name)
    kept = {*names[:NEWEST_KEPT], *list(days.values())[:DAYS_KEPT]}
    for name in names:
        if name not in kept:
            shutil.rmtree(versions / name, ignore_errors=True)


def versions_of(folder: Path) -> list[str]:
    """List the kept versions, the newest first; each is a folder under ``versions``."""
    place = folder / VERSIONS
    if not place.is_dir():
        return []
    return sorted((p.name for p in place.iterdir() if p.name[0].isdigit()), reverse=True)
