"""Cells that are no readings: asked once, left open, or kept as a remark; nothing is sent back."""

from __future__ import annotations

import numpy as np
import pytest

from balancekit.calculation.problems import BalancekitError
from balancekit.instrument.bring_in.import_readings import understand
from balancekit.instrument.doubts import IMPOSSIBLE, MARKED, find_doubts
from balancekit.instrument.model import Instrument
from balancekit.instrument.store import open_folder, save_folder


def sheet(changed: dict[int, str] | None = None, count: int = 88, extra: str = "") -> bytes:
    """Return readings of each key, some rows written otherwise."""
    rows = [(changed or {}).get(key, f"{key},{51 - key % 3},{25 + key % 3},9.{key % 10}")
            for key in range(1, count + 1)]  # fmt: skip
    return "\n".join(["key,down weight,up weight,strike weight", *rows, extra]).encode()


def take(data: bytes, answers: dict[str, str] | None = None, **options):
    found = understand(data, "bench.csv", answers=answers or {}, **options)
    assert found.questions == ()
    return found


@pytest.mark.parametrize(
    ("read", "fits"),
    [("520", "52 g"), ("5l", "51 g"), ("-51", ""), ("5.1.0", ""), ("=B2+1", ""), ("inf", ""),
     ("#DIV/0!", ""), ("512", "51.2 g")],
)  # fmt: skip
def test_an_impossible_reading_is_left_open_and_doubted(read, fits):
    found = take(sheet({8: f"8,{read},25,9.5"}))
    assert found.rows_used == 88
    assert np.isnan(found.readings.set_index("key").at[8, "down_weight_g"])
    (doubt,) = [doubt for doubt in found.doubts if doubt.key == 8]
    assert (doubt.quantity, doubt.kind, doubt.read) == ("down_weight_g", IMPOSSIBLE, read)
    assert fits in doubt.advice and doubt.expected.startswith("about 5")


def test_72_g_of_strike_weight_says_that_7_2_would_fit():
    rows = {k: f"{k},51,25,{9.6 - 0.03 * k:.1f}" for k in range(1, 89)} | {80: "80,50,25,72"}
    (doubt,) = [d for d in take(sheet(rows)).doubts if d.key == 80]
    assert doubt.advice.startswith("It was left open. 7.2 g would fit")


def test_what_was_left_open_is_kept_with_the_readings_until_it_is_read(tmp_path):
    found = take(sheet({8: "8,520,25,9.5"}))
    held = Instrument().with_readings(found.readings)
    save_folder(held, tmp_path / "piano", None)
    readings = open_folder(tmp_path / "piano")[0].visits[0].readings
    assert [d.read for d in find_doubts(readings, {}, 88) if d.kind == IMPOSSIBLE] == ["520"]
    mended = readings.assign(down_weight_g=readings["down_weight_g"].fillna(52.0))
    assert all(d.kind != IMPOSSIBLE for d in find_doubts(mended, {}, 88))


def test_a_column_of_which_more_than_a_fifth_cannot_be_is_asked():
    grains = {k: f"{k},51,25,{250 + k % 3}" for k in range(1, 89)}
    (question,) = understand(sheet(grains), "bench.csv").questions
    assert question.id == "column: strike weight" and "88 of 88" in question.text
    assert ("gr", "the numbers are in gr") in question.choices
    assert "front_weight_g" not in [value for value, _ in question.choices]
    found = take(sheet(grains), {question.id: "gr"})
    assert found.readings["strike_weight_g"].between(16, 17).all()
    left = take(sheet(grains), {question.id: "leave out"})
    assert left.readings["strike_weight_g"].isna().all()


def test_each_word_for_not_read_is_asked_once():
    data = sheet({3: "3,n/a,25,9", 4: "4,n/a,-,9", 5: "5,51,25,x"})
    questions = understand(data, "bench.csv").questions
    assert [question.id for question in questions] == ["word: n/a", "word: -", "word: x"]
    assert "2 cells" in questions[0].text and "line 4 (key 3), down weight" in questions[0].text
    found = take(data, {question.id: "not read" for question in questions})
    assert found.readings.isna()["down_weight_g"].sum() == 2


