"""What is handed in is judged anew; what a teacher chose is planted."""

from __future__ import annotations

import json
from dataclasses import replace
from urllib.parse import unquote

import numpy as np
import pandas as pd
import pytest

from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.words import escape
from balancekit.instrument.demo import studio_grand
from balancekit.lesson.classroom.case_sheet import bench_page, case_page, find_weights
from balancekit.lesson.classroom.class_panel import ClassDesk, to_repeat
from balancekit.lesson.classroom.grand_panel import GrandDesk
from balancekit.lesson.classroom.teacher_panel import TeacherDesk, WrittenDesk
from balancekit.lesson.faults.case import FAULTS, SIZES, make_case, plant
from balancekit.lesson.faults.case_evidence import Sureness, how_sure
from balancekit.lesson.faults.case_files import case_text, read_case
from balancekit.lesson.faults.case_panel import CaseDesk
from balancekit.lesson.measure.bench_files import bench_text, read_bench
from balancekit.lesson.measure.real_key import real_key, text_beside
from balancekit.lesson.measure.virtual_bench import SCALES, VirtualKey
from balancekit.lesson.measure.virtual_bench_panel import VirtualDesk
from balancekit.lesson.practice.exercise_panel import ExerciseDesk
from balancekit.lesson.practice.session import Session, read_score
from balancekit.lesson.practice.written_exercise import SEEDS_TRIED, read_exercise


def file_of(link: str, name: str) -> str:
    """Return the text of a file that a panel offers."""
    start = link.index(f'download="{name}"')
    return unquote(link[start:].split("utf-8,", 1)[1].split('"', 1)[0])


@pytest.mark.slow
def test_a_case_is_saved_handed_in_and_judged_anew():
    desk = CaseDesk(seed=6)
    assert "Compare first" in desk.link.value
    desk.bench.key = first = next(iter(desk.case.planted))
    desk.fault.value = desk.case.planted[first]
    desk.name_key()
    desk.name.value = "A. Prentice"
    desk.compare()
    text = file_of(desk.link.value, "case_a_prentice_6.json")
    worked = read_case(text)
    assert worked.result.found == (first,) and worked.name == "A. Prentice"
    # A typed-in summary changes nothing.
    assert read_case(text.replace("found 1", "found 8")).result.found == (first,)
    other = CaseDesk(seed=9)
    other.take_file("case.json", text.encode())
    assert other.case.planted == desk.case.planted and other.named == desk.named
    other.seed.value = 12
    other.take_case(other.seed.value)
    assert other.case.planted == make_case(12).planted


def test_a_teacher_plants_faults_by_kind_key_and_size():
    desk = GrandDesk()
    assert "Plant a fault" in desk.links.value
    desk.seed.value = 41
    for key, fault, size in ((20, "heavy hammer", "large"), (44, "tight", "small")):
        desk.key.value, desk.fault.value, desk.size.value = key, fault, size
        desk.plant()
    text = file_of(desk.links.value, "case_41.json")
    apprentice = CaseDesk(seed=1)
    apprentice.take_file("case_41.json", text.encode())
    assert apprentice.case.planted == {20: "heavy hammer", 44: "tight"}
    assert "<b>2" not in apprentice.title_line.value and "2 keys" in apprentice.title_line.value
    answers = file_of(desk.links.value, "case_41_answers.html")
    assert FAULTS["tight"].words in answers and "small" in answers
    sheet = file_of(desk.links.value, "case_41.html")
    assert FAULTS["tight"].words not in sheet and sheet.count("<tr>") == 89
    desk.take_out()
    assert list(desk.chosen) == [20]


def test_the_sheet_and_the_file_of_a_chosen_grand_are_the_same_grand():
    """In whichever order the keys were chosen."""
    chosen = plant(7, {50: "tight", 20: "heavy hammer"})
    again = read_case(case_text(chosen)).case
    pd.testing.assert_frame_equal(
        again.instrument.visits[0].readings, chosen.instrument.visits[0].readings
    )
    drawn = make_case(7, 3)
    assert json.loads(case_text(drawn))["faults"] == 3 and drawn.drawn and not chosen.drawn


