"""An instrument as the files of a Data Package, and back; bytes only, no disk.

The folder, the zip and the shared report all carry exactly these files.
"""

from __future__ import annotations

import hashlib
import json
import re
import uuid
from collections.abc import Mapping
from dataclasses import asdict, fields, replace
from typing import Any

import pandas as pd
from jsonschema_rs import Draft202012Validator, ValidationError, ValidationErrorKind

from balancekit.calculation.keyboard import MOST_KEYS
from balancekit.calculation.problems import BalancekitError, Problem, refuse, shown
from balancekit.calculation.quantities import READING_COLUMNS
from balancekit.instrument.model import (
    ACTIONS,
    LONGEST_SIGNATURE,
    BenchSettings,
    Instrument,
    Section,
    Visit,
)
from balancekit.instrument.notes import MOST_NOTES, NOTE_SCHEMA, in_order, note_from, note_values
from balancekit.instrument.photographs import check_kept, joined
from balancekit.instrument.table_files import from_bytes
from balancekit.instrument.tables import TABLES, TableKind, as_written, table_schema
from balancekit.instrument.write_table import to_bytes

DESCRIPTOR = "datapackage.json"
FORMAT = 1
"""Number of the layout of our own part of the descriptor; raised when it changes."""

LARGEST_FILE = 8_000_000
"""Bytes in one file of an instrument; ninety-seven keys with many repeats need far less."""

_NUMBER = {"type": "number", "minimum": -1e6, "maximum": 1e6}
_TEXT = {"type": "string", "maxLength": 100_000}
_TITLE = {"type": "string", "maxLength": 200}
_KEY = {"type": "integer", "minimum": 1, "maximum": MOST_KEYS}
_SETTINGS = {
    "type": "object",
    "additionalProperties": False,
    "properties": {
        "key_count": _KEY,
        "first_note": _TITLE,
        "action": {"enum": list(ACTIONS)},
        "drift_taken_off": {"type": "boolean"},
        **{name: _NUMBER for name in BenchSettings.__dataclass_fields__ if name.endswith("_mm")},
        "reading_u": {
            "type": "object",
            "additionalProperties": False,
            "properties": {
                name: {"type": "number", "minimum": 0, "maximum": 100} for name in READING_COLUMNS
            },
        },
    },
}
_VISIT = {
    "type": "object",
    "additionalProperties": False,
    "required": ["resource", "title"],
    "properties": {
        "resource": {"type": "string", "pattern": "^readings(_[0-9]{1,3})?$"},
        "title": _TITLE,
        "date": {"type": "string", "pattern": "^([0-9]{4}-[0-9]{2}-[0-9]{2})?$"},
        "confirmed": {
            "type": "array",
            "maxItems": 10_000,
            "items": {
                "type": "array",
                "prefixItems": [_KEY, {"enum": list(READING_COLUMNS)}],
                "minItems": 2,
                "maxItems": 2,
            },
        },
    },
}
_SCHEMA: dict[str, Any] = {
    "type": "object",
    "required": ["title", "resources", "balancekit"],
    "properties": {
        "id": {"type": "string", "pattern": "^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$"},
        "title": _TITLE,
        "resources": {
            "type": "array",
            "maxItems": 300,
            "items": {
                "type": "object",
                "required": ["name", "path"],
                "properties": {
                    "name": _TITLE,
                    "path": {
                        "type": "string",
                        "pattern": "^([a-z][a-z0-9_]{0,60}[.]csv|photograph_[0-9a-f]{16}[.]jpg)$",
                    },
                },
            },
        },
        "balancekit": {
            "type": "object",
            "required": ["format", "settings", "visits"],
            "additionalProperties": False,
            "properties": {
                "format": {"const": FORMAT},
                "settings": _SETTINGS,
                "visits": {"type": "array", "minItems": 1, "maxItems": 200, "items": _VISIT},
                "sections": {
                    "type": "array",
                    "maxItems": MOST_KEYS,
                    "items": {
                        "type": "object",
                        "additionalProperties": False,
                        "required": ["name", "first_key"],
                        "properties": {"name": _TITLE, "first_key": _KEY},
                    },
                },
                "choices": {"type": "object"},
                "chapter_notes": {"type": "object", "additionalProperties": _TEXT},
                "notes": {"type": "array", "maxItems": MOST_NOTES, "items": NOTE_SCHEMA},
                "signatures": {
                    "type": "object",
                    "additionalProperties": {"type": "string", "maxLength": LONGEST_SIGNATURE},
                },
                "left_out": {
                    "type": "array",
                    "maxItems": 10 * MOST_NOTES,
                    "items": {"type": "string", "pattern": "^[0-9a-f]{32}$"},
                },
            },
        },
    },
}
"""What the descriptor must be; JSON Schema, draft 2020-12."""


