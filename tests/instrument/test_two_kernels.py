"""Two kernels on one instrument, and one that is killed: real processes, one folder."""

from __future__ import annotations

import os
import signal
import subprocess
import sys

import pytest

from balancekit.instrument.bench import open_bench
from balancekit.instrument.descriptor import to_files
from balancekit.instrument.store import open_folder, versions_of

pytestmark = pytest.mark.slow

KERNEL = """
import sys
from balancekit.instrument.bench import open_bench
bench, notes = open_bench(), int(sys.argv[1])
print("open", flush=True)
for line in sys.stdin:
    for number in range(notes):
        bench.change(bench.instrument.with_key_note(int(line), f"{line.strip()}: {number}"))
    print(bench.conflict, bench.not_saved, bench.instrument.key_notes[int(line)], flush=True)
"""

ENTER_ALL = """
import os, signal
import pandas as pd
from balancekit.instrument.bench import open_bench
from balancekit.instrument.choices.hammer_choice import CHAPTER, HammerChoice
from balancekit.instrument.descriptor import to_files
from balancekit.instrument.entry import set_cells
from balancekit.instrument.model import Visit
bench = open_bench()
cell = {"row": "7-0", "column": "down_weight_g", "value": 49.5}
bench.change(set_cells(bench.instrument, 0, [cell]))
bench.change(bench.instrument.with_key_note(5, "rubs"))
bench.change(bench.instrument.with_chapter_note("friction", "ease the bass first"))
bench.change(bench.instrument.with_choice(CHAPTER, HammerChoice(bend_g=0.05).to_json()))
bench.change(bench.instrument.with_table("plug_stock", pd.DataFrame(
    {"name": ["small"], "metal": ["lead"], "diameter_mm": [10.0], "length_mm": [20.0]})))
bench.confirm(61, "strike_weight_g")
later = pd.DataFrame({"key": [1], "down_weight_g": [50.0]})
bench.add_visit(Visit("again", "2026-06-01", later))
bench.key = 33
open(os.environ["ENTERED"], "wb").write(repr(sorted(to_files(bench.instrument).items())).encode())
os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.fixture
def home(tmp_path, monkeypatch):
    monkeypatch.setenv("BALANCEKIT_HOME", str(tmp_path / "home"))
    bench = open_bench()
    bench.change(bench.instrument.with_key_note(1, "begun"))
    return bench.folder


def kernel(notes: int) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", KERNEL, str(notes)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip


def ask(process: subprocess.Popen[str], key: int) -> None:
    process.stdin.write(f"{key}\n")
    process.stdin.flush()


def test_two_kernels_that_write_at_once_never_overwrite_each_other(home):
    """Whoever saves first goes on; the other is told, each time, and keeps its own."""
    one, other = kernel(15), kernel(15)
    try:
        assert {one.stdout.readline(), other.stdout.readline()} == {"open\n"}
        for process, key in ((one, 10), (other, 20)):
            ask(process, key)
        told = {10: one.stdout.readline().strip(), 20: other.stdout.readline().strip()}
        for key, process in ((10, one), (20, other)):
            ask(process, key)
            assert process.stdout.readline().strip() == told[key]
    finally:
        for process in (one, other):
            process.stdin.close()
            process.wait(20)
            process.stdout.close()
    (winner,) = [key for key, said in told.items() if said == f"False False {key}: 14"]
    (loser,) = set(told) - {winner}
    assert told[loser] == f"True True {loser}: 14"
    assert open_folder(home)[0].key_notes == {1: "begun", winner: f"{winner}: 14"}
    for name in versions_of(home):
        assert loser not in open_folder(home / "versions" / name)[0].key_notes


@pytest.mark.skipif(os.name == "nt", reason="no such signal")
def test_a_kernel_that_is_killed_has_kept_all_that_was_entered(home, tmp_path):
    entered = tmp_path / "entered"
    environment = {**os.environ, "ENTERED": str(entered)}
    done = subprocess.run([sys.executable, "-c", ENTER_ALL], env=environment)
    assert done.returncode == -signal.SIGKILL
    again = open_bench()
    assert (again.folder, again.key, again.visit) == (home, 33, 2)
    assert repr(sorted(to_files(again.instrument).items())).encode() == entered.read_bytes()
    assert again.instrument.key_notes == {1: "begun", 5: "rubs"}