def test_38_with_a_question_mark_is_38_and_marked_after_a_yes():
    data = sheet({3: "3,38?,25,9"})
    (question,) = understand(data, "bench.csv").questions
    assert question.id == "question marks" and "'38?' in line 4" in question.text
    found = take(data, {question.id: "take"})
    assert found.readings.set_index("key").at[3, "down_weight_g"] == 38
    assert (3, MARKED, "38?") in [(d.key, d.kind, d.read) for d in found.doubts]
    left = take(data, {question.id: "leave out"})
    assert np.isnan(left.readings.set_index("key").at[3, "down_weight_g"])


def test_a_remark_in_the_place_of_a_reading_is_kept_as_the_note_of_its_key():
    found = take(sheet({3: "3,sticks in damp weather,25,9"}))
    assert found.readings.set_index("key").at[3, "note"] == (
        "down weight (g): sticks in damp weather"
    )


def test_rows_that_are_no_readings_are_left_out_after_one_yes():
    data = sheet({40: "middle,,,\n40,50,25,9", 60: ",treble from here,,\n60,50,25,9"},
                 extra="weighed by the workshop,,,\nSum,1,2,3")  # fmt: skip
    (question,) = understand(data, "bench.csv").questions
    assert question.id == "rows" and "middle" in question.text
    found = take(data, {"rows": "leave out"})
    assert found.rows_used == 88
    assert {"middle", "treble from here"} <= {out.text for out in found.rows_left_out}
    with pytest.raises(BalancekitError, match="'middle' is not a key number"):
        understand(data, "bench.csv", answers={"rows": "refuse"})


def test_a_comma_among_points_and_a_unit_behind_a_number_are_plain():
    found = take(sheet({3: '3,"38,5",25 g,9'}))
    assert found.readings.set_index("key").loc[3, ["down_weight_g", "up_weight_g"]].tolist() == [
        38.5, 25.0,
    ]  # fmt: skip


@pytest.mark.parametrize(("count", "keys"), [(85, 85), (88, 88), (12, 88), (92, 92)])
def test_the_number_of_keys_is_taken_from_the_file(count, keys):
    found = take(sheet(count=count), key_count=None)
    assert found.key_count == keys
    assert any(f"piano of {keys}" in remark for remark in found.remarks) == (keys != 88)


def test_a_shortened_heading_is_a_guess_that_waits_for_a_yes():
    data = sheet().replace(b"down weight", b"Dn. wt.").replace(b"strike weight", b"h")
    (question,) = understand(data, "bench.csv").questions
    assert question.id == "meaning: Dn. wt." and "This is a guess" in question.text
    assert question.choices[0] == ("down_weight_g", "yes, down weight (g)")
    found = take(data, {"Dn. wt.": "down weight", "h": "strike_weight_g"})
    assert found.readings["strike_weight_g"].notna().all()
    again = take(data, remembered={"dn. wt.": "down_weight_g", "h": "leave out"})
    assert again.headings[1].understood == "down weight (g), as for an earlier file"
    unknown = take(data, {"Dn. wt.": "down_weight_g"}).headings[3]
    assert unknown.first_values == ("9.1", "9.2", "9.3", "9.4") and len(unknown.choices) > 5


def test_a_row_with_too_many_cells_is_asked_and_a_short_one_is_taken():
    data = sheet({7: "7,51,5,25,9", 8: "8,51"})
    (question,) = understand(data, "bench.csv").questions
    assert question.id == "rows" and "line 8" in question.text
    found = take(data, {"rows": "leave out"})
    assert 7 not in found.readings["key"].tolist()
    assert found.readings.set_index("key").at[8, "down_weight_g"] == 51
    assert "1 row is shorter than the headings: the rest is empty." in found.remarks
    with pytest.raises(BalancekitError, match="The row has 5 cells, the headings have 4"):
        understand(data, "bench.csv", answers={"rows": "refuse"})


def test_note_names_count_from_the_first_note_of_the_instrument():
    data = b"Note,down weight\nC1,51\nC#1,50\nD1,52\n"
    answers = {"which: key": "Note"}
    assert take(data, answers).readings["key"].tolist() == [4, 5, 6]
    assert take(data, answers, first_note="C1").readings["key"].tolist() == [1, 2, 3]
