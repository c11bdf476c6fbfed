"""Reports of a fleet of instruments: ``python tests/benchmarks/fleet.py [instruments] [workers]``.

So many invented grands (200) are reported by so many workers (2), once by joblib's own processes
and once by the workers of a Dask scheduler. Each run is killed when half is done and started again.
Printed: processor time for a report in each half, as a ratio to the first; the most memory of a
worker in each half; how many reports the second start made, and that the others were not touched.

Ends with 1 if a report of the second half takes 1.15 times one of the first, if a worker needs 1.15
times the memory, if anything is made twice, or if a report is missing.

200 instruments, beside other work: by joblib a report took 0.87 s, then 1.09 times that, and a
worker 249 MB, then 1.00 times; by Dask 1.12 s, then 1.04 times, and 377 MB, then 1.29 times (60
instruments: 1.08). Nothing was made twice. A Dask worker's memory grows with its reports, where
the same reports made one after the other in one process keep 230 MB; why is not known.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the package has it; before numpy

import psutil

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from balancekit.calculation.generator import invent, weigh
from balancekit.instrument.model import Instrument
from balancekit.instrument.store import save_folder
from balancekit.sharing.report_folder import read_told

MOST = 1.15
GIVE_UP_S = 3600


def make_fleet(folder: Path, count: int) -> None:
    """Write so many instruments, each in a folder of its own."""
    for seed in range(count):
        grand = replace(Instrument(), title=f"grand {seed + 1}")
        readings = weigh(invent(seed).truth, seed)
        save_folder(grand.with_readings(readings), folder / f"grand_{seed + 1:03d}", None)


def finished(to: Path) -> dict[str, int]:
    """Return when each report was finished [ns], by folder."""
    return {
        place.name: (place / "report.html").stat().st_mtime_ns
        for place in to.glob("grand_*")
        if "made_from" in read_told(place)
    }


class Watch:
    """Processor time and memory of the processes that make the reports."""

    def __init__(self, of: Sequence[psutil.Process]) -> None:
        self.of, self.spent_s, self.most_mb = of, 0.0, 0.0
        self.seen: dict[int, float] = {}

    def look(self) -> None:
        """Look at all of them once."""
        for parent in self.of:
            try:
                every = [parent, *parent.children(recursive=True)]
            except psutil.NoSuchProcess:
                continue
            for each in every:
                try:
                    times, memory = each.cpu_times(), each.memory_info().rss
                except psutil.NoSuchProcess:
                    continue
                self.seen[each.pid] = times.user + times.system
                self.most_mb = max(self.most_mb, memory / 1e6)


def run(words: Sequence[str], to: Path, until: int, workers: Sequence[psutil.Process]) -> Watch:
    """Run the command until so many reports are finished, then kill it if it still runs."""
    command = [sys.executable, "-m", "balancekit", "report", *words]
    started = subprocess.Popen(
        command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True
    )
    watch = Watch([psutil.Process(started.pid), *workers])
    watch.look()
    before = sum(watch.seen.values())
    begin = time.monotonic()
    while started.poll() is None and len(finished(to)) < until:
        watch.look()
        if time.monotonic() - begin > GIVE_UP_S:
            raise SystemExit("The reports took too long.")
        time.sleep(0.2)
    if started.poll() is None and until < len(list(Path(words[0]).iterdir())):
        os.killpg(started.pid, signal.SIGKILL)
    started.wait()
    watch.spent_s = sum(watch.seen.values()) - before
    return watch


def measure(name: str, fleet: Path, to: Path, extra: Sequence[str], workers: int) -> bool:
    """Kill a run at half, go on, and print what both took; return whether all is well."""
    count = len(list(fleet.iterdir()))
    processes = [each for each in psutil.Process().children(recursive=True) if extra]
    words = [str(fleet), "--to", str(to), *extra]
    words += [] if extra else ["--jobs", str(workers)]
    one = run(words, to, count // 2, processes)
    time.sleep(2)  # what a worker had in hand when the command was killed
    half = finished(to)
    two = run(words, to, count + 1, processes)
    whole = finished(to)
    twice = sum(whole[each] != made for each, made in half.items())
    made = len(whole) - len(half)
    each = [one.spent_s / max(len(half), 1), two.spent_s / max(made, 1)]
    print(f"{name}: {len(half)} reports before the kill, {made} after it, {twice} of them twice.")
    print(f"   a report: {each[0]:.2f} s of processor time, then {each[1] / each[0]:.2f} times")
    print(f"   a worker: {one.most_mb:.0f} MB at most, then {two.most_mb / one.most_mb:.2f} times")
    fine = (to / "overview.html").is_file() and len(whole) == count and not twice
    return fine and each[1] <= MOST * each[0] and two.most_mb <= MOST * one.most_mb


def main() -> int:
    """Measure both engines."""
    from distributed import LocalCluster

    count, workers = (int(word) for word in (*sys.argv[1:], *("200", "2")[len(sys.argv) - 1 :]))
    with tempfile.TemporaryDirectory() as place:
        fleet = Path(place) / "fleet"
        make_fleet(fleet, count)
        fine = measure("joblib", fleet, Path(place) / "one", (), workers)
        with LocalCluster(
            n_workers=workers, threads_per_worker=1, host="127.0.0.1",
            dashboard_address=None,
        ) as cluster:  # fmt: skip
            extra = ("--scheduler", cluster.scheduler_address)
            fine &= measure("Dask", fleet, Path(place) / "two", extra, workers)
    return 0 if fine else 1


if __name__ == "__main__":
    sys.exit(main())
