"""Words on the panels of the lessons, held against what the functions and the tables say."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from balancekit.calculation import balance
from balancekit.calculation.quantities import QUANTITIES
from balancekit.lesson import class_panel, exercise_panel, virtual_bench_panel
from balancekit.lesson.lever_chain.inertia_panel import LeadAndHammer, SolveDesk, solved_u
from balancekit.lesson.lever_chain.one_key import LessonKey
from balancekit.lesson.lever_chain.parts import WEIGHING_WORDS
from balancekit.lesson.lever_chain.stroke import stroke_table, stroke_words
from balancekit.lesson.measure.virtual_bench_panel import VirtualDesk
from balancekit.lesson.practice.chain import read_steps, wrong_step

PROJECT = Path(__file__).resolve().parents[2]


def words_of(panel) -> str:
    return " ".join(child.value for child in panel.children if isinstance(
        getattr(child, "value", None), str))  # fmt: skip


def test_the_doubt_of_a_solved_weight_by_many_draws():
    """The ratio weighed once, with usual doubts; then the front weight solved with new weighings.

    A hundred thousand draws of a normal distribution; GUM supplement 1 (JCGM 101) by its way.
    """
    draw = np.random.default_rng(4)
    key, count = LessonKey(), 100_000
    u = {name: QUANTITIES[name].reading_u or 0.0 for name in balance.TERMS}
    u["balance_weight_g"] = 0.5 * np.hypot(0.7, 0.7)

    def read(name):
        return getattr(key, name) + draw.normal(0, u[name], count)

    names = [n for n in balance.TERMS if n not in ("action_ratio", "spring_relief_g")]
    first = {name: read(name) for name in names}
    ratio = balance.solve_for_action_ratio(**first, spring_relief_g=0.0)
    again = {name: read(name) for name in names if name != "front_weight_g"}
    front = balance.solve_for_front_weight(**again, action_ratio=ratio, spring_relief_g=0.0)
    values = {name: getattr(key, name) for name in balance.TERMS}
    assert solved_u("front_weight_g", values) == pytest.approx(np.std(front), rel=0.03)
    desk = SolveDesk()
    desk.unknown.value = "front_weight_g"
    assert f"known to about {np.std(front):.1f} g" in desk.said.value


def test_the_panel_beside_the_caution_says_what_the_lead_costs():
    """39 g of lead are 4 % of the inertia, as the text beside it says."""
    desk, key = LeadAndHammer(), LessonKey()
    part = key.inertia_parts_g["lead"]
    assert f"lead {part:.0f} g" in desk.said.value
    text = (PROJECT / "notebooks" / "00_the_balance_equation.ipynb").read_text(encoding="utf-8")
    assert f"are {part:.0f} g of some" in text
    assert f"about {100 * part / key.inertia_g:.0f} %" in text


def test_how_far_the_equation_holds_is_said_as_computed():
    key = LessonKey()
    table = stroke_table(key)
    spread = table["at rest"]["balance_weight_g"] - table["before let-off"]["balance_weight_g"]
    said = stroke_words(key)
    assert f"changes by {spread:.1f} g" in said
    level = table["half stroke"]
    tilt = (level["down_weight_g"] + level["up_weight_g"]) / 2 - level["balance_weight_g"]
    assert f"lies {tilt:.1f} g above" in said and "-0.0" not in said
    for row in table.values():
        assert f"{row['action_ratio']:.2f}" in said and f"{row['down_weight_g']:.1f} g" in said


def test_the_example_of_steps_is_right():
    example = re.search(r"37 \+ 27.*?5\.5", words_of(exercise_panel())).group()
    assert wrong_step(read_steps(example), [37, 27, 9, 10]) == ""
    assert read_steps(example)[-1].says == "5.5"


def test_two_thirds_and_one_in_twenty_by_the_normal_distribution():
    said = WEIGHING_WORDS["standard uncertainty"]
    assert "Two thirds" in said and 1 - 2 * stats.norm.sf(1) == pytest.approx(2 / 3, abs=0.02)
    assert "one in twenty" in said and 2 * stats.norm.sf(2) == pytest.approx(1 / 20, abs=0.005)


def test_nineteen_of_twenty_by_the_normal_distribution():
    desk = VirtualDesk(seed=5)
    desk.read("strike_weight_g")
    desk.entries["strike_weight_g"].value = "10"
    desk.compare()
    assert "about 19 of 20 should" in desk.result.value
    assert 1 - 2 * stats.norm.sf(2) == pytest.approx(19 / 20, abs=0.005)


def test_what_a_file_can_and_cannot_tell_is_said():
    assert "Who typed it, no file can tell" in words_of(class_panel())
    assert "the key wavers" in words_of(virtual_bench_panel())


@pytest.mark.parametrize("gone", ["effective mass", "no result can be typed in", "folded beam"])
def test_words_that_were_given_up_stand_nowhere(gone):
    files = [*PROJECT.glob("balancekit/**/*.py"), *PROJECT.glob("balancekit/**/*.js"),
             *PROJECT.glob("notebooks/*.ipynb"), PROJECT / "README.md"]  # fmt: skip
    assert len(files) > 200
    found = [path.name for path in files if gone in path.read_text(encoding="utf-8").lower()]
    assert found == []


def test_every_lesson_that_takes_parts_off_has_its_caution_first():
    """Safety stands before the first panel that has something taken off."""
    for name, first in (("00_the_balance_equation", "part_on_scale_panel"),
                        ("00_virtual_bench", "virtual_bench_panel")):  # fmt: skip
        path = PROJECT / "notebooks" / f"{name}.ipynb"
        cells = ["".join(c["source"]) for c in json.loads(path.read_text("utf-8"))["cells"]]
        caution = next(n for n, cell in enumerate(cells) if "raised hammer snaps off" in cell)
        assert caution < next(n for n, cell in enumerate(cells) if first in cell)
        assert "ye protection" in cells[caution] and "loves" in cells[caution]
