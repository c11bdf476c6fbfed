"""The panels of the lessons, without a browser."""

from __future__ import annotations

import json
import re
from html import escape
from pathlib import Path
from urllib.parse import unquote

import pytest

from balancekit import lesson
from balancekit.calculation.balance import TERMS
from balancekit.calculation.quantities import QUANTITIES
from balancekit.lesson.classroom.class_panel import ClassDesk
from balancekit.lesson.faults.case_evidence import EVIDENCE, clean_neighbour
from balancekit.lesson.faults.case_panel import CaseDesk
from balancekit.lesson.lever_chain.first_panels import StickingKey
from balancekit.lesson.lever_chain.inertia_panel import LeadAndHammer, SolveDesk
from balancekit.lesson.lever_chain.levers_panel import LeverChain
from balancekit.lesson.lever_chain.one_key import LessonKey
from balancekit.lesson.lever_chain.parts import DRAWN_PARTS
from balancekit.lesson.measure.virtual_bench import RULERS, SCALES, as_shown
from balancekit.lesson.measure.virtual_bench_panel import VirtualDesk
from balancekit.lesson.practice.exercise_panel import ExerciseDesk, SheetDesk, file_name
from balancekit.lesson.practice.session import Session


@pytest.fixture(autouse=True)
def nothing_else_written(home, tmp_path):
    """A lesson writes nothing into the user's folder but what was practised."""
    yield
    kept = {path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*.*")}
    assert kept <= {"home/lesson_progress.json"}


@pytest.mark.parametrize("name", lesson.__all__)
def test_every_panel_opens(name):
    kinds = ["friction"] if name == "text_exercise" else []
    assert getattr(lesson, name)(*kinds).children


def sizes(stacks, bar):
    return [part["size"] for part in stacks.bars[bar]["parts"]]


def test_stacks_stay_equal_whatever_is_moved():
    beam = LeverChain()
    for name, value in (("strike_weight_g", 12.3), ("lead_mm", -80), ("spring_relief_g", 9.0),
                        ("knuckle_mm", 14.1), ("capstan_mm", 107.5)):  # fmt: skip
        beam.controls.sliders[name].value = value
        assert sum(sizes(beam.stacks, 0)) == pytest.approx(sum(sizes(beam.stacks, 1)))
        assert beam.view.scene["levers"]["ratio"] == pytest.approx(beam.key.action_ratio)
    assert f"{beam.key.balance_weight_g:.1f} g" in beam.equation.value
    beam.controls.take_start()
    assert beam.key == LessonKey() and beam.controls.sliders["lead_mm"].value == 144


def test_a_higher_ratio_needs_less_key_travel():
    beam = LeverChain()
    before = beam.travel.max
    beam.controls.sliders["knuckle_mm"].value = 13.5
    assert beam.travel.max < before
    # By hand: the hammer's way to let-off, 44.5 mm, over the ratio.
    assert beam.travel.max == pytest.approx(44.5 / beam.key.action_ratio, abs=0.15)


def test_a_key_that_falls_or_stays_down_is_said():
    beam = LeverChain(LessonKey(lead_g=60.0, lead_mm=190.0, friction_g=5.0, strike_weight_g=5.0))
    assert "falls by itself" in beam.said.value
    beam.controls.take(LessonKey(lead_g=60.0, lead_mm=170.0, friction_g=25.0))
    assert "stays down" in beam.said.value


def test_a_key_that_falls_is_drawn_fallen():
    beam = LeverChain(LessonKey(lead_g=60.0, lead_mm=190.0, friction_g=5.0, strike_weight_g=5.0))
    assert beam.view.travel_mm == pytest.approx(float(beam.key.linkage.stroke_mm))
    beam.controls.take(LessonKey())
    assert beam.view.travel_mm == 0.0


def test_a_moved_capstan_changes_both_ratios_and_the_wippen_as_the_levers_do():
    """By hand: 121 of 240 mm; 5.5 x 121/120 x 69/68; the wippen meets it 1 mm nearer."""
    beam = LeverChain()
    beam.controls.sliders["capstan_mm"].value = 121.0
    assert beam.key.key_ratio == pytest.approx(121 / 240)
    assert beam.key.action_ratio == pytest.approx(5.5 * 121 / 120 * 69 / 68)
    assert beam.key.wippen_weight_g == pytest.approx(18 * 69 / 68)
    assert beam.key.knuckle_mm == pytest.approx(LessonKey().knuckle_mm)


@pytest.mark.parametrize(("part", "slider", "by", "moved"), [
    ("plug", "lead_mm", 5.0, -5.0), ("capstan", "capstan_mm", 1.5, 1.5),
    ("knuckle", "knuckle_mm", -0.5, -0.5), ("hammer", "strike_weight_g", -0.3, 0.3),
])  # fmt: skip
def test_a_part_taken_hold_of_moves_its_slider(part, slider, by, moved):
    beam = LeverChain()
    before = beam.controls.sliders[slider].value
    # What counts is the way since it was taken hold of; a message between may be lost.
    for number, way in enumerate((by / 2, by)):
        beam.view.dragged = {"name": part, "from": before, "by": way, "number": number}
    after = beam.controls.sliders[slider].value
    assert after - before == pytest.approx(moved, abs=0.05)
    assert beam.view.holds[part]["value"] == after


def test_a_slider_that_snaps_to_its_step_does_not_move_the_part():
    beam = LeverChain()
    snapped = round(beam.controls.sliders["knuckle_mm"].value, 1)
    beam.controls.sliders["knuckle_mm"].value = snapped
    assert beam.key == LessonKey()


def test_every_part_has_a_name_a_meaning_and_a_place_in_the_drawing():
    drawing = (Path(lesson.__file__).parent / "lever_chain" / "lever_view.js").read_text(
        encoding="utf-8"
    )
    for name, part in DRAWN_PARTS.items():
        assert f'part("{name}"' in drawing, name
        assert part.word and part.meaning.endswith(".")
    assert {part.term for part in DRAWN_PARTS.values()} - {""} == set(TERMS)


def test_play_goes_down_and_comes_back():
    beam = LeverChain()
    beam.play()
    assert beam.view.move["back"] and beam.view.travel_mm == 0.0
    assert beam.view.move["to"] == pytest.approx(44.5 / 5.5, abs=0.1)


@pytest.mark.parametrize(("weight", "does", "end"), [(20, "lifts", 0.0), (40, "sticks", None),
                                                      (49, "sinks", 44.5 / 5.5)])  # fmt: skip
def test_the_key_sticks_until_the_weight_is_enough(weight, does, end):
    sticking = StickingKey()
    sticking.weight.value = weight
    assert sticking.does == does and f"The key {does}" in sticking.said.value
    wanted = sticking.half_mm if end is None else end
    assert sticking.view.travel_mm == pytest.approx(wanted, abs=0.1)
    assert (sticking.view.move["seconds"] > 0) == (does != "sticks")


def test_solved_terms_close_the_equation():
    desk = SolveDesk()
    for name in desk.sliders:
        desk.unknown.value = name
        assert QUANTITIES[name].text(getattr(LessonKey(), name)) in desk.said.value
        assert desk.sliders[name].layout.display == "none"


def test_lead_follows_the_hammer_and_the_hammer_is_the_inertia():
    desk = LeadAndHammer()
    desk.controls.sliders["strike_weight_g"].value = 9.0
    lighter = desk.leaded
    assert lighter.balance_weight_g == pytest.approx(37.0)
    start = LessonKey()
    saved = start.inertia_g - lighter.inertia_g
    # By hand: 5.5^2 g at the hammer, and 5.5 g of front weight less lead at 144 of 240 mm.
    assert saved == pytest.approx(5.5**2 + 5.5 * 144 / 240, abs=0.3)
    desk.controls.sliders["strike_weight_g"].value = 14.0
    desk.controls.sliders["knuckle_mm"].value = 13.5
    assert "Lead cannot hold" in desk.said.value


def test_an_exercise_wrong_then_right_then_the_score():
    desk = ExerciseDesk(seed=17, count=3)
    exercise = desk.work.exercise
    desk.entry.value = exercise.show(exercise.mistakes[0].value)
    assert exercise.mistakes[0].name in desk.said.value and "lesson-hint" in desk.said.value
    desk.check()
    desk.entry.value = exercise.show(exercise.answer)
    assert "lesson-right" in desk.said.value
    desk.name.value = "O'Brien <b>"
    link = desk.score.value.split('href="data:application/json;charset=utf-8,')[1].split('"')[0]
    score = json.loads(unquote(link))
    assert score["name"] == "O'Brien <b>" and score["seed"] == 17
    assert score["exercises"][0]["result"] == "right after a hint"
    assert len(score["exercises"][0]["entries"]) == 2
    desk.go(1)
    assert desk.place == 1 and desk.entry.value == ""
    desk.show_solution()
    assert desk.work.exercise.solution[0] in desk.said.value
    desk.go(-1)
    assert "Solved" in desk.said.value


def test_a_saved_score_is_gone_on_from_in_another_kernel():
    desk = ExerciseDesk(seed=17, count=3)
    desk.name.value = "A. Prentice"
    desk.entry.value = desk.work.exercise.show(desk.work.exercise.mistakes[0].value)
    desk.entry.value = desk.work.exercise.show(desk.work.exercise.answer)
    other = ExerciseDesk(seed=5, count=7)
    other.take_score("score.json", desk.session.score().encode())
    assert other.session.score() == desk.session.score()
    assert (other.place, other.seed.value, other.name.value) == (1, 17, "A. Prentice")
    assert other.work.exercise.text in other.task.value.replace("&#x27;", "'")
    other.take_score("<i>", b"{}")
    assert "&lt;i&gt;" in other.said.value and other.session.seed == 17


def test_a_name_in_any_letters_makes_a_file_name():
    assert file_name("score", "Žofie / Němcová", 3) == "score_žofie_němcová_3.json"
    assert file_name("score", "../..", 3) == "score_3.json"


def score_of(name: str, *, right: bool) -> bytes:
    session = Session(9, 2, name)
    exercise = session.works[0].exercise
    session.works[0].enter(exercise.show(exercise.answer if right else exercise.mistakes[0].value))
    return session.score().encode()


def test_the_scores_of_a_class_stand_in_one_table():
    desk = ClassDesk()
    assert "No score yet" in desk.table.value
    desk.take_file("b.json", score_of("Zoe <b>", right=False))
    desk.take_file("a.json", score_of("Adam", right=True))
    table = desk.table.value
    assert 0 < table.index("Adam") < table.index("Zoe &lt;b&gt;")
    assert escape(Session(9, 1).works[0].exercise.mistakes[0].name) in table
    desk.take_file("b2.json", score_of("Zoe <b>", right=True))
    # Two apprentices, the headings and the total.
    assert desk.table.value.count("<tr>") == 4 and len(desk.sessions) == 2
    assert "No mistake was made" in desk.table.value
    assert all(each.counts()["right at once"] == 1 for each in desk.sessions.values())
    desk.empty()
    assert "No score yet" in desk.table.value


@pytest.mark.parametrize(
    ("data", "said"),
    [(b"\xff\xfe", "not text"), (b"[" * 50_000, "cannot be read"), (b"{}", "kind is not")],
)
def test_a_file_that_is_no_score_is_named_until_the_right_one_comes(data, said):
    desk = ClassDesk()
    desk.take_file("<i>.json", data)
    desk.take_file("other.json", score_of("Adam", right=True))
    assert "&lt;i&gt;.json" in desk.said.value and said in desk.said.value
    desk.take_file("<i>.json", score_of("Ben", right=True))
    assert desk.said.value == "" and len(desk.sessions) == 2


def test_two_without_a_name_stay_two_and_mistakes_are_counted_by_kind():
    desk = ClassDesk()
    desk.take_file("one.json", score_of("", right=False))
    desk.take_file("two.json", score_of("", right=False))
    assert len(desk.sessions) == 2 and "no name (two.json)" in desk.table.value
    exercise = Session(9, 1).works[0].exercise
    first = f"{exercise.kind}, {exercise.mistakes[0].name}</b> (2 times)"
    assert f"Take up again first: {escape(first, quote=True).replace('&lt;/b&gt;', '</b>')}" in (
        desk.table.value
    )


def test_rows_without_a_seed_differ():
    assert len({ExerciseDesk(count=1).session.seed for _ in range(8)}) > 6
    desk = ExerciseDesk(seed=17, count=3)
    desk.seed.value = 18
    desk.begin()
    assert desk.session.seed == 18 and desk.place == 0


def test_the_sheet_panel_offers_both_pages():
    desk = SheetDesk()
    desk.seed.value, desk.count.value, desk.paper.value = 21, 4, "Letter"
    assert 'download="exercises_21.html"' in desk.links.value
    assert 'download="answers_21.html"' in desk.links.value
    assert "8.5in" in unquote(desk.links.value)


def test_the_virtual_desk_compares_what_was_found():
    desk = VirtualDesk(seed=5)
    desk.weight.value = 80
    desk.set_weight(False)
    assert "it sinks" in desk.said.value and desk.view.move["seconds"] > 0
    desk.compare()
    assert "Enter what you found" in desk.result.value
    desk.read("strike_weight_g")
    read = desk.key.readings["strike_weight_g"][0]
    desk.entries["strike_weight_g"].value = f"{read:.1f}".replace(".", ",")
    desk.entries["down_weight_g"].value = "x"
    desk.compare()
    assert "is not a number" in desk.result.value
    desk.entries["down_weight_g"].value = ""
    desk.compare()
    assert "All of this miss is noise" in desk.result.value
    desk.take_key(6)
    assert desk.entries["strike_weight_g"].value == "" and desk.key.trials == []


@pytest.mark.parametrize("seed", range(50))
def test_who_enters_what_is_shown_is_believed(seed):
    """Each reading entered as the panel shows it, lengths in cm too: no one made it up."""
    desk = VirtualDesk(seed=seed)
    for name in (*SCALES, *RULERS):
        desk.read(name)
    for name in (*SCALES, *RULERS):
        read = as_shown(name, desk.key.readings[name][0])
        assert read in desk.taken.value
        desk.entries[name].value = read
        if name in RULERS and seed % 2:
            desk.entries[name].value = f"{float(read.removesuffix(' mm')) / 10:.2f} cm"
    desk.compare()
    assert "none of your readings" not in desk.result.value
    assert desk.result.value.count("<tr>") == 6
    assert not re.search(r"[-−]0(\.0)?(?![.\d])", desk.result.value)


def test_the_drawing_of_the_virtual_bench_gives_nothing_away():
    one, other = VirtualDesk(seed=5), VirtualDesk(seed=9)
    one.weight.value = other.weight.value = 41
    assert one.view.scene == other.view.scene
    assert one.view.scene["hidden"] and one.view.scene["grams"] == {"weight": 41.0}


def test_the_case_is_silent_until_compared_and_then_speaks():
    desk = CaseDesk(seed=6)
    first = next(iter(desk.case.planted))
    assert desk.bench.findings.flags == () and desk.charts["friction_g"].keyboard.marks == {}
    desk.bench.key = first
    assert f"▶ {first} " in desk.numbers.value and desk.key.value == first
    desk.fault.value = desk.case.planted[first]
    desk.name_key()
    desk.bench.key = 1
    desk.name_key()
    desk.quantity.value = "strike_weight_g"
    desk.compare()
    assert "You: found 1, right key but another cause 0, missed 7" in desk.result.value
    assert "falsely accused 1." in desk.result.value
    assert str(first) in desk.charts["strike_weight_g"].keyboard.marks
    desk.take_back()
    assert list(desk.named) == [first]
    desk.take_case(7)
    assert desk.named == {} and desk.bench.findings.flags == ()
    assert desk.charts["friction_g"].keyboard.marks == {}


def test_a_note_in_a_lesson_is_not_saved():
    desk = CaseDesk(seed=6)
    desk.bench.change(desk.bench.instrument.with_key_note(3, "odd"))
    assert desk.bench.saved == "A lesson: nothing is saved." and desk.bench.folder is None


def test_an_expectation_keeps_the_answer_back_and_then_compares():
    chain = LeverChain()
    chain.expects.first.value = True
    chain.controls.sliders["strike_weight_g"].value = 11.0
    assert chain.expects.hides and chain.equation.layout.display == "none"
    assert chain.view.scene["grams"] == {} and chain.stacks.layout.display == "none"
    chain.expects.entry.value = 38.0
    chain.expects.show()
    # By hand: one gram of hammer costs 5.5 g, so 42.5 g.
    assert "You expected 38.0 g, it is <b>42.5 g</b>. It is 4.5 g more." in chain.expects.said.value
    assert chain.stacks.layout.display == "" and chain.stacks.marks[-1]["text"] == "▲ expected"
    assert chain.stacks.marks[-1]["at"] == pytest.approx(27.0 + 38.0)
    chain.controls.sliders["strike_weight_g"].value = 10.0
    assert chain.expects.hides


def test_a_missed_key_is_shown_beside_a_clean_neighbour():
    desk = CaseDesk(seed=6)
    kinds = {kind: key for key, kind in desk.case.planted.items()}
    desk.bench.key = kinds["tight"]
    desk.fault.value = "capstan"
    desk.name_key()
    desk.compare()
    told = desk.result.value
    assert f"Key {kinds['tight']}.</b> You named capstan line out of place; it is tight" in told
    assert f"Key {kinds['heavy hammer']}.</b> You missed it: hammer heavier" in told
    assert "Weigh again, then feel each centre alone" in told and "standard deviations from" in told
    for key in desk.case.planted:
        other = clean_neighbour(desk.case, desk.bench.table, key)
        assert other not in desk.case.planted and abs(other - key) <= 6
        assert EVIDENCE[desk.case.planted[key]][0] in QUANTITIES


def test_the_weight_on_the_key_is_pulled_up_and_pushed_down():
    sticking = StickingKey()
    sticking.view.dragged = {"name": "weight", "from": 30, "by": 19.4, "number": 1}
    assert sticking.weight.value == 49 and sticking.does == "sinks"
    sticking.view.dragged = {"name": "weight", "from": 49, "by": -300.0, "number": 2}
    assert sticking.weight.value == 0 and sticking.view.holds["weight"]["value"] == 0
