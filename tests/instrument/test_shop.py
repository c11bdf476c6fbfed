"""A shop of invented instruments: read, kept at home, left out for itself, and switched off."""

from dataclasses import replace

import numpy as np
import pytest

from balancekit.calculation.believed.usual import USUAL_OF
from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.quantities import uncertainty_name
from balancekit.cli import DONE, main
from balancekit.instrument.believed import believe
from balancekit.instrument.descriptor import identified
from balancekit.instrument.findings import find_all
from balancekit.instrument.model import BenchSettings, Instrument
from balancekit.instrument.shop import read_shop
from balancekit.instrument.store import save_folder
from balancekit.instrument.table import reading_table
from balancekit.instrument.usual_in_use import Earlier, Shop, keep_shop, shop
from tests.benchmarks.invented_pianos import KEYS, invent, keep_some

FEW = np.linspace(1, KEYS, 16).round()


@pytest.fixture(scope="module")
def weighed(tmp_path_factory):
    folder = tmp_path_factory.mktemp("weighed before")
    for seed in range(1, 7):
        save_folder(grand(seed), folder / str(seed), None)
    return folder


def grand(seed, title=""):
    readings = invent("quiet", 900 + seed).readings.assign(note="")
    return Instrument(title=title or f"Grand {seed}").with_readings(readings)


@pytest.fixture(scope="module")
def six(weighed):
    return read_shop(weighed)


@pytest.fixture
def at_home(tmp_path, monkeypatch):
    monkeypatch.setenv("BALANCEKIT_HOME", str(tmp_path))


@pytest.mark.slow
def test_what_is_kept_at_home_comes_back_and_a_spoiled_file_is_no_shop(six, at_home, tmp_path):
    assert keep_shop(six)
    assert shop() == six
    (tmp_path / "usual.json").write_text('{"told": [1], "folder": 3}')
    assert shop() == Shop()


def test_an_instrument_is_not_told_of_itself_and_none_is_when_it_is_off(six):
    another, own = Instrument(title="another"), identified(grand(1))
    assert set(six.usual(another)) == set(USUAL_OF)
    alone = Shop(six.folder, {own.identity: six.told[own.identity]}, on=True)
    assert alone.usual(own) == {} and alone.words(own) == ""
    assert Shop(six.folder, six.told, on=False).usual(another) == {}


def test_only_what_is_told_is_said(six):
    one, two, three, *_ = six.told.values()
    alone = Shop("", {"one": one}, on=True)
    assert alone.words() == (
        "What is usual is told by 1 instrument weighed before. It tells of the scatter of "
        "wippen weight, key ratio and friction from key to key."
    )
    assert six.words().endswith("key ratio and friction over the keyboard.")
    upright = Earlier("Upright", {"friction_g": one.told["friction_g"]})
    four = Shop("", {"one": one, "two": two, "three": three, "upright": upright}, on=True)
    assert four.words() == (
        "What is usual is told by 4 instruments weighed before. They tell of the scatter of "
        "wippen weight (3 of them), key ratio (3 of them) and friction from key to key, and of the "
        "course of friction over the keyboard."
    )


def test_an_instrument_is_known_by_more_than_its_title(tmp_path):
    for place, each in enumerate((grand(1, "Grand"), grand(2, "Grand"))):
        save_folder(identified(each), tmp_path / f"place_{place}", None)
    save_folder(replace(identified(grand(1, "Grand")), title="Copy"), tmp_path / "place_2", None)
    two = read_shop(tmp_path)
    assert [each.title for each in two.told.values()] == ["Grand", "place_1"]
    renamed = replace(identified(grand(1, "Grand")), title="Parlour grand")
    assert "1 instrument weighed before: place_1." in two.words(renamed, named=True)
    assert "1 instrument weighed before: Grand." in two.words(grand(2, "Grand"), named=True)
    assert "2 instruments" in two.words(grand(3, "Grand"))


def test_an_upright_tells_of_friction_alone_and_spoils_nothing(six, tmp_path, at_home):
    upright = replace(grand(7, "Upright"), settings=BenchSettings(action="upright"))
    for each in (grand(8), upright):
        save_folder(each, tmp_path / each.title, None)
    told = read_shop(tmp_path).told
    by_title = {each.title: each.told for each in told.values()}
    assert set(by_title["Grand 8"]) == set(USUAL_OF)
    assert set(by_title["Upright"]) == {"friction_g"}
    friction = by_title["Upright"]["friction_g"]
    assert np.isfinite(friction.course).all() and min(friction.course_u) > 0
    usual = Shop(six.folder, {**six.told, **told}, on=True).usual()
    assert all(np.isfinite([*each.course, *each.course_u]).all() for each in usual.values())


def test_what_is_kept_and_is_not_a_number_is_no_shop(six, at_home):
    own = identified(grand(1)).identity
    told = dict(six.told[own].told)
    told["friction_g"] = replace(told["friction_g"], course=(float("nan"), 0.0, 0.0))
    assert keep_shop(replace(six, told={**six.told, own: Earlier("Grand 1", told)}))
    assert shop() == Shop()


@pytest.mark.slow
def test_a_key_ratio_on_16_keys_is_known_better_with_the_shop(six):
    sharper, off = [], {"with": [], "without": []}
    for seed in range(1, 7):
        piano = invent("quiet", seed)
        readings = keep_some(piano.readings.assign(note=""), ("wippen_weight_g", "key_ratio"), FEW)
        given = Instrument().with_readings(readings)
        for word, usual in (("without", {}), ("with", six.usual())):
            found = find_all(given, 0, reading_table(given), usual=usual)
            table = believe(given, 0, found).table
            off[word].append(table["wippen_weight_g"] - piano.truth["wippen_weight_g"])
            sharper.append(table[uncertainty_name("wippen_weight_g")].mean())
    assert np.mean(sharper[1::2]) < 0.9 * np.mean(sharper[::2])
    assert np.mean(np.square(off["with"])) < np.mean(np.square(off["without"]))


@pytest.mark.slow
def test_the_command_reads_names_and_switches_off(weighed, at_home, capsys):
    assert main(["usual", str(weighed)]) == DONE
    assert "6 instruments weighed before: Grand 1, Grand 2" in capsys.readouterr().out
    given = Instrument(title="another").with_readings(invent("quiet", 1).readings.assign(note=""))
    assert set(find_all(given, 0, reading_table(given)).known.usual) == set(USUAL_OF)
    assert main(["usual", "--off"]) == DONE
    assert "No instrument weighed before" in capsys.readouterr().out
    assert find_all(given, 0, reading_table(given)).known.usual == {}


def test_a_folder_without_an_instrument_is_refused(tmp_path):
    with pytest.raises(BalancekitError, match="No instrument in"):
        read_shop(tmp_path)