@pytest.mark.parametrize("kind", [k for k, fault in FAULTS.items() if not fault.on_paper])
def test_the_size_of_a_fault_is_its_part_of_the_usual_size(kind):
    """The same draw: a small fault is half as far from the truth, a large one 1.6 times."""
    sound = plant(5, {80: "exchanged"}).instrument.visits[0].readings.set_index("key").loc[40]
    off = {}
    for size in SIZES:
        made = plant(5, {40: kind}, {40: size}).instrument.visits[0].readings.set_index("key")
        off[size] = {
            name: float(made.loc[40, name]) - float(sound[name])
            for name in ("down_weight_g", "strike_weight_g", "front_weight_g", "key_ratio")
        }
    steps = {"down_weight_g": 1.01, "key_ratio": 0.0011}
    name = max(off["usual"], key=lambda each: abs(off["usual"][each]) / steps.get(each, 0.11))
    usual, step = off["usual"][name], steps.get(name, 0.11)
    assert off["small"][name] == pytest.approx(0.5 * usual, abs=step)
    assert off["large"][name] == pytest.approx(1.6 * usual, abs=step)


WHOLE = {"kind": "balancekit lesson case", "version": 1, "seed": 1}


@pytest.mark.parametrize(
    "text",
    ["x", "[]", "{}", *(json.dumps({**WHOLE, **change}) for change in (
        {"seed": True}, {"planted": {"99": "tight"}}, {"planted": {"9": "rust"}},
        {"faults": 4, "named": {"a": "tight"}}, {"planted": {"40": ""}}, {"faults": True},
        {"faults": 10**400}, {"seed": 10**400, "faults": 4}, {"planted": {"40": ["tight"]}},
        {"faults": float("nan")}, {"planted": {"40": "tight"}, "sizes": [1]},
    ))],
)  # fmt: skip
def test_what_is_no_case_is_refused(text):
    with pytest.raises(BalancekitError):
        read_case(text)


def test_how_sure_one_could_have_been():
    """Normal table: 2 standard deviations on both sides, one in 22."""
    case = make_case(6)
    trends = CaseDesk(seed=6).bench.told.trends
    key = next(k for k, kind in case.planted.items() if kind == "heavy hammer")
    known = how_sure(trends["strike_weight_g"], key)
    assert known.deviations > 4 and "hardly puts" in known.words
    assert "of 88 keys 4" in Sureness(2.0, 1 / 0.0455).words


def test_the_virtual_bench_is_done_again_step_by_step():
    desk = VirtualDesk(seed=5)
    for weight, pressed in ((60, False), (20, True)):
        desk.weight.value = weight
        desk.set_weight(pressed)
    for name in SCALES:
        desk.read(name)
    desk.entries["strike_weight_g"].value = f"{desk.key.readings['strike_weight_g'][0]:.1f}"
    desk.name.value = "A. Prentice"
    desk.compare()
    text = file_of(desk.link.value, "bench_a_prentice_5.json")
    worked = read_bench(text)
    assert worked.key.readings == desk.key.readings and worked.key.trials == desk.key.trials
    assert worked.table["verdict"]["strike_weight_g"] == "All of this miss is noise."
    # A reading that was typed into the file, and never taken, is noticed.
    spoiled = json.loads(text)
    spoiled["steps"] = []
    verdict = read_bench(json.dumps(spoiled)).table["verdict"]["strike_weight_g"]
    assert verdict == "You did not read this."
    other = VirtualDesk(seed=8)
    other.take_file("bench.json", text.encode())
    assert other.key.readings == desk.key.readings and other.name.value == "A. Prentice"
    assert other.entries["strike_weight_g"].value == desk.entries["strike_weight_g"].value


