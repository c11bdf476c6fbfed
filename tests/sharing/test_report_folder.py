"""What a report owns in its folder: what it wrote before goes, all else is never touched."""

import hashlib
import json
from pathlib import Path

import pytest

from balancekit.calculation.problems import BalancekitError
from balancekit.cli import main
from balancekit.instrument.demo import one_key_model, sampled_grand, studio_grand
from balancekit.instrument.store import open_folder, save_folder
from balancekit.instrument.tables import TABLES
from balancekit.sharing.batch import report_files
from balancekit.sharing.report_folder import RESULT_NAMES, WRITTEN, write_report
from balancekit.sharing.story import Story


def everything(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


def test_result_files_and_files_of_an_instrument_never_share_a_name():
    written = {name.rpartition(".")[0] for name in report_files(Story(studio_grand()))}
    assert written <= RESULT_NAMES and len(written) > 5
    assert not RESULT_NAMES & {*TABLES, "datapackage"}
    assert not [name for name in RESULT_NAMES if name.startswith("readings")]


@pytest.fixture
def place(tmp_path, monkeypatch):
    save_folder(one_key_model(), tmp_path / "school" / "small", None)
    save_folder(sampled_grand(), tmp_path / "school" / "hall", None)
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize(
    ("sources", "to"),
    [
        ("school/small", "school/small"),
        ("school/small", "school/small/versions/results"),
        ("school/hall school/small", "school/small"),
        ("school", "school"),
        ("school/small", "school/hall/results"),
    ],
)
def test_nothing_is_written_into_an_instrument_or_an_input(place, capsys, sources, to):
    before = everything(place)
    assert main(["report", *sources.split(), "--to", to, "--jobs", "1"]) == 2
    assert "Name a new folder" in capsys.readouterr().err
    assert everything(place) == before


def test_a_report_is_not_written_over_the_report_that_is_read(place, capsys):
    assert main(["report", "school/small", "--to", "out"]) == 0
    before = everything(place)
    assert main(["report", "out/report.html", "--to", "out"]) == 2
    assert "which is to be read" in capsys.readouterr().err and everything(place) == before


def test_a_second_report_leaves_no_sheet_of_the_first_piano(place):
    (place / "out").mkdir()
    (place / "out" / "mine.txt").write_bytes(b"mine")
    assert main(["report", "school/hall", "--to", "out"]) == 0
    (place / "out" / "extra.csv").write_bytes(b"of the first")
    kept = json.loads((place / "out" / WRITTEN).read_text())
    kept["files"]["extra.csv"] = hashlib.sha256(b"of the first").hexdigest()
    (place / "out" / WRITTEN).write_text(json.dumps(kept))
    assert main(["report", "school/small", "--to", "out"]) == 0
    left = everything(place / "out")
    assert "extra.csv" not in left and left["mine.txt"] == b"mine"
    assert b"One-key model" in left["report.html"]
    assert main(["report", "school", "--to", "out", "--jobs", "1"]) == 0
    left = everything(place / "out")
    assert "report.html" not in left and {"small/report.html", "hall/keys.csv"} <= left.keys()
    (place / "out" / "hall" / "words.txt").write_bytes(b"mine")
    assert main(["report", "school/small", "--to", "out"]) == 0
    left = {name for name in everything(place / "out") if "/" in name}
    assert left == {"hall/words.txt"}


def test_what_was_changed_since_stays_and_is_said(tmp_path):
    write_report({"keys.csv": b"1", "flags.csv": b"2"}, tmp_path)
    (tmp_path / "flags.csv").write_bytes(b"2, and a remark of mine")
    (said,) = write_report({"keys.csv": b"3"}, tmp_path)
    assert "flags.csv" in said and (tmp_path / "flags.csv").read_bytes().endswith(b"mine")
    assert (tmp_path / "keys.csv").read_bytes() == b"3"


def test_a_file_that_no_report_wrote_is_never_written_over(tmp_path):
    (tmp_path / "keys.csv").write_bytes(b"mine")
    with pytest.raises(BalancekitError, match="no report wrote it"):
        write_report({"flags.csv": b"1", "keys.csv": b"2"}, tmp_path)
    assert everything(tmp_path) == {"keys.csv": b"mine"}


@pytest.mark.parametrize(
    "spoiled",
    [
        b"", b"[]", b"{", b'{"files": 3}', b'{"files": {"../victim": "x"}}', b"\xff",
        b'{"files": {"..": "x", "a/b": "y"}, "folders": ["..", "../victim", 3]}',
    ],
)  # fmt: skip
def test_a_spoiled_list_takes_nothing_away(tmp_path, spoiled):
    (tmp_path / "victim").write_bytes(b"x")
    folder = tmp_path / "out"
    folder.mkdir()
    (folder / WRITTEN).write_bytes(spoiled)
    write_report({"keys.csv": b"1"}, folder)
    assert (tmp_path / "victim").read_bytes() == b"x"
    assert set(everything(folder)) == {"keys.csv", WRITTEN}


def test_nothing_half_written_is_left(tmp_path):
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(BalancekitError, match="cannot be written"):
        write_report({"a.txt": b"1"}, tmp_path / "file")
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


def test_to_report_and_to_check_write_nothing_into_what_is_read(place, capsys):
    held = place / "school" / "small"
    (held / "readings.csv").rename(held / "set_aside.csv")
    (held / ".pending").mkdir()
    (held / "set_aside.csv").rename(held / ".pending" / "readings.csv")
    before = everything(held)
    assert main(["check", "school/small"]) == 0
    assert main(["report", "school/small", "--to", "out"]) == 0
    assert everything(held) == before
    open_folder(held)
    assert "readings.csv" in everything(held)


@pytest.mark.parametrize("jobs", ["0", "-3"])
def test_no_report_at_a_time_is_refused(place, capsys, jobs):
    assert main(["report", "school", "--to", "out", "--jobs", jobs]) == 2
    assert "Give 1 or more" in capsys.readouterr().err and not (place / "out").exists()
