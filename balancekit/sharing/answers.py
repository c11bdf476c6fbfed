"""The notes that were written inside a report, in a browser, as records of the instrument.

The page keeps them as one block of JSON. It comes from outside and is never trusted: it is
checked against a schema, its words are only words, its pictures are read and written anew.
"""

from __future__ import annotations

import base64
import binascii
import json
import re
from typing import Any

from jsonschema_rs import Draft202012Validator

from balancekit.calculation.problems import BalancekitError, Problem
from balancekit.instrument.model import Instrument
from balancekit.instrument.notes import NOTE_SCHEMA, note_from
from balancekit.instrument.photographs import prepared

ANSWERS_OPENING = '<script type="application/json" id="answers">'
MOST_ANSWERS = 1_000

_BLOCK = re.compile(re.escape(ANSWERS_OPENING.encode()) + rb"([^<]*)</script>")
_PICTURE = "data:image/jpeg;base64,"
_OWN = {name: rule for name, rule in NOTE_SCHEMA["properties"].items()
        if name not in ("photographs", "earlier")}  # fmt: skip
_SCHEMA: dict[str, Any] = {
    "type": "array",
    "maxItems": MOST_ANSWERS,
    "items": {
        **NOTE_SCHEMA,
        "properties": {
            **_OWN,
            "pictures": {
                "type": "array",
                "maxItems": 20,
                "items": {"type": "string", "pattern": f"^{_PICTURE}[A-Za-z0-9+/]*=*$"},
            },
        },
    },
}
"""What the block may hold; JSON Schema, draft 2020-12."""


def with_answers(instrument: Instrument, report: bytes, name: str) -> Instrument:
    """Return the instrument with the notes that were written inside its report.

    Parameters
    ----------
    instrument : that the report carries.
    report : the bytes of the report.
    name : its name, for messages.

    Raises
    ------
    BalancekitError : the block of answers is damaged, or a picture in it cannot be read.
    """
    blocks = _BLOCK.findall(report)
    if not blocks:
        return instrument  # from before reports could be answered
    if len(blocks) > 1:
        raise _refused(name)
    try:
        given = json.loads(blocks[0].decode())
        fits = Draft202012Validator(_SCHEMA).is_valid(given)
    except (ValueError, RecursionError):
        raise _refused(name) from None
    if not fits:
        raise _refused(name)
    for each in given:
        pictures: dict[str, bytes] = {}
        for picture in each.pop("pictures", ()):
            try:
                data = base64.b64decode(picture.removeprefix(_PICTURE), validate=True)
            except binascii.Error:
                raise _refused(name) from None
            kept, clean = prepared(data, name)
            pictures[kept] = clean
        note = note_from({**each, "photographs": tuple(pictures)})
        instrument = instrument.with_photographs(pictures).with_notes(note)
    return instrument


def _refused(name: str) -> BalancekitError:
    return BalancekitError(
        Problem(
            "The notes inside the report are damaged.",
            "Ask for the file once more. Nothing was changed.",
            file=name,
        )
    )