def slug(title: str) -> str:
    """Return a folder name made from a title: small letters, digits and underscores.

    >>> slug("Dance School, the grand"), slug("?")
    ('dance_school_the_grand', 'instrument')
    """
    return re.sub(r"[^a-z0-9]+", "_", title.lower()).strip("_")[:60] or "instrument"


def identified(instrument: Instrument) -> Instrument:
    """Return the instrument with an identity; one from before there were any gets its own.

    It is made from all that the instrument holds, so that a folder and the report made from it
    have the same.

    References
    ----------
    RFC 9562, 5.5: a UUID from a name.
    """
    if instrument.identity:
        return instrument
    whole = hashlib.sha256()
    for name, data in to_files(instrument).items():
        whole.update(name.encode() + data)
    return replace(instrument, identity=str(uuid.uuid5(uuid.NAMESPACE_OID, whole.hexdigest())))


def _resource(name: str, kind: TableKind, key_count: int) -> dict[str, Any]:
    return {
        "name": name.replace("_", "-"),
        "path": f"{name}.csv",
        "type": "table",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "description": kind.meaning,
        "schema": table_schema(kind, key_count),
    }


def _settings(settings: BenchSettings) -> dict[str, Any]:
    own = {item.name: getattr(settings, item.name) for item in fields(settings)}
    if settings.drift_taken_off:
        del own["drift_taken_off"]
    return {**own, "reading_u": dict(settings.reading_u)}


def to_files(instrument: Instrument) -> dict[str, bytes]:
    """Return the files of an instrument by name, the descriptor last.

    The same instrument always gives the same bytes.

    Raises
    ------
    BalancekitError : a file would be larger than what is read back.
    """
    files: dict[str, bytes] = {}
    resources, visits = [], []
    count = instrument.settings.key_count
    for number, visit in enumerate(instrument.visits, start=1):
        name = "readings" if number == 1 else f"readings_{number}"
        readings, readings_kind = as_written(visit.readings, TABLES["readings"])
        files[f"{name}.csv"] = to_bytes(readings)
        resources.append(_resource(name, readings_kind, count))
        confirmed = sorted([key, quantity] for key, quantity in visit.confirmed)
        visits.append(
            {"resource": name, "title": visit.title, "date": visit.date, "confirmed": confirmed}
        )
    for kind in sorted(instrument.tables):
        if len(instrument.tables[kind]):
            files[f"{kind}.csv"] = to_bytes(instrument.tables[kind])
            resources.append(_resource(kind, TABLES[kind], count))
    for name in sorted(instrument.photographs):
        files[name] = instrument.photographs[name]
        resources.append(
            {"name": name.removesuffix(".jpg").replace("_", "-"), "path": name,
             "mediatype": "image/jpeg"}
        )  # fmt: skip
    own = {
        "format": FORMAT,
        "settings": _settings(instrument.settings),
        "visits": visits,
        "sections": [asdict(section) for section in instrument.sections],
        "choices": dict(instrument.choices),
        "chapter_notes": dict(instrument.chapter_notes),
    }
    if instrument.notes:
        own["notes"] = [note_values(note) for note in instrument.notes]
    if instrument.signatures:
        own["signatures"] = dict(sorted(instrument.signatures.items()))
    if instrument.left_out:
        own["left_out"] = sorted(instrument.left_out)
    descriptor = {
        "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
        **({"id": instrument.identity} if instrument.identity else {}),
        "name": slug(instrument.title).replace("_", "-"),
        "title": instrument.title,
        "resources": resources,
        "balancekit": own,
    }
    try:
        text = json.dumps(descriptor, indent=2, ensure_ascii=False, allow_nan=False)
    except (TypeError, ValueError) as error:
        raise refuse(f"It cannot be written ({shown(str(error))}).", "Change it.") from None
    # A half character is let through here, so that the check says it in the words for a file.
    files[DESCRIPTOR] = (text + "\n").encode(errors="surrogatepass")
    _descriptor(files[DESCRIPTOR])
    large = [name for name, data in files.items() if len(data) > LARGEST_FILE]
    if large:
        message = f"It would have more than {LARGEST_FILE // 1_000_000} MB."
        advice = "Shorten notes and remarks."
        raise BalancekitError([Problem(message, advice, file=name) for name in large])
    return files


def _refuse_constant(word: str) -> Any:
    raise ValueError(f"{word} is not a number in JSON")


