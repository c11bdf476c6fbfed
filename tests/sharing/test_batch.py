"""Many reports at once: ranked, linked, in parallel, and a broken folder stops nothing."""

from __future__ import annotations

import re

import joblib
import pytest
from distributed import Client, LocalCluster, get_task_stream
from joblib._parallel_backends import ThreadingBackend

from balancekit.calculation.problems import BalancekitError
from balancekit.cli import main
from balancekit.instrument.demo import one_key_model, sampled_grand
from balancekit.instrument.model import Instrument
from balancekit.instrument.store import save_folder
from balancekit.sharing import engine
from balancekit.sharing.batch import report_all, report_files
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


@pytest.fixture(scope="module")
def dask():
    """A real scheduler of Dask with two workers, each a process of its own."""
    with (
        LocalCluster(
            n_workers=2, threads_per_worker=1, host="127.0.0.1", dashboard_address="127.0.0.1:0"
        ) as cluster,
        Client(cluster, set_as_default=False) as client,
    ):
        yield client


def test_dask_takes_the_tasks_by_configuration_alone(dask, school, tmp_path):
    here = report_all(school, tmp_path / "here", jobs=1)
    with get_task_stream(dask) as stream, joblib.parallel_config(backend="dask", client=dask):
        there = report_all(school, tmp_path / "there")
    done = [task for task in stream.data if "_numbered" in task["key"]]
    assert {task["worker"] for task in done} <= set(dask.scheduler_info()["workers"])
    assert len(done) >= 1 and {task["status"] for task in done} == {"OK"}
    assert [one.problems for one in there] == [one.problems for one in here]
    assert [bool(one.problems) for one in there] == [False, True, True, False]
    for name in ("overview.html", "hall/keys.csv", "hall/flags.csv", "small/bench_sheets.html"):
        first, second = (tmp_path / place / name for place in ("here", "there"))
        assert first.read_bytes() == second.read_bytes(), name
    assert (tmp_path / "there" / "hall" / "report.html").is_file()


def test_the_command_lets_a_scheduler_do_the_work(dask, school, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    address = dask.scheduler.address
    with get_task_stream(dask) as stream:
        code = main(["report", "school", "--to", "out", "--scheduler", address])
    assert [task for task in stream.data if "_numbered" in task["key"]] != []
    printed = capsys.readouterr()
    assert code == 2 and "broken cannot be used" in printed.err and "readings.csv" in printed.err
    assert (tmp_path / "out" / "overview.html").is_file()
    assert (tmp_path / "out" / "small" / "report.html").is_file()


@pytest.mark.parametrize("address", ["", "desk", "ftp://127.0.0.1:1", "tcp://127.0.0.1:1"])
def test_a_scheduler_that_does_not_answer_is_named(address, school, tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(engine, "PATIENCE_S", 0.3)
    command = ["report", str(school[0]), "--to", str(tmp_path / "out"), "--scheduler", address]
    assert main(command) == 2
    said = capsys.readouterr().err
    assert f"No scheduler of Dask answers at '{address}'" in said and "tcp://" in said
    assert not (tmp_path / "out").exists()


def test_a_scheduler_without_workers_is_named():
    with (
        LocalCluster(n_workers=0, host="127.0.0.1", dashboard_address="127.0.0.1:0") as cluster,
        pytest.raises(BalancekitError, match="has no workers"),
        engine.engine(cluster.scheduler_address),
    ):
        pass


def test_without_dask_the_command_says_what_to_install(monkeypatch):
    monkeypatch.setattr(engine, "find_spec", lambda name: None)
    with pytest.raises(BalancekitError, match="pip install"), engine.engine("tcp://127.0.0.1:1"):
        pass


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


def test_an_instrument_without_readings_has_all_its_files():
    files = report_files(Story(Instrument()), "Letter")
    assert {"keys.csv", "flags.csv", "expected.csv", "report.html"} <= files.keys()
