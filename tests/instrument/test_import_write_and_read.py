"""Reading undoes writing, for every delimiter, encoding and decimal sign."""

from __future__ import annotations

import io
import itertools
from datetime import datetime

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, assume, example, given, settings
from hypothesis import strategies as st
from openpyxl import Workbook

from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.quantities import QUANTITIES, READING_COLUMNS, WITHIN_COLUMNS
from balancekit.instrument.bring_in.import_readings import understand
from balancekit.instrument.tables import TABLES, typed
from balancekit.instrument.write_table import (
    DECIMAL_SIGNS,
    DELIMITERS,
    ENCODINGS,
    to_bytes,
)

WAYS = list(itertools.product(DELIMITERS, ENCODINGS, DECIMAL_SIGNS))
NAMES = [f"{ord(d)}-{e}-{s}" for d, e, s in WAYS]

_characters = st.characters(exclude_categories=["Cs", "Cc"], include_characters="\t\r\n")
notes = st.text(_characters, max_size=12) | st.sampled_from(
    ["=1+1", "'=x", "''", "'", "'tis", "-", "+4", "@a", "\tb", "\r", "\nx", '"', '",";', "A0", " "]
)


def values(name: str) -> st.SearchStrategy[float]:
    low, high = QUANTITIES[name].minimum, QUANTITIES[name].maximum
    rounded = st.integers(int(low * 1000), int(high * 1000)).map(lambda n: n / 1000)
    return st.just(np.nan) | rounded | st.floats(low, high)


rows = st.fixed_dictionaries(
    {"key": st.integers(1, 88)}
    | {name: values(name) for name in (*READING_COLUMNS, *WITHIN_COLUMNS.values())}
    | {"note": notes, "read_at": st.sampled_from(["", "2026-05-04", "2026-05-04T10:30+02:00"])}
)
tables = st.lists(rows, min_size=1, max_size=4).map(
    lambda many: typed(pd.DataFrame(many), TABLES["readings"])
)


def told_by_notes(*words: str) -> pd.DataFrame:
    """Return readings whose remarks all look like something else."""
    columns = {"key": range(1, len(words) + 1), "down_weight_g": 51.0, "note": list(words)}
    return typed(pd.DataFrame(columns), TABLES["readings"])


@pytest.mark.parametrize("way", WAYS, ids=NAMES)
@given(table=tables)
@example(table=told_by_notes("A0", "A0", "C4"))
@example(table=told_by_notes("Mean", "key", "note"))
@example(table=told_by_notes("52", "1,5", "[g]"))
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_reading_undoes_writing(way, table):
    delimiter, encoding, decimal = way
    try:
        data = to_bytes(table, delimiter, encoding, decimal)
    except BalancekitError as error:
        assert encoding == "windows-1252"
        assert "Choose UTF-8 instead." in str(error)
        assume(False)
    found = understand(data, "readings.csv")
    assert found.questions == ()
    pd.testing.assert_frame_equal(found.readings, table, check_exact=True)


@pytest.mark.parametrize("way", WAYS, ids=NAMES)
def test_pandas_reads_the_same_numbers(way):
    """pandas.read_csv is a reader of its own."""
    delimiter, encoding, decimal = way
    table = typed(
        pd.DataFrame({"key": [1, 2], "down_weight_g": [51.25, np.nan], "up_weight_g": [1 / 3, 25]}),
        TABLES["readings"],
    )
    data = to_bytes(table, delimiter, encoding, decimal)
    read = pd.read_csv(
        io.BytesIO(data), sep=delimiter, encoding=encoding, decimal=decimal,
    )  # fmt: skip
    for name in ("key", "down_weight_g", "up_weight_g"):
        np.testing.assert_array_equal(read[name].to_numpy(), table[name].to_numpy())


def test_lines_end_as_rfc_4180_says():
    """RFC 4180, section 2, rule 1: each record ends with CR LF."""
    table = pd.DataFrame({"key": [1, 2], "note": ['say "a"', "b,c"]})
    assert to_bytes(table) == b'key,note\r\n1,"say ""a"""\r\n2,"b,c"\r\n'


@pytest.mark.parametrize("start", list("=+-@\t\r\n"))
def test_text_that_a_spreadsheet_may_run_is_guarded(start):
    """OWASP, CSV injection: cells that start with = + - @ TAB CR LF."""
    data = to_bytes(pd.DataFrame({"note": [f"{start}cmd"]}))
    assert data.decode().split("\r\n", 1)[1].lstrip('"').startswith(f"'{start}cmd")


def test_numbers_are_never_guarded():
    assert to_bytes(pd.DataFrame({"front_weight_g": [-5.5, -1.0]})).endswith(b"\r\n-5.5\r\n-1\r\n")


def test_a_decimal_comma_cannot_be_read_as_one_between_thousands():
    table = pd.DataFrame({"front_weight_g": [1.234, -51.25, 0.125]})
    assert to_bytes(table, ";", "utf-8", ",").split(b"\r\n")[1:4] == [
        b"1,2340",
        b"-51,25",
        b"0,125",
    ]


@pytest.mark.parametrize(
    ("table", "options", "told"),
    [
        ({"note": ["Ω"]}, {"encoding": "windows-1252"}, "windows-1252 has no character 'Ω'."),
        ({"note": ["Ã¤"]}, {"encoding": "windows-1252"}, "would be read as UTF-8"),
        ({"note": ["a\x00"]}, {}, "A control character in a text cannot be written."),
        ({"key_ratio": [np.inf]}, {}, "An infinite number cannot be written."),
        ({"key": [1]}, {"delimiter": "|"}, "'|' cannot be written."),
        ({"key": [1]}, {"encoding": "utf-7"}, "'utf-7' cannot be written."),
        ({"key": [1]}, {"decimal": ";"}, "';' cannot be written."),
    ],
)
def test_what_cannot_come_back_is_not_written(table, options, told):
    with pytest.raises(BalancekitError) as caught:
        to_bytes(pd.DataFrame(table), **options)
    assert told in str(caught.value)


def test_times_and_steps_come_in_and_what_is_none_stays_as_a_remark():
    data = (
        b"Key,Down weight (g),Down weight within (g),Read at\r\n"
        b"1,52,1,2026-05-04T10:30\r\n2,53,70,after lunch\r\n"
    )
    found = understand(data, "bench.csv", key_count=2)
    assert found.questions == ()
    assert found.readings["read_at"].tolist() == ["2026-05-04T10:30", ""]
    np.testing.assert_array_equal(found.readings["down_weight_within_g"], [1.0, np.nan])
    assert found.readings["note"].tolist() == [
        "", "day and time of the reading: after lunch; down weight within (g): 70",
    ]  # fmt: skip


def test_a_time_of_a_workbook_comes_in():
    book = Workbook()
    for row in (["key", "down weight", "read at"], [1, 52, datetime(2026, 5, 4, 10, 30)]):
        book.active.append(row)
    out = io.BytesIO()
    book.save(out)
    found = understand(out.getvalue(), "bench.xlsx", key_count=1)
    assert found.readings["read_at"].tolist() == ["2026-05-04T10:30:00"]
