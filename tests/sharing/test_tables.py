"""Tables that leave the suite: complete, readable by others, and nothing in them can run."""

from __future__ import annotations

import csv
import io

import openpyxl
import pandas as pd
import pytest
from hostile_files import NASTY

from balancekit.instrument.demo import EXCHANGED_KEY, MOVED_POINT_KEY, TIGHT_KEYS, studio_grand
from balancekit.instrument.filled_in import key_table
from balancekit.instrument.findings import find_all
from balancekit.instrument.model import Instrument
from balancekit.instrument.table import reading_table
from balancekit.sharing.tables import (
    flags_table,
    heading_words,
    keys_table,
    rounded,
    to_csv,
    to_xlsx,
    work_tables,
)
from balancekit.sharing.work import work_from

DANGEROUS = ("=", "+", "-", "@", "\t", "\r", "\n")
# OWASP, CSV injection.


def findings_of(instrument: Instrument):
    return find_all(instrument, 0, reading_table(instrument))


def read_csv(data: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(data.decode("utf-8"), newline="")))


def test_keys_have_a_row_each_with_the_columns_that_are_promised():
    table = key_table(studio_grand())
    rows = read_csv(to_csv(keys_table(table)))
    assert [int(row["key"]) for row in rows] == list(range(1, 89))
    promised = {
        "key", "note_name", "colour", "down_weight_g", "up_weight_g", "front_weight_g",
        "strike_weight_g", "wippen_weight_g", "key_ratio", "note", "balance_weight_g",
        "balance_weight_u_g", "friction_g", "friction_u_g", "action_ratio", "action_ratio_u",
    }  # fmt: skip
    assert promised <= rows[0].keys()
    assert float(rows[39]["friction_g"]) == pytest.approx(table["friction_g"][40], abs=0.005)


def test_flags_name_what_was_planted_and_say_what_to_do():
    rows = read_csv(to_csv(flags_table(findings_of(studio_grand()))))
    assert list(rows[0]) == ["key", "quantity", "kind", "read", "expected", "advice"]
    slips = {(int(row["key"]), row["quantity"]) for row in rows if row["kind"] == "slip"}
    assert slips == {
        (EXCHANGED_KEY, "down_weight_g"), (EXCHANGED_KEY, "up_weight_g"),
        (MOVED_POINT_KEY, "strike_weight_g"),
    }  # fmt: skip
    outstanding = {int(row["key"]) for row in rows if row["kind"] == "stands-out"}
    assert set(TIGHT_KEYS) <= outstanding
    assert all(row["advice"] for row in rows)


def test_an_instrument_without_readings_says_what_is_missing_or_nothing():
    table = flags_table(findings_of(Instrument()))
    assert read_csv(to_csv(table)) is not None


@pytest.mark.parametrize("words", NASTY)
def test_no_cell_can_run(words):
    table = pd.DataFrame({"key": [1], "note": [words], "read": [-1.5]})
    (row,) = read_csv(to_csv(table))
    assert not row["note"].startswith(DANGEROUS)
    assert row["read"] == "-1.5"  # a number is never touched
    book = openpyxl.load_workbook(io.BytesIO(to_xlsx({"keys": table})))
    cell = book["keys"]["B2"]
    assert cell.data_type == "s" and not str(cell.value).startswith(DANGEROUS)
    assert book["keys"]["C2"].value == -1.5


def test_control_characters_are_left_out_not_refused():
    table = pd.DataFrame({"note": ["a\x00b\x07c\ud800"]})
    assert read_csv(to_csv(table)) == [{"note": "abc"}]
    book = openpyxl.load_workbook(io.BytesIO(to_xlsx({"keys": table})))
    assert book["keys"]["A2"].value == "abc"


def test_the_workbook_of_the_work_opens_and_holds_the_same_numbers():
    work = work_from(studio_grand())
    tables = work_tables(work)
    book = openpyxl.load_workbook(io.BytesIO(to_xlsx(tables)))
    assert book.sheetnames == list(tables) and {"friction", "expected"} <= tables.keys()
    sheet = book["expected"]
    headings = [cell.value for cell in sheet[1]]
    column = headings.index("Down weight (g)") + 1
    known = rounded(keys_table(work.expected)).set_index("key")
    assert sheet.cell(41, column).value == pytest.approx(known.at[40, "down_weight_g"])
    assert known.at[40, "down_weight_g"] == pytest.approx(
        work.expected["down_weight_g"][40], abs=0.00501
    )


def test_headings_are_words():
    assert heading_words("action_ratio_u") == "Action ratio, standard uncertainty"
    assert heading_words("from_front_edge_mm") == "From front edge (mm)"
