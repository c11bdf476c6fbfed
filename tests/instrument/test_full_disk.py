"""A disk that is really full, a folder that really cannot be written: nothing entered is lost."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys

import pytest

from balancekit.instrument.bench import Bench, open_bench
from balancekit.instrument.demo import ONE_KEY
from balancekit.instrument.in_hand import data_folder
from balancekit.instrument.store import UNFINISHED, VERSIONS, open_folder

SIZE = "300k"


def run(*command: str) -> bool:
    return shutil.which(command[0]) is not None and not subprocess.call(
        command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )


@pytest.fixture
def small_disk(tmp_path, monkeypatch):
    """A disk of 300 kB with the user's instruments on it."""
    place = tmp_path / "disk"
    place.mkdir()
    if not run("mount", "-t", "tmpfs", "-o", f"size={SIZE}", "tmpfs", str(place)):
        pytest.skip("This user may not mount a disk.")
    monkeypatch.setenv("BALANCEKIT_HOME", str(place / "home"))
    try:
        yield place
    finally:
        run("umount", str(place))


def fill(bench: Bench) -> str:
    """Write notes until the disk is full; return the last note that was saved."""
    for number in range(60):
        bench.change(bench.instrument.with_key_note(5, f"note {number}"))
        if bench.not_saved:
            return f"note {number - 1}"
    raise AssertionError("the disk never was full")


def test_a_full_disk_keeps_what_is_in_memory_and_what_was_saved(small_disk):
    bench = open_bench()
    last = fill(bench)
    assert "The disk is full" in bench.saved and "still here" in bench.saved
    for number in range(5):
        bench.change(bench.instrument.with_key_note(6 + number, "more"))
        bench.key = 6 + number
    assert bench.not_saved
    assert open_folder(bench.folder)[0].key_notes == {5: last}
    assert not list((bench.folder / VERSIONS).glob(f"{UNFINISHED}*"))
    assert run("mount", "-o", "remount,size=3m", str(small_disk))
    bench.save()
    assert not bench.not_saved
    kept = open_folder(bench.folder)[0].key_notes
    assert kept == bench.instrument.key_notes and len(kept) == 6


@pytest.mark.slow
def test_the_commands_say_that_a_disk_is_full(small_disk):
    (small_disk / "fill").write_bytes(b"x" * 250_000)
    command = [sys.executable, "-m", "balancekit", "report", str(data_folder() / ONE_KEY)]
    done = subprocess.run(
        [*command, "--to", str(small_disk / "out")], capture_output=True, text=True
    )
    assert done.returncode == 2 and "Traceback" not in done.stderr
    assert "No space left" in done.stderr
    assert all(path.stat().st_size for path in (small_disk / "out").iterdir())
    assert not list((small_disk / "out").glob(".*"))


READ_ONLY = """
import os, sys
from balancekit.instrument.bench import open_bench
bench = open_bench()
bench.change(bench.instrument.with_key_note(5, "saved"))
assert not bench.not_saved
os.chmod(bench.folder, 0o555)
if hasattr(os, "setuid") and os.getuid() == 0:
    os.setgid(65534)
    os.setuid(65534)
bench.change(bench.instrument.with_key_note(6, "only here"))
print(bench.saved)
print(bench.instrument.key_notes)
"""


@pytest.mark.skipif(os.name == "nt", reason="folders are not closed that way")
def test_a_folder_that_cannot_be_written(tmp_path):
    home = tmp_path / "home"
    environment = {**os.environ, "BALANCEKIT_HOME": str(home)}
    done = subprocess.run(
        [sys.executable, "-c", READ_ONLY], env=environment, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    said, kept = done.stdout.splitlines()
    assert said.startswith("Not saved. ") and "What you entered is still here" in said
    assert kept == "{5: 'saved', 6: 'only here'}"
    (folder,) = [path for path in home.iterdir() if path.is_dir()]
    folder.chmod(0o755)
    assert open_folder(folder)[0].key_notes == {5: "saved"}
