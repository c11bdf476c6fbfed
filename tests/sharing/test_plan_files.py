"""What the command writes of a plan: ways, sheets and a page for the owner."""

import csv
import io
import re

import pytest

from balancekit.calculation.plan.telling import WAYS_COLUMNS
from balancekit.cli import main
from balancekit.instrument.choices.whole_plan import plan_whole
from balancekit.instrument.demo import one_key_model, sampled_grand, studio_grand
from balancekit.instrument.store import save_folder
from balancekit.sharing.owner_page import owner_page
from balancekit.sharing.plan_files import plan_files, ways_csv
from balancekit.sharing.report_folder import RESULT_NAMES

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


def test_it_refuses_what_cannot_be(tmp_path, capsys):
    save_folder(one_key_model(), tmp_path / "model", None)
    model = str(tmp_path / "model")
    assert main(["plan", model, "--to", model]) == 2
    assert "belongs to an instrument" in capsys.readouterr().err
    assert main(["plan", model, "--to", str(tmp_path / "out"), "--hours", "-1"]) == 2
    assert "Give 0 to" in capsys.readouterr().err and not (tmp_path / "out").exists()
