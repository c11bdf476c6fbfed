"""From what a person names, a folder or a file of any kind, to an instrument."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from balancekit.calculation.problems import BalancekitError, Problem
from balancekit.instrument.bring_in.import_readings import Question, Understood, understand
from balancekit.instrument.descriptor import DESCRIPTOR
from balancekit.instrument.in_hand import instruments_in
from balancekit.instrument.model import BenchSettings, Instrument, Visit
from balancekit.instrument.store import open_folder, read_file
from balancekit.sharing.carry import LARGEST_REPORT, open_anything


@dataclass(frozen=True)
class Settings:
    """What a file of readings does not say itself.

    Attributes
    ----------
    key_count, first_note : size of the keyboard; without a count it is taken from the file.
    action : "grand" or "upright".
    answers : answers to the questions of the import, by question id.
    """

    key_count: int | None = None
    first_note: str = "A0"
    action: str = "grand"
    answers: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Received:
    """An instrument, and what was made of the file it came from.

    Attributes
    ----------
    instrument : what was given.
    understood : of a file of readings; None for a folder, a report or a zip.
    """

    instrument: Instrument
    understood: Understood | None = None


def sources_in(paths: list[Path]) -> list[Path]:
    """Return the sources that some paths name; a folder of instruments counts as all of them."""
    found: list[Path] = []
    for path in paths:
        inside = [] if (path / DESCRIPTOR).is_file() else instruments_in(path)
        found += inside or [path]
    return found


def receive(path: Path, settings: Settings | None = None) -> Received:
    """Return the instrument in a folder, a report, a zip, or a file of readings.

    Parameters
    ----------
    path : of the folder or file.
    settings : for a file of readings.

    Raises
    ------
    BalancekitError : it cannot be used; every problem, and every question that only the user
        can answer, is listed.
    """
    settings = settings or Settings()
    if path.is_dir():
        return Received(open_folder(path, only_look=True)[0])
    data = read_file(path, LARGEST_REPORT)
    carried = open_anything(data, path.name)
    if carried is not None:
        return Received(carried)
    understood = understand(
        data,
        path.name,
        key_count=settings.key_count,
        answers=settings.answers,
        first_note=settings.first_note,
    )
    if understood.questions:
        raise BalancekitError([_as_problem(q, path.name) for q in understood.questions])
    bench = BenchSettings(understood.key_count, settings.first_note, settings.action)
    instrument = Instrument(title=path.stem, settings=bench, visits=(Visit(),))
    return Received(instrument.with_readings(understood.readings), understood)


def _as_problem(question: Question, file: str) -> Problem:
    """Say a question, and how it is answered on the command line."""
    ways = "; ".join(f'--answer "{question.id}={value}" ({label})'
                     for value, label in question.choices)  # fmt: skip
    return Problem(question.text, f"Answer with one of: {ways}.", file=file)
