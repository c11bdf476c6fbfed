"""A saving process is killed: a whole instrument opens, and all that was called saved is in it.

The tests kill 20 and 15 times: what one kill in eight loses is seen with 93 and 87 %.
``tests/benchmarks/nothing_lost.py kills`` does it 500 times each.
"""

from __future__ import annotations

import multiprocessing
import os
import random
import signal
import time
from pathlib import Path

import pytest

from balancekit.instrument.store import (
    VERSIONS,
    ChangedOnDisk,
    open_folder,
    save_folder,
    versions_of,
)
from tests.instrument.test_store import same, some

pytestmark = [pytest.mark.slow, pytest.mark.skipif(os.name == "nt", reason="no such signal")]

SEED = 5
KEYS = (10, 20)
"""Each of two processes counts its savings in the note on a key of its own."""


def save_for_ever(folder: Path) -> None:
    """Save one state after the other."""
    _, stamp = open_folder(folder)
    number = 0
    while True:
        number += 1
        stamp = save_folder(some(f"{number} " + "x" * 3000), folder, stamp)


def count_for_ever(folder: Path, key: int, log: Path) -> None:
    """Count up in the note on a key, and log each number once it is called saved.

    As a user does who is told that another window has saved: take what it saved, and go on there.
    """
    with log.open("a", buffering=1) as told:
        while True:
            instrument, stamp = open_folder(folder)
            number = int(instrument.key_notes.get(key, "0")) + 1
            try:
                save_folder(instrument.with_key_note(key, str(number)), folder, stamp)
            except ChangedOnDisk:
                continue
            told.write(f"{number}\n")


def look_for_ever(folder: Path) -> None:
    """Open the folder without touching it, as ``check`` does; an error ends this."""
    while True:
        open_folder(folder, only_look=True)


def kill_while_saving(folder: Path, times: int, seed: int = SEED) -> int:
    """Kill a saving process at random moments; return the number of the last saving seen."""
    draw, began = random.Random(seed), time.monotonic()
    save_folder(some("0 "), folder, None)
    open_folder(folder)
    once = time.monotonic() - began
    context, last = multiprocessing.get_context("fork"), 0
    for _ in range(times):
        process = context.Process(target=save_for_ever, args=(folder,))
        process.start()
        time.sleep(0.02 + draw.random() * max(0.06, 2 * once))
        os.kill(process.pid or 0, signal.SIGKILL)
        process.join()
        held, _ = open_folder(folder)
        number = int(held.visits[0].readings["note"][0].split()[0])
        assert same(held, some(f"{number} " + "x" * 3000) if number else some("0 "))
        last = max(last, number)
    return last


def kill_one_of_two(folder: Path, times: int, seed: int = SEED) -> dict[int, int]:
    """Let two processes save one instrument and kill one of them, again and again.

    After each kill all that either called saved is on disk, and each kept version opens. A third
    process looks all the while. Returns how often each saved.
    """
    draw, context = random.Random(seed), multiprocessing.get_context("fork")
    logs = {key: folder.with_name(f"{folder.name} {key}.log") for key in KEYS}
    save_folder(some("begun"), folder, None)
    looker = context.Process(target=look_for_ever, args=(folder,))
    savers = {key: context.Process(target=count_for_ever, args=(folder, key, logs[key]))
              for key in KEYS}  # fmt: skip
    try:
        for process in (looker, *savers.values()):
            process.start()
        for _ in range(times):
            time.sleep(draw.uniform(0.02, 0.2))
            key = draw.choice(KEYS)
            os.kill(savers[key].pid or 0, signal.SIGKILL)
            savers[key].join()
            hold_what_was_called_saved(folder, logs)
            savers[key] = context.Process(target=count_for_ever, args=(folder, key, logs[key]))
            savers[key].start()
            assert looker.is_alive(), "looking failed while others saved"
            assert all(process.is_alive() for process in savers.values())
    finally:
        for process in (looker, *savers.values()):
            process.kill()
            process.join()
    hold_what_was_called_saved(folder, logs)
    for name in versions_of(folder):
        open_folder(folder / VERSIONS / name)
    return {key: said_last(log) for key, log in logs.items()}


def said_last(log: Path) -> int:
    """Return the last number that was called saved."""
    return int((log.read_text().split() or ["0"])[-1]) if log.exists() else 0


def hold_what_was_called_saved(folder: Path, logs: dict[int, Path]) -> None:
    """Hold that the folder has all that was called saved before it was opened."""
    before = {key: said_last(log) for key, log in logs.items()}
    held = open_folder(folder)[0].key_notes
    for key, number in before.items():
        assert int(held.get(key, "0")) >= number, f"{number} was called saved on key {key}: {held}"
    assert held[3] == "begun"


def test_a_kill_while_saving_leaves_a_whole_instrument(tmp_path):
    assert kill_while_saving(tmp_path / "one", 20) > 0


def test_a_kill_of_one_of_two_that_save_takes_nothing_that_was_called_saved(tmp_path):
    assert min(kill_one_of_two(tmp_path / "one", 15).values()) > 0
