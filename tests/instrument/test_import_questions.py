"""What is not clear is asked, and the same call with the answers goes on."""

from __future__ import annotations

import pytest

from balancekit.calculation.problems import BalancekitError
from balancekit.instrument.bring_in.import_readings import understand

OUNCE_G = 28.349523125
# NIST Special Publication 811 (2008), appendix B.8: 1 oz (avoirdupois) is 2.834 952 E-02 kg.


def ask(data: bytes, **answers: str):
    found = understand(data, "readings.csv", answers=answers)
    assert len(found.readings) == 0
    assert found.doubts == ()
    return found.questions


def take(data: bytes, answers: dict[str, str]):
    found = understand(data, "readings.csv", answers=answers)
    assert found.questions == ()
    return found


def test_ounces_are_converted_after_a_yes():
    data = b"key,down weight (g),up weight (oz)\n1,51,0.9\n2,50,1\n"
    (question,) = ask(data)
    assert question.text == (
        "The column 'up weight (oz)' is in oz; 1 oz is 28.349523125 g. How is it taken?"
    )
    assert question.choices == (
        ("convert", "convert it: multiply by 28.349523125"),
        ("leave out", "leave the column out"),
    )
    found = take(data, {question.id: "convert"})
    assert found.readings["up_weight_g"].tolist() == [0.9 * OUNCE_G, OUNCE_G]
    assert found.headings[2].understood == "up weight (g), converted from oz"
    left = take(data, {question.id: "leave out"})
    assert left.readings["up_weight_g"].isna().all()
    assert left.headings[2].understood == "left out, as you said"


@pytest.mark.parametrize(
    ("heading", "cell", "grams"),
    [
        ("down weight (kg)", "0.0515", 51.5),
        ("down weight [mg]", "51500", 51.5),
        ("down weight, lb", "0.1", 45.359237),
    ],
)
def test_other_units_are_converted_after_a_yes(heading, cell, grams):
    data = f'key,"{heading}"\n1,{cell}\n'.encode()
    (question,) = ask(data)
    found = take(data, {question.id: "convert"})
    assert found.readings["down_weight_g"][0] == pytest.approx(grams, rel=1e-14)


def test_a_unit_in_a_row_of_its_own_counts_too():
    data = b"key,down weight,up weight\n,oz,g\n1,1.8,25\n"
    (question,) = ask(data)
    assert question.id == "unit: down weight"
    assert take(data, {question.id: "convert"}).readings["up_weight_g"].tolist() == [25.0]


def test_gr_can_be_grams_or_grains():
    data = b"key,down weight (gr)\n1,51\n"
    (question,) = ask(data)
    assert [value for value, _ in question.choices] == ["convert", "as it is", "leave out"]
    assert take(data, {question.id: "as it is"}).readings["down_weight_g"][0] == 51
    grains = take(data, {question.id: "convert"}).readings["down_weight_g"][0]
    assert grains == pytest.approx(51 * 453.59237 / 7000)  # 7000 grains are one pound


def test_a_unit_that_is_no_mass_is_not_converted():
    (question,) = ask(b"key,down weight (N)\n1,0.5\n")
    assert [value for value, _ in question.choices] == ["as it is", "leave out"]


def test_a_key_ratio_in_percent_is_converted_after_a_yes():
    data = b"key,key ratio (%)\n1,50\n"
    (question,) = ask(data)
    assert take(data, {question.id: "convert"}).readings["key_ratio"][0] == 0.5


def test_a_heading_that_can_be_two_quantities_is_asked():
    data = b"key,Weight (g)\n1,51\n"
    (question,) = ask(data)
    assert question.text == "What is in the column 'Weight (g)'?"
    assert ("down_weight_g", "down weight (g)") in question.choices
    assert ("strike_weight_g", "strike weight (g)") in question.choices
    assert question.choices[-1] == ("leave out", "leave the column out")
    assert take(data, {question.id: "up_weight_g"}).readings["up_weight_g"].tolist() == [51.0]


