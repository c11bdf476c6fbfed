"""The score and the printed sheet."""

from __future__ import annotations

import json
import re

import pytest

from balancekit.calculation.problems import BalancekitError
from balancekit.lesson.practice.session import RESULTS, Session, class_table, read_score
from balancekit.lesson.practice.sheet import exercise_sheet


def worked_session() -> Session:
    """One right at once, one after a named mistake, one after the solution, one not right."""
    session = Session(21, 4, "Apprentice One")
    first, second, third, fourth = session.works
    first.enter(first.exercise.show(first.exercise.answer))
    second.enter(second.exercise.show(second.exercise.mistakes[0].value))
    second.enter(second.exercise.show(second.exercise.answer))
    third.show_solution()
    third.enter(third.exercise.show(third.exercise.answer))
    fourth.enter("999")
    fourth.enter("-999")
    return session


def test_results_tell_how_each_was_solved():
    session = worked_session()
    assert [work.result for work in session.works] == list(RESULTS)
    assert session.works[1].mistakes == [session.works[1].exercise.mistakes[0].name]


def test_unclear_entries_and_the_same_again_are_not_counted():
    work = Session(21, 1).works[0]
    for entry in ("no idea", "12", "12 mm", "999 g", "999 g ", "999 g"):
        work.enter(entry)
    assert work.entries == ["999 g"]


def test_nothing_after_the_right_answer_changes_the_result():
    work = Session(21, 1).works[0]
    work.enter(work.exercise.show(work.exercise.answer))
    work.enter("999 g")
    work.show_solution()
    assert work.result == "right at once"


def test_a_score_is_read_again_as_it_was():
    session = worked_session()
    again = read_score(session.score())
    assert again.score() == session.score()
    assert again.name == "Apprentice One"


def test_typed_in_results_do_not_count():
    read = json.loads(Session(21, 3).score())
    for work in read["exercises"]:
        work["result"] = "right at once"
    read["summary"] = {"right at once": 3}
    assert read_score(json.dumps(read)).counts()["right at once"] == 0


def test_a_teacher_sees_the_class_and_its_mistakes():
    table = class_table([worked_session().score(), Session(5, 2, "Apprentice Two").score()])
    assert table["name"].tolist() == ["Apprentice One", "Apprentice Two"]
    assert table.loc[0, list(RESULTS)].tolist() == [1, 1, 1, 1]
    assert "(1)" in table.loc[0, "mistakes"] and table.loc[1, "mistakes"] == ""


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("not json", "cannot be read as JSON"),
        ("[]", "kind is not"),
        ('{"kind": "balancekit lesson score", "version": 9}', "version is 9"),
        ('{"kind": "balancekit lesson score", "version": 1, "seed": 1}', "list of exercises"),
        ('{"kind": "balancekit lesson score", "version": 1, "seed": 1, "exercises": [{}]}',
         "Exercise 1 has no list of entries"),
        ('{"kind": "balancekit lesson score", "version": 1, "seed": 1, "exercises": '
         '[{"entries": [], "solution_after": "x"}]}', "solution_after"),
    ],
)  # fmt: skip
def test_what_is_not_a_score_is_refused(text, words):
    with pytest.raises(BalancekitError, match=words):
        read_score(text)


def test_every_bad_score_of_a_class_is_named():
    with pytest.raises(BalancekitError) as refused:
        class_table(["x", Session(1, 1).score(), "y"])
    assert [problem.file for problem in refused.value.problems] == ["score 1", "score 3"]


def test_the_sheet_keeps_its_answers_apart():
    sheet, answers = (exercise_sheet(21, 15, answers=each) for each in (False, True))
    session = Session(21, 15)
    assert sheet.count("<li>") == answers.count("<li>") == 15
    for work in session.works:
        assert work.exercise.solution[0].replace(">", "&gt;") not in sheet
        assert work.exercise.show(work.exercise.answer) in answers
        assert work.exercise.mistakes[0].name in answers
    assert "Name ___" in sheet and "Name ___" not in answers


@pytest.mark.parametrize(("paper", "size"), [("A4", "210mm 297mm"), ("Letter", "8.5in 11in")])
def test_the_sheet_prints_on_both_papers(paper, size):
    """Sizes: ISO 216 (A4) and ANSI/ASME Y14.1 (Letter)."""
    page = exercise_sheet(3, 2, paper=paper)
    assert f"size: {size}" in page
    assert not re.search(r"(src|href)=", page)


def test_an_unknown_paper_is_refused():
    with pytest.raises(BalancekitError, match="A4, Letter"):
        exercise_sheet(3, 2, paper="A7")
