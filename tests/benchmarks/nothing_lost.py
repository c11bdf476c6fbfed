"""Prove that nothing is lost: kills while saving, and thousands of damaged files.

    python tests/benchmarks/nothing_lost.py

A saving process is killed (SIGKILL) at 200 random moments; each time the instrument must open
as it was at the last save that counts, or the one before. Then 10,000 damaged files (readings as
text and as workbook, the descriptor, a zip, a report) must be refused with the project's own error
or be taken whole, each within 10 s, and all together within 1 GB of memory.
"""

from __future__ import annotations

import io
import random
import resource
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "instrument"))

from test_store import kill_while_saving

from balancekit.calculation.problems import BalancekitError
from balancekit.instrument.bring_in.import_readings import understand
from balancekit.instrument.demo import studio_grand
from balancekit.instrument.descriptor import DESCRIPTOR, from_files, to_files
from balancekit.sharing.carry import from_report, from_zip, to_html_payload, to_zip

KILLS = 200
DAMAGED = 10_000
LONGEST_SECONDS = 10.0
MOST_BYTES = 1_000_000_000

PIECES = (b"", b"\x00", b"\xff\xfe", b'"', b",", b";", b"\n", b"=1+1", b"-", b"1e999", b"nan",
          b"<script>", b"../", b"{", b"[", b"}" * 50, b"9" * 400)  # fmt: skip


def damage(data: bytes, draw: random.Random) -> bytes:
    """Return the bytes with a few changes: cut, doubled, flipped, or with odd pieces put in."""
    out = bytearray(data)
    for _ in range(draw.randint(1, 6)):
        at, to = sorted(draw.randrange(len(out) + 1) for _ in range(2))
        kind = draw.randrange(5)
        if kind == 0:
            del out[at : min(to, at + draw.randrange(1, 400))]
        elif kind == 1:
            out[at:at] = draw.choice(PIECES)
        elif kind == 2 and out:
            out[at % len(out)] ^= 1 << draw.randrange(8)
        elif kind == 3:
            out[at:at] = out[at : min(to, at + 200)]
        elif kind == 4:
            del out[draw.randrange(1, len(out) + 2) :]
    return bytes(out)


def readers() -> dict[str, tuple[bytes, Callable[[bytes], object]]]:
    """Return each kind of file, sound, with the function that reads it."""
    instrument = studio_grand()
    files = to_files(instrument)

    def described(data: bytes) -> object:
        return from_files({**files, DESCRIPTOR: data})

    def tabled(data: bytes) -> object:
        return from_files({**files, "readings.csv": data})

    page = f"<!doctype html><html><body>{to_html_payload(instrument)}</body></html>".encode()
    return {
        "readings.csv": (files["readings.csv"], lambda data: understand(data, "readings.csv")),
        "readings.xlsx": (_workbook(), lambda data: understand(data, "readings.xlsx")),
        "descriptor": (files[DESCRIPTOR], described),
        "table": (files["readings.csv"], tabled),
        "zip": (to_zip(instrument), lambda data: from_zip(data, "x.zip")),
        "report.html": (page, lambda data: from_report(data, "report.html")),
    }


def _workbook() -> bytes:
    readings = studio_grand().visits[0].readings
    out = io.BytesIO()
    readings.to_excel(out, index=False)
    return out.getvalue()


def try_damaged(count: int = DAMAGED, seed: int = 11) -> dict[str, Counter[str]]:
    """Read damaged files of every kind; anything but our own error, or too slow, is raised."""
    draw, told = random.Random(seed), {}
    kinds = readers()
    for name, (sound, read) in kinds.items():
        told[name] = Counter()
        for _ in range(count // len(kinds)):
            data = damage(sound, draw)
            began = time.monotonic()
            try:
                read(data)
                told[name]["taken"] += 1
            except BalancekitError as error:
                assert str(error).strip()
                told[name]["refused"] += 1
            if time.monotonic() - began > LONGEST_SECONDS:
                raise AssertionError(f"{name}: took longer than {LONGEST_SECONDS} s")
    return told


def main() -> None:
    """Do both and print what was seen."""
    with tempfile.TemporaryDirectory() as folder:
        kill_while_saving(Path(folder), KILLS)
    sys.stdout.write(f"{KILLS} kills: every time a whole instrument opened\n")
    began = time.monotonic()
    for name, told in try_damaged().items():
        sys.stdout.write(f"{name}: {told['refused']} refused, {told['taken']} taken\n")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    sys.stdout.write(f"{time.monotonic() - began:.0f} s, at most {peak / 1e6:.0f} MB\n")
    assert peak < MOST_BYTES


if __name__ == "__main__":
    main()
