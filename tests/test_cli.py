"""The commands as a person types them: what they print, where, and the exit code."""

from __future__ import annotations

import csv
import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from balancekit.cli import main
from balancekit.instrument.demo import one_key_model, sampled_grand
from balancekit.instrument.descriptor import to_files
from balancekit.instrument.notes import Note
from balancekit.instrument.store import open_folder, save_folder
from balancekit.sharing.carry import to_zip

GOOD = "key,down_weight_g,up_weight_g\r\n" + "".join(
    f"{key},{50 + key % 2},{26 - key % 3}\r\n" for key in range(1, 13)
)
BAD = "key,down_weight_g,up_weight_g\r\n1.5,51,26\r\n0,50,25\r\n99,50,26\r\n"


@pytest.fixture
def place(tmp_path):
    (tmp_path / "good.csv").write_text(GOOD)
    (tmp_path / "bad.csv").write_text(BAD)
    save_folder(one_key_model(), tmp_path / "model", None)
    return tmp_path


def test_check_lists_every_problem_on_the_error_output(place, capsys):
    assert main(["check", str(place / "bad.csv")]) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    lines = printed.err.splitlines()
    assert [line.partition(",")[0] for line in lines] == [f"bad.csv line {n}" for n in (2, 3, 4)]
    assert "'1.5' is not a whole number" in lines[0] and "check the number" in lines[0]


def test_check_says_what_was_understood_and_doubted(place, capsys):
    swapped = GOOD.replace("5,51,24", "5,24,51")
    assert swapped != GOOD
    (place / "swapped.csv").write_text(swapped)
    assert main(["check", str(place / "swapped.csv"), "--keys", "12"]) == 0
    printed = capsys.readouterr()
    assert printed.err == ""
    assert "comma between the columns" in printed.out
    assert "key 5, down_weight_g: down weight 24.0 g, up weight 51.0 g" in printed.out
    assert "exchanged with up weight" in printed.out


@pytest.mark.parametrize("what", ["model", "gone", "empty.csv"])
def test_check_of_folders_and_of_what_is_not_there(place, capsys, what):
    (place / "empty.csv").write_text("")
    code = main(["check", str(place / what)])
    printed = capsys.readouterr()
    assert code == (0 if what == "model" else 2)
    assert bool(printed.err) == (what != "model")


def test_a_question_is_said_with_the_way_to_answer_it(place, capsys):
    ounces = GOOD.replace("down_weight_g", "Down weight (oz)").replace(",50,", ",1.76,")
    (place / "ounces.csv").write_text(ounces.replace(",51,", ",1.8,"))
    command = ["check", str(place / "ounces.csv"), "--keys", "12"]
    assert main(command) == 2
    said = capsys.readouterr().err
    assert "--answer" in said
    answers = [part.split('"')[1] for part in said.split("--answer ")[1:]]
    codes = [main([*command, "--answer", answer]) for answer in answers]
    assert 0 in codes


def test_an_answer_without_a_sign_is_refused(place, capsys):
    assert main(["check", str(place / "good.csv"), "--answer", "nothing"]) == 2
    assert "QUESTION=ANSWER" in capsys.readouterr().err


