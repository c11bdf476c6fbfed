"""The tables that an instrument may hold, and the Table Schema made from the register."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from balancekit.calculation.keyboard import MOST_KEYS
from balancekit.calculation.leads.key_stick import STICK_COLUMNS
from balancekit.calculation.problems import BalancekitError, refuse, shown
from balancekit.calculation.quantities import (
    NEEDED_COLUMNS,
    OPTIONAL_COLUMNS,
    QUANTITIES,
    READING_COLUMNS,
    WITHIN_COLUMNS,
)
from balancekit.calculation.words import nearest

TEXT_COLUMNS = {
    "note": "A remark in the user's own words.",
    "name": "A name in the user's own words.",
    "colour": "Colour of the key: natural or sharp.",
    "part": "Which part was taken alone.",
    "weight_class": "Accuracy class of the check weight.",
    "metal": "Metal of the plug.",
    "operation": "What is done at the bench.",
    "doubted": "What the file had where a reading was not possible or had a question mark.",
    "read_at": "When it was read, ISO 8601, for example 2026-05-04T10:30; left out if not noted.",
}
"""Columns that hold words, with their meaning."""


RATIO_CHECK_COLUMNS = (
    "capstan_arm_mm",
    "capstan_mass_g",
    "front_weight_with_mass_g",
    "strike_mass_g",
    "down_weight_with_mass_g",
    "up_weight_with_mass_g",
    "hammer_rise_mm",
    "key_dip_mm",
)
"""Readings of other ways to a ratio: ruler, mass over the capstan, mass at the hammer, travel."""


@dataclass(frozen=True)
class TableKind:
    """One kind of table: its columns in order, which of them may be left out."""

    name: str
    meaning: str
    columns: tuple[str, ...]
    optional: frozenset[str] = frozenset()

    def empty(self) -> pd.DataFrame:
        """Return the table with no rows and the right types."""
        return typed(pd.DataFrame({column: [] for column in self.columns}), self)


_MORE_COLUMNS = tuple(name for name in READING_COLUMNS if name in OPTIONAL_COLUMNS)

TABLES: dict[str, TableKind] = {
    kind.name: kind
    for kind in (
        TableKind(
            "readings",
            "What was weighed and measured; a key read more than once has more than one row.",
            (
                "key",
                *NEEDED_COLUMNS,
                "note",
                *_MORE_COLUMNS,
                "read_at",
                "doubted",
                *WITHIN_COLUMNS.values(),
            ),
            OPTIONAL_COLUMNS | {"read_at", "doubted", *WITHIN_COLUMNS.values()},
        ),
        TableKind(
            "leads",
            "The plugs that are in the keys; a distance behind the balance pin is negative.",
            ("key", "diameter_mm", "mass_g", "distance_mm"),
        ),
        TableKind(
            "leads_seen",
            "Keys whose plugs were looked for; one without a plug in the other table has none.",
            ("key",),
        ),
        TableKind(
            "work_minutes",
            "How long each operation takes, and what its parts cost; what is left out is usual.",
            ("operation", "bench_time_min", "parts_money"),
            frozenset({"parts_money"}),
        ),
        TableKind(
            "hammer_set",
            "A set of hammers on its shanks, weighed at some or all keys.",
            ("key", "strike_weight_g"),
        ),
        TableKind(
            "ratio_checks",
            "Readings for key ratio and action ratio by other ways, on some keys.",
            ("key", *RATIO_CHECK_COLUMNS),
            frozenset(RATIO_CHECK_COLUMNS),
        ),
        TableKind("key_notes", "Notes on single keys.", ("key", "note")),
        TableKind(
            "friction_parts",
            "Friction of parts taken alone, each at its own radius.",
            ("key", "part", "friction_g"),
        ),
        TableKind(
            "check_weights",
            "What the scale shows for weights that are known.",
            ("nominal_g", "weight_class", "reading_g"),
        ),
        TableKind(
            "plug_stock",
            "The plugs in the shop; without a mass it is computed from the metal.",
            ("name", "metal", "diameter_mm", "length_mm", "mass_g"),
            frozenset({"name", "metal", "mass_g"}),
        ),
        TableKind(
            "key_sticks",
            "Sizes of single keys; between them they change in a straight line, by colour.",
            ("key", *STICK_COLUMNS),
            frozenset(STICK_COLUMNS),
        ),
        TableKind(
            "hole_zones",
            "Places of the key where no hole may be, as distances from the balance pin.",
            ("colour", "from_mm", "to_mm", "note"),
            frozenset({"colour", "note"}),
        ),
    )
}


def typed(table: pd.DataFrame, kind: TableKind) -> pd.DataFrame:
    """Return the table with its columns in order, numbers as float, key as int, words as str."""
    own = table.reset_index(drop=True)
    return pd.DataFrame(
        {column: _typed_column(own, column) for column in kind.columns},
        index=own.index,
        columns=list(kind.columns),
    )


def _typed_column(table: pd.DataFrame, column: str) -> Any:
    """Return one column of a table; one that it lacks is empty."""
    given = table[column] if column in table else pd.Series([None] * len(table), table.index)
    if column == "key":
        return given.astype(int).array
    if column in TEXT_COLUMNS:
        return given.astype(object).where(given.notna(), "").astype(str).array
    return pd.to_numeric(given).to_numpy(dtype=float)


def as_written(table: pd.DataFrame, kind: TableKind) -> tuple[pd.DataFrame, TableKind]:
    """Return a table and its kind as they are written: no empty column of widths.

    A table without guided readings then is the one that was written before there were any.
    """
    bare = {name for name in WITHIN_COLUMNS.values() if name in table and table[name].isna().all()}
    columns = tuple(name for name in kind.columns if name not in bare)
    return table.drop(columns=list(bare)), replace(kind, columns=columns)


def _field(column: str, kind: TableKind, key_count: int) -> dict[str, Any]:
    if column == "key":
        return {
            "name": "key",
            "title": "Key",
            "type": "integer",
            "description": "Key number, from the left.",
            "constraints": {"required": True, "minimum": 1, "maximum": key_count},
        }
    if column in TEXT_COLUMNS:
        return {"name": column, "type": "string", "description": TEXT_COLUMNS[column]}
    quantity = QUANTITIES[column]
    return {
        "name": column,
        "title": quantity.axis_label,
        "type": "number",
        "description": quantity.meaning,
        "unit": quantity.ucum,
        "constraints": {"minimum": quantity.minimum, "maximum": quantity.maximum},
    }


def table_schema(kind: TableKind, key_count: int = MOST_KEYS) -> dict[str, Any]:
    """Return the Table Schema (version 2) of one kind of table.

    References
    ----------
    datapackage.org, Table Schema, version 2; units are UCUM codes.
    """
    return {
        "$schema": "https://datapackage.org/profiles/2.0/tableschema.json",
        "fields": [_field(column, kind, key_count) for column in kind.columns],
        "fieldsMatch": "exact",
        "missingValues": [""],
    }


def no_such_kind(kind: str, known: Iterable[str]) -> BalancekitError:
    """Return the refusal of a kind of table that is not known, with the nearest that is."""
    known = tuple(known)
    advice = f"{nearest(kind, known)} Choose one of {', '.join(known)}.".strip()
    return refuse(f"'{shown(str(kind))}' is not a kind of table.", advice)
