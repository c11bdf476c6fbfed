"""Spoiled and hostile files of every kind: how each ends, the longest time and the most memory.

Called by ``nothing_lost.py inputs``. Each file is read in a process that is watched: a reader
that never ends, or that dies, is told with the seed that makes the same files again.
"""

from __future__ import annotations

import base64
import io
import json
import os
import random
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass, field
from functools import cache
from multiprocessing import get_context
from pathlib import Path
from zipfile import ZipFile

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from hostile_tables import HUGE, mutate, mutate_part, seeds
from PIL import Image

from balancekit.calculation.problems import BalancekitError
from balancekit.instrument.bring_in.import_readings import understand
from balancekit.instrument.demo import sampled_grand
from balancekit.instrument.descriptor import DESCRIPTOR, from_files, to_files
from balancekit.instrument.model import BenchSettings, Instrument, Visit
from balancekit.sharing.answers import ANSWERS_OPENING
from balancekit.sharing.carry import open_anything, to_html_payload, to_zip

MOST_SECONDS = 5.0
MOST_BYTES = 300_000_000
BATCH = 250
_BATCH_SECONDS = 900
"""Even on a machine that does much else no batch takes as long."""

FILES = to_files(sampled_grand())
_PICTURE = io.BytesIO()
Image.new("RGB", (40, 30), (200, 40, 20)).save(_PICTURE, "JPEG")
_PICTURE_TEXT = "data:image/jpeg;base64," + base64.b64encode(_PICTURE.getvalue()).decode()
_NOTE = {"chapter": "readings", "text": "rubs", "first_key": 40, "last_key": 41,
         "author": "A reader", "written_at": "2026-05-01T10:00",
         "pictures": [_PICTURE_TEXT]}  # fmt: skip


@dataclass
class Told:
    """What was seen.

    Attributes
    ----------
    ends : how often each kind of file was taken or refused.
    longest : the longest processor time [s], and of which file.
    most : the most memory of a process [bytes], and of which file.
    """

    ends: Counter[str] = field(default_factory=Counter)
    longest: tuple[float, str] = (0.0, "")
    most: tuple[int, str] = (0, "")

    def add(self, other: Told) -> None:
        """Take in what another process saw."""
        self.ends.update(other.ends)
        self.longest = max(self.longest, other.longest)
        self.most = max(self.most, other.most)

    def hold(self) -> None:
        """Hold the bounds."""
        assert self.longest[0] < MOST_SECONDS, self.longest
        assert self.most[0] < MOST_BYTES, self.most


# What is read, and how


def report_page(packed: bytes, note: bytes) -> bytes:
    """Return a page with the zip of an instrument and a note in it, as a report has them."""
    payload = to_html_payload(sampled_grand())
    opening, ending = payload[: payload.index(">") + 1].encode(), b"</script>"
    inside = opening + base64.b64encode(packed) + ending + ANSWERS_OPENING.encode() + note + ending
    return b"<!doctype html><html><body>" + inside + b"</body></html>"


@cache
def sound() -> dict[str, list[tuple[str, bytes]]]:
    """Return sound files by kind."""
    packed, note = to_zip(sampled_grand()), json.dumps([_NOTE]).encode()
    readings = seeds()
    return {
        "CSV": [each for each in readings if not each[0].endswith("xlsx")]
        + [("readings.csv", FILES["readings.csv"])],
        "xlsx": [each for each in readings if each[0].endswith("xlsx")],
        "datapackage": [(name, FILES[name]) for name in (DESCRIPTOR, *FILES)],
        "zip": [("piano.zip", packed)],
        "report.html": [("report.html", report_page(packed, note))],
    }


def spoil(kind: str, name: str, data: bytes, draw: random.Random) -> bytes:
    """Spoil a file, outside or deep inside, so that its packing is still sound."""
    if kind == "xlsx" and draw.random() < 0.7:
        return mutate_part(data, draw)
    if kind in ("zip", "report.html") and draw.random() < 0.7:
        packed, note = to_zip(sampled_grand()), json.dumps([_NOTE]).encode()
        if kind == "report.html" and draw.random() < 0.5:
            return report_page(packed, mutate(note, draw).replace(b"<", b""))
        with ZipFile(io.BytesIO(packed)) as archive:
            chosen = draw.choice(archive.namelist())
        packed = mutate_part(packed, draw, chosen)
        return packed if kind == "zip" else report_page(packed, note)
    return mutate(data, draw)


