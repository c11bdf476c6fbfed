"""Exercises on paper: one page for the apprentice, another with the answers."""

from __future__ import annotations

from collections.abc import Sequence

from balancekit.calculation.words import escape
from balancekit.lesson.practice.exercise import Exercise
from balancekit.lesson.practice.exercises import exercise_row
from balancekit.sharing.sheet_html import PAPERS, check_paper

_STYLE = """
@page { size: %s; margin: 16mm 17mm; }
body { font: 11.5pt/1.45 Georgia, "DejaVu Serif", serif; color: black; max-width: 176mm; margin: 0 auto; }
h1 { font-size: 17pt; margin: 0 0 2mm; }
.head { display: flex; justify-content: space-between; gap: 8mm; border-bottom: 0.4mm solid black;
  padding-bottom: 3mm; margin-bottom: 5mm; }
.head span { flex: 1; white-space: nowrap; }
ol { padding-left: 8mm; margin: 0; }
li { break-inside: avoid; margin-bottom: 5mm; padding-left: 1mm; }
.asked { font-size: 9.5pt; color: #333; }
.room { height: 13mm; border-bottom: 0.2mm dotted #555; margin: 0 0 2mm; }
.answer { font-weight: bold; }
table { border-collapse: collapse; font-size: 9pt; width: 100%%; }
td, th { border: 0.2mm solid #777; padding: 0.4mm 1.5mm; text-align: right; }
.foot { font-size: 9pt; color: #333; border-top: 0.2mm solid #555; padding-top: 2mm; }
"""  # noqa: E501


def exercise_sheet(seed: int, count: int, *, paper: str = "A4", answers: bool = False) -> str:
    """Return a sheet of exercises as one HTML page that prints.

    The sheet and its answers are two pages of their own, so that only one of them is handed out.
    The same seed and count give the same exercises as on the screen.

    Parameters
    ----------
    seed, count : see ``exercise_row``.
    paper : "A4" or "Letter".
    answers : the answers with their worked solutions, instead of the sheet.

    Raises
    ------
    BalancekitError : a bad seed or count, or a paper that is not known.

    >>> exercise_sheet(7, 3).count("<li>")
    3
    """
    return exercises_page(exercise_row(seed, count), f"Sheet {int(seed)}", paper, answers=answers)


def exercises_page(
    row: Sequence[Exercise], head: str, paper: str = "A4", *, answers: bool = False
) -> str:
    """Return any exercises as a page that prints, or the answers to them.

    Parameters
    ----------
    row : the exercises.
    head : what stands above them.
    paper, answers : see ``exercise_sheet``.

    Raises
    ------
    BalancekitError : a paper that is not known.
    """
    title = "The balance equation: answers" if answers else "The balance equation: exercises"
    items = "\n".join(_answer(each) if answers else _question(each) for each in row)
    foot = (
        "For the teacher. A named mistake gives the value beside it."
        if answers
        else "Work in words first, then in numbers. Write the unit with every answer."
    )
    head = f"{head}, {len(row)} exercise{'s' if len(row) != 1 else ''}"
    return page_html(title, head, f"<ol>\n{items}\n</ol>", foot, paper, names=not answers)


def page_html(title: str, head: str, body: str, foot: str, paper: str, *, names: bool) -> str:
    """Return one page that prints, with room for name and date where it is handed out.

    Raises
    ------
    BalancekitError : a paper that is not known.
    """
    check_paper(paper)
    who = "<span>Name ______________________</span><span>Date __________</span>" if names else ""
    return (
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><title>{title}</title>'
        f"<style>{_STYLE % PAPERS[paper]}</style></head><body>\n<h1>{title}</h1>\n"
        f'<div class="head"><span>{escape(head)}</span>{who}</div>\n'
        f'{body}\n<p class="foot">{foot}</p>\n</body></html>\n'
    )


def _question(exercise: Exercise) -> str:
    return (
        f"<li>{escape(exercise.text)}<br>"
        f'<span class="asked">{escape(exercise.asked)}</span><div class="room"></div></li>'
    )


def _answer(exercise: Exercise) -> str:
    steps = "<br>".join(escape(step) for step in exercise.solution)
    mistakes = "; ".join(
        f"{escape(mistake.name)}: {escape(exercise.show(mistake.value))}"
        for mistake in exercise.mistakes
    )
    return (
        f'<li><span class="answer">{escape(exercise.show(exercise.answer))}</span> '
        f"({escape(exercise.kind)})<br>{steps}<br>"
        f'<span class="asked">{mistakes}</span></li>'
    )
