"""What twelve people wrote is taken as it is, with at most six answers, up to a whole report."""

from __future__ import annotations

import time

import numpy as np
import pytest

from balancekit import cli
from balancekit.instrument.bring_in.import_readings import Understood, understand
from tests.instrument.people_files import DOWN, READ, WRITERS, Written, an_afternoon

MOST_ANSWERS = 6
MOST_SECONDS = 0.5


def understood(written: Written) -> Understood:
    return understand(written.data, written.name, key_count=None, answers=written.answers)


@pytest.mark.parametrize("writer", WRITERS, ids=lambda writer: writer.__name__)
def test_a_file_is_taken_with_few_answers_and_every_reading_comes_back(writer):
    written = writer()
    assert len(written.answers) <= MOST_ANSWERS
    found = understood(written)
    assert found.questions == ()
    assert not [remark for remark in found.remarks if "was not needed" in remark]
    read = found.readings.groupby("key").mean(numeric_only=True)
    assert read.index.tolist() == READ.index.tolist() and found.key_count == len(READ)
    for name in written.has:
        wrong = np.flatnonzero(~np.isclose(read[name], READ[name], rtol=0, atol=0.002))
        places = {(int(READ.index[row]), name) for row in wrong}
        assert places <= written.open, name


@pytest.mark.parametrize("writer", WRITERS, ids=lambda writer: writer.__name__)
def test_without_answers_it_asks_and_refuses_nothing(writer):
    written = writer()
    found = understand(written.data, written.name, key_count=None)
    asked = {question.id for question in found.questions}
    unclear = {heading.answer_id for heading in found.headings if heading.choices}
    # Which sheet is taken is asked first, and words for "not read" once the columns are known.
    later = written.answers if "sheet" in asked else [n for n in written.answers if "word" in n]
    assert {_asked_as(name, asked) for name in written.answers if name not in later} <= (
        asked | unclear
    )
    assert all(question.choices for question in found.questions)


def _asked_as(name: str, asked: set[str]) -> str:
    return name if ": " in name or name in asked else f"meaning: {name}"


def test_one_38_5_among_points_and_one_520_among_fifties():
    found = understood(an_afternoon())
    read = found.readings.set_index("key")[DOWN]
    assert read[12] == 38.5 and np.isnan(read[40])
    assert [doubt.fits for doubt in found.doubts if doubt.key == 40] == [((DOWN, 52.0),)]


def test_what_was_understood_of_200_rows_is_there_at_once():
    head = "key,down weight,up weight,front weight,strike weight,wippen weight,key ratio"
    rows = [f"{key % 88 + 1},{50 + key % 5},{24 + key % 3},21.5,9.{key % 9},18,0.5"
            for key in range(200)]  # fmt: skip
    data = "\n".join([head, *rows]).encode()
    understand(data, "warm.csv")
    began = time.process_time()
    found = understand(data, "bench.csv")
    assert found.rows_used == 200 and time.process_time() - began < MOST_SECONDS


@pytest.mark.slow
@pytest.mark.parametrize("writer", WRITERS, ids=lambda writer: writer.__name__)
def test_each_goes_to_a_whole_report(writer, tmp_path, capsys):
    written = writer()
    file, to = tmp_path / written.name, tmp_path / "report"
    file.write_bytes(written.data)
    answers = [part for name, value in written.answers.items()
               for part in ("--answer", f"{name}={value}")]  # fmt: skip
    code = cli.main(["report", str(file), "--to", str(to), *answers])
    assert code == 0, capsys.readouterr().err
    assert file.read_bytes() == written.data
    assert (to / "report.html").stat().st_size > 100_000
    assert {"keys.csv", "flags.csv", "bench_sheets.pdf"} <= {path.name for path in to.iterdir()}
