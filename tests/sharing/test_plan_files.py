"""What the command writes of a plan: ways, sheets and a page for the owner."""

import csv
import io
import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from balancekit.calculation.generator import complete, weigh
from balancekit.calculation.linkage.moves import with_moved_capstan
from balancekit.calculation.plan.knowledge import balance_after, wanted_line
from balancekit.calculation.plan.telling import WAYS_COLUMNS
from balancekit.calculation.plan.work_costs import USUAL
from balancekit.calculation.proof.meeting_plan import MEETS
from balancekit.cli import main
from balancekit.instrument.choices.chosen_way import ChosenWay, LeverWork, with_way
from balancekit.instrument.choices.hammer_choice import HammerChoice, with_choice
from balancekit.instrument.choices.plan_wishes import PlanWishes, with_wishes
from balancekit.instrument.choices.sheet_plan import with_sheets
from balancekit.instrument.choices.whole_plan import plan_whole
from balancekit.instrument.demo import (
    LIGHT_KEYS,
    TIGHT_KEYS,
    one_key_model,
    sampled_grand,
    studio_grand,
    studio_grand_truth,
)
from balancekit.instrument.model import BenchSettings, Visit
from balancekit.instrument.store import save_folder
from balancekit.sharing.owner_page import owner_page
from balancekit.sharing.plan_files import plan_files, ways_csv
from balancekit.sharing.report import build_report
from balancekit.sharing.report_folder import RESULT_NAMES
from balancekit.sharing.report_plan import STAYS
from balancekit.sharing.sheets import bench_sheets
from balancekit.sharing.story import Story
from balancekit.sharing.way_work import way_levers
from balancekit.sharing.work import work_from

TRADE_WORDS = re.compile(
    "strike weight|front weight|balance weight|action ratio|key ratio|wippen|capstan|knuckle|"
    "friction|up weight|down weight|plug|inertia|spring relief", re.I,
)  # fmt: skip


@pytest.fixture(scope="module")
def plan():
    return plan_whole(studio_grand())


def test_the_table_of_ways_is_what_the_contract_says(plan):
    rows = list(csv.DictReader(io.StringIO(ways_csv(plan).decode())))
    assert tuple(rows[0]) == WAYS_COLUMNS and rows[0]["way"] == "nothing"
    hours = [float(row["hours"]) for row in rows]
    assert hours == sorted(hours) and len(rows) > 10
    assert all(0 <= float(row["gap_percent"]) <= 1 for row in rows)
    assert all(0 <= float(row["sure_percent"]) <= 100 for row in rows)


def test_every_file_has_a_name_that_no_instrument_has(plan):
    files = plan_files(plan, plan.default)
    assert {name.rpartition(".")[0] for name in files} <= RESULT_NAMES


def test_the_owner_reads_no_word_of_the_trade_and_what_cannot_be_undone(plan):
    page = owner_page(plan, len(plan.front.ways) - 1)
    words = re.sub("<style>.*?</style>|<[^>]*>", " ", page, flags=re.S)
    assert TRADE_WORDS.findall(words) == []
    assert "does not grow again" in words and "signature" in words and "hours of work" in words
    assert page.count("<svg") == 2 and "<script" not in page
    assert "Everything in this plan can be undone" in owner_page(plan, 0)
    number = plan.default
    way = plan.way(number)
    off = balance_after(plan.treatments, way, plan._draws) - wanted_line(plan.treatments, way)
    outside = (np.abs(off) > 2.0).sum(axis=1).mean()  # of all that may come out, on average
    assert outside > 0.5 and f"about {outside:.0f} key" in owner_page(plan, number)


@pytest.mark.parametrize("hours", ["0", "4"])
def test_the_command_writes_the_way_that_fits_the_hours(tmp_path, capsys, hours):
    save_folder(sampled_grand(), tmp_path / "grand", None)
    to = tmp_path / "out"
    assert main(["plan", str(tmp_path / "grand"), "--to", str(to), "--hours", hours]) == 0
    said = capsys.readouterr().out
    taken = float(re.search(r", ([0-9.]+) h\.", said)[1])
    assert taken <= float(hours) and "Plugs not recorded" in said
    assert (to / "ways.csv").is_file() and (to / "owner_page.html").is_file()
    assert main(["plan", str(tmp_path / "grand"), "--to", str(to)]) == 0


def test_what_was_decided_and_takes_more_hours_is_said(tmp_path, capsys):
    levels = HammerChoice(target="levels", bass_g=10.5, middle_g=8.5, treble_g=6.0)
    save_folder(with_choice(sampled_grand(), levels), tmp_path / "grand", None)
    to = ["--to", str(tmp_path / "out"), "--hours", "1"]
    assert main(["plan", str(tmp_path / "grand"), *to]) == 0
    assert "No way fits 1 h: what was decided takes more" in capsys.readouterr().out


def test_it_refuses_what_cannot_be(tmp_path, capsys):
    save_folder(one_key_model(), tmp_path / "model", None)
    model = str(tmp_path / "model")
    assert main(["plan", model, "--to", model]) == 2
    assert "belongs to an instrument" in capsys.readouterr().err
    assert main(["plan", model, "--to", str(tmp_path / "out"), "--hours", "-1"]) == 2
    assert "Give 0 to" in capsys.readouterr().err and not (tmp_path / "out").exists()


@pytest.fixture(scope="module")
def bare():
    """The studio grand before anything was decided or done."""
    found = studio_grand()
    return replace(found, visits=found.visits[:1], choices={})


