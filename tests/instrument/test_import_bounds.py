"""Small files that cost a reader minutes or gigabytes: answered in seconds, or refused."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest
from hostile_tables import HUGE

from balancekit.calculation.problems import BalancekitError
from balancekit.instrument.bring_in.import_readings import understand
from balancekit.instrument.store import read_file

MOST_SECONDS = 5.0
QUICK = ("one long comment", "one long comment of marks", "one long instruction", "one long tag",
         "one part named by 1501 sheets", "1500 parts of one name", "UTF-16 inside",
         "another packing", "a far row", "one long text", "long signs",
         "many different words", "more different words", "only separators")  # fmt: skip
"""Those that the bounds must stop; the rest is tried in the benchmark."""


@pytest.mark.slow
@pytest.mark.parametrize("name", QUICK)
def test_it_is_answered_within_the_bounds(name):
    file_name, make = HUGE[name]
    data = make()
    began = time.process_time()
    try:
        understand(data, file_name)
    except BalancekitError as error:
        assert len(str(error)) < 15_000
    assert time.process_time() - began < MOST_SECONDS


@pytest.mark.skipif(not Path("/proc/self/clear_refs").exists(), reason="Linux measures this")
@pytest.mark.parametrize("name", ["only separators", "one long row"])
def test_no_line_fills_the_memory_with_its_cells(name):
    """Memory as Linux measures it: proc(5), VmHWM."""
    file_name, make = HUGE[name]
    data = make()
    most_memory()  # what making the file took is no more counted from here
    before = most_memory()
    with pytest.raises(BalancekitError, match=r"The line has [0-9,]+ characters"):
        understand(data, file_name)
    assert most_memory() - before < 8 * len(data)


def most_memory():
    """Return the most memory held so far, and measure anew from here."""
    lines = Path("/proc/self/status").read_text().splitlines()
    (held,) = [line for line in lines if line.startswith("VmHWM:")]
    Path("/proc/self/clear_refs").write_text("5")
    return int(held.split()[1]) * 1024


@pytest.mark.slow
def test_the_bound_that_was_broken_is_named():
    for name, told in (
        ("one long comment", "mark or comment of over 50,000 characters"),
        ("one part named by 1501 sheets", "names 1,501 sheets"),
        ("one part named by 90 sheets", "two of its sheets are the same part"),
        ("1500 parts of one name", "two parts of the same name"),
        ("UTF-16 inside", "not text in UTF-8"),
        ("another packing", "packed in a way"),
    ):
        file_name, make = HUGE[name]
        with pytest.raises(BalancekitError, match=told):
            understand(make(), file_name)


def test_a_pipe_and_a_device_are_no_files(tmp_path):
    pipe = tmp_path / "pipe.csv"
    os.mkfifo(pipe)
    for path in (pipe, Path(os.devnull), Path("/dev/zero")):
        with pytest.raises(BalancekitError, match="not a file with an end"):
            read_file(path)


def test_a_refusal_repeats_a_little_of_what_was_read_and_not_all():
    heading, cell = "down weight " + "x" * 400, "y" * 400
    with pytest.raises(BalancekitError) as caught:
        understand(f"key,down weight,{heading}\n{cell},1,2\n".encode(), "a.csv")
    assert "y" * 20 in str(caught.value) and "y" * 81 not in str(caught.value)
    found = understand(f"key,{heading},{heading}\n1,{cell},2\n".encode(), "a.csv")
    assert "x" * 20 in repr(found.headings) and "x" * 81 not in repr(found.headings)
    found = understand(f"key,down weight\n{cell},2\n1,{cell}\n".encode(), "a.csv")
    (question,) = found.questions
    assert "y" * 20 in question.text and "y" * 81 not in repr((found.questions, found.doubts))