def read(kind: str, name: str, data: bytes, draw: random.Random) -> str:
    """Read a file as the suite does; what is taken is saved and opens as the same."""
    try:
        if kind == "datapackage":
            taken = from_files({**FILES, name: data})
        else:
            carried = open_anything(data, name)
            taken = carried if carried is not None else bring_in(name, data, draw)
    except BalancekitError as error:
        assert str(error).strip() and all(each.advice for each in error.problems)
        return "refused"
    files = to_files(taken)
    assert to_files(from_files(files)) == files
    return "taken"


def bring_in(name: str, data: bytes, draw: random.Random) -> Instrument:
    """Bring a file of readings in, answering at random what it asks."""
    answers: dict[str, str] = {}
    for _ in range(12):
        found = understand(data, name, answers=answers)
        if not found.questions:
            settings = BenchSettings(key_count=found.key_count)
            return Instrument(settings=settings, visits=(Visit(),)).with_readings(found.readings)
        answers |= {each.id: draw.choice(each.choices)[0] for each in found.questions}
    raise AssertionError("the questions do not end")


# Watched


def forget_peak() -> None:
    """Let the system measure the most memory anew (Linux, proc(5), clear_refs)."""
    Path("/proc/self/clear_refs").write_text("5")


def peak_bytes() -> int:
    """Return the most memory that this process has held since then (proc(5), VmHWM)."""
    lines = Path("/proc/self/status").read_text().splitlines()
    (held,) = [line for line in lines if line.startswith("VmHWM:")]
    return int(held.split()[1]) * 1024


def measured(call: Callable[[], str], what: str) -> Told:
    """Do something; return how it ended and what it cost."""
    forget_peak()
    began = time.process_time()
    end = call()
    took = time.process_time() - began
    return Told(Counter({f"{what.partition(',')[0]} {end}": 1}), (took, what), (peak_bytes(), what))


def read_batch(seed: int, count: int) -> Told:
    """Read spoiled files of every kind in turn; the same seed gives the same files."""
    draw, told, kinds = random.Random(seed), Told(), list(sound().items())
    for at in range(count):
        kind, files = kinds[at % len(kinds)]
        name, whole = draw.choice(files)
        data = spoil(kind, name, whole, draw)
        what = f"{kind}, seed {seed}, file {at}"
        try:
            told.add(measured(lambda: read(kind, name, data, draw), what))  # noqa: B023
        except Exception as error:
            raise AssertionError(f"{what}: {error!r}") from error
    return told


def read_huge(name: str, path: Path) -> Told:
    """Read one of the hostile files that are small to send and large to read."""
    data = path.read_bytes()

    def once() -> str:
        try:
            return "asked of" if understand(data, path.name).questions else "taken"
        except BalancekitError:
            return "refused"

    return measured(once, f"hostile, {name}")


def write_huge(name: str, path: Path) -> None:
    """Make one of the hostile files, which itself takes much memory."""
    path.write_bytes(HUGE[name][1]())


def watched(jobs: Iterator[tuple[Callable[..., Told], tuple[object, ...]]], once: bool) -> Told:
    """Run jobs in processes of their own, and tell of one that does not end.

    Parameters
    ----------
    once : start a new process for each job.
    """
    told = Told()
    pool = ProcessPoolExecutor(
        os.cpu_count() or 1, get_context("spawn"), max_tasks_per_child=1 if once else None
    )
    with pool:
        waiting = {pool.submit(call, *given): given for call, given in jobs}
        try:
            for done in as_completed(waiting, _BATCH_SECONDS * len(waiting)):
                told.add(done.result())
        except BaseException as error:
            open_ones = [given for future, given in waiting.items() if not future.done()]
            error.add_note(f"Not read to the end, seed or name first: {open_ones}")
            for process in list(pool._processes.values()):
                process.kill()
            raise
    return told


def try_spoiled(count: int, seed: int) -> Told:
    """Read so many spoiled files."""
    sizes = [BATCH] * (count // BATCH) + [count % BATCH] * (count % BATCH > 0)
    batches = enumerate(sizes, seed * 10_000)
    return watched(((read_batch, each) for each in batches), once=False)


def try_huge(folder: Path) -> Told:
    """Read all hostile files, each in a process that has read nothing else."""
    paths = {name: folder / str(at) / HUGE[name][0] for at, name in enumerate(HUGE)}
    for name, path in paths.items():
        path.parent.mkdir()
        write_huge(name, path)
    return watched(((read_huge, (name, path)) for name, path in paths.items()), once=True)