@pytest.mark.parametrize(
    "change",
    [{"steps": [["moon"]]}, {"steps": [[300, True]]}, {"steps": "x"}, {"steps": [[1, 2, 3]]},
     {"entered": {"moon": 1}}, {"entered": {"arm_mm": "x"}}, {"seed": -1}, {"kind": "x"},
     {"entered": {"arm_mm": 10**400}}, {"entered": {"arm_mm": float("nan")}},
     {"entered": {"arm_mm": 0}}, {"entered": {"arm_mm": float("inf")}}, {"seed": 10**400},
     {"steps": [[10**400, True]]}],
)  # fmt: skip
def test_what_is_no_bench_result_is_refused(change):
    whole = json.loads(bench_text(VirtualKey(3), {}))
    with pytest.raises(BalancekitError):
        read_bench(json.dumps({**whole, **change}))


def test_a_number_too_large_for_a_computer_is_refused():
    whole = bench_text(VirtualKey(3), {"arm_mm": 240.0})
    for spoiled in (whole.replace("240.0", "1e999"), whole.replace("240.0", "9" * 5000)):
        with pytest.raises(BalancekitError):
            read_bench(spoiled)


def test_a_hammer_of_0_g_cannot_be_computed_with_and_is_refused():
    entered = {"arm_mm": 240.0, "capstan_arm_mm": 120.0, "down_weight_g": 50.0,
               "up_weight_g": 26.0, "front_weight_g": -20.0, "wippen_weight_g": 18.0,
               "strike_weight_g": 9.0, "action_ratio": 5.5}  # fmt: skip
    assert len(read_bench(bench_text(VirtualKey(3), entered)).table) == len(entered)
    with pytest.raises(BalancekitError, match="above 0"):
        read_bench(bench_text(VirtualKey(3), {**entered, "strike_weight_g": 0.0}))
    desk = VirtualDesk(seed=3)
    for name, value in {**entered, "strike_weight_g": 0.0}.items():
        desk.entries[name].value = f"{value:g}"
    desk.compare()
    assert "Strike weight: 0 is not above 0." in desk.result.value


def test_a_class_hands_in_scores_cases_and_benches():
    session = Session(9, 3, "Zoe")
    for work in session.works[:2]:
        work.enter(work.exercise.show(work.exercise.mistakes[0].value))
    case = make_case(6)
    key = VirtualKey(7)
    desk = ClassDesk()
    desk.take_file("zoe.json", session.score().encode())
    desk.take_file("case.json", case_text(case, case.planted, "Adam").encode())
    entered = {"strike_weight_g": key.read("strike_weight_g")}
    # A ratio rounded to three digits: no slip.
    arm, capstan = (key.read(name) for name in ("arm_mm", "capstan_arm_mm"))
    entered |= {"arm_mm": arm, "capstan_arm_mm": capstan, "key_ratio": round(capstan / arm, 3)}
    assert entered["key_ratio"] != capstan / arm
    desk.take_file("bench.json", bench_text(key, entered, "Ben").encode())
    shown = desk.table.value
    assert "found 8, right key but another cause 0, missed 0" in shown
    assert " of 4 within two standard uncertainties, 0 with a slip" in shown
    # Who, which exercise, which misconception.
    first = session.works[0].exercise
    row = shown[shown.index("Misconception") :]
    assert row.index("Zoe") < row.index(first.kind) < row.index(first.mistakes[0].name)
    kinds = [work.exercise.kind for work in session.works[:2]]
    assert to_repeat([session]) == kinds
    assert f"<b>To repeat on Monday:</b> {', '.join(kinds)}." in desk.monday.value
    sheet = file_of(desk.monday.value, "monday_9.html")
    assert sheet.count("<li>") == 2 and first.text not in sheet
    assert desk.refused == {}
    desk.empty()
    assert "No score yet" in desk.table.value and desk.monday.value == ""


