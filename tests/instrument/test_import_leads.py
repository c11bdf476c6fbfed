"""Plugs as people note them are read, and asked where unclear."""

from __future__ import annotations

import io

import openpyxl
import pytest

from balancekit.calculation.problems import BalancekitError
from balancekit.instrument.bring_in.import_leads import LeadNotes, understand_leads
from balancekit.instrument.bring_in.import_numbers import Fault
from balancekit.instrument.bring_in.import_plugs import Noted, read_plugs, read_size
from balancekit.instrument.bring_in.import_readings import understand
from tests.instrument.people_files import an_afternoon


def one(count, size=None, *places) -> tuple[Noted, ...]:
    return (Noted(count, size, tuple(map(float, places))),)


@pytest.mark.parametrize(
    ("cell", "plugs"),
    [
        ("3 x 12.7 at 100/115/131", one(3, 12.7, 100, 115, 131)),
        ("3x12,7 @ 100/115,5/131", one(3, 12.7, 100, 115.5, 131)),
        # 1/2 inch is 12.7 mm, 7/16 inch 11.1125 mm: an inch is 25.4 mm (NIST SP 811, B.8).
        ('2 × 1/2" at 100, 115', one(2, 12.7, 100, 115)),
        ("7/16 in at 95", one(1, 11.1125, 95)),
        ("12.7 mm at -60", one(1, 12.7, -60)),
        ("100/115/131", one(3, None, 100, 115, 131)),
        ("100, 115", one(2, None, 100, 115)),
        ("2 at 100/115", one(2, None, 100, 115)),
        ("3", one(3)),
        (2, one(2)),
        (0, one(0)),
        ("none", one(0)),
        ("–", one(0)),
        (
            "1 x 12.7 at 100 + 1 x 9.5 at 60",
            (Noted(1, 12.7, (100.0,)), Noted(1, 9.5, (60.0,))),
        ),
        ('3/8"@60; 1/2"@100', (Noted(1, 9.525, (60.0,)), Noted(1, 12.7, (100.0,)))),
        ("", ()),
        (None, ()),
    ],
)
def test_one_cell(cell, plugs):
    assert read_plugs(cell) == plugs


@pytest.mark.parametrize(
    "cell",
    ["3 x 12.7 at 100/115", "a few", "99", "3 x 300 at 5", "1/0 at 9", "2 x 12.7 at 1.2.3/5"],
)
def test_what_is_not_understood_is_said(cell):
    assert isinstance(read_plugs(cell), Fault)


def test_sizes_in_millimetres_and_inches():
    sizes = [read_size(cell) for cell in ("1/2", 12.7, "0.375", "11,1 mm")]
    assert sizes == [12.7, 12.7, 9.525, 11.1]
    assert isinstance(read_size("large"), Fault) and isinstance(read_size(300), Fault)


def take(text: str, **answers: str) -> LeadNotes:
    given = {name.replace("_", " "): value for name, value in answers.items()}
    return understand_leads(text.encode(), "leads.csv", answers=given)


def test_several_columns():
    text = "Key;count;size;dist. from front 1;dist. from front 2\n1;2;1/2;100;115\n2;1;12,7;98;\n"
    found = take(text)
    assert found.questions == () and found.measured_from == "front edge"
    assert found.plugs == {1: ((12.7, 100.0), (12.7, 115.0)), 2: ((12.7, 98.0),)}


def test_one_cell_of_words_asks_from_where_it_was_measured():
    text = "key;leads\n1;3 x 12.7 at 100/115/131\n2;none\n"
    (question,) = take(text).questions
    assert question.id == "measured from"
    found = take(text, measured_from="balance pin")
    assert found.measured_from == "balance pin" and found.plugs[2] == ()
    assert len(found.plugs[1]) == 3


def test_a_size_is_asked_once_where_none_is_noted():
    text = "key;leads from the front edge\n1;100/115\n2;1 at 98\n3;1/2 at 97\n"
    (question,) = take(text).questions
    assert question.id == "size"
    assert take(text, size="11.1").plugs == {
        1: ((11.1, 100.0), (11.1, 115.0)),
        2: ((11.1, 98.0),),
        3: ((12.7, 97.0),),
    }