@pytest.mark.parametrize(("sign", "example"), [(",", "1,234"), (",", "51,250")])
def test_a_comma_before_three_digits_is_asked(sign, example):
    data = f"key;up weight\n1;{example}\n2;20\n".encode()
    (question,) = ask(data)
    number = example.replace(",", "")
    assert question.choices == (
        ("decimals", f"decimals: {example} is {example.replace(',', '.')}"),
        ("thousands", f"thousands: {example} is {number}"),
    )
    found = take(data, {question.id: "decimals"})
    assert found.readings["up_weight_g"][0] == float(example.replace(",", "."))
    (doubt,) = [d for d in take(data, {question.id: "thousands"}).doubts if d.key == 1]
    assert (doubt.kind, doubt.read) == ("impossible reading", example)


def test_thousands_are_read_as_the_answer_says():
    data = b"key;up weight (mg)\n1;51,250\n2;900\n"
    answers = {"unit: up weight (mg)": "convert", "decimal sign": "thousands"}
    found = take(data, answers)
    assert found.readings["up_weight_g"].tolist() == pytest.approx([51.25, 0.9])


def test_a_point_before_three_digits_is_asked_where_thousands_are_possible():
    answers = {"unit: up weight (mg)": "convert"}
    (question,) = ask(b"key;up weight (mg)\n1;51.250\n", **answers)
    assert question.id == "decimal sign"
    assert understand(b"key;up weight\n1;51.250\n", "r.csv").readings["up_weight_g"][0] == 51.25


@pytest.mark.parametrize("other", ["51,5", "0,512", "1234,5"])
def test_one_clear_number_settles_the_decimal_sign(other):
    data = f"key;up weight;key ratio\n1;21,234;\n2;{other};\n".encode()
    try:
        questions = understand(data, "readings.csv").questions
    except BalancekitError as error:
        questions = ()
        assert "above what is possible" in str(error)
    assert questions == ()


def test_two_headings_of_one_quantity_are_asked():
    data = b"key,Down weight 1,Down weight 2\n1,51,52\n"
    (question,) = ask(data)
    assert question.id == "which: down_weight_g"
    found = take(data, {question.id: "Down weight 2"})
    assert found.readings["down_weight_g"].tolist() == [52.0]
    assert found.headings[1].understood == "left out, as you said"


def test_two_times_of_reading_are_no_repeat_readings():
    data = b"key,down weight,read at,date and time\n1,51,2026-05-20 10:00,2026-05-21 11:00\n"
    (question,) = ask(data)
    assert question.id == "which: read_at"
    assert [answer for answer, _ in question.choices] == ["read at", "date and time"]
    found = take(data, {question.id: "date and time"})
    assert found.readings["read_at"].tolist() == ["2026-05-21 11:00"]


def test_a_foreign_table_is_asked_column_by_column():
    data = b"Taste;Niedergewicht;Aufgewicht;Kunde\n1;51,5;25;x\n2;50;24;x\nMean;51;;\n"
    (question,) = ask(data)
    assert question.text == "Which column holds the key number?"
    assert question.choices[0] == ("Taste", "Taste")
    answers = {question.id: "Taste"}
    asked = understand(data, "readings.csv", answers=answers).questions
    assert [q.id for q in asked] == ["meaning: Niedergewicht", "meaning: Aufgewicht"]
    answers |= {asked[0].id: "down_weight_g", asked[1].id: "up_weight_g"}
    found = take(data, answers)
    assert found.readings["down_weight_g"].tolist() == [51.5, 50.0]
    assert found.readings["up_weight_g"].tolist() == [25.0, 24.0]


def test_a_column_headed_note_with_note_names_is_asked():
    data = b"key,Note,down weight\n1,A0,51\n2,A#0,50\n"
    (question,) = ask(data)
    assert take(data, {question.id: "leave out"}).readings["note"].tolist() == ["", ""]
    assert take(data, {question.id: "note"}).readings["note"].tolist() == ["A0", "A#0"]


def test_an_answer_that_is_no_choice_is_refused():
    with pytest.raises(BalancekitError) as caught:
        understand(
            b"key,down weight (oz)\n1,1\n",
            "readings.csv",
            answers={"unit: down weight (oz)": "yes"},
        )
    assert str(caught.value) == (
        "The answer 'yes' to 'The column 'down weight (oz)' is in oz; 1 oz is 28.349523125 g. How "
        "is it taken?' is not one of the choices. Answer with one of: convert, leave out."
    )


def test_an_answer_that_nothing_asked_is_told():
    found = take(b"key,down weight\n1,51\n", {"unit: up weight": "convert"})
    assert found.remarks == ("The answer to 'unit: up weight' was not needed.",)