def test_sheets_of_a_virtual_key_hold_what_a_careful_hand_reads():
    key = VirtualKey(4)
    for name in (*SCALES, "arm_mm", "capstan_arm_mm"):
        key.read(name)
    down, up = find_weights(key)
    page, truth = bench_page(4), bench_page(4, answers=True)
    assert f">{down} g<" in page and f">{up} g<" in page
    assert f"{key.truth['strike_weight_g']:.1f} g" in truth
    assert "Name ___" in page and "Name ___" not in truth
    assert "8.5in" in case_page(make_case(3), "Letter")


def test_form_and_text_say_the_same():
    desk = TeacherDesk()
    assert [fields[0].value for fields in desk.form.given] == ["mass_g", "distance_mm", "arm_mm"]
    desk.form.kind.value = "lead of mine"
    assert "kind: lead of mine" in desk.text.value
    desk.form.add_mistake()
    name, formula, hint = desk.form.mistakes[-1]
    name.value, formula.value = "twice the lever", "mass_g * (distance_mm / arm_mm)^2"
    assert "is not a mistake" in desk.said.value  # no hint yet
    hint.value = "Once for grams, twice for inertia."
    assert f"Tried on {SEEDS_TRIED} seeds" in desk.said.value
    saved = file_of(desk.link.value, "exercise.txt")
    assert read_exercise(saved) == desk.written and len(desk.written.mistakes) == 3
    sheet = file_of(desk.link.value, "own_exercise.html")
    assert sheet.count("<li>") == 6
    # The apprentice's row of the same seed has the same numbers.
    assert all(escape(desk.written.make(desk.seed, n).text) in sheet for n in range(6))
    other = TeacherDesk()
    other.take_file("exercise.txt", saved.encode())
    assert other.form.kind.value == "lead of mine" and len(other.form.mistakes) == 3
    apprentice = WrittenDesk()
    apprentice.take_file("exercise.txt", saved.encode())
    task = apprentice.place.children[0]
    task.entry.value = task.work.exercise.show(task.work.exercise.answer)
    assert "Right" in task.said.value


def test_a_teacher_s_own_exercise_comes_back_with_its_misconceptions():
    """Opened, missed as the teacher expected, solved, handed in, and put on Monday's sheet."""
    teacher = TeacherDesk()
    teacher.form.kind.value = "plug of our shop"
    apprentice, written = WrittenDesk(), teacher.written
    apprentice.take_file("exercise.txt", file_of(teacher.link.value, "exercise.txt").encode())
    desk = apprentice.place.children[0]
    desk.name.value, desk.seed.value = "Zoe", 31
    desk.begin()
    first = desk.session.works[0].exercise
    assert first == written.make(31) and first != desk.session.works[1].exercise
    desk.entry.value = first.show(first.mistakes[0].value)
    desk.entry.value = first.show(first.answer)
    # What went wrong comes again, with other numbers.
    assert [work.again for work in desk.session.works] == [None, None, None, 0]
    assert desk.session.works[3].exercise.kind == "plug of our shop"
    text = file_of(desk.score.value, "own_score_zoe_31.json")
    assert read_score(text).score() == text
    room = ClassDesk()
    room.take_file("zoe.json", text.encode())
    room.take_file("usual.json", Session(31, 2, "Zoe").score().encode())
    assert len(room.sessions) == 2 and room.refused == {}
    shown = room.table.value
    row = shown[shown.index("Misconception") :]
    assert row.index("Zoe") < row.index("plug of our shop") < row.index(first.mistakes[0].name)
    assert "<b>To repeat on Monday:</b> plug of our shop." in room.monday.value
    sheet = file_of(room.monday.value, "monday_62.html")
    assert sheet.count("<li>") == 1 and "What does it add" in sheet and first.text not in sheet
    spoiled = text.replace("answer: mass_g", "answer: 0 / 0 * mass_g")
    assert spoiled != text
    room.take_file("spoiled.json", spoiled.encode())
    assert "divides by 0" in room.refused["spoiled.json"]
    # A saved score is gone on from in either desk.
    for other in (WrittenDesk(), ExerciseDesk(seed=1)):
        if isinstance(other, WrittenDesk):
            other.take_file("exercise.txt", teacher.written.as_text().encode())
            other = other.place.children[0]
        other.take_score("zoe.json", text.encode())
        assert other.session.score() == text