def _descriptor(data: bytes) -> dict[str, Any]:
    """Parse and check the descriptor."""

    def wrong(message: str) -> BalancekitError:
        advice = "Take the last version from the folder 'versions', or the file as it was sent."
        return BalancekitError(Problem(message, advice, file=DESCRIPTOR))

    try:
        descriptor = json.loads(data.decode("utf-8-sig"), parse_constant=_refuse_constant)
        json.dumps(descriptor, ensure_ascii=False).encode()
        errors = sorted(Draft202012Validator(_SCHEMA).iter_errors(descriptor), key=_place)
    except UnicodeError:
        raise wrong("A text in the description holds half a character.") from None
    except (ValueError, RecursionError, TypeError) as error:
        told = shown(str(error))
        raise wrong(f"The description of the instrument cannot be read ({told}).") from None
    if errors:
        raise BalancekitError([wrong(_sentence(error)).problems[0] for error in errors])
    return dict(descriptor)


def _place(error: ValidationError) -> str:
    return ".".join(str(part) for part in error.instance_path) or "the file"


def _sentence(error: ValidationError) -> str:
    if isinstance(error.kind, ValidationErrorKind.Enum):
        allowed = ", ".join(map(str, error.kind.options))
        return f"{_place(error)}: '{shown(str(error.instance))}' is none of {allowed}."
    return f"{_place(error)}: {shown(error.message)}."


def named_files(descriptor: bytes) -> list[str]:
    """List the tables that a descriptor names; a descriptor that cannot be read names none."""
    try:
        resources = _descriptor(descriptor)["resources"]
    except BalancekitError:
        return []
    return [resource["path"] for resource in resources]


def from_files(files: Mapping[str, bytes]) -> Instrument:
    """Return the instrument that the files hold.

    Parameters
    ----------
    files : content by file name; only the descriptor and what it names are read.

    Raises
    ------
    BalancekitError : every problem of the descriptor, or of all the tables together.
    """
    if DESCRIPTOR not in files:
        raise BalancekitError(
            Problem(
                f"There is no {DESCRIPTOR}.",
                "Choose the folder of an instrument, or import a readings file.",
            )
        )
    descriptor = _descriptor(files[DESCRIPTOR])
    try:
        return _instrument(descriptor, files)
    except BalancekitError as error:
        raise BalancekitError(
            [item if item.file else replace(item, file=DESCRIPTOR) for item in error.problems]
        ) from None


def _instrument(descriptor: Mapping[str, Any], files: Mapping[str, bytes]) -> Instrument:
    own = descriptor["balancekit"]
    settings = BenchSettings(**own["settings"])
    problems: list[Problem] = []

    def table(name: str, kind: str) -> pd.DataFrame:
        path = f"{name}.csv"
        try:
            if path not in files:
                raise BalancekitError(
                    Problem("The file is missing.", "Put it back beside the others.", file=path)
                )
            return from_bytes(files[path], path, TABLES[kind], settings.key_count)
        except BalancekitError as error:
            problems.extend(error.problems)
            return TABLES[kind].empty()

    visits = tuple(
        Visit(
            title=visit["title"],
            date=visit.get("date", ""),
            readings=table(visit["resource"], "readings"),
            confirmed=frozenset((key, name) for key, name in visit.get("confirmed", [])),
        )
        for visit in own["visits"]
    )
    named = {resource["path"].removesuffix(".csv") for resource in descriptor["resources"]}
    tables = {kind: table(kind, kind) for kind in sorted(named & TABLES.keys() - {"readings"})}
    photographs = _photographs(files, descriptor, problems)
    if problems:
        raise BalancekitError(problems)
    return Instrument(
        title=descriptor["title"],
        settings=settings,
        visits=visits,
        sections=tuple(Section(**section) for section in own.get("sections", [])),
        tables=tables,
        choices=own.get("choices", {}),
        chapter_notes=own.get("chapter_notes", {}),
        identity=descriptor.get("id", ""),
        notes=in_order(note_from(note) for note in own.get("notes", ())),
        left_out=frozenset(own.get("left_out", ())),
        photographs=photographs,
        signatures=own.get("signatures", {}),
    )


def _photographs(
    files: Mapping[str, bytes], descriptor: Mapping[str, Any], problems: list[Problem]
) -> dict[str, bytes]:
    """Return the photographs that the descriptor names; one that is missing is missed there."""
    found: dict[str, bytes] = {}
    for resource in descriptor["resources"]:
        name = resource["path"]
        if not name.endswith(".jpg") or name not in files:
            continue
        try:
            check_kept(name, files[name])
            found = joined(found, {name: files[name]})
        except BalancekitError as error:
            problems.extend(error.problems)
    return found
