"""Many reports at once: ranked, linked, in parallel, and a broken folder stops nothing."""

from __future__ import annotations

import re

import joblib
import pytest
from joblib._parallel_backends import ThreadingBackend

from balancekit.calculation.problems import BalancekitError
from balancekit.instrument.demo import one_key_model, sampled_grand
from balancekit.instrument.model import Instrument
from balancekit.instrument.store import save_folder
from balancekit.sharing.batch import report_all, report_files, write_files
from balancekit.sharing.outcome import Outcome
from balancekit.sharing.overview import overview_html, ranked
from balancekit.sharing.story import Story


@pytest.fixture
def school(tmp_path):
    """Two sound folders, one with a spoilt table, and one that is not there."""
    folder = tmp_path / "school"
    for name, instrument in (("small", one_key_model()), ("hall", sampled_grand())):
        save_folder(instrument, folder / name, None)
    save_folder(one_key_model(), folder / "broken", None)
    (folder / "broken" / "readings.csv").write_bytes(b"key\r\n999\r\n")
    return [folder / "small", folder / "broken", folder / "gone", folder / "hall"]


class Counting(ThreadingBackend):
    """An engine that is set by configuration alone, as a user would set another."""

    tasks = 0

    def submit(self, func, callback=None):
        Counting.tasks += 1
        return super().submit(func, callback)


def test_an_engine_set_by_configuration_alone_takes_the_tasks(school, tmp_path):
    joblib.register_parallel_backend("counting", Counting)
    with joblib.parallel_config(backend="counting", n_jobs=2):
        outcomes = report_all(school, tmp_path / "out")
    assert Counting.tasks > 0
    assert [outcome.source for outcome in outcomes] == ["small", "broken", "gone", "hall"]
    assert [bool(outcome.problems) for outcome in outcomes] == [False, True, True, False]
    written = {path.name for path in (tmp_path / "out" / "hall").iterdir()}
    assert {"keys.csv", "flags.csv", "report.html", "bench_sheets.pdf", "work.xlsx"} <= written
    page = (tmp_path / "out" / "overview.html").read_text(encoding="utf-8")
    for link in re.findall(r'href="([^"]+)"', page):
        assert (tmp_path / "out" / link).is_file()
    assert "broken" in page and "gone" in page and "999" in page


def test_processes_give_the_same_as_one_by_one(school, tmp_path):
    one = report_all([school[0], school[1]], tmp_path / "one", jobs=1)
    two = report_all([school[0], school[1]], tmp_path / "two", jobs=2)
    assert [vars(a) | {"evenness": None} for a in one] == [
        vars(b) | {"evenness": None} for b in two
    ]
    first, second = (tmp_path / name / "small" / "keys.csv" for name in ("one", "two"))
    assert first.read_bytes() == second.read_bytes()


def test_a_single_source_is_written_into_the_folder_itself(school, tmp_path):
    seen = []
    (outcome,) = report_all(school[:1], tmp_path / "out", done=seen.append)
    assert seen == [outcome] and outcome.title == "One-key model"
    assert (tmp_path / "out" / "report.html").is_file()
    assert not (tmp_path / "out" / "overview.html").exists()


def test_the_least_even_stands_first_and_the_unknown_last():
    steps = {"a": 1.0, "b": float("nan"), "c": 3.0, "d": 2.0}
    outcomes = [Outcome(n, n, n, evenness={"down_weight_g": s}) for n, s in steps.items()]
    assert [outcome.title for outcome in ranked(outcomes)] == ["c", "d", "a", "b"]
    assert "not known" in overview_html(outcomes)


def test_titles_in_the_overview_are_escaped():
    page = overview_html([Outcome("<b>x</b>", 'a"b', "<script>1</script>")])
    assert "<script" not in page and "<b>" not in page and 'a"b' not in page


def test_nothing_half_written_is_left(tmp_path):
    write_files({"a.txt": b"1"}, tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["a.txt"]
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(BalancekitError, match="cannot be written"):
        write_files({"a.txt": b"1"}, tmp_path / "file")


def test_an_instrument_without_readings_has_all_its_files():
    files = report_files(Story(Instrument()), "Letter")
    assert {"keys.csv", "flags.csv", "expected.csv", "report.html"} <= files.keys()
