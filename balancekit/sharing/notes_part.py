"""The notes of people in a page: signed, in their chapter, with photographs and proposals."""

from __future__ import annotations

import base64
from collections.abc import Iterable

from balancekit.calculation.words import escape
from balancekit.instrument.model import Instrument
from balancekit.instrument.notes import Note, Proposal
from balancekit.sharing.markup import bullets, note_html
from balancekit.sharing.what_if_part import SLIDERS

_LABELS = {name: label for name, label, *_ in SLIDERS}


def notes_part(instrument: Instrument, chapter: str) -> str:
    """Return the notes that people wrote on a chapter, the oldest first; "" for none."""
    return "".join(_note(instrument, note) for note in instrument.notes if note.chapter == chapter)


def proposal_words(proposal: Proposal) -> str:
    """Return a proposal as a sentence.

    >>> proposal_words(Proposal("balance", 36.0, "The hall is small."))
    'Proposes: Balance weight (g) 36. Why: The hall is small.'
    """
    label = _LABELS.get(proposal.slider, proposal.slider.replace("_", " "))
    why = f" Why: {proposal.reason}" if proposal.reason else ""
    return f"Proposes: {label} {proposal.value:g}.{why}".replace("-", "−")


def _note(instrument: Instrument, note: Note) -> str:
    about = f" on {note.about}" if note.about else ""
    signed = f"{note.signature or 'Somebody'}{about}"
    pictures = "".join(pictures_html(instrument, note.photographs, note.about))
    return (
        f'<aside class="note" aria-label="{escape(f"Note by {signed}")}">'
        f'<strong class="signature">{escape(signed)}</strong>{note_html(note.text)}'
        f"{bullets(map(proposal_words, note.proposals))}{pictures}</aside>"
    )


def pictures_html(instrument: Instrument, names: Iterable[str], about: str) -> list[str]:
    """Return photographs as pictures inside the page; one that is missing is left out."""
    alt = escape(f"Photograph: {about}" if about else "Photograph")
    return [
        f'<img alt="{alt}" src="data:image/jpeg;base64,'
        f'{base64.b64encode(instrument.photographs[name]).decode()}">'
        for name in names
        if name in instrument.photographs
    ]