def test_a_count_without_places_stays_unknown():
    text = "key;leads\n1;3\n2;2\n3;0\n"
    asked = take(text).questions
    assert [question.id for question in asked] == ["counted"]
    found = take(text, counted="unknown")
    assert found.counted == {1: 3, 2: 2} and found.plugs == {3: ()}


def test_nothing_noted_is_asked_and_never_taken_as_empty():
    text = "key;leads from pin\n1;1 x 12.7 at 100\n2;\n3;\n"
    (question,) = take(text).questions
    assert question.id == "nothing noted" and "2 keys" in question.text
    assert set(take(text, nothing_noted="unknown").plugs) == {1}
    assert take(text, nothing_noted="no plug").plugs[3] == ()


def test_an_empty_second_row_of_a_key_takes_nothing_away():
    text = "key;leads from pin\n1;1 x 12.7 at 100\n1;\n2;\n"
    assert "1 key with nothing noted, first key 2" in take(text).questions[0].text
    found = take(text, nothing_noted="no plug")
    assert found.plugs == {1: ((12.7, 100.0),), 2: ()}


def test_a_true_minus_is_a_minus():
    found = take("key;count;from pin\n1;1;\u221260\n2;1;95\n", size="12.7")
    assert found.plugs == {1: ((12.7, -60.0),), 2: ((12.7, 95.0),)}


def test_plugs_on_the_second_sheet_of_a_workbook_are_found():
    book = openpyxl.Workbook()
    book.active.append(["Our piano"])
    sheet = book.create_sheet("leads")
    sheet.append(["key", "count", "from pin"])
    sheet.append([5, 1, 100])
    data = io.BytesIO()
    book.save(data)
    found = understand_leads(data.getvalue(), "leads.xlsx", answers={"size": "12.7"})
    assert found.plugs == {5: ((12.7, 100.0),)}


def test_rows_that_are_not_understood_are_left_out_after_one_yes():
    text = "key;leads from pin\n1;1 x 12.7 at 100\n2;many\n3;2 x 12.7 at 100\n"
    (question,) = take(text).questions
    assert question.id == "rows" and "many" in question.text
    found = take(text, rows="leave out")
    assert set(found.plugs) == {1} and [out.line for out in found.left_out] == [3, 4]


def test_a_column_that_says_nothing_is_asked():
    text = "key;stuff\n1;100\n2;98\n"
    (question, *_) = take(text).questions
    assert question.id == "meaning: stuff" and "100, 98" in question.text
    answers = {"meaning: stuff": "place", "measured from": "front edge", "size": "12.7"}
    found = understand_leads(text.encode(), "leads.csv", answers=answers)
    assert found.plugs == {1: ((12.7, 100.0),), 2: ((12.7, 98.0),)}


def test_a_count_among_the_readings_is_taken_from_the_same_file():
    """The afternoon's file: its readings are not asked for here, and it is told there to come."""
    written = an_afternoon()
    found = understand_leads(written.data, written.name)
    assert [question.id for question in found.questions] == ["rows", "counted"]
    answers = {"rows": "leave out", "counted": "unknown"}
    found = understand_leads(written.data, written.name, answers=answers)
    assert (found.counted[1], found.counted[88], len(found.counted)) == (3, 1, 88)
    readings = understand(written.data, written.name, answers=written.answers)
    (leads,) = [heading for heading in readings.headings if heading.written == "leads"]
    assert "drop this file on “What is in the keys now?”" in leads.understood


def test_columns_that_contradict_each_other_are_no_plugs():
    text = "key;count;distance from pin\n1;3;100/115\n"
    (question,) = take(text).questions
    assert "3 plugs and 2 places" in question.text


def test_a_table_without_keys_is_refused():
    with pytest.raises(BalancekitError, match="No column holds the key number"):
        take("leads\n3 x 12.7 at 100/115/131\n")
