"""The front door: what a cell of one's own needs, typed, by value, and apart from the notebooks."""

from __future__ import annotations

import ast
import copy
import os
import pickle
import subprocess
import sys
import textwrap
from pathlib import Path

import pandas as pd
import pytest

import balancekit as bk
from balancekit.instrument.in_hand import data_folder, home_folder

STUDIO = data_folder() / "studio_grand"


@pytest.fixture(scope="module")
def instrument():
    return bk.read(STUDIO)


def test_linear_algebra_has_one_thread_unless_somebody_says_otherwise():
    code = "import balancekit, os, scipy.linalg, threadpoolctl as t; " \
           "print([t.threadpool_info(), os.environ['OPENBLAS_NUM_THREADS']])"  # fmt: skip
    bare = {name: value for name, value in os.environ.items() if "NUM_THREADS" not in name}

    def told(**more: str) -> tuple[set[int], str]:
        done = subprocess.run([sys.executable, "-c", code], env=bare | more, check=True,
                              capture_output=True, text=True)  # fmt: skip
        pools, said = ast.literal_eval(done.stdout)
        return {each["num_threads"] for each in pools if each["user_api"] == "blas"}, said

    assert told() == ({1}, "1")
    assert told(OPENBLAS_NUM_THREADS="2")[1] == "2"


def test_every_name_is_there_and_is_offered():
    assert {name for name in bk.__all__ if not hasattr(bk, name)} == set()
    offered = {name for name in dir(bk) if not name.startswith("__")}
    parts = {"calculation", "instrument", "charts", "panels", "sharing", "lesson"}
    assert offered == {*bk.__all__, *parts, "open_bench"}
    assert all(getattr(bk, name).__doc__ for name in bk.__all__)
    with pytest.raises(AttributeError, match="Did you mean: 'read'"):
        bk.raed  # noqa: B018 - the misspelling is the test


@pytest.mark.slow
def test_the_types_are_right_and_a_script_of_ones_own_is_typed(tmp_path):
    """One run of mypy over the package and the script; what it says is of the script alone."""
    script = tmp_path / "own.py"
    script.write_text(
        textwrap.dedent(
            """
            import pandas as pd
            import balancekit as bk

            instrument: bk.Instrument = bk.read("readings.csv")
            table: pd.DataFrame = bk.table(instrument)
            plan: bk.HammerPlan = bk.plan_hammers(instrument, bk.HammerChoice(bend_g=0.03))
            after: bk.Instrument = bk.decide(instrument, plan)
            wrong: int = bk.predict(after)
            bk.raed("readings.csv")
            """
        )
    )
    project = Path(bk.__file__).parents[1]
    done = subprocess.run(
        [sys.executable, "-m", "mypy", "--no-error-summary", "--package", "balancekit",
         "--module", "own"],
        cwd=project, capture_output=True, text=True, env={**os.environ, "MYPYPATH": str(tmp_path)},
    )  # fmt: skip
    said = done.stdout.splitlines()
    own = [line.partition("own.py:")[2] for line in said if "own.py:" in line]
    assert len(own) == len(said) == 2, done.stdout
    assert own[0].startswith("9: error: Incompatible types")
    assert own[1].startswith("10: error: Module has no attribute")
    assert (Path(bk.__file__).parent / "py.typed").is_file()


@pytest.mark.parametrize("kind", [str, Path])
def test_a_folder_is_read_by_its_path_and_nothing_is_written(kind):
    before = {path: path.stat().st_mtime_ns for path in STUDIO.rglob("*")}
    assert bk.read(kind(STUDIO)).title == "Dance school studio grand"
    assert {path: path.stat().st_mtime_ns for path in STUDIO.rglob("*")} == before


@pytest.fixture(scope="module")
def readings(instrument):
    return instrument.visits[0].readings.drop(columns=["read_at", "doubted"])


def test_a_table_is_read_in_any_order_of_its_columns(readings):
    as_is = bk.read(readings, title="mine")
    assert as_is.title == "mine"
    assert bk.read(readings[readings.columns[::-1]], title="mine") == as_is
    assert bk.read(readings.set_index("key"), title="mine") == as_is
    nameless = readings.set_index("key").rename_axis(None)
    assert bk.read(nameless, title="mine") == as_is


