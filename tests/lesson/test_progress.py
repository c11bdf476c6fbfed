"""What was practised is kept, and comes again after a longer while each time."""

from __future__ import annotations

import json
from datetime import date

import pytest

from balancekit.instrument.in_hand import home_folder
from balancekit.lesson.faults.case_panel import CaseDesk
from balancekit.lesson.measure.virtual_bench_panel import VirtualDesk
from balancekit.lesson.practice.exercise_panel import ExerciseDesk, progress_html
from balancekit.lesson.practice.progress import (
    FILE,
    WAIT_DAYS,
    Mark,
    due_kinds,
    note,
    read_progress,
)
from balancekit.lesson.practice.session import Session, read_score
from balancekit.lesson.practice.task import InText


def right(work):
    return work.exercise.show(work.exercise.answer)


def wrong(work):
    return work.exercise.show(work.exercise.mistakes[0].value)


def test_each_time_right_the_wait_grows_and_a_miss_begins_anew():
    mark, day = Mark(), date(2026, 3, 1)
    waits = []
    for _ in range(4):
        mark = mark.after(True, day)
        waits.append((date.fromisoformat(mark.due) - day).days)
    assert waits == list(WAIT_DAYS[1:5])
    assert (date.fromisoformat(mark.after(False, day).due) - day).days == WAIT_DAYS[0]


def test_progress_is_kept_over_lessons_and_a_spoiled_file_stops_nobody():
    assert note("lead", True, date(2026, 3, 1)) == "" and note("lead", False) == ""
    assert read_progress()["lead"].times == 2
    assert "lead" in progress_html()
    assert due_kinds(read_progress(), date(2999, 1, 1)) == ["lead"]
    for spoiled in ("", "[]", '{"kinds": 3}', '{"kinds": {"lead": {"x": 1}}}'):
        (home_folder() / FILE).write_text(spoiled)
        assert read_progress() == {}
    assert note("friction", True) == "" and list(read_progress()) == ["friction"]


@pytest.mark.parametrize(
    "mark", [{"due": 3}, {"last": None}, {"times": "2"}, {"times": True}, {"in_a_row": 1.5}, 7]
)
def test_a_mark_that_is_not_whole_is_left_out_and_the_others_stay(mark):
    kept = {"kinds": {"lead": mark, "friction": {"times": 2, "due": "2026-03-04"}}}
    home_folder().mkdir()
    (home_folder() / FILE).write_text(json.dumps(kept))
    assert list(read_progress()) == ["friction"]
    assert due_kinds(read_progress(), date(2026, 3, 4)) == ["friction"]
    assert "friction" in progress_html()


def test_a_comparison_that_is_asked_for_twice_counts_once():
    desk, bench = CaseDesk(seed=6), VirtualDesk(seed=5)
    bench.entries["strike_weight_g"].value = "9.5"
    for each in (desk, desk, bench, bench):
        each.compare()
    assert {name: mark.times for name, mark in read_progress().items()} == {
        "find the faults": 1, "virtual bench": 1,
    }  # fmt: skip
    desk.take_case(7)
    desk.compare()
    assert read_progress()["find the faults"].times == 2


def test_a_folder_that_cannot_be_written_is_said(tmp_path, monkeypatch):
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("BALANCEKIT_HOME", str(tmp_path / "file"))
    assert "could not be kept" in note("lead", True)


def test_what_went_wrong_comes_again_with_other_numbers():
    desk = ExerciseDesk(seed=17, count=6)
    kind = desk.work.exercise.kind
    desk.entry.value = wrong(desk.work)
    assert len(desk.session.works) == 6
    desk.entry.value = right(desk.work)
    again = desk.session.works[3]
    assert len(desk.session.works) == 7 and again.again == 0
    assert again.exercise.kind == kind and again.exercise.text != desk.work.exercise.text
    assert desk.marks.value.count("lesson-mark ") == 7 and "hinted here" in desk.marks.value
    desk.go(3)
    assert "once more with other numbers" in desk.heading.value
    desk.entry.value = right(again)
    # Right at once: it does not come a third time.
    assert len(desk.session.works) == 7
    assert read_progress()[kind].times == 2 and read_progress()[kind].right == 1
    kept = read_score(desk.session.score())
    assert kept.score() == desk.session.score()


def test_what_is_due_makes_a_row_of_its_own():
    note("lead", False, date(2026, 1, 1))
    note("friction", False, date(2026, 1, 2))
    desk = ExerciseDesk(seed=17, count=6)
    assert "lead, friction" in desk.due.value
    desk.begin_due()
    assert [work.exercise.kind for work in desk.session.works] == ["lead", "friction"]
    desk.entry.value = right(desk.work)
    assert "lead" not in desk.due.value and "friction" in desk.due.value
    kept = read_score(desk.session.score())
    assert kept.score() == desk.session.score() and kept.works[0].result == "right at once"


@pytest.mark.parametrize(
    "change",
    [
        {"kinds": ["no such kind"]}, {"kinds": []}, {"kinds": "lead"}, {"kinds": [[1]]},
        {"seed": True}, {"seed": -1}, {"seed": 10**400}, {"seed": float("nan")},
        {"exercises": [{"entries": [], "again": 10**400, "kind": "lead"}, {"entries": []}]},
        {"exercises": [{"entries": [], "solution_after": True}]},
        {"exercises": [{"entries": [], "solution_after": -1}]}, {"exercises": [3]},
        {"exercises": [{"entries": [], "again": -1, "kind": "lead"}]},
        {"exercises": [{"entries": [], "again": 0, "kind": "rust"}, {"entries": []}]},
    ],
)  # fmt: skip
def test_a_score_with_a_row_that_cannot_be_is_refused(change):
    read = json.loads(Session(7, 1).score())
    from balancekit.calculation.problems import BalancekitError

    with pytest.raises(BalancekitError):
        read_score(json.dumps({**read, **change}))


def test_an_exercise_in_the_text_comes_again_until_it_is_right_at_once():
    box = InText(("friction", "balance weight"), seed=3)
    first = box.task.work.exercise
    box.task.entry.value = wrong(box.task.work)
    box.task.entry.value = right(box.task.work)
    box.other()
    assert box.task.work.exercise.kind == "friction" and box.task.work.exercise.text != first.text
    box.task.entry.value = right(box.task.work)
    box.other()
    assert box.task.work.exercise.kind == "balance weight"
    assert box.marks.value == "✓ after a hint · ✓"
