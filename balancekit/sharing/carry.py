"""The whole instrument as one file: a zip of its folder, or inside its report.

What comes back is byte for byte what went in. A received file is never trusted: it is
read as data only, nothing is written to disk, names and sizes are limited, and what it
holds passes the same checks as a folder. Only ``BalancekitError`` leaves.
"""

from __future__ import annotations

import base64
import binascii
import io
import re
import zipfile
import zlib
from collections.abc import Mapping

from balancekit.calculation.problems import BalancekitError, Problem
from balancekit.instrument.descriptor import DESCRIPTOR, LARGEST_FILE, from_files, to_files
from balancekit.instrument.model import Instrument
from balancekit.sharing.answers import with_answers

LARGEST_ZIP = 36_000_000
LARGEST_REPORT = 100_000_000
MOST_ENTRIES = 5_000
LARGEST_WHOLE = 64_000_000
"""Bytes and entries of what is received, and bytes of all its files unpacked."""

PAYLOAD_ID = "balancekit-instrument"
PAYLOAD_TYPE = "application/zip+base64"

_FILE_NAME = re.compile(r"[a-z][a-z0-9_]{0,60}[.]csv|photograph_[0-9a-f]{16}[.]jpg")
_OPENING = f'<script type="{PAYLOAD_TYPE}" id="{PAYLOAD_ID}">'
_ELEMENT = re.compile(re.escape(_OPENING.encode()) + rb"([^<]*)</script>")
_ZIP_MAGIC = b"PK\x03\x04"
_PACKINGS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)


def to_zip(instrument: Instrument) -> bytes:
    """Return the folder of an instrument as a zip; the same instrument gives the same bytes."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in to_files(instrument).items():
            # The oldest date that a zip can hold: no clock in the bytes.
            entry = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
            entry.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(entry, data)
    return out.getvalue()


def to_html_payload(instrument: Instrument) -> str:
    """Return the instrument as an element of a page: a block of data that no browser runs."""
    text = base64.b64encode(to_zip(instrument)).decode("ascii")
    return f"{_OPENING}{text}</script>"


def from_report(data: bytes, name: str = "report.html") -> Instrument:
    """Return the instrument that a report carries, with the notes that were written in it.

    Parameters
    ----------
    data : the bytes of the report.
    name : its name, for messages.

    Raises
    ------
    BalancekitError : it carries none, or one that cannot be taken; every problem is listed.
    """
    if len(data) > LARGEST_REPORT:
        raise _refused(name, f"The file has more than {LARGEST_REPORT // 1_000_000} MB.")
    found = _ELEMENT.findall(data)
    if len(found) != 1:
        message = "No instrument is in the report." if not found else "More than one is in it."
        raise _refused(name, message)
    try:
        packed = base64.b64decode(b"".join(found[0].split()), validate=True)
    except binascii.Error:
        raise _refused(name, "The instrument in the report is damaged.") from None
    return with_answers(from_zip(packed, name), data, name)


def from_zip(data: bytes, name: str = "instrument.zip") -> Instrument:
    """Return the instrument in a zip of its folder.

    The folder may stand in the zip with its own name, and other files may lie beside it;
    only the descriptor and the tables next to it are read.

    Parameters
    ----------
    data : the bytes of the zip.
    name : its name, for messages.

    Raises
    ------
    BalancekitError : it cannot be taken; every problem is listed.
    """
    if len(data) > LARGEST_ZIP:
        raise _refused(name, f"The file has more than {LARGEST_ZIP // 1_000_000} MB.")
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            files = _unpacked(archive, name)
    except (
        zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError, RuntimeError,
        ValueError, OverflowError, IndexError,
    ) as error:  # fmt: skip
        if isinstance(error, BalancekitError):
            raise
        raise _refused(name, f"The zip is damaged ({error}).") from None
    return checked(files, name)


def checked(files: Mapping[str, bytes], name: str) -> Instrument:
    """Return the instrument that received files hold, if it can also be saved again.

    Raises
    ------
    BalancekitError : every problem of the files.
    """
    instrument = from_files(files)
    try:
        to_files(instrument)
    except (ValueError, RecursionError) as error:
        raise _refused(name, f"What it holds cannot be saved again ({error}).") from None
    return instrument


def _unpacked(archive: zipfile.ZipFile, name: str) -> dict[str, bytes]:
    """Read the descriptor nearest to the top, and the tables beside it, into memory."""
    entries = archive.infolist()
    if len(entries) > MOST_ENTRIES:
        raise _refused(name, f"There are {len(entries)} files in the zip.")
    for entry in entries:
        parts = entry.filename.replace("\\", "/").split("/")
        if ".." in parts or not parts[0] or ":" in parts[0] or "\0" in entry.filename:
            raise _refused(name, "A path in the zip leads out of its folder.")
    tops = [entry.filename for entry in entries if _is_descriptor(entry.filename)]
    if not tops:
        raise _refused(name, f"There is no {DESCRIPTOR} in the zip.")
    top = min(tops, key=lambda path: (path.count("/"), path))
    folder = top.removesuffix(DESCRIPTOR)
    files: dict[str, bytes] = {}
    whole = 0
    for entry in entries:
        inside = entry.filename.removeprefix(folder)
        if not entry.filename.startswith(folder) or not _is_ours(inside):
            continue
        if inside in files:
            raise _refused(name, f"{inside} is in the zip twice.")
        files[inside] = _content(archive, entry, name)
        whole += len(files[inside])
        if whole > LARGEST_WHOLE:
            raise _refused(name, f"Unpacked it has more than {LARGEST_WHOLE // 1_000_000} MB.")
    return files


def _is_descriptor(path: str) -> bool:
    return path.rpartition("/")[2] == DESCRIPTOR and not path.startswith("__MACOSX")


def _is_ours(name: str) -> bool:
    return name == DESCRIPTOR or bool(_FILE_NAME.fullmatch(name))


def _content(archive: zipfile.ZipFile, entry: zipfile.ZipInfo, name: str) -> bytes:
    """Unpack one file, but never more of it than an instrument may have."""
    if entry.compress_type not in _PACKINGS or entry.flag_bits & 1:
        raise _refused(name, "The zip is packed in an unusual way, or has a password.")
    data = b""
    if entry.file_size <= LARGEST_FILE:
        with archive.open(entry) as packed:
            data = packed.read(LARGEST_FILE + 1)
    if max(len(data), entry.file_size) > LARGEST_FILE:
        raise _refused(name, f"{entry.filename[:60]} is too large when it is unpacked.")
    return data


def _refused(name: str, message: str) -> BalancekitError:
    advice = "Ask for a report or a zip that balancekit made, and open that. Nothing was changed."
    return BalancekitError(Problem(message, advice, file=name))


def open_anything(data: bytes, name: str) -> Instrument | None:
    """Return the instrument in a received file, or None if the file is something else.

    What it is, is told from what it holds and not from its name. None means: not a report
    and not a zip of an instrument, so perhaps a file of readings.

    Parameters
    ----------
    data : the bytes of the file.
    name : its name, for messages.

    Raises
    ------
    BalancekitError : it is a report or a zip of an instrument, and cannot be taken.
    """
    if data.startswith(_ZIP_MAGIC):
        return from_zip(data, name) if DESCRIPTOR.encode() in data else None
    return from_report(data, name) if f'id="{PAYLOAD_ID}"'.encode() in data else None
