"""A shop of invented instruments: read, kept at home, left out for itself, and switched off."""

from dataclasses import replace

import numpy as np
import pytest

from balancekit.calculation.believed.usual import USUAL_OF
from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.quantities import uncertainty_name
from balancekit.cli import DONE, main
from balancekit.instrument.believed import believe
from balancekit.instrument.findings import find_all
from balancekit.instrument.model import BenchSettings, Instrument
from balancekit.instrument.shop import read_shop
from balancekit.instrument.store import save_folder
from balancekit.instrument.table import reading_table
from balancekit.instrument.usual_in_use import Shop, keep_shop, shop
from tests.benchmarks.invented_pianos import KEYS, invent, keep_some

FEW = np.linspace(1, KEYS, 16).round()


@pytest.fixture(scope="module")
def weighed(tmp_path_factory):
    folder = tmp_path_factory.mktemp("weighed before")
    for seed in range(1, 7):
        readings = invent("quiet", 900 + seed).readings.assign(note="")
        save_folder(
            Instrument(title=f"Grand {seed}").with_readings(readings), folder / str(seed), None
        )
    return folder


@pytest.fixture(scope="module")
def six(weighed):
    return read_shop(weighed)


@pytest.fixture
def at_home(tmp_path, monkeypatch):
    monkeypatch.setenv("BALANCEKIT_HOME", str(tmp_path))


def test_what_is_kept_at_home_comes_back_and_a_spoiled_file_is_no_shop(six, at_home, tmp_path):
    assert keep_shop(six)
    assert shop() == six
    (tmp_path / "usual.json").write_text('{"told": [1], "folder": 3}')
    assert shop() == Shop()


def test_an_instrument_is_not_told_of_itself_and_none_is_when_it_is_off(six):
    assert set(six.usual("another")) == set(USUAL_OF)
    alone = Shop(six.folder, {"Grand 1": six.told["Grand 1"]}, on=True)
    assert alone.usual("Grand 1") == {} and alone.words("Grand 1") == ""
    assert Shop(six.folder, six.told, on=False).usual("another") == {}


def test_an_upright_tells_of_friction_alone_and_spoils_nothing(six, tmp_path, at_home):
    readings = invent("quiet", 907).readings.assign(note="")
    grand = Instrument(title="Grand").with_readings(readings)
    upright = replace(grand, title="Upright", settings=BenchSettings(action="upright"))
    for each in (grand, upright):
        save_folder(each, tmp_path / each.title, None)
    told = read_shop(tmp_path).told
    assert [set(told[title]) for title in ("Grand", "Upright")] == [set(USUAL_OF), {"friction_g"}]
    course, course_u = told["Upright"]["friction_g"].course, told["Upright"]["friction_g"].course_u
    assert np.isfinite(course).all() and min(course_u) > 0
    usual = Shop(six.folder, {**six.told, **told}, on=True).usual("another")
    assert all(np.isfinite([*each.course, *each.course_u]).all() for each in usual.values())


def test_what_is_kept_and_is_not_a_number_is_no_shop(six, at_home):
    told = dict(six.told["Grand 1"])
    told["friction_g"] = replace(told["friction_g"], course=(float("nan"), 0.0, 0.0))
    assert keep_shop(replace(six, told={**six.told, "Grand 1": told}))
    assert shop() == Shop()


def test_a_key_ratio_on_16_keys_is_known_better_with_the_shop(six):
    sharper, off = [], {"with": [], "without": []}
    for seed in range(1, 7):
        piano = invent("quiet", seed)
        readings = keep_some(piano.readings.assign(note=""), ("wippen_weight_g", "key_ratio"), FEW)
        given = Instrument().with_readings(readings)
        for word, usual in (("without", {}), ("with", six.usual("this one"))):
            found = find_all(given, 0, reading_table(given), usual=usual)
            table = believe(given, 0, found).table
            off[word].append(table["wippen_weight_g"] - piano.truth["wippen_weight_g"])
            sharper.append(table[uncertainty_name("wippen_weight_g")].mean())
    assert np.mean(sharper[1::2]) < 0.9 * np.mean(sharper[::2])
    assert np.mean(np.square(off["with"])) < np.mean(np.square(off["without"]))


def test_the_command_reads_names_and_switches_off(weighed, at_home, capsys):
    assert main(["usual", str(weighed)]) == DONE
    assert "6 instruments weighed before: Grand 1, Grand 2" in capsys.readouterr().out
    given = Instrument(title="another").with_readings(invent("quiet", 1).readings.assign(note=""))
    assert set(find_all(given, 0, reading_table(given)).usual) == set(USUAL_OF)
    assert main(["usual", "--off"]) == DONE
    assert "No instrument weighed before" in capsys.readouterr().out
    assert find_all(given, 0, reading_table(given)).usual == {}


def test_a_folder_without_an_instrument_is_refused(tmp_path):
    with pytest.raises(BalancekitError, match="No instrument in"):
        read_shop(tmp_path)
