"""Workbooks: what spreadsheet programs add around a table, and what is refused."""

from __future__ import annotations

import io
import re
import zipfile
from datetime import date

import pytest
from openpyxl import Workbook

from balancekit.calculation.problems import BalancekitError
from balancekit.instrument.bring_in.import_readings import Understood, understand
from balancekit.instrument.doubts import IMPOSSIBLE

HEADINGS = ["Key", "Down weight (g)", "Up weight [g]", "Key ratio", "Remarks"]
SHEET = "xl/worksheets/sheet1.xml"
OPEN = '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
SHUT = "</sheetData></worksheet>"


def saved(book: Workbook) -> bytes:
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def book_of(*rows: list[object], title: str = "Bench") -> Workbook:
    book = Workbook()
    book.active.title = title
    for row in rows:
        book.active.append(row)
    return book


def with_part(data: bytes, name: str, content: str | bytes) -> bytes:
    """Put another content into one part of a workbook."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w", 8) as new:
        for part in old.namelist():
            new.writestr(part, content if part == name else old.read(part))
    return out.getvalue()


def with_result(data: bytes, formula: str, result: str) -> bytes:
    """Store a result beside a formula, as a spreadsheet program does when it saves."""
    with zipfile.ZipFile(io.BytesIO(data)) as book:
        content = book.read(SHEET).decode()
    bare = rf"<f>{re.escape(formula)}</f><v(></v>| ?/>)"
    content, times = re.subn(bare, lambda _: f"<f>{formula}</f><v>{result}</v>", content)
    assert times == 1, formula
    return with_part(data, SHEET, content)


def told(data: bytes, file_name: str = "readings.xlsx", **options) -> list[str]:
    with pytest.raises(BalancekitError) as caught:
        understand(data, file_name, **options)
    return [str(problem) for problem in caught.value.problems]


def left_open(found: Understood) -> list[tuple[int | None, str]]:
    """Return the keys whose readings were left open, and what was read there."""
    return [(doubt.key, doubt.read) for doubt in found.doubts if doubt.kind == IMPOSSIBLE]


def test_title_rows_blank_lines_and_totals_around_the_table():
    book = book_of(
        ["Concert grand of the town hall"],
        [],
        HEADINGS,
        [1, 51, 25.5, 0.5, "slow"],
        [],
        [2, 50, 24, 0.51],
        [],
        ["Mean", "=AVERAGE(B4:B6)", "=AVERAGE(C4:C6)"],
    )
    book.active.merge_cells("A1:E1")
    found = understand(saved(book), "readings.xlsx", key_count=2)
    assert found.kind == "workbook, sheet 'Bench'"
    assert found.readings["key"].tolist() == [1, 2]
    assert found.readings["up_weight_g"].tolist() == [25.5, 24.0]
    assert found.readings["key_ratio"].tolist() == [0.5, 0.51]
    assert found.readings["note"].tolist() == ["slow", ""]
    assert found.blank_rows == 2
    assert [(row.line, row.why) for row in found.rows_left_out] == [
        (1, "stands above the headings"),
        (8, "is a row of totals, not of a key"),
    ]
    assert {doubt.kind for doubt in found.doubts} <= {"missing reading"}


def test_headings_in_two_rows_with_merged_cells():
    book = book_of(["Key", "Weights", None, "Remarks"], [None, "Down weight", "Up weight"])
    for merged in ("A1:A2", "B1:C1", "D1:D2"):
        book.active.merge_cells(merged)
    book.active.append([1, 51, 25, "slow"])
    found = understand(saved(book), "readings.xlsx", key_count=1)
    assert [heading.column for heading in found.headings] == [
        "key", "down_weight_g", "up_weight_g", "note",
    ]  # fmt: skip
    assert found.readings["note"].tolist() == ["slow"]


def test_a_merged_key_holds_for_its_rows_and_a_merged_value_for_the_first():
    book = book_of(HEADINGS, [1, 51, 25, 0.5], [None, 52, 26, 0.5], [2, 50, 24, 0.5])
    book.active.merge_cells("A2:A3")
    book.active.merge_cells("D2:D4")
    found = understand(saved(book), "readings.xlsx", key_count=2)
    assert found.readings["key"].tolist() == [1, 1, 2]
    assert found.readings["key_ratio"].isna().tolist() == [False, True, True]
    assert found.remarks == (
        "Line 3 is under the merged cell of key 1: it is taken as a repeat reading of that key.",
        "Merged cells in line 2 to 4, column 'Key ratio': the value is taken for line 2 and the "
        "first column alone.",
    )


def test_a_formula_gives_the_result_that_is_stored():
    data = saved(book_of(HEADINGS, [1, "=50+1", 25]))
    assert left_open(understand(data, "readings.xlsx", key_count=1)) == [(1, "a formula")]
    found = understand(with_result(data, "50+1", "51"), "readings.xlsx", key_count=1)
    assert found.readings["down_weight_g"].tolist() == [51.0]


def test_every_bad_key_is_told_with_sheet_and_line():
    book = book_of(
        HEADINGS,
        [1, -51, date(2026, 5, 1), True],
        [2.5, "38?", "#N/A", None],
        ["x", 50, 25],
        [89, 50, 25],
        [None, 50, 25],
    )
    lines = told(saved(book))
    keys = "Keys are numbered 1 to 88 from the left"
    place = "readings.xlsx sheet 'Bench' line"
    assert lines == [
        f"{place} 3, key: '2.5' is not a whole number. {keys}; check the number.",
        f"{place} 4, key: 'x' is not a key number. {keys}; write the number alone.",
        f"{place} 5, key: '89' is no key of this instrument. {keys}; check the number, or the "
        "number of keys in the bench settings.",
        f"{place} 6, key: The key number is missing. Write it, 1 to 88 from the left, on each "
        "row; a row of totals is left out if the word Total stands in place of the key.",
    ]


def test_a_number_kept_as_text_is_read():
    found = understand(saved(book_of(HEADINGS, ["1", "51,5", "25"])), "r.xlsx", key_count=1)
    assert found.readings.loc[0, ["down_weight_g", "up_weight_g"]].tolist() == [51.5, 25.0]


def test_the_key_column_without_a_heading_is_asked():
    data = saved(book_of([None, "Down weight"], [1, 51], [2, 50]))
    (question,) = understand(data, "readings.xlsx").questions
    assert [choice for choice, _ in question.choices] == ["column 1", "in order"]
    found = understand(data, "readings.xlsx", answers={question.id: "column 1"})
    assert found.readings["key"].tolist() == [1, 2]


def test_one_sheet_with_readings_is_found_and_the_others_named():
    book = book_of(["Letter to the customer"], title="Letter")
    sheet = book.create_sheet("Readings")
    for row in (HEADINGS, [1, 51, 25]):
        sheet.append(row)
    hidden = book.create_sheet("Old readings")
    for row in (HEADINGS, [1, 99, 98]):
        hidden.append(row)
    hidden.sheet_state = "hidden"
    found = understand(saved(book), "readings.xlsx", key_count=1)
    assert found.readings["down_weight_g"].tolist() == [51.0]
    assert found.remarks == ("The sheet 'Letter' is not taken.",)


def test_two_sheets_with_readings_are_asked():
    book = book_of(HEADINGS, [1, 51, 25], title="Before")
    sheet = book.create_sheet("After")
    for row in (HEADINGS, [1, 48, 26]):
        sheet.append(row)
    data = saved(book)
    (question,) = understand(data, "readings.xlsx").questions
    assert question.choices == (("Before", "sheet 'Before'"), ("After", "sheet 'After'"))
    found = understand(data, "readings.xlsx", key_count=1, answers={"sheet": "After"})
    assert found.readings["down_weight_g"].tolist() == [48.0]
    assert found.remarks == ("The sheet 'Before' is not taken.",)


def test_a_workbook_with_shared_words_and_prefixed_names():
    """ECMA-376, Part 1, 18.4.9 (shared strings) and 18.3.1.4 (cells without a reference)."""
    spreadsheet = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    office = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    package = "http://schemas.openxmlformats.org/package/2006"
    types = "application/vnd.openxmlformats-officedocument.spreadsheetml"

    def related(*pairs: str) -> str:
        inside = "".join(
            f'<Relationship Id="r{i}" Type="{office}/{kind}" Target="{target}"/>'
            for i, (kind, target) in enumerate(pair.split(" ") for pair in pairs)
        )
        return f'<Relationships xmlns="{package}/relationships">{inside}</Relationships>'

    parts = {
        "[Content_Types].xml": f'<Types xmlns="{package}/content-types">'
        '<Default Extension="rels" '
        'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        f'<Override PartName="/xl/workbook.xml" ContentType="{types}.sheet.main+xml"/>'
        f'<Override PartName="/{SHEET}" ContentType="{types}.worksheet+xml"/>'
        f'<Override PartName="/xl/sharedStrings.xml" ContentType="{types}.sharedStrings+xml"/>'
        "</Types>",
        "_rels/.rels": related("officeDocument /xl/workbook.xml"),
        "xl/workbook.xml": f'<workbook xmlns="{spreadsheet}" xmlns:r="{office}"><sheets>'
        '<sheet name="Bench" sheetId="1" r:id="r0"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": related(
            "worksheet /xl/worksheets/sheet1.xml", "sharedStrings sharedStrings.xml"
        ),
        "xl/sharedStrings.xml": f'<sst xmlns="{spreadsheet}"><si><t>Key</t></si>'
        "<si><r><t>Down </t></r><r><t>weight</t></r></si></sst>",
        SHEET: f'<x:worksheet xmlns:x="{spreadsheet}"><x:sheetData>'
        '<x:row><x:c t="s"><x:v>0</x:v></x:c><x:c t="s"><x:v>1</x:v></x:c></x:row>'
        "<x:row><x:c><x:v>1</x:v></x:c><x:c><x:f>50+1</x:f><x:v>51</x:v></x:c></x:row>"
        "<x:row><x:c><x:v>2</x:v></x:c><x:c><x:f>50-1</x:f></x:c></x:row>"
        "</x:sheetData></x:worksheet>",
    }
    found = understand(zipped(**parts), "readings.xlsx", key_count=2)
    assert left_open(found) == [(2, "a formula")]
    parts[SHEET] = parts[SHEET].replace("50-1</x:f>", "50-1</x:f><x:v>49</x:v>")
    found = understand(zipped(**parts), "readings.xlsx", key_count=2)
    assert found.readings["down_weight_g"].tolist() == [51.0, 49.0]


GOOD = saved(book_of(HEADINGS, [1, 51, 25, 0.5, "slow"]))
PROGRAM = (
    "Open it in the program that made it, save the readings as .xlsx or CSV, and bring that in."
)
AGAIN = (
    "Copy or download it again; or open it in the spreadsheet program, save it again as .xlsx, "
    "and bring that in."
)
COPY = "Copy the readings alone into a new workbook, save it, and bring that in."


def zipped(**parts: str) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return out.getvalue()


def compound(stream: str) -> bytes:
    """The first bytes of a compound file (MS-CFB, 2.2) with the name of a stream in it."""
    return bytes.fromhex("D0CF11E0A1B11AE1") + bytes(504) + stream.encode("utf-16-le")


@pytest.mark.parametrize(
    ("data", "file_name", "line"),
    [
        (b"", "r.xlsx", "The file is empty. Save the readings again and bring that file in."),
        (
            saved(Workbook()),
            "r.xlsx",
            "No visible sheet of the workbook holds anything. Save the readings again, on a sheet "
            "that is not hidden.",
        ),
        (
            b"<html><body><table></table>",
            "r.xlsx",
            "The file is a web page (HTML), not a table. Open it in the program that made it, "
            "save the readings as CSV or .xlsx, and bring that in.",
        ),
        (
            b"key,down weight\n1,51\n",
            "r.xlsx",
            "The file is named .xlsx but is not a workbook. If it is text, let its name end in "
            ".csv; else save the workbook again.",
        ),
        (
            zipped(notes="x"),
            "r.xlsx",
            f"The file is a zip archive, not a workbook (.xlsx). {PROGRAM}",
        ),
        (
            zipped(**{"word/document.xml": "x"}),
            "r.xlsx",
            f"The file is a text document (.docx), not a workbook (.xlsx). {PROGRAM}",
        ),
        (
            zipped(**{"xl/workbook.bin": "x"}),
            "r.xlsx",
            f"The file is a binary workbook (.xlsb), not a workbook (.xlsx). {PROGRAM}",
        ),
        (
            zipped(mimetype="application/vnd.oasis.opendocument.spreadsheet"),
            "r.ods",
            "The file is an OpenDocument file named .ods. Open it in the spreadsheet program, "
            "save it as .xlsx or CSV, and bring that in.",
        ),
        (
            GOOD,
            "r.csv",
            "The file is a workbook (.xlsx) named .csv. Let its name end in .xlsx, or save the "
            "sheet as CSV, and bring that in.",
        ),
        (
            compound("Workbook"),
            "r.xls",
            "The file is in the old format of before .xlsx (.xls and its kin). Open it in the "
            "spreadsheet program, save it as .xlsx or CSV, and bring that in.",
        ),
        (
            compound("EncryptedPackage"),
            "r.xlsx",
            "The workbook is locked with a password. Open it in the spreadsheet program, take the "
            "password off, save it as .xlsx, and bring that in.",
        ),
        (GOOD[:-40], "r.xlsx", f"The workbook is cut short or damaged. {AGAIN}"),
        (GOOD[: len(GOOD) // 2], "r.xlsx", f"The workbook is cut short or damaged. {AGAIN}"),
        (
            with_part(GOOD, SHEET, OPEN),
            "r.xlsx",
            f"The workbook is cut short or damaged (ParseError). {AGAIN}",
        ),
        (
            with_part(GOOD, SHEET, '<!DOCTYPE a [<!ENTITY b "c">]>' + OPEN + SHUT),
            "r.xlsx",
            "The workbook is cut short or damaged (it holds declarations that no workbook may "
            f"have). {AGAIN}",
        ),
        (
            with_part(GOOD, SHEET, b" " * 65_000_000),
            "r.xlsx",
            f"The workbook unpacks to 65 MB, far more than a table of readings. {COPY}",
        ),
        (
            with_part(GOOD, SHEET, OPEN + ("<row>" + "<c/>" * 50_000 + "</row>") * 5 + SHUT),
            "r.xlsx",
            f"The workbook has 250,000 cells, far more than a table of readings. {COPY}",
        ),
        (
            with_part(GOOD, "xl/styles.xml", "<a>" + "<b/>" * 100_001 + "</a>"),
            "r.xlsx",
            "The workbook has 100,003 marks in xl/styles.xml, far more than a table of readings. "
            f"{COPY}",
        ),
        (
            with_part(GOOD, SHEET, OPEN + "<row><c><v>1</v></c></row>" * 100_101 + SHUT),
            "r.xlsx",
            "The table has more than 50,000 rows, more than readings of any piano. Choose the "
            "file with the readings alone.",
        ),
    ],
    ids=lambda part: part[:60] if isinstance(part, str) else "file",
)
def test_a_file_that_is_no_usable_workbook(data, file_name, line):
    assert told(data, file_name) == [f"{file_name}: {line}"]


def test_a_cell_far_to_the_right_is_refused():
    book = book_of(HEADINGS, [1, 51])
    book.active["ZZ2"] = 1
    assert told(saved(book)) == [
        "readings.xlsx sheet 'Bench' line 2: The row has 702 cells. A table of readings has at "
        "most 100 columns; choose the file with the readings alone."
    ]


def test_a_size_that_the_sheet_claims_is_not_believed():
    content = OPEN.replace("<sheetData>", '<dimension ref="A1:XFD1048576"/><sheetData>')
    row = (
        '<row r="1"><c r="A1" t="str"><v>Key</v></c><c r="B1" t="str"><v>Down weight</v></c></row>'
    )
    row += '<row r="2"><c r="A2"><v>1</v></c><c r="B2"><v>51</v></c></row>'
    found = understand(with_part(GOOD, SHEET, content + row + SHUT), "r.xlsx", key_count=1)
    assert found.readings["down_weight_g"].tolist() == [51.0]
