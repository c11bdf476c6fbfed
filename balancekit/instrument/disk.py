"""What the disk is asked for, and what it answers, in sentences."""

from __future__ import annotations

import errno
import os
from collections.abc import Mapping
from pathlib import Path

from balancekit.calculation.problems import BalancekitError, Problem, refuse, shown

_NO_ANSWER = {
    getattr(errno, name)
    for name in ("ESTALE", "ENOTCONN", "EHOSTDOWN", "EHOSTUNREACH", "ENETDOWN", "ETIMEDOUT")
    if hasattr(errno, name)
}
"""What a folder on a share or a stick answers when it is away."""


def typed_path(text: str | Path) -> Path:
    """Return the path that somebody wrote; ``~`` stands for the home folder.

    Raises
    ------
    BalancekitError : no file can have it, or it names the home of somebody who is not known here.
    """
    written = str(text)
    if "\0" in written:
        raise refuse("A path with an empty character in it is no path.", "Write it again.")
    try:
        return Path(written).expanduser()
    except RuntimeError:
        raise refuse(
            f"'{shown(written)}' names a home folder that is not known here.",
            "Write the whole path, from the root folder.",
        ) from None


def disk_problem(error: OSError, folder: Path, doing: str) -> BalancekitError:
    """Turn an error of the disk into a sentence; ``doing`` is "Opening" or "Saving"."""
    reasons = {
        errno.ENOSPC: ("The disk is full.", "Free some space, then save again."),
        errno.EDQUOT: ("Your share of the disk is full.", "Free some space, then save again."),
        errno.EROFS: ("The folder cannot be written.", "Save to another folder."),
        errno.EACCES: ("The folder may not be used.", "Allow it, or choose another folder."),
        errno.EPERM: ("The folder may not be used.", "Allow it, or choose another folder."),
        errno.ENOENT: ("The folder is not there.", "Choose the folder of an instrument."),
        errno.ENOTDIR: ("That is a file, not a folder.", "Choose the folder of an instrument."),
    }
    away = ("The disk or share does not answer.", "Connect it again, then try again.")
    reasons |= dict.fromkeys(_NO_ANSWER, away)
    message, advice = reasons.get(
        error.errno or 0, (f"{doing} failed ({error.strerror}).", "Try again, or choose another.")
    )
    return BalancekitError(Problem(message, advice + _kept(doing), file=folder.name))


def _kept(doing: str) -> str:
    return " What you entered is still here." if doing == "Saving" else ""


def gone(folder: Path) -> BalancekitError:
    """Say that a folder in which something was saved before has vanished."""
    message = "The folder that this was saved in is not there any more."
    advice = "Bring it back (a share, a stick, its name), or save in a new folder."
    return BalancekitError(Problem(message, advice + _kept("Saving"), file=folder.name))


def entries(place: Path) -> list[os.DirEntry[str]]:
    """List a folder; one that is not there is empty."""
    try:
        return list(os.scandir(place))
    except (FileNotFoundError, NotADirectoryError):
        return []  # never made, or gone just now, as another window saved


def write_through(place: Path, files: Mapping[str, bytes]) -> None:
    """Write files so that a power cut takes none of them."""
    for name, data in files.items():
        with open(place / name, "wb") as out:
            out.write(data)
            out.flush()
            os.fsync(out.fileno())
    sync_names(place)


def sync_names(place: Path) -> None:
    """Bring the names in a folder to the disk; Windows does so by itself and has no call for it."""
    if os.name == "nt":
        return
    held = os.open(place, os.O_RDONLY)
    try:
        os.fsync(held)
    except OSError as error:
        if error.errno not in (errno.EINVAL, errno.ENOTSUP):  # some shares cannot
            raise
    finally:
        os.close(held)