def test_report_writes_the_tables_that_are_promised(place, capsys):
    to = place / "out"
    command = ["report", str(place / "good.csv"), "--keys", "12", "--to", str(to)]
    assert main(command) == 0
    with (to / "keys.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 12 and float(rows[0]["friction_g"]) == pytest.approx((51 - 25) / 2)
    assert (to / "flags.csv").read_text().startswith("key,quantity,kind,read,expected,advice")
    printed = capsys.readouterr()
    assert "report.html" in printed.out and "100%" in printed.err


def test_report_of_many_names_the_broken_one_and_does_the_rest(place, capsys):
    to = place / "out"
    command = ["report", str(place / "model"), str(place / "bad.csv"), "--to", str(to)]
    assert main([*command, "--jobs", "1"]) == 2
    printed = capsys.readouterr()
    assert "bad.csv cannot be used" in printed.err and "One-key model" in printed.out
    assert (to / "overview.html").is_file() and (to / "model" / "report.html").is_file()


def test_a_folder_of_instruments_counts_as_all_of_them(place, capsys):
    save_folder(sampled_grand(), place / "hall", None)
    assert main(["report", str(place), "--to", str(place / "out"), "--jobs", "1"]) == 0
    assert {"model", "hall"} <= {path.name for path in (place / "out").iterdir()}


def test_open_takes_the_instrument_out_byte_for_byte(place, capsys):
    (place / "sent.zip").write_bytes(to_zip(sampled_grand()))
    main(["report", str(place / "sent.zip"), "--to", str(place / "out")])
    for sent in ("sent.zip", "out/report.html"):
        folder = place / sent.replace("/", "_").replace(".", "_")
        assert main(["open", str(place / sent), "--to", str(folder)]) == 0
        assert to_files(open_folder(folder)[0]) == to_files(sampled_grand())
        capsys.readouterr()
        assert main(["open", str(place / sent), "--to", str(folder)]) == 2
        assert "there already" in capsys.readouterr().err


def test_open_refuses_what_carries_no_instrument(place, capsys):
    assert main(["open", str(place / "good.csv"), "--to", str(place / "new")]) == 2
    assert "neither a report" in capsys.readouterr().err and not (place / "new").exists()


def test_the_module_can_be_run(place):
    done = subprocess.run(
        [sys.executable, "-m", "balancekit", "check", str(place / "bad.csv")],
        capture_output=True, text=True,
    )  # fmt: skip
    assert done.returncode == 2 and "Traceback" not in done.stderr and "bad.csv" in done.stderr


def test_the_commands_in_the_readme_work_as_written(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("BALANCEKIT_HOME", str(tmp_path / "home"))
    project = Path(__file__).resolve().parents[1]
    written = re.findall(r"^\.venv/bin/balancekit (.*)$", (project / "README.md").read_text(), re.M)
    assert [line.split()[0] for line in written] == ["check", "report", "plan", "open", "usual"]
    shutil.copytree(project / "data", tmp_path / "data")
    monkeypatch.chdir(tmp_path)
    for line in written:
        assert main(shlex.split(line, comments=True)) == 0, line
    assert capsys.readouterr().err.count("Traceback") == 0
    assert open_folder(tmp_path / "instruments" / "from_a_colleague")[0].title == "chapel_grand"


def test_a_python_without_the_packages_says_where_the_right_one_is(tmp_path):
    (tmp_path / "pandas.py").write_text("raise ModuleNotFoundError('none', name='pandas')")
    project = Path(__file__).resolve().parents[1]
    done = subprocess.run(
        [sys.executable, "-m", "balancekit", "check", str(project / "data" / "studio_grand")],
        env={**os.environ, "PYTHONPATH": str(tmp_path)}, capture_output=True, text=True,
    )  # fmt: skip
    assert done.returncode == 1 and done.stderr.startswith("This Python has no pandas. Run python3")


@pytest.mark.skipif(os.name == "nt", reason="no such pipe")
def test_a_reader_that_has_seen_enough_is_no_error(place):
    command = [sys.executable, "-u", "-m", "balancekit", "check", str(place / "model")]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        process.stdout.close()
        assert process.stderr.read() == b""
        assert process.wait(20) == 0


def test_answers_are_listed_and_taken_into_the_folder(tmp_path, capsys):
    note = Note("friction", "Centres tight.", "Ben", "2026-05-02", first_key=40)
    here, folder = sampled_grand(), tmp_path / "hall"
    save_folder(here, folder, None)
    (tmp_path / "back.zip").write_bytes(to_zip(here.with_notes(note).with_key_note(3, "slow")))
    command = ["open", str(tmp_path / "back.zip"), "--into", str(folder)]
    assert main(command) == 0
    said = capsys.readouterr().out
    assert "Ben, 2026-05-02" in said and "Centres tight." in said and "Nothing was taken" in said
    assert open_folder(folder)[0].notes == ()
    assert main([*command, "--take", "3"]) == 2 and "1 to 2" in capsys.readouterr().err
    assert main([*command, "--take", "1"]) == 0
    assert open_folder(folder)[0].notes == (note,) and not open_folder(folder)[0].key_notes
    assert main([*command, "--take", "all"]) == 0
    assert open_folder(folder)[0].key_notes == {3: "slow"}
    capsys.readouterr()
    assert main(command) == 0 and "Nothing is new" in capsys.readouterr().out