def test_sheets_and_report_follow_a_moved_lever(bare):
    plan = plan_whole(bare, short=True)
    number = max(n for n, each in enumerate(plan.front.ways) if each.decision.shifts)
    way = plan.chosen(number)
    chosen = with_way(bare, way)
    work = work_from(chosen)
    sheets = {sheet.operation: sheet for sheet in bench_sheets(work)}
    assert len(sheets["levers"].rows) == len(way.levers) >= 1
    assert "cannot be undone" in " ".join(sheets["levers"].cautions)
    move = way.levers[0]
    line = " ".join(sheets["levers"].rows[0])
    assert move.lever in line and f"{abs(move.move_mm):.1f}" in line
    part = work.expected["action_ratio"] / work.believed.table["action_ratio"]
    assert part[list(move.keys)].median() == pytest.approx(move.ratio_part, abs=0.002)
    page = build_report(chosen)
    chapter = page[page.index('<section id="plan">') : page.index('<section id="hammer_mass">')]
    assert f"{way.minutes / 60:.1f} h, set-up included" in chapter
    assert f"{move.lever} moved {abs(move.move_mm):.1f} mm" in chapter
    # The sheets say so too: the hole of a moved capstan, and a moved knuckle, cannot be undone.
    assert STAYS[f"move {move.lever}"] in chapter
    assert (
        f"of keys {move.keys[0]} to {move.keys[-1]}"
        in owner_page(plan, number).split("What cannot be undone")[1]
    )
    assert "No way for the whole action" in build_report(bare)


def test_every_operation_that_stays_says_what_stays():
    assert set(STAYS) == {name for name, each in USUAL.items() if not each.undone}
    assert {"move capstan", "move knuckle", "new hole"} <= set(STAYS)


def test_sheets_and_the_owner_follow_fitted_springs(bare):
    wished = with_wishes(bare, PlanWishes(lighter_percent=8.0, fit_springs=True))
    plan = plan_whole(wished, short=True)
    last = len(plan.front.ways) - 1
    way = plan.chosen(last)
    fitted = [w.key for w in way.keys if w.spring_relief_g is not None]
    sheets = {sheet.operation: sheet for sheet in bench_sheets(work_from(with_way(wished, way)))}
    assert len(sheets["springs"].rows) == len(fitted) > 0
    assert "a spring is fitted" in " ".join(sheets["springs"].how)
    words = re.sub("<style>.*?</style>|<[^>]*>", " ", owner_page(plan, last), flags=re.S)
    assert f"{len(fitted)} keys get a new helping spring" in words
    assert TRADE_WORDS.findall(words) == []


def test_from_a_way_for_four_hours_to_sheets_to_half_of_it_to_the_proof(bare):
    found = bare
    first = plan_whole(found, short=True)
    way = first.chosen(first.front.within(240))
    half = way.with_done([work.key for work in way.keys][::2])
    again = plan_whole(with_way(found, half), follow=half, short=True)
    rest = again.chosen(again.front.within(240))
    assert set(half.done) == set(rest.done) < {work.key for work in rest.keys}
    written = with_sheets(with_way(found, rest), 0, "2026-06-01")

    # A hand does the work of the sheets on the truth behind the readings, as well as hands can.
    truth, hand = studio_grand_truth().truth.copy(), np.random.default_rng(7)
    untouched = truth.copy()
    names = ["key_ratio", "action_ratio", "wippen_weight_g"]
    for lever in rest.levers:
        moved = list(lever.keys)
        if lever.lever == "knuckle":
            truth.loc[moved, "action_ratio"] *= lever.ratio_part
            continue
        before = {name: truth.loc[moved, name] for name in names}
        by_levers = with_moved_capstan(**before, move_mm=-lever.move_mm)
        truth.loc[moved, names] = pd.DataFrame(by_levers)
    for each in rest.keys:
        for name in ("strike_weight_g", "front_weight_g"):
            if getattr(each, name) is not None:
                truth.loc[each.key, name] = getattr(each, name) + hand.normal(0, 0.1)
        if each.ease:
            truth.loc[each.key, "friction_g"] -= (TIGHT_KEYS | LIGHT_KEYS)[each.key]

    def meeting(true):
        readings = weigh(complete(true), 8)
        later = written.with_visit(Visit("after the work", "2026-06-20", readings), 1)
        story = Story(later)
        assert story.work.way == rest
        return int((story.proof.verdicts["verdict"] == MEETS).sum())

    # Chance alone puts one key in twenty beyond two standard uncertainties (normal table).
    assert meeting(truth) >= 88 - 2 * 88 * 0.0455 - 4
    assert meeting(untouched) < meeting(truth) - 10


def test_a_lever_of_all_keys_says_what_becomes_of_dip_and_blow():
    settings = BenchSettings()
    keys = tuple(range(1, settings.key_count + 1))
    lever = LeverWork(keys, "capstan", 2.0, 0.95, 0.98)
    table = way_levers(ChosenWay("capstans", 0, 0, 38, 38, (), (lever,)), settings)
    (line,) = table.to_dict("records")
    # By hand: the dip that keeps a blow of 46 mm is 9 / 0.95 + 1 = 10.5 mm.
    assert line["regulation"] == "key dip 10.5 mm, blow distance 46.0 mm"
    assert line["keys"] == "all keys" and line["side"] == "towards the balance pin"