@pytest.mark.parametrize(
    ("misspelt", "right"),
    [("strike_wieght_g", "strike_weight_g"), ("Key_Ratio", "key_ratio"), ("nota", "note")],
)
def test_a_misspelt_column_is_named_with_the_nearest(readings, misspelt, right):
    with pytest.raises(bk.BalancekitError, match=f"'{misspelt}': Did you mean '{right}'") as told:
        bk.read(readings.rename(columns={right: misspelt}))
    assert str(told.value).startswith("the table: ")


def test_a_wrong_cell_of_a_table_is_named_by_its_row_and_key(readings):
    row = readings["key"].tolist().index(40)
    wrong = readings.copy()
    wrong.loc[row, "down_weight_g"] = -5.0
    said = rf"^the table row {row + 1}, key 40, down_weight_g: '-5.0'"
    with pytest.raises(bk.BalancekitError, match=said):
        bk.read(wrong)


def test_a_misspelt_quantity_kind_or_field_is_named_with_the_nearest(instrument):
    cases = [
        (lambda: bk.QUANTITIES["fricton_g"], "Did you mean 'friction_g'"),
        (lambda: bk.findings(instrument).sentences("balance_wieght_g"), "'balance_weight_g'"),
        (lambda: bk.table(instrument, "beleived"), "Did you mean 'believed'"),
        (lambda: instrument.table("led"), "Did you mean 'leads'"),
        (lambda: instrument.with_table("key_note", pd.DataFrame()), "Did you mean 'key_notes'"),
        (
            lambda: bk.BenchSettings(reading_u={"down_wieght_g": 1.0}),
            "Did you mean 'down_weight_g'",
        ),
        (
            lambda: bk.plan_hammers(instrument.with_choice("hammer_mass", {"targt": "fitted"})),
            "Did you mean 'target'",
        ),
    ]
    for wrong, said in cases:
        with pytest.raises(bk.BalancekitError, match=said):
            wrong()


def test_a_visit_that_is_not_there_is_refused(instrument):
    for asked in (bk.table, bk.findings, bk.believe, bk.predict, bk.compare):
        with pytest.raises(bk.BalancekitError, match="There is no visit 2"):
            asked(instrument, visit=2)


COPIES = [copy.copy, copy.deepcopy, lambda value: pickle.loads(pickle.dumps(value))]


@pytest.fixture(scope="module")
def things(readings):
    """What the front door hands out, twice, and something else of the same kind."""
    lowest = readings[readings["key"] <= 24]

    def decided(table):
        instrument = bk.read(table, title="Lowest keys", key_count=24)
        seen = pd.DataFrame({"key": range(1, 25)})
        instrument = instrument.with_table("leads_seen", seen)
        return bk.decide(instrument, bk.HammerChoice(target="least work", keep_ceiling=False))

    def made(value):
        return {
            "instrument": value,
            "visit": value.visits[0],
            "findings": bk.findings(value),
            "believed": bk.believe(value),
            "hammers": bk.plan_hammers(value),
            "leads": bk.plan_leads(value, bk.LeadChoice(layout="free")),
        }

    other = lowest.copy()
    other.loc[4, "front_weight_g"] += 0.3
    return made(decided(lowest)), made(decided(lowest.copy())), made(decided(other))


@pytest.mark.parametrize(
    "name", ["instrument", "visit", "findings", "believed", "hammers", "leads"]
)
def test_things_compare_by_value_and_copy_safely(things, name):
    one, same, other = (each[name] for each in things)
    assert one is not same and one == same and hash(one) == hash(same)
    assert one != other and other != one and one != "something else"
    for copied in COPIES:
        assert copied(one) == one
        assert copied(one) != other


def test_a_copy_shares_nothing_that_can_be_changed(instrument):
    copied = copy.deepcopy(instrument)
    readings = copied.visits[0].readings
    readings.loc[0, "down_weight_g"] = 1.0
    leads = copied.table("leads")
    leads.loc[0, "mass_g"] = 1.0
    assert copied == instrument


