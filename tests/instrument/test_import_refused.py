"""Files that are refused: every problem at once, each with its place and what to do."""

from __future__ import annotations

import pytest

from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.quantities import READING_COLUMNS
from balancekit.instrument.bring_in.import_readings import understand

HEADINGS = (
    "key,down_weight_g,up_weight_g,front_weight_g,strike_weight_g,wippen_weight_g,key_ratio,note"
)
SAVE_AGAIN = (
    "The file is damaged or of another kind: save the readings again as CSV in UTF-8, and bring "
    "that in."
)
CLOSE_IT = (
    'Close the quotation mark, or take it out; inside a quoted cell write it twice (""). What '
    "follows could not be checked."
)
KEYS = "Keys are numbered 1 to 88 from the left"
ALONE = "Write the number alone; a remark goes into the column note, a unit into the heading."
READ = "Write the number that was read."


def problems_of(data: bytes | str, file_name: str = "readings.csv", **options) -> list[str]:
    data = data.encode() if isinstance(data, str) else data
    with pytest.raises(BalancekitError) as caught:
        understand(data, file_name, **options)
    assert str(caught.value) == "\n".join(map(str, caught.value.problems))
    return [str(problem) for problem in caught.value.problems]


def one_row(cells: str) -> str:
    return f"{HEADINGS}\n{cells}\n"


@pytest.mark.parametrize(
    ("cells", "told"),
    [
        (
            "0,51,,,,,,",
            f"key: '0' is no key of this instrument. {KEYS}; check the number, or the number of "
            "keys in the bench settings.",
        ),
        (
            "89,51,,,,,,",
            f"key: '89' is no key of this instrument. {KEYS}; check the number, or the number of "
            "keys in the bench settings.",
        ),
        (
            "-3,51,,,,,,",
            f"key: '-3' is no key of this instrument. {KEYS}; check the number, or the number of "
            "keys in the bench settings.",
        ),
        ("8.5,51,,,,,,", f"key: '8.5' is not a whole number. {KEYS}; check the number."),
        ("C4,51,,,,,,", f"key: 'C4' is not a key number. {KEYS}; write the number alone."),
        ("inf,51,,,,,,", f"key: 'inf' is infinite. {READ}"),
        (
            ",51,,,,,,",
            "key: The key number is missing. Write it, 1 to 88 from the left, on each row; a row "
            "of totals is left out if the word Total stands in place of the key.",
        ),
    ],
)
def test_one_bad_cell(cells, told):
    assert problems_of(one_row(cells)) == [f"readings.csv line 2, {told}"]


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"", ": The file is empty. Save the readings again and bring that file in."),
        (b" \r\n\r\n", ": The file is empty. Save the readings again and bring that file in."),
        (b"\xff\xfe", ": The file is empty. Save the readings again and bring that file in."),
        (
            HEADINGS.encode(),
            " line 1: There are headings and no readings below them. Give each key that was "
            "weighed a row of its own, with its number.",
        ),
        (
            f"{HEADINGS}\nMean,51,,,,,,\n".encode(),
            " line 1: There are headings and no readings below them. Give each key that was "
            "weighed a row of its own, with its number.",
        ),
        (
            b"down_weight_g,up_weight_g\n51,25\n",
            " line 1: No column holds the key number. Head one column 'key' and number the keys "
            "1 to 88 from the left.",
        ),
        (
            b"key,customer\n1,x\n",
            " line 1: No column of readings is understood. Head the columns "
            f"{', '.join(READING_COLUMNS)}, as far as they were read.",
        ),
        (
            b'key,down weight,note\n1,51,ok\n2,50,"open\n3,49,ok\n',
            f' line 3: A quotation mark (") opens a cell in this line and is never closed. '
            f"{CLOSE_IT}",
        ),
        (
            b'key,down weight,note\n1,51,"open\n2,50,"ok"\n',
            f' line 2: A quotation mark (") opens a cell in this line, and the text goes on '
            f"behind the closing one in line 3. {CLOSE_IT}",
        ),
        (
            b'key,down weight,note\n1,51,"a"b\n',
            f' line 2: Text goes on behind the quotation mark (") that closes a cell. {CLOSE_IT}',
        ),
        (
            b"key,down weight\n1,51\x00\n",
            f" line 2: The file holds 1 NUL byte, which no text has. {SAVE_AGAIN}",
        ),
        (
            b"key,down weight\n1,51\n\x07\x01\x02",
            " line 3: The file holds the control character 07, so it is not text. " + SAVE_AGAIN,
        ),
        (
            b"key,down weight\n1,51 \x81\n",
            " line 2: The file is not text in UTF-8, UTF-16 or Windows-1252. " + SAVE_AGAIN,
        ),
        (
            b"\xef\xbb\xbfkey,down weight\n1,51 \xff\n",
            " line 2: The file is not text in UTF-8 with byte order mark. " + SAVE_AGAIN,
        ),
        (
            "key,down weight\n1,51\n".encode("utf-16")[:-1],
            " line 2: The file is not text in UTF-16. " + SAVE_AGAIN,
        ),
        (
            b"\x89PNG\r\n\x1a\n\x00\x00\x00",
            ": The file is a picture (PNG), not a table. Open it in the program that made it, "
            "save the readings as CSV or .xlsx, and bring that in.",
        ),
        (
            b"%PDF-1.7\n",
            ": The file is a PDF document, not a table. Open it in the program that made it, "
            "save the readings as CSV or .xlsx, and bring that in.",
        ),
        (
            b"<!DOCTYPE html><table>",
            ": The file is a web page (HTML), not a table. Open it in the program that made it, "
            "save the readings as CSV or .xlsx, and bring that in.",
        ),
        (
            b"PK\x03\x04 anything",
            ": The file is a zip archive named .csv. Take the table out of it, and bring in the "
            "CSV or .xlsx file itself.",
        ),
        (
            b",".join([b"key"] * 101) + b"\n",
            " line 1: The row has 101 cells. A table of readings has at most 100 columns; choose "
            "the file with the readings alone.",
        ),
        (
            b"key,down weight\n" + b"1,51\n" * 20_001,
            ": The table has more than 20,000 rows, more than readings of any piano. Choose the "
            "file with the readings alone.",
        ),
        (
            b"x" * 20_000_001,
            ": The file has 20 MB. A table of readings has less than 20 MB; choose the file with "
            "the readings alone.",
        ),
    ],
    ids=lambda part: part[:40] if isinstance(part, str) else "file",
)
def test_one_bad_file(data, told):
    assert problems_of(data) == [f"readings.csv{told}"]


