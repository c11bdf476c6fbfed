"""The register of quantities agrees with itself and with what is made from it."""

import math

import pytest

from balancekit.calculation.balance import TERMS
from balancekit.calculation.quantities import (
    COMMON,
    MEMORY,
    OPTIONAL_COLUMNS,
    QUANTITIES,
    READING_COLUMNS,
    Quantity,
    uncertainty_name,
)
from balancekit.instrument.tables import TABLES, TEXT_COLUMNS, TableKind, table_schema

# The ending of a name, the unit as printed, its UCUM code (ucum.org).
UNITS = {
    "_g_mm2": ("g mm²", "g.mm2"),
    "_g": ("g", "g"),
    "_mm": ("mm", "mm"),
    "_m_s": ("m/s", "m/s"),
    "_mj": ("mJ", "mJ"),
    "_n": ("N", "N"),
}
EACH = pytest.mark.parametrize("quantity", QUANTITIES.values(), ids=QUANTITIES.keys())


def ending(name: str) -> str:
    return next((each for each in UNITS if name.endswith(each)), "")


@EACH
def test_name_ends_in_its_unit(quantity: Quantity) -> None:
    found = ending(quantity.name)
    if found:
        assert (quantity.unit, quantity.ucum) == UNITS[found]
        assert quantity.uncertainty_name == quantity.name.removesuffix(found) + "_u" + found
    else:
        assert quantity.uncertainty_name == quantity.name + "_u"
        assert quantity.ucum == "1" if not quantity.unit else quantity.ucum != "1"


@EACH
def test_limits_are_in_order(quantity: Quantity) -> None:
    assert math.isfinite(quantity.minimum) and math.isfinite(quantity.maximum)
    assert quantity.minimum < quantity.maximum
    assert (quantity.usual_low is None) == (quantity.usual_high is None)
    if quantity.usual_low is not None and quantity.usual_high is not None:
        assert quantity.minimum <= quantity.usual_low < quantity.usual_high < quantity.maximum


@EACH
def test_words(quantity: Quantity) -> None:
    assert quantity.meaning.endswith(".") and len(quantity.meaning) > 15
    assert quantity.label[0].isupper() and not quantity.label.isupper()
    assert quantity.source
    if quantity.unit:
        assert quantity.axis_label == f"{quantity.label} ({quantity.unit})"
    assert 0 <= quantity.decimals <= 4


@EACH
def test_stated_uncertainty_is_small_against_the_limits(quantity: Quantity) -> None:
    if quantity.reading_u is not None:
        assert 0 < quantity.reading_u < (quantity.maximum - quantity.minimum) / 10


def test_names_and_labels_are_unique() -> None:
    labels = [quantity.axis_label for quantity in QUANTITIES.values()]
    assert len(set(labels)) == len(labels)
    assert all(name == quantity.name for name, quantity in QUANTITIES.items())


def test_every_reading_has_an_uncertainty() -> None:
    for name in READING_COLUMNS:
        assert QUANTITIES[name].reading_u is not None, name
    assert set(READING_COLUMNS) >= OPTIONAL_COLUMNS


def test_every_term_of_the_equation_is_registered() -> None:
    assert set(TERMS) <= set(QUANTITIES)


def test_sources_are_said() -> None:
    """A limit is common practice, from memory, or has a source that is named."""
    assert {COMMON, MEMORY} & {quantity.source for quantity in QUANTITIES.values()}
    assert not any(quantity.source.startswith("/") for quantity in QUANTITIES.values())


@pytest.mark.parametrize("kind", TABLES.values(), ids=TABLES.keys())
def test_schema_agrees_with_the_register(kind: TableKind) -> None:
    table = kind
    schema = table_schema(table)
    assert tuple(field["name"] for field in schema["fields"]) == table.columns
    assert table.optional <= set(table.columns)
    for field in schema["fields"]:
        name = field["name"]
        if name in QUANTITIES and field["type"] == "number":
            quantity = QUANTITIES[name]
            assert field["unit"] == quantity.ucum
            assert field["title"] == quantity.axis_label
            assert field["constraints"]["minimum"] == quantity.minimum
            assert field["constraints"]["maximum"] == quantity.maximum
        else:
            assert name in {"key", *TEXT_COLUMNS}


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("key_inertia_g_mm2", "key_inertia_u_g_mm2"),
        ("hammer_speed_m_s", "hammer_speed_u_m_s"),
        ("work_mj", "work_u_mj"),
        ("spring_force_n", "spring_force_u_n"),
        ("action_ratio", "action_ratio_u"),
    ],
)
def test_uncertainty_stands_before_the_unit(name: str, expected: str) -> None:
    assert uncertainty_name(name) == expected


def test_value_as_text() -> None:
    assert QUANTITIES["front_weight_g"].text(-3.14) == "−3.1 g"
    assert QUANTITIES["action_ratio"].text(5.5) == "5.50"
    assert QUANTITIES["friction_g"].text(float("nan")) == "not known"
