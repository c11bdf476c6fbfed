"""CSV and TSV in every encoding, delimiter and decimal sign that people have."""

from __future__ import annotations

import pytest

from balancekit.instrument.bring_in.import_readings import understand
from balancekit.instrument.bring_in.import_text import text_lines

ENCODINGS = {
    "utf-8": "UTF-8",
    "utf-8-sig": "UTF-8 with byte order mark",
    "utf-16": "UTF-16",
    "utf-16-le": "UTF-16 without byte order mark",
    "utf-16-be": "UTF-16 without byte order mark",
    "windows-1252": "Windows-1252",
}
DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab"}
SIGNS = {".": "decimal point", ",": "decimal comma"}


@pytest.mark.parametrize("encoding", ENCODINGS)
@pytest.mark.parametrize("delimiter", DELIMITERS)
@pytest.mark.parametrize("sign", SIGNS)
@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
def test_every_way_of_writing_is_read(encoding, delimiter, sign, line_end):
    number = f"51{sign}5"
    cell = f'"{number}"' if sign == delimiter else number
    lines = [["Key", "Down weight (g)", "Note"], ["8", cell, "flüssig"], ["9", "50", ""]]
    text = "".join(delimiter.join(line) + line_end for line in lines)
    found = understand(text.encode(encoding), "readings.txt")
    assert found.readings["key"].tolist() == [8, 9]
    assert found.readings["down_weight_g"].tolist() == [51.5, 50.0]
    assert found.readings["note"].tolist() == ["flüssig", ""]
    words = f"text in {ENCODINGS[encoding]}, {DELIMITERS[delimiter]} between the columns"
    assert found.kind == f"{words}, {SIGNS[sign]}"


def test_rfc_4180_quotation():
    """RFC 4180, section 2, rules 5 to 7: quoted cells, line breaks and doubled quotes in them."""
    data = b'key,"down weight",note\r\n"1","51","b \r\nbb"\r\n2,50,"b""bb"\r\n3,49,"a,b"\r\n'
    found = understand(data, "readings.csv", key_count=3)
    assert found.readings["note"].tolist() == ["b \r\nbb", 'b"bb', "a,b"]


def test_lines_are_counted_as_an_editor_counts_them():
    text = "a\x0b\x0c\x85\u2028b\r\nc\rd\n\ne"
    assert list(text_lines(text)) == ["a\x0b\x0c\x85\u2028b\r\n", "c\r", "d\n", "\n", "e"]
    assert "".join(text_lines(text)) == text


def test_the_line_that_names_the_delimiter():
    found = understand(b"sep=;\r\nkey;down weight\r\n1;51,5\r\n", "readings.csv", key_count=1)
    assert found.readings["down_weight_g"].tolist() == [51.5]
    assert [(row.line, row.why) for row in found.rows_left_out] == [(1, "names the delimiter")]


def test_what_is_no_reading_is_left_out_with_the_reason():
    text = (
        "Concert grand of the town hall,,\n"
        "\n"
        "Key,Down weight,Remarks\n"
        ",g,\n"
        "1,51,total rebuild\n"
        ",,\n"
        "Key,Down weight,Remarks\n"
        "2,50,\n"
        "\n"
        "Mean,50.5,\n"
        ",101,Total:\n"
        "Weighed with the dampers lifted,,\n"
    )
    found = understand(text.encode(), "readings.csv", key_count=2)
    assert found.readings["key"].tolist() == [1, 2]
    assert found.readings["note"].tolist() == ["total rebuild", ""]
    assert found.rows_used == 2
    assert found.blank_rows == 2
    assert [(row.line, row.text, row.why) for row in found.rows_left_out] == [
        (1, "Concert grand of the town hall", "stands above the headings"),
        (4, "g", "names the units"),
        (7, "Key, Down weight, Remarks", "repeats the headings"),
        (10, "Mean, 50.5", "is a row of totals, not of a key"),
        (11, "101, Total:", "is a row of totals, not of a key"),
        (12, "Weighed with the dampers lifted", "is a line of words below the readings"),
    ]


def test_possible_readings_at_the_edge_are_taken():
    text = "key,down_weight_g,up_weight_g,front_weight_g,key_ratio\n1.0,0,-0,\u22125.5,+.5\n"
    found = understand(text.encode(), "readings.csv", key_count=1)
    row = found.readings.loc[0]
    assert [row["down_weight_g"], row["up_weight_g"]] == [0.0, 0.0]
    assert [row["front_weight_g"], row["key_ratio"]] == [-5.5, 0.5]


def test_an_empty_cell_is_a_missing_reading():
    found = understand(b"key,down_weight_g,up_weight_g\n1,51,\n2, ,25\n", "r.csv", key_count=2)
    assert found.readings["down_weight_g"].isna().tolist() == [False, True]
    assert found.readings["up_weight_g"].isna().tolist() == [True, False]


def test_columns_and_rows_in_any_order_and_repeats_kept():
    found = understand(b"up weight,key,down weight\n24,2,50\n25,1,51\n26,2,52\n", "r.csv")
    assert found.readings["key"].tolist() == [2, 1, 2]
    assert found.readings["down_weight_g"].tolist() == [50.0, 51.0, 52.0]


def test_the_guard_against_formulas_is_taken_off():
    data = b"key,down weight,note\n1,51,'=tight\n2,50,'tis fine\n3,50,-10 % humidity\n"
    notes = understand(data, "readings.csv").readings["note"].tolist()
    assert notes == ["=tight", "'tis fine", "-10 % humidity"]


def test_the_data_given_is_not_changed():
    data = bytearray(b"key,down weight\n1,51\n")
    before = bytes(data)
    understand(bytes(data), "readings.csv")
    assert bytes(data) == before