def test_the_form_keeps_the_lines_of_the_solution_and_its_own_fields():
    desk = TeacherDesk()
    fields = desk.form.given[0]
    desk.other()
    assert desk.form.given[0] is fields
    desk.text.value += "solution: Moments about the pin.\nsolution: Lever over arm.\n"
    wanted = ("Moments about the pin.", "Lever over arm.")
    assert desk.written.solution == wanted
    desk.form.kind.value = "lead of mine"
    assert desk.written.solution == wanted and desk.written.kind == "lead of mine"
    assert read_exercise(file_of(desk.link.value, "exercise.txt")).solution == wanted
    # What was spoiled in the form is mended by the text.
    whole = desk.text.value
    desk.form.answer.value = "mass_g *"
    assert desk.link.value == ""
    desk.text.value = whole
    assert desk.form.answer.value == "mass_g * distance_mm / arm_mm"


def test_a_mistake_that_cannot_be_told_apart_and_a_division_by_0_are_refused():
    desk = TeacherDesk()
    desk.form.mistakes[0][1].value = "distance_mm * mass_g / arm_mm"
    assert "both give" in desk.said.value
    desk.form.mistakes[0][1].value = "mass_g / (arm_mm - arm_mm)"
    assert "divides by 0" in desk.said.value and desk.link.value == ""


def test_a_real_key_stands_beside_the_virtual_one():
    """Key 40 of the demo: its readings as in the file, the ratio by the equation."""
    grand = studio_grand()
    real = real_key(grand, 40)
    read = grand.visits[0].readings.query("key == 40")
    assert real.readings["down_weight_g"] == read["down_weight_g"].tolist()
    mean = read[["down_weight_g", "up_weight_g", "front_weight_g", "wippen_weight_g",
                 "strike_weight_g", "key_ratio"]].mean()  # fmt: skip
    ratio = (
        (mean["down_weight_g"] + mean["up_weight_g"]) / 2
        + mean["front_weight_g"]
        - mean["wippen_weight_g"] * mean["key_ratio"]
    ) / mean["strike_weight_g"]
    assert real.values["action_ratio"] == pytest.approx(ratio)
    assert "±" in text_beside(real, "action_ratio") and "(given)" in text_beside(real, "arm_mm")


def test_a_spring_that_was_not_read_leaves_the_ratio_of_a_real_key_open():
    """By the equation: relief over strike weight adds to the ratio, 0 is no reading."""
    grand = studio_grand()
    readings = grand.visits[0].readings.copy()
    readings["spring_relief_g"] = np.where(readings["key"] == 41, 6.0, np.nan)
    sprung = replace(grand, visits=(replace(grand.visits[0], readings=readings),))
    assert text_beside(real_key(sprung, 40), "action_ratio") == "not read"
    with_spring, without = real_key(sprung, 41).values, real_key(grand, 41).values
    more = with_spring["action_ratio"] - without["action_ratio"]
    assert more == pytest.approx(6.0 / without["strike_weight_g"])


def test_the_panel_follows_the_key_in_hand_of_the_real_bench():
    from balancekit.instrument.bench import Bench

    bench = Bench(studio_grand())
    desk = VirtualDesk(seed=5, bench=bench)
    bench.key = 12
    assert "Real key 12" in desk.taken.value and "key 12" in desk.real_line.value
    real = real_key(bench.instrument, 12)
    assert text_beside(real, "strike_weight_g") in desk.taken.value
    desk.read("strike_weight_g")
    desk.entries["strike_weight_g"].value = "10"
    desk.compare()
    assert "Real key 12" in desk.result.value
