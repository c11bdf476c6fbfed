"""A teacher's journey in one piece, by the keyboard: an exercise, a grand, and the class."""

from __future__ import annotations

import json

import pytest
from keys import (
    choose_file,
    keep_picture,
    press,
    run_all_by_keys,
    tab_to,
    to_cell,
    to_panel,
    type_into,
    went_well,
)
from lab import hide_sidebar, open_notebook, start_afresh
from playwright.sync_api import expect

from balancekit.lesson.faults.case_files import case_text, read_case
from balancekit.lesson.measure.bench_files import bench_text
from balancekit.lesson.measure.virtual_bench import VirtualKey
from balancekit.lesson.practice.session import Session
from balancekit.lesson.practice.written_exercise import read_exercise


@pytest.fixture(autouse=True)
def nothing_before(lab):
    """No kernel of another test runs, and nothing is in hand."""
    start_afresh(lab)


def save_link(page, desk, name: str, path):
    """Save what a link offers, by the keyboard."""
    tab_to(page, desk.get_by_role("link", name=name))
    with page.expect_download() as saved:
        page.keyboard.press("Enter")
    saved.value.save_as(path)
    return path.read_text(encoding="utf-8")


def test_a_teacher_writes_plants_and_collects(lab, page, seen, tmp_path):
    open_notebook(page, lab, "notebooks/00_practice.ipynb")
    hide_sidebar(page)
    run_all_by_keys(page)

    desk = to_panel(page, "An exercise of your own")
    type_into(page, desk, "Kind", "plug of our shop")
    expect(desk).to_contain_text("Tried on 50 seeds")
    keep_picture(page, tmp_path, "teacher_exercise")
    written = read_exercise(save_link(page, desk, "Save this exercise", tmp_path / "own.txt"))
    assert written.kind == "plug of our shop"

    own = to_panel(page, "Exercises from your teacher")
    choose_file(page, own, "Open an exercise from your teacher", tmp_path / "own.txt")
    expect(own).to_contain_text("What does it add to the front weight?")
    to_cell(page)
    type_into(page, own, "Your name", "Zoe")
    type_into(page, own, "Seed of the row", "31")
    press(page, own, "Begin this row")
    missed = written.make(31)
    expect(own).to_contain_text(missed.text)
    to_cell(page)
    type_into(page, own, "Your answer", missed.show(missed.mistakes[0].value))
    expect(own).to_contain_text(missed.mistakes[0].hint)
    keep_picture(page, tmp_path, "apprentice_own_exercise")
    own_score = save_link(
        page, own, "Save the score for the teacher", tmp_path / "own_score_zoe_31.json"
    )

    grand = to_panel(page, "A grand with faults of your choice")
    for key in (20, 44):
        to_cell(page)
        type_into(page, grand, "Key, to type", str(key))
        press(page, grand, "Plant it")
    keep_picture(page, tmp_path, "teacher_grand")
    text = save_link(page, grand, "Save this grand for the class", tmp_path / "case.json")
    case = read_case(text).case
    assert list(case.planted) == [20, 44]

    scores = tmp_path / "class"
    scores.mkdir()
    session = Session(2026, 3, "Zoe")
    first = session.works[0].exercise
    session.works[0].enter(first.show(first.mistakes[0].value))
    key = VirtualKey(7)
    entered = {"strike_weight_g": key.read("strike_weight_g")}
    handed_in = {
        "zoe.json": session.score(),
        "own_score_zoe_31.json": own_score,
        "adam.json": case_text(case, case.planted, "Adam"),
        "ben.json": bench_text(key, entered, "Ben"),
    }
    room = to_panel(page, "The scores of a class")
    for name, handed in handed_in.items():
        assert json.loads(handed)
        (scores / name).write_text(handed, encoding="utf-8")
        to_cell(page)
        choose_file(page, room, "Drop the saved scores here", scores / name)
        expect(room).to_contain_text(json.loads(handed)["name"])
    expect(room).to_contain_text(first.mistakes[0].name)
    own_line = room.locator("tr", has_text="plug of our shop").filter(has_text="Zoe").last
    expect(own_line).to_contain_text(missed.mistakes[0].name)
    expect(room).to_contain_text("found 2, right key but another cause 0, missed 0")
    expect(room).to_contain_text("To repeat on Monday:")
    keep_picture(page, tmp_path, "teacher_class")
    sheet = save_link(page, room, "Save the sheet for Monday", tmp_path / "monday.html")
    assert sheet.count("<li>") == 2 and first.text not in sheet and missed.text not in sheet
    went_well(page, seen, lab, "00_practice")
