"""Headings as people write them."""

from __future__ import annotations

import pytest

from balancekit.instrument.bring_in.import_headings import (
    FACTORS,
    GRAMS_IN,
    read_heading,
    unit_of,
)
from balancekit.instrument.bring_in.import_readings import understand


@pytest.mark.parametrize(
    ("heading", "column"),
    [
        ("down_weight_g", "down_weight_g"),
        ("Down weight (g)", "down_weight_g"),
        ("down weight", "down_weight_g"),
        ("Down weight [g]", "down_weight_g"),
        ("DOWN-WEIGHT", "down_weight_g"),
        ("Downweight", "down_weight_g"),
        ("Down\nweight\n(grams)", "down_weight_g"),
        ("  Down   weight, g ", "down_weight_g"),
        ("Down weight in grams", "down_weight_g"),
        ("Down weight (as found)", "down_weight_g"),
        ("Up Weight {g}", "up_weight_g"),
        ("Up weights", "up_weight_g"),
        ("front–weight", "front_weight_g"),
        ("Key front weight", "front_weight_g"),
        ("Hammer strike weight (g)", "strike_weight_g"),
        ("Whippen weight", "wippen_weight_g"),
        ("wippen weight g", "wippen_weight_g"),
        ("Key Ratio", "key_ratio"),
        ("Spring relief [g]", "spring_relief_g"),
        ("Key", "key"),
        ("#", "key"),
        ("Key #", "key"),
        ("No.", "key"),
        ("Key number", "key"),
        ("Key no.", "key"),
        ("Remarks", "note"),
        ("Note", "note"),
    ],
)
def test_a_heading_is_understood(heading, column):
    meaning = read_heading(heading)
    assert (meaning.kind, meaning.columns) == ("column", (column,))
    assert meaning.unit in ("", "g")


@pytest.mark.parametrize(
    ("heading", "unit"),
    [
        ("Down weight (oz)", "oz"),
        ("down_weight_oz", "oz"),
        ("Down weight, ounces", "oz"),
        ("Down weight [kg]", "kg"),
        ("Down weight (mg)", "mg"),
        ("Down weight in lbs", "lb"),
        ("Down weight (gr)", "gr"),
        ("Down weight (N)", "N"),
        ("Key ratio (%)", "%"),
    ],
)
def test_the_unit_of_a_heading_is_found(heading, unit):
    meaning = read_heading(heading)
    assert meaning.kind == "column"
    assert meaning.unit == unit


@pytest.mark.parametrize(
    ("heading", "kind"),
    [
        ("Weight", "several"),
        ("Weight (down)", "several"),
        ("Touch weight", "several"),
        ("Hammer weight (g)", "several"),
        ("Ratio", "several"),
        ("Note name", "not taken"),
        ("Colour", "not taken"),
        ("Friction (g)", "not taken"),
        ("balance_weight_g", "not taken"),
        ("down_weight_u_g", "not taken"),
        ("key_ratio_u", "not taken"),
        ("action_ratio", "not taken"),
        ("Customer", "unknown"),
        ("", "unknown"),
        ("(g)", "unknown"),
    ],
)
def test_a_heading_that_cannot_be_taken_as_it_stands(heading, kind):
    assert read_heading(heading).kind == kind


def test_units_alone():
    cells = ("g", "[oz]", "(kg)", "mm", "51", "", None, "down weight")
    assert [unit_of(cell) for cell in cells] == ["g", "oz", "kg", "mm", "", "", "", ""]


def test_units_of_mass_agree_with_the_standard():
    """Pound: 0.45359237 kg, exact (international yard and pound agreement, 1959).

    Ounce: 28.349523125 g (NIST Special Publication 811, 2008, appendix B.8: 2.834952 E-02 kg);
    16 ounces and 7000 grains are one pound.
    """
    assert GRAMS_IN["lb"] == 453.59237
    assert GRAMS_IN["oz"] * 16 == pytest.approx(GRAMS_IN["lb"], rel=1e-15)
    assert GRAMS_IN["gr"] * 7000 == pytest.approx(GRAMS_IN["lb"], rel=1e-15)
    assert round(GRAMS_IN["oz"] / 1000, 8) == 2.834952e-02


def test_units_of_length_agree_with_the_standard():
    """Inch: 25.4 mm, exact (NIST Special Publication 811, 2008, appendix B.8: 2.54 E-02 m)."""
    assert FACTORS["mm"] == {"mm": 1.0, "cm": 10.0, "in": 25.4}


def test_every_heading_is_shown_with_what_was_made_of_it():
    data = b"No.,Note name,Down weight (g),Customer,Friction,\r\n1,A0,51,x,12,y\r\n"
    found = understand(data, "readings.csv", key_count=1)
    assert [(h.written, h.column, h.understood) for h in found.headings] == [
        ("No.", "key", "key number"),
        ("Note name", None, "left out: made from the key number and the first note"),
        ("Down weight (g)", "down_weight_g", "down weight (g)"),
        ("Customer", None, "left out: not known here; say what it is, and it is taken"),
        ("Friction", None, "left out: computed here from the readings"),
        ("column 6", None, "left out: not known here; say what it is, and it is taken"),
    ]
    assert found.questions == ()


def test_an_unknown_heading_can_be_assigned():
    data = b"key,down weight,Gewicht\r\n1,51,25\r\n"
    first = understand(data, "readings.csv", key_count=1)
    assert first.readings["up_weight_g"].isna().all()
    answer = {first.headings[2].answer_id: "up_weight_g"}
    assert understand(data, "readings.csv", key_count=1, answers=answer).readings[
        "up_weight_g"
    ].tolist() == [25.0]


def test_a_known_heading_can_be_left_out():
    data = b"key,down weight,up weight\r\n1,51,none taken\r\n"
    answer = {"meaning: up weight": "leave out"}
    found = understand(data, "readings.csv", key_count=1, answers=answer)
    assert found.headings[2].understood == "left out, as you said"
    assert found.readings["down_weight_g"].tolist() == [51.0]