@pytest.mark.parametrize("copied", COPIES)
def test_an_error_is_copied_with_all_its_problems(instrument, copied):
    bounds = bk.HammerChoice(target="least work", most_trimmed_g=0.0, most_added_g=0.0, bend_g=0.0)
    with pytest.raises(bk.BalancekitError) as caught:
        bk.plan_hammers(instrument, bounds).plan  # noqa: B018 - worked out when asked for
    again = copied(caught.value)
    assert type(again) is type(caught.value) is not bk.BalancekitError
    assert again.problems == caught.value.problems and str(again) == str(caught.value)


@pytest.mark.parametrize(
    ("name", "told", "shown"),
    [
        ("instrument", "24 keys from A0", "Lowest keys"),
        ("visit", "as found", None),
        ("findings", "Flags: ", "Findings"),
        ("believed", "to weigh first: 23", "believed of every key"),
        ("hammers", "least work", "Plan of the hammers"),
        ("leads", "layout 'free'", "Lead is toxic"),
    ],
)
def test_things_show_themselves(things, name, told, shown):
    thing = things[0][name]
    assert told in repr(thing) and len(repr(thing)) < 300
    if shown is not None:
        assert shown in thing._repr_html_() and "<table" in thing._repr_html_()


def test_words_of_the_user_cannot_be_markup(instrument):
    hostile = bk.read(instrument.visits[0].readings, title="<script>alert(1)</script>")
    assert "<script>" not in hostile._repr_html_()


def test_a_plan_that_cannot_be_shows_why(instrument):
    choice = bk.HammerChoice(target="least work", most_trimmed_g=0.0, most_added_g=0.0, bend_g=0.0)
    assert "cannot be worked out" in bk.plan_hammers(instrument, choice)._repr_html_()


@pytest.mark.slow
def test_ways_of_a_whole_plan_are_shown_decided_and_predicted():
    instrument = bk.read(data_folder() / "sampled_grand")
    plan = bk.plan_whole(instrument)
    assert f"{len(plan.front.ways)} ways" in repr(plan) and "<table" in plan._repr_html_()
    assert copy.deepcopy(plan) == plan
    decided = bk.decide(instrument, plan.chosen(plan.default))
    assert decided != instrument
    assert not bk.predict(decided).equals(bk.predict(instrument))


def test_the_whole_round_leaves_alone_what_the_notebooks_have_open(instrument, tmp_path):
    home = home_folder()
    held = {path: path.read_bytes() for path in home.rglob("*") if path.is_file()}
    decided = bk.decide(instrument, bk.HammerChoice(target="fitted"))
    assert len(bk.predict(decided)) == 88
    assert {"meets the plan", "take up again"} <= set(bk.compare(instrument)["verdict"])
    assert "friction_g" in set(bk.evenness(instrument)["quantity"])
    folder = bk.save(decided, tmp_path / "mine")
    saved = bk.read(folder)
    assert (
        saved.with_choice("bench_sheets", None).choices
        == decided.with_choice("bench_sheets", None).choices
    )
    with pytest.raises(bk.BalancekitError, match="An instrument is there already"):
        bk.save(instrument, folder)
    bk.save(instrument, str(folder), replace=True)
    assert bk.read(folder).choices == instrument.choices
    assert len(list((folder / "versions").iterdir())) == 1
    with pytest.raises(bk.BalancekitError, match="belongs to an instrument"):
        bk.report(instrument, folder)
    page = bk.report(instrument, tmp_path / "results")
    assert bk.read(page).visits == instrument.visits
    assert {path: path.read_bytes() for path in home.rglob("*") if path.is_file()} == held


def test_every_table_of_an_instrument_is_handed_out(instrument):
    assert bk.table(instrument)["action_ratio"].notna().sum() > 80
    assert len(bk.table(instrument, "believed")) == 88
    assert len(bk.table(instrument, "readings", visit=1)) == 88
    assert {"slip", "stands-out"} <= set(bk.table(instrument, "flags")["kind"])
    assert len(bk.table(instrument, "leads")) > 88
    assert bk.table(instrument, "hammer_set").empty


def test_the_command_tells_its_version():
    done = subprocess.run(
        [sys.executable, "-m", "balancekit", "--version"], capture_output=True, text=True
    )
    assert (done.returncode, done.stdout) == (0, f"balancekit {bk.__version__}\n")