def test_a_text_without_a_table_has_no_row_of_headings():
    (told,) = problems_of("rubs in the bass\nclicks in the treble\n")
    assert told == (
        "readings.csv line 1: No row of headings is found, so no column holds the key number. "
        "Put a row of headings above the readings: key, down_weight_g, up_weight_g and so on, "
        "with comma, semicolon or tab between them."
    )


def test_all_problems_come_at_once_in_the_order_of_lines():
    text = 'key,down weight,note\n8.5,50,\n99,50,"two\nlines"\n3,50\n0,50,\n5,50,"open\n'
    places = [problem.split(": ")[0] for problem in problems_of(text)]
    assert places == [
        "readings.csv line 2, key",
        "readings.csv line 3, key",
        "readings.csv line 6, key",
        "readings.csv line 7",
    ]


def test_the_number_of_keys_is_that_of_the_instrument():
    assert "1 to 97 from the left" in problems_of(one_row("98,51,,,,,,"), key_count=97)[0]
    assert len(understand(one_row("97,51,,,,,,").encode(), "r.csv", key_count=97).readings) == 1


def test_beyond_fifty_problems_the_rest_is_counted():
    told = problems_of(HEADINGS + "\n" + "1.5,51,,,,,,\n" * 1234)
    assert len(told) == 51
    assert told[-1] == (
        "readings.csv: There are 1184 further problems. Mend those above, then try again."
    )


def test_twenty_thousand_rows_are_still_taken():
    found = understand(b"key,down weight\n" + b"1,51\n" * 20_000, "readings.csv")
    assert found.rows_used == 20_000


@pytest.mark.parametrize("key_count", [0, 98, 2.5])
def test_an_impossible_number_of_keys_is_refused(key_count):
    with pytest.raises(BalancekitError):
        understand(one_row("1,51,,,,,,").encode(), "readings.csv", key_count=key_count)
