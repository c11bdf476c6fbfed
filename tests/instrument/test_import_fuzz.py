"""Whatever bytes come in, only our own error leaves the importer."""

from __future__ import annotations

import io
import random
import zipfile
from collections.abc import Iterator

import pytest
from openpyxl import Workbook

from balancekit.calculation.problems import BalancekitError, Problem
from balancekit.instrument.bring_in.import_readings import Understood, understand

TEXT = (
    "Grand of the school,,,\r\n"
    "Key,Down weight (g),Up weight [oz],Remarks\r\n"
    '1,51.5,0.9,"slow, ""sticky""\r\nin the bass"\r\n'
    "2,50,1,'=tight\r\n"
    "2,51,,\r\n"
    "\r\n"
    "Mean,50.5,0.95,\r\n"
)


def workbook() -> bytes:
    book = Workbook()
    for row in (
        ["Grand"],
        ["Key", "Down weight", "Note", "Sum"],
        [1, 51.5, "a", "=B3+1"],
        [2, "49,5", None, None],
        ["Mean", 50.5, None, "=D3"],
    ):
        book.active.append(row)
    book.active.merge_cells("A1:C1")
    book.create_sheet("Other").append(["key", "customer"])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


BOOK = workbook()
SEEDS = [
    ("readings.csv", TEXT.encode()),
    ("readings.csv", TEXT.replace(",", ";").replace(".", ",").encode("windows-1252")),
    ("readings.tsv", TEXT.replace(",", "\t").encode("utf-16")),
    ("readings.xlsx", BOOK),
]
HARD = [
    b"", b"\x00", b"\xff\xfe", b"\xef\xbb\xbf", b'"', b"\r", b"\n", b",", b";", b"\t", b"'", b"=",
    b"-", b"1e999", b"9" * 400, b"nan", "−∞".encode(), b"<c>", b"</row>", b"]]>", b"&#0;", b"PK",
    b'r="A1048577"', b't="s"', b"\xed\xa0\x80",
]  # fmt: skip


def mutate(data: bytes, draw: random.Random) -> bytes:
    """Change, cut, double, exchange or put in some bytes."""
    out = bytearray(data)
    for _ in range(draw.choice([1, 1, 2, 5, 20])):
        at, to = sorted(draw.randrange(len(out) + 1) for _ in range(2))
        to = min(to, at + 40)
        kind = draw.randrange(6)
        if kind == 0 and out:
            out[min(at, len(out) - 1)] = draw.randrange(256)
        elif kind == 1:
            del out[at:to]
        elif kind == 2:
            out[at:at] = out[at:to] * draw.choice([1, 3])
        elif kind == 3:
            out[at:at] = draw.choice(HARD)
        elif kind == 4:
            out[at:to] = draw.choice(HARD)
        elif draw.random() < 0.1:
            del out[at:]
    return bytes(out)


def mutate_part(data: bytes, draw: random.Random) -> bytes:
    """Change one part inside a workbook, and pack it again."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        names = old.namelist()
        chosen = draw.choice(["xl/worksheets/sheet1.xml", *names])
        for name in names:
            content = old.read(name)
            new.writestr(name, mutate(content, draw) if name == chosen else content)
    return out.getvalue()


def mutants(seed: int, count: int) -> Iterator[tuple[str, bytes]]:
    draw = random.Random(seed)
    for _ in range(count):
        name, data = draw.choice(SEEDS)
        inside = data is BOOK and draw.random() < 0.7
        yield name, mutate_part(data, draw) if inside else mutate(data, draw)


def check(name: str, data: bytes, draw: random.Random) -> str:
    """Bring one file in and answer what it asks at random; say how it ended."""
    answers: dict[str, str] = {}
    try:
        for _ in range(6):
            found = understand(data, name, answers=answers)
            assert isinstance(found, Understood)
            if not found.questions:
                assert found.rows_used == len(found.readings) > 0
                assert found.readings["key"].between(1, 88).all()
                return "taken"
            assert len(found.readings) == 0
            answers |= {q.id: draw.choice(q.choices)[0] for q in found.questions}
    except BalancekitError as error:
        assert error.problems
        for problem in error.problems:
            assert isinstance(problem, Problem)
            assert problem.message and problem.advice and problem.file.startswith(name)
        return "refused"
    raise AssertionError("the questions do not end")


@pytest.mark.parametrize("seed", range(4))
def test_only_our_own_error_leaves_the_importer(seed):
    draw = random.Random(1000 + seed)
    ends = [check(name, data, draw) for name, data in mutants(seed, 100)]
    assert {"taken", "refused"} == set(ends)


def test_the_seeds_themselves_are_taken():
    draw = random.Random(1)
    assert [check(name, data, draw) for name, data in SEEDS] == ["taken"] * len(SEEDS)


@pytest.mark.parametrize("length", [1, 2, 3, 10, 100, 5000])
def test_random_bytes_are_refused(length):
    draw = random.Random(length)
    for name in ("readings.csv", "readings.xlsx", "readings", "a/b\\c.TXT"):
        assert check(name, draw.randbytes(length), draw) == "refused"
