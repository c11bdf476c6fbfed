"""Files of readings made to cost a reader time or memory, and spoiled ones, for tests and rates."""

from __future__ import annotations

import io
import random
import warnings
import zipfile
from collections.abc import Callable, Iterator

from openpyxl import Workbook

SHEET = "xl/worksheets/sheet1.xml"
SPACE = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
OPEN = f"<worksheet {SPACE}><sheetData>"
SHUT = "</sheetData></worksheet>"
ROW = '<row r="1"><c r="A1" t="str"><v>key</v></c><c r="B1" t="str"><v>down weight</v></c></row>'
READ = '<row r="2"><c r="A2"><v>1</v></c><c r="B2"><v>51</v></c></row>'


def saved(book: Workbook) -> bytes:
    """Return a workbook as bytes."""
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def plain_book(*rows: list[object]) -> bytes:
    """Return a workbook of one sheet."""
    book = Workbook()
    for row in rows or (["key", "down weight", "note"], [1, 51, "a"], [2, 50, None]):
        book.active.append(row)
    return saved(book)


def with_parts(
    data: bytes, changed: dict[str, str | bytes], packing: int = zipfile.ZIP_DEFLATED
) -> bytes:
    """Put other contents into parts of a workbook, new parts at the end."""
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(data)) as old,
        zipfile.ZipFile(out, "w", packing) as new,
        warnings.catch_warnings(),
    ):
        warnings.simplefilter("ignore")  # zipfile warns of a part of the same name, as meant here
        for part in old.namelist():
            if part not in changed:
                new.writestr(part, old.read(part))
        for part, content in changed.items():
            new.writestr(part, content)
    return out.getvalue()


def _sheet(inside: str, before: str = "") -> bytes:
    return with_parts(plain_book(), {SHEET: f"{before}{OPEN}{ROW}{READ}{inside}{SHUT}"})


def _many_sheets(count: int, parts: int) -> bytes:
    """A workbook that names many sheets, all of them leading to few parts."""
    names = "".join(f'<sheet name="s{n}" sheetId="{n + 1}" r:id="r{n % parts}"/>'
                    for n in range(count))  # fmt: skip
    place = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    book = f'<workbook {SPACE} xmlns:r="{place}"><sheets>{names}</sheets></workbook>'
    links = "".join(f'<Relationship Id="r{n}" Type="{place}/worksheet" '
                    f'Target="worksheets/sheet{n + 1}.xml"/>' for n in range(parts))  # fmt: skip
    rels = ('<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
            f"{links}</Relationships>")  # fmt: skip
    content = "".join(f'<row r="{n}"><c r="A{n}"><v>1</v></c></row>' for n in range(1, 2000))
    sheets = {f"xl/worksheets/sheet{n + 1}.xml": f"{OPEN}{ROW}{content}{SHUT}"
              for n in range(parts)}  # fmt: skip
    return with_parts(
        plain_book(), {"xl/workbook.xml": book, "xl/_rels/workbook.xml.rels": rels, **sheets}
    )


def _same_part_twice() -> bytes:
    out = io.BytesIO(plain_book())
    with zipfile.ZipFile(out, "a", zipfile.ZIP_DEFLATED) as book, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for _ in range(1500):
            book.writestr(SHEET, f"{OPEN}{ROW}{READ}{SHUT}")
    return out.getvalue()


def _rows(count: int, cells: int) -> str:
    return "".join(
        f'<row r="{n}">' + "".join(f'<c r="{chr(65 + c)}{n}"><v>5{c}.5</v></c>'
                                   for c in range(cells)) + "</row>"
        for n in range(3, count + 3)
    )  # fmt: skip


