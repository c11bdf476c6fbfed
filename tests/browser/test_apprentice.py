"""An apprentice's journey in one piece, by the keyboard alone.

The lesson, exercises with a hint and a score that outlives the kernel, the virtual bench, and a
grand full of faults.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from keys import (
    choose,
    choose_file,
    follow,
    keep_picture,
    press,
    restart_by_keys,
    run_all_by_keys,
    tab_to,
    to_cell,
    to_panel,
    type_into,
    went_well,
)
from lab import hide_sidebar, open_notebook, start_afresh, wait_idle
from playwright.sync_api import Locator, Page, expect

from balancekit.lesson.faults.case import FAULTS, make_case
from balancekit.lesson.faults.case_files import read_case
from balancekit.lesson.lever_chain.one_key import LessonKey
from balancekit.lesson.measure.bench_files import read_bench
from balancekit.lesson.measure.virtual_bench import VirtualKey
from balancekit.lesson.practice.exercises import exercise_row
from balancekit.lesson.practice.session import read_score

SEED = 2026
SAID = "[role=status]:not(.bench-not-saved)"
"""What a panel says; not the line of every panel about saving."""
AT_REST, PRESSED = "Set it on the key at rest", "Set it on the pressed key"


@pytest.fixture(autouse=True)
def nothing_before(lab):
    """No kernel of another test runs, and nothing is in hand."""
    start_afresh(lab)


def test_an_apprentice_learns_practises_weighs_and_finds_faults(lab, page, seen, tmp_path):
    open_notebook(page, lab, "notebooks/00_the_balance_equation.ipynb")
    hide_sidebar(page)
    run_all_by_keys(page)
    moves_the_levers(page, tmp_path)
    watches_the_key(page)
    tries_it_in_the_text(page, tmp_path)
    went_well(page, seen, lab, "00_the_balance_equation")

    follow(page, "Practice", "00_practice")
    solves_an_exercise(page, tmp_path)
    went_well(page, seen, lab, "00_practice")

    follow(page, "the virtual bench", "00_virtual_bench")
    weighs_a_key(page, tmp_path)
    went_well(page, seen, lab, "00_virtual_bench")

    follow(page, "find the faults", "00_find_the_faults")
    finds_faults(page, tmp_path)
    went_well(page, seen, lab, "00_find_the_faults")
    kept = {path.name for path in lab.home.iterdir()}
    # The real key beside the virtual one keeps only which key is in hand.
    assert kept <= {"lesson_progress.json", "in_hand.json"}, (
        "A lesson leaves the user's instruments alone."
    )


def moves_the_levers(page: Page, tmp_path) -> None:
    """Make the hammer heavier, and press the key down."""
    beam = to_panel(page, "The lever chain")
    drawing = beam.locator("svg.lesson-levers")
    before = drawing.get_attribute("aria-label")
    tab_to(page, beam.get_by_role("slider", name="Strike weight (g)"))
    for _ in range(10):
        page.keyboard.press("ArrowRight")
    wait_idle(page)
    key = LessonKey()
    # By hand: one gram of hammer costs as many grams at the finger as the action ratio says.
    heavier = key.balance_weight_g + 1.0 * key.action_ratio
    expect(beam.locator(".lesson-equation")).to_contain_text(f"{heavier:.1f} g")
    assert drawing.get_attribute("aria-label") != before
    tab_to(page, beam.get_by_role("slider", name="Key pressed (mm)"))
    page.keyboard.press("End")
    expect(drawing).to_contain_text("key down 8.0 mm")
    keep_picture(page, tmp_path, "apprentice_levers")


def watches_the_key(page: Page) -> None:
    """Add gram by gram: the key sticks until the weight is enough."""
    sticking = to_panel(page, "A key that sticks")
    said = sticking.locator(SAID)
    slider = tab_to(page, sticking.get_by_role("slider", name="Weight on the key (g)"))
    expect(said).to_contain_text("The key sticks")
    weight = float(slider.get_attribute("aria-valuenow"))
    # By hand: a key sinks under its balance weight and its friction together.
    down_weight_g = LessonKey().balance_weight_g + LessonKey().friction_g
    while weight < down_weight_g:
        expect(said).to_contain_text("The key sticks")
        page.keyboard.press("ArrowRight")
        weight += 1
        expect(slider).to_have_attribute("aria-valuenow", f"{weight:.1f}")
        wait_idle(page, quiet_s=0.05)
    expect(said).to_contain_text("The key sinks")
    expect(sticking.locator("svg.lesson-levers")).to_contain_text("key down 8.0 mm")


def tries_it_in_the_text(page: Page, tmp_path) -> None:
    """Work an exercise at its place, in steps, one of them wrong; then rightly."""
    box = to_panel(page, "Try it: friction, balance weight, down weight")
    down, up = (float(found) for found in re.findall(r"(\d+) g", box.inner_text())[:2])
    wrong, right = down - up + 1, (down - up) / 2
    type_into(page, box, "Your answer", f"{down:g} - {up:g} = {wrong:g}; {wrong:g} / 2 = 3 g")
    said = box.locator(SAID)
    expect(said).to_contain_text(f"Step 1: {down:g} - {up:g} gives {down - up:g}, not {wrong:g}.")
    keep_picture(page, tmp_path, "apprentice_wrong_step")
    to_cell(page)
    type_into(page, box, "Your answer", f"({down:g} - {up:g}) / 2 = {right:g} g")
    expect(said).to_contain_text("Right")


def solves_an_exercise(page: Page, tmp_path) -> None:
    """Miss, read the hint, get it right, save the score, and go on after a restart."""
    exercise, following = exercise_row(SEED, 2)
    desk = to_panel(page, "Exercises")
    type_into(page, desk, "Your name", "A. Prentice")
    type_into(page, desk, "Seed of the row", str(SEED))
    press(page, desk, "Begin this row")
    expect(desk).to_contain_text(exercise.text)
    wrong = exercise.mistakes[0]
    to_cell(page)
    type_into(page, desk, "Your answer", exercise.show(wrong.value))
    expect(desk.locator(SAID)).to_contain_text(wrong.hint)
    keep_picture(page, tmp_path, "apprentice_hint")
    to_cell(page)
    type_into(page, desk, "Your answer", exercise.show(exercise.answer))
    expect(desk.locator(SAID)).to_contain_text("Right")
    tab_to(page, desk.get_by_role("link", name="Save the score for the teacher"))
    with page.expect_download() as saved:
        page.keyboard.press("Enter")
    score = tmp_path / saved.value.suggested_filename
    saved.value.save_as(score)

    restart_by_keys(page)
    run_all_by_keys(page)
    desk = to_panel(page, "Exercises")
    expect(desk).to_contain_text("right after a hint: 0")
    choose_file(page, desk, "Go on from a saved score", score)
    expect(desk).to_contain_text("right after a hint: 1")
    expect(desk).to_contain_text(following.text)
    kept = read_score(score.read_text(encoding="utf-8"))
    assert (kept.name, kept.works[0].mistakes) == ("A. Prentice", [wrong.name])


def weighs_a_key(page: Page, tmp_path) -> None:
    """Set weights, read scales and rules, compute, enter, and be told how near it came."""
    desk = to_panel(page, "The virtual bench")
    seed = int(re.search(r"bench number (\d+)", desk.inner_text()).group(1))
    down_g = finds_threshold(page, desk, AT_REST, [(30, 5), (-5, 1)])
    up_g = finds_threshold(page, desk, PRESSED, [(down_g, -5), (5, -1)])
    to_cell(page)
    for words in ("key's front", "hammer", "wippen", "arm", "capstan arm"):
        verb = "Measure the" if "arm" in words else "Weigh the"
        press(page, desk, f"{verb} {words}")
    shown = desk.locator("table").first.locator("tr").all_inner_texts()
    read = {
        line.partition("\t")[0]: float(line.partition("\t")[2].split()[0])
        for line in shown
        if not line.startswith(("At the bench", "Weights on"))
    }
    front, strike, wippen, arm, capstan = read.values()
    # By hand: half of the sum, half of the gap, the lever, and the equation solved for the ratio.
    balance_g, friction_g = (down_g + up_g) / 2, (down_g - up_g) / 2
    key_ratio = capstan / arm
    ratio = (balance_g + front - wippen * key_ratio) / strike
    entered = [down_g, up_g, front, strike, wippen, arm, capstan, balance_g, down_g - up_g,
               key_ratio, ratio]  # fmt: skip
    boxes = desk.locator(".widget-gridbox .widget-text input")
    for box, value in zip(boxes.all(), entered, strict=True):
        tab_to(page, box)
        page.keyboard.type(f"{value:.3f}")
    press(page, desk, "How near did I come?")
    told = desk.locator("table").last
    friction = told.locator("tr", has_text="Friction")
    expect(friction).to_contain_text("the whole gap, not half of it")
    to_cell(page)
    type_into(page, desk, "Friction (g)", f"{friction_g:.1f}")
    press(page, desk, "How near did I come?")
    expect(friction).not_to_contain_text("Compute again")
    expect(desk).to_contain_text("lie within two standard uncertainties")
    truth = VirtualKey(seed).truth["strike_weight_g"]
    weighed = told.locator("tr", has_text="Strike weight")
    expect(weighed.locator("td").nth(2)).to_have_text(f"{truth:.1f} g")
    # The reading was written down rightly: the whole miss is noise.
    expect(weighed.locator("td").nth(4)).to_have_text("0.0 g")
    keep_picture(page, tmp_path, "apprentice_how_near")
    handed_in = read_bench(save_link(page, desk, tmp_path / "bench.json"))
    assert handed_in.key.seed == seed and handed_in.table.loc["strike_weight_g", "truth"] == truth
    # Beside it in the next panel stands a real key.
    beside = to_panel(page, "The virtual key and a real one")
    expect(beside).to_contain_text("Real key 40")


def save_link(page: Page, desk: Locator, path: Path) -> str:
    """Save what is handed in, by the keyboard; return its text."""
    tab_to(page, desk.get_by_role("link", name="Save the result for the teacher"))
    with page.expect_download() as saved:
        page.keyboard.press("Enter")
    saved.value.save_as(path)
    return path.read_text(encoding="utf-8")


def finds_threshold(page: Page, desk: Locator, button: str, legs) -> int:
    """Set weights in coarse and then in single steps; return the last that moved the key."""
    said = desk.locator(".lesson-said")
    moved, weight = False, 0
    for start, step in legs:
        weight = weight + start if weight else start
        for _ in range(20):
            weigh(page, desk, weight, button)
            expect(said).to_contain_text(f"{weight} g on the")
            moved = "it sinks" in said.inner_text() or "it lifts" in said.inner_text()
            if moved:
                break
            weight += step
    assert moved
    return weight


def weigh(page: Page, desk: Locator, weight: int, button: str) -> None:
    """Type a weight at the slider, and set it on the key."""
    to_cell(page)
    type_into(page, desk, "Weight to set (g), to type", str(weight))
    press(page, desk, button)


def finds_faults(page: Page, tmp_path) -> None:
    """Accuse one key rightly and one falsely, hand in, and see what was missed."""
    desk = to_panel(page, "Find the faults")
    case = make_case(int(re.search(r"Case (\d+)", desk.inner_text()).group(1)))
    press(page, desk, "Action ratio")
    expect(desk.locator(".bench-chart")).to_be_visible()
    guilty = min(case.planted)
    sound = next(key for key in range(1, 89) if key not in case.planted)
    for key, fault in ((guilty, case.planted[guilty]), (sound, "tight")):
        to_cell(page)
        type_into(page, desk, "Key in hand, to type", str(key))
        choose(page, desk, "I suspect", FAULTS[fault].words)
        press(page, desk, "Name this key")
    expect(desk).to_contain_text("You named 2.")
    press(page, desk, "I have looked at all: compare")
    result = desk.locator(SAID).last
    missed = len(case.planted) - 1
    told = f"You: found 1, right key but another cause 0, missed {missed}, falsely accused 1."
    expect(result).to_contain_text(told)
    row = (
        desk.locator("table")
        .filter(has_text="Planted")
        .locator("tr")
        .filter(has=page.get_by_role("cell", name=str(guilty), exact=True))
    )
    expect(row).to_contain_text(FAULTS[case.planted[guilty]].words)
    # What was missed is shown beside a clean neighbour.
    expect(desk.locator(".lesson-solution").first).to_contain_text("Next:")
    keep_picture(page, tmp_path, "apprentice_faults")
    to_cell(page)
    type_into(page, desk, "Your name", "A. Prentice")
    handed_in = read_case(save_link(page, desk, tmp_path / "case.json"))
    assert handed_in.name == "A. Prentice" and handed_in.result.found == (guilty,)
