"""One apprentice's row of exercises: what was entered, hinted, shown and solved.

Everything stays in memory. The score is a text that the apprentice takes along.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from balancekit.calculation.problems import BalancekitError, Problem
from balancekit.lesson.practice.exercise import Exercise, Verdict, check
from balancekit.lesson.practice.exercises import exercise_row, make_exercise
from balancekit.lesson.practice.handed_in import HandedIn, text_of
from balancekit.lesson.practice.written_exercise import WrittenExercise, read_exercise

SCORE_FILE = HandedIn(
    "balancekit lesson score", "score", "Take the text from the score panel anew."
)
MOST_SCORE_BYTES = 200_000
"""Largest score that is taken; a row of 20 exercises takes about 5,000 bytes."""
RESULTS = ("right at once", "right after a hint", "right after the solution", "not right yet")


@dataclass
class Attempt:
    """What was done on one exercise.

    Attributes
    ----------
    exercise : what was asked.
    entries : what was typed and could be read as an answer, in order.
    solution_after : after how many entries the worked solution was shown; None if it was not.
    again : which repetition of the row this is, from 0; None for an exercise of the row itself.
    """

    exercise: Exercise
    entries: list[str] = field(default_factory=list)
    solution_after: int | None = None
    again: int | None = None

    def enter(self, entry: str) -> Verdict:
        """Judge an entry and keep it.

        One that cannot be read is not held against anyone, nor the same one given again.
        """
        verdict = check(self.exercise, entry)
        again = self.entries[-1:] == [entry.strip()]
        if verdict.kind != "unclear" and not self.right and not again:
            self.entries.append(entry.strip())
        return verdict

    def show_solution(self) -> tuple[str, ...]:
        """Return the worked solution, and note when it was shown."""
        if self.solution_after is None and not self.right:
            self.solution_after = len(self.entries)
        return self.exercise.solution

    @property
    def verdicts(self) -> list[Verdict]:
        """The verdict on each entry."""
        return [check(self.exercise, entry) for entry in self.entries]

    @property
    def right(self) -> bool:
        """Whether the last entry was right."""
        return bool(self.entries) and self.verdicts[-1].kind == "right"

    @property
    def result(self) -> str:
        """One of ``RESULTS``."""
        if not self.right:
            return RESULTS[3]
        if self.solution_after is not None:
            return RESULTS[2]
        return RESULTS[0] if len(self.entries) == 1 else RESULTS[1]

    @property
    def mistakes(self) -> list[str]:
        """The mistakes that were made, by name, as far as they are known."""
        return [verdict.mistake for verdict in self.verdicts if verdict.mistake]


REPEAT_AFTER = 3
"""How many exercises later one that was not right at once comes again, with other numbers."""
# Our own choice.

_AGAIN, _OF_KINDS = 2_000_000, 3_000_000
"""Exercises of repetitions, and of a row of chosen kinds, are counted from here."""


class Session:
    """A row of exercises from one seed; what went wrong comes again with other numbers.

    Parameters
    ----------
    seed : whole number, 0 to 999999.
    count : how many exercises.
    name : the apprentice's name, or "".
    kinds : kinds of exercises instead of the usual row; then ``count`` does not count.
    written : an exercise of the teacher's own; the row is so many times of it.

    Raises
    ------
    BalancekitError : a bad seed or count, an unknown kind.
    """

    def __init__(
        self,
        seed: int,
        count: int,
        name: str = "",
        kinds: Sequence[str] | None = None,
        written: WrittenExercise | None = None,
    ) -> None:
        self.seed, self.name, self.kinds = int(seed), name, kinds and list(kinds)
        self.written = written
        if written is not None:
            row = tuple(written.make(self.seed, n) for n in range(count))
        elif kinds:
            row = tuple(make_exercise(kind, seed, _OF_KINDS + n) for n, kind in enumerate(kinds))
        else:
            row = exercise_row(seed, count)
        self.works = [Attempt(exercise) for exercise in row]

    def enter(self, place: int, entry: str) -> Verdict:
        """Judge an entry; what was not right at once is put in again a little later."""
        work = self.works[place]
        was_right = work.right
        verdict = work.enter(entry)
        if work.right and not was_right and work.result != RESULTS[0]:
            later = min(place + REPEAT_AFTER, len(self.works))
            count = sum(each.again is not None for each in self.works)
            self.works.insert(later, self._repetition(work.exercise.kind, count))
        return verdict

    def _repetition(self, kind: str, number: int) -> Attempt:
        if self.written is not None:
            return Attempt(self.written.make(self.seed, _AGAIN + number), again=number)
        return Attempt(make_exercise(kind, self.seed, _AGAIN + number), again=number)

    def take_repetition(self, place: int, kind: str, number: int) -> None:
        """Put a repetition into the row, as a score has it.

        Raises
        ------
        BalancekitError : an unknown kind.
        """
        self.works.insert(place, self._repetition(kind, number))

    def counts(self) -> dict[str, int]:
        """Return how many exercises have each result.

        >>> Session(7, 3).counts()["not right yet"]
        3
        """
        results = [work.result for work in self.works]
        return {name: results.count(name) for name in RESULTS}

    def table(self) -> pd.DataFrame:
        """Return one row an exercise: ``number, kind, result, entries, mistakes``."""
        return pd.DataFrame(
            [
                (n, work.exercise.kind, work.result, len(work.entries), "; ".join(work.mistakes))
                for n, work in enumerate(self.works, start=1)
            ],
            columns=["number", "kind", "result", "entries", "mistakes"],
        )

    def score(self) -> str:
        """Return the score as a text (JSON) that a teacher can read, by eye or with ``read_score``.

        The seed and the entries are in it, so that every result can be worked out again.
        """
        works = [
            {
                "number": number,
                "kind": work.exercise.kind,
                "result": work.result,
                "entries": work.entries,
                "mistakes": work.mistakes,
                "solution_after": work.solution_after,
                "again": work.again,
            }
            for number, work in enumerate(self.works, start=1)
        ]
        head = SCORE_FILE.head(self.seed, self.name)
        if self.kinds:
            head["kinds"] = self.kinds
        if self.written is not None:
            head["exercise"] = self.written.as_text()
        return json.dumps(
            {**head, "summary": self.counts(), "exercises": works}, indent=1, ensure_ascii=False
        )


def read_score(text: str) -> Session:
    """Read a score; every entry is judged anew from the seed, so results cannot be typed in.

    Parameters
    ----------
    text : what ``Session.score`` returned.

    Raises
    ------
    BalancekitError : the text is not a score, or not whole.

    >>> begun = Session(7, 2, "A. Prentice")
    >>> read_score(begun.score()).name
    'A. Prentice'
    """
    read = SCORE_FILE.read(text)
    works, seed = read.get("exercises"), SCORE_FILE.whole_number(read, "seed")
    if not isinstance(works, list) or not works:
        raise SCORE_FILE.refuse("The list of exercises is missing.")
    kinds = read.get("kinds")
    whole = isinstance(kinds, list) and kinds and all(isinstance(kind, str) for kind in kinds)
    if kinds is not None and not whole:
        raise SCORE_FILE.refuse("The list of kinds is not whole.")
    own = read.get("exercise")
    if own is not None and not isinstance(own, str):
        raise SCORE_FILE.refuse("The teacher's exercise is not text.")
    repeats = [_count(kept, "again", number) for number, kept in enumerate(works, start=1)]
    count = sum(again is None for again in repeats)
    written = None if own is None else read_exercise(own)
    session = Session(seed, count, str(read.get("name", "")), kinds, written)
    for place, (kept, again) in enumerate(zip(works, repeats, strict=True)):
        if again is not None:
            session.take_repetition(place, str(kept.get("kind")), again)
    if len(session.works) != len(works):
        raise SCORE_FILE.refuse("The list of exercises does not fit its kinds.")
    for number, (work, kept) in enumerate(zip(session.works, works, strict=True), start=1):
        _refill(work, kept, number)
    return session


def read_score_file(data: bytes) -> Session:
    """Read a saved score; see ``read_score``.

    Raises
    ------
    BalancekitError : the file is not text, or not a whole score.
    """
    return read_score(text_of(data))


def _refill(work: Attempt, kept: Any, number: int) -> None:
    entries = kept.get("entries") if isinstance(kept, dict) else None
    if not isinstance(entries, list) or not all(isinstance(entry, str) for entry in entries):
        raise SCORE_FILE.refuse(f"Exercise {number} has no list of entries.")
    work.solution_after = _count(kept, "solution_after", number)
    for entry in entries:
        work.enter(entry)


def _count(kept: Any, name: str, number: int) -> int | None:
    """Return a count of an exercise that may be left open."""
    if not isinstance(kept, dict) or kept.get(name) is None:
        return None
    try:
        return SCORE_FILE.whole_number(kept, name)
    except BalancekitError as error:
        raise SCORE_FILE.refuse(f"Exercise {number}: {error.problems[0].message}") from error


def class_table(scores: Sequence[str]) -> pd.DataFrame:
    """Return one row an apprentice, worked out anew from their scores.

    Parameters
    ----------
    scores : texts from ``Session.score``.

    Returns
    -------
    DataFrame: ``name, seed``, the number of exercises with each result, and ``mistakes``, the
    most frequent first.

    Raises
    ------
    BalancekitError : a text is not a score; says which, counted from 1.
    """
    rows, problems = [], []
    for number, text in enumerate(scores, start=1):
        try:
            session = read_score(text)
        except BalancekitError as error:
            problems += [
                Problem(problem.message, problem.advice, file=f"score {number}")
                for problem in error.problems
            ]
            continue
        made = pd.Series([name for work in session.works for name in work.mistakes], dtype=object)
        counts = made.value_counts()
        mistakes = "; ".join(f"{name} ({count})" for name, count in counts.items())
        rows.append((session.name, session.seed, *session.counts().values(), mistakes))
    if problems:
        raise BalancekitError(problems)
    return pd.DataFrame(rows, columns=["name", "seed", *RESULTS, "mistakes"])


def mistakes_table(scores: Sequence[str]) -> pd.DataFrame:
    """Return what a class gets wrong: one row a kind of exercise and mistake, most frequent first.

    Parameters
    ----------
    scores : texts from ``Session.score``.

    Returns
    -------
    DataFrame: ``kind, mistake, times, apprentices``. A miss that no known mistake gives is
    counted as "another".

    Raises
    ------
    BalancekitError : a text is not a score.
    """
    rows = []
    for who, text in enumerate(scores):
        for work in read_score(text).works:
            rows += [
                (work.exercise.kind, verdict.mistake or "another", who)
                for verdict in work.verdicts
                if verdict.kind == "miss"
            ]
    made = pd.DataFrame(rows, columns=["kind", "mistake", "who"])
    counted = made.groupby(["kind", "mistake"], sort=True)["who"].agg(["size", "nunique"])
    counted.columns = pd.Index(["times", "apprentices"])
    order = counted.reset_index().sort_values(
        ["times", "kind", "mistake"], ascending=[False, True, True], ignore_index=True
    )
    return order