HUGE: dict[str, tuple[str, Callable[[], bytes]]] = {
    "one long comment": ("a.xlsx", lambda: _sheet(f"<!--{'x' * 38_000_000}-->")),
    "one long comment of marks": ("a.xlsx", lambda: _sheet(f"<!--{'<a ' * 99_000}-->")),
    "one long instruction": ("a.xlsx", lambda: _sheet(f"<?x {'y' * 9_000_000}?>")),
    "one long tag": ("a.xlsx", lambda: _sheet(f'<x y="{"z" * 30_000_000}"/>')),
    "one long text": ("a.xlsx", lambda: _sheet(
        f'<row r="3"><c r="A3" t="str"><v>{"z" * 30_000_000}</v></c></row>')),
    "one part named by 1501 sheets": ("a.xlsx", lambda: _many_sheets(1501, 1)),
    "one part named by 90 sheets": ("a.xlsx", lambda: _many_sheets(90, 1)),
    "90 sheets": ("a.xlsx", lambda: _many_sheets(90, 90)),
    "1500 parts of one name": ("a.xlsx", _same_part_twice),
    "UTF-16 inside": ("a.xlsx", lambda: with_parts(plain_book(), {
        SHEET: f"{OPEN}{ROW}{READ}<!--{'x' * 9_000_000}-->{SHUT}".encode("utf-16")})),
    "another packing": ("a.xlsx", lambda: with_parts(plain_book(), {
        SHEET: OPEN + ROW + " " * 30_000_000 + SHUT}, zipfile.ZIP_BZIP2)),
    "blanks": ("a.xlsx", lambda: _sheet(" " * 39_000_000)),
    "many rows": ("a.xlsx", lambda: _sheet(_rows(49_000, 2))),
    "many cells": ("a.xlsx", lambda: _sheet(_rows(7_700, 26))),
    "many empty rows": ("a.xlsx", lambda: _sheet("".join(
        f'<row r="{n}"/>' for n in range(3, 99_000)))),
    "a far row": ("a.xlsx", lambda: _sheet(
        '<row r="1048576"><c r="A1048576"><v>2</v></c></row>')),
    "many merges": ("a.xlsx", lambda: with_parts(plain_book(), {
        SHEET: OPEN + ROW + _rows(20_000, 2) + "</sheetData><mergeCells>" + "".join(
            f'<mergeCell ref="A{n}:A{n + 1}"/>' for n in range(3, 20_000, 2))
        + "</mergeCells></worksheet>"})),
    "many words": ("a.xlsx", lambda: with_parts(plain_book(), {
        "xl/sharedStrings.xml": f"<sst {SPACE}>" + "<si><t>ab</t></si>" * 60_000 + "</sst>"})),
    "many styles": ("a.xlsx", lambda: with_parts(plain_book(), {
        "xl/styles.xml": f"<styleSheet {SPACE}><cellXfs>" + "<xf/>" * 99_000
        + "</cellXfs></styleSheet>"})),
    "one long line": ("a.csv", lambda: b"key,down weight\n1," + b"5" * 19_000_000),
    "one long row": ("a.csv", lambda: b"key,down weight\n" + b"1," * 9_000_000),
    "one open quotation": ("a.csv", lambda: b'key,down weight\n1,"' + b"5\n" * 9_000_000),
    "many blank lines": ("a.csv", lambda: b"key,down weight\n" + b"\n" * 19_000_000),
    "many short lines": ("a.csv", lambda: b"key,down weight\n" + b"1,\n" * 19_999),
    "many columns": ("a.csv", lambda: b",".join(b"weight%d" % n for n in range(100)) + b"\n"
                     + (b"1," * 99 + b"1\n") * 90_000),
    "many wrong cells": ("a.csv", lambda: b"key,down weight\n" + b"1,x y z\n" * 19_999),
    "more different words": ("a.csv", lambda: b"key,down weight\n" + b"".join(
        b"1,w%d\n" % n for n in range(99_999))),
    "many different words": ("a.csv", lambda: b"key,down weight\n" + b"".join(
        b"1,w%d\n" % n for n in range(19_999))),
    "long words": ("a.csv", lambda: b"key,down weight\n" + (b"1," + b"9" * 130_000 + b"\n") * 150),
    "long signs": ("a.csv", lambda: b"key,down weight\n" + (b"1," + b"5'" * 60_000 + b"x\n") * 150),
    "UTF-16 text": ("a.csv", lambda: ("key,down weight\n" + "1,51\n" * 19_999).encode("utf-16")),
    "only separators": ("a.csv", lambda: b";" * 19_000_000),
    "only quotations": ("a.csv", lambda: b'"' * 19_000_000),
    "control characters": ("a.csv", lambda: b"\x01" * 19_000_000),
}  # fmt: skip
"""By name: the file's name and what makes it. Each is answered within the bounds or refused."""

TEXT = (
    "Grand of the school,,,\r\n"
    "Key,Down weight (g),Up weight [oz],Remarks\r\n"
    '1,51.5,0.9,"slow, ""sticky""\r\nin the bass"\r\n'
    "2,50,1,'=tight\r\n"
    "2,51,,\r\n"
    "\r\n"
    "Mean,50.5,0.95,\r\n"
)
HARD = (
    b"", b"\x00", b"\xff\xfe", b"\xef\xbb\xbf", b'"', b"\r", b"\n", b",", b";", b"\t", b"'", b"=",
    b"-", b"1e999", b"9" * 400, b"nan", "−∞".encode(), b"<c>", b"</row>", b"]]>", b"&#0;", b"PK",
    b'r="A1048577"', b't="s"', b"\xed\xa0\x80", b"38?", b"n/a", b"3 x 12.7 at 100/115", b"<!--",
)  # fmt: skip


def annotated_book() -> bytes:
    """Return a workbook with a title, formulas, merged cells and a second sheet."""
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
    return saved(book)


def seeds() -> list[tuple[str, bytes]]:
    """Return sound files of every kind: name and bytes."""
    return [
        ("readings.csv", TEXT.encode()),
        ("readings.csv", TEXT.replace(",", ";").replace(".", ",").encode("windows-1252")),
        ("readings.tsv", TEXT.replace(",", "\t").encode("utf-16")),
        ("readings.xlsx", annotated_book()),
    ]


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


def mutate_part(data: bytes, draw: random.Random, chosen: str = "") -> bytes:
    """Change one part inside a workbook or another zip, and pack it again."""
    with zipfile.ZipFile(io.BytesIO(data)) as book:
        chosen = chosen or draw.choice([SHEET, *book.namelist()])
        return with_parts(data, {chosen: mutate(book.read(chosen), draw)})


def mutants(
    seed: int, count: int, sound: list[tuple[str, bytes]] | None = None
) -> Iterator[tuple[str, bytes]]:
    """Yield spoiled files; the same seed gives the same files."""
    draw, files = random.Random(seed), sound or seeds()
    for _ in range(count):
        name, data = draw.choice(files)
        inside = name.endswith("xlsx") and draw.random() < 0.7
        yield name, mutate_part(data, draw) if inside else mutate(data, draw)
