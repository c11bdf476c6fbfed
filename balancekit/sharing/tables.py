"""The tables that leave the suite: keys, flags and the work, as CSV and as one workbook.

Text is made safe: no cell can run as a formula in a spreadsheet.
"""

from __future__ import annotations

import io
import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import pandas as pd

from balancekit.calculation.believed.name_groups import Group
from balancekit.calculation.irregularities.slips import FLAG_COLUMNS
from balancekit.calculation.proof.groups_after import Fate
from balancekit.calculation.quantities import QUANTITIES, uncertainty_name
from balancekit.calculation.uncertainty import known_decimals
from balancekit.instrument.doubts import SLIP, STANDS_OUT
from balancekit.instrument.findings import Findings
from balancekit.instrument.write_table import to_bytes
from balancekit.sharing.work import Work

if TYPE_CHECKING:
    from openpyxl.cell import Cell

GROUP_COLUMNS = (
    "first_key", "last_key", "quantity", "shift", "shift_u", "likely_cause", "check",
)  # fmt: skip
GROUP_AFTER_COLUMNS = (
    "first_key", "last_key", "quantity", "became", "shift_before", "shift_before_u", "shift_after",
    "shift_after_u", "likely_cause", "check",
)  # fmt: skip

_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff\ufffe\uffff]")
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "'")
# OWASP, CSV injection: a text cell that starts so may be run by a spreadsheet.
_LONGEST_CELL = 32_000
# A cell of an .xlsx file holds 32,767 characters (Microsoft, Excel specifications and limits).


def keys_table(table: pd.DataFrame) -> pd.DataFrame:
    """Return the table of keys with the key as its first column, for export."""
    return table.rename_axis("key").reset_index()


def flags_table(findings: Findings) -> pd.DataFrame:
    """Return everything that is doubted, stands out or is missing, one row each.

    Returns
    -------
    DataFrame with ``key`` (missing for the instrument as a whole), ``quantity, kind, read,
    expected, advice``. ``kind`` is "slip" or "stands-out", or in words what the rows
    alone give to doubt. What was read and expected are words, numbers without a unit where the flag
    is of one number.
    """
    numbers = {(flag.key, flag.quantity): flag for flag in findings.flags}
    rows: list[tuple[object, ...]] = []
    for doubt in findings.told:
        for name in doubt.quantities:
            flag = numbers.get((doubt.key or 0, name)) if doubt.kind in (SLIP, STANDS_OUT) else None
            read, expected = doubt.read, doubt.expected
            if flag is not None:
                read, expected = _number(name, flag.read), _number(name, flag.expected)
            rows.append((doubt.key, name, doubt.kind, read, expected, doubt.advice))
    table = pd.DataFrame(rows, columns=list(FLAG_COLUMNS))
    table["key"] = table["key"].astype("Int64")
    return table.sort_values("key", kind="stable", na_position="first").reset_index(drop=True)


def groups_table(groups: Sequence[Group]) -> pd.DataFrame:
    """Return the groups of keys that are shifted together, from the left, one row each.

    Returns
    -------
    DataFrame with ``first_key, last_key, quantity, shift, shift_u`` (in the quantity's unit),
    ``likely_cause`` and ``check``.
    """
    rows = [
        (g.first_key, g.last_key, g.quantity, round(g.shift, 4), round(g.shift_u, 4),
         g.likely_cause, g.check)
        for g in groups
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=list(GROUP_COLUMNS))


def groups_after_table(fates: Sequence[Fate]) -> pd.DataFrame:
    """Return what became of the groups after the work, one row each, those that are new last.

    Returns
    -------
    DataFrame with ``first_key, last_key, quantity, became``, how far the keys stood off before
    and after the work with standard uncertainties (in the quantity's unit), ``likely_cause`` and
    ``check``.
    """
    rows = [
        (
            f.group.first_key, f.group.last_key, f.group.quantity, f.became,
            *(round(each, 4) if f.before else None for each in (f.group.shift, f.group.shift_u)),
            round(f.after, 4), round(f.after_u, 4), f.group.likely_cause, f.group.check,
        )
        for f in fates
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=list(GROUP_AFTER_COLUMNS))


def _number(name: str, value: float) -> str:
    """A number in the digits of its quantity, and one more."""
    return "" if value != value else f"{value:.{QUANTITIES[name].decimals + 1}f}"


def work_tables(work: Work) -> dict[str, pd.DataFrame]:
    """Return the tables of the work by name; an operation with nothing to do is left out."""
    tables = {
        "friction": keys_table(work.friction),
        "hammers": keys_table(work.hammers) if len(work.hammers) else work.hammers,
        "planned_leads": work.leads,
        "shopping_list": work.shopping.reset_index() if len(work.shopping) else work.shopping,
        "springs": keys_table(work.springs),
    }
    done = {name: table for name, table in tables.items() if len(table)}
    return {**done, "expected": keys_table(work.expected)}


def to_csv(table: pd.DataFrame) -> bytes:
    """Return a table as CSV (RFC 4180, UTF-8), text safe in a spreadsheet."""
    return to_bytes(_clean(table))


def rounded(table: pd.DataFrame) -> pd.DataFrame:
    """Return a table in the digits that it knows.

    An uncertainty has two significant digits, by the smallest of its column; its value has as
    many digits after the point. A quantity without an uncertainty has one digit more than on
    a screen.

    References
    ----------
    JCGM 100:2008, 7.2.6: at most two significant digits of an uncertainty, and the value
    rounded to be consistent with it.
    """
    out = table.copy()
    names = [str(column) for column in out.columns]
    for name in names:
        if pd.api.types.is_float_dtype(out[name]):
            # What is added afterwards is 0: no "-0.0" in a table.
            out[name] = out[name].round(_digits(table, name)) + 0.0
    return out


def _digits(table: pd.DataFrame, name: str) -> int:
    """Return how many digits after the point a column of numbers has."""
    spread = name if _is_uncertainty(name) else uncertainty_name(name)
    if spread in table:
        known = table[spread].dropna()
        known = known[known > 0]
        if len(known):
            return known_decimals(float(known.min()))
    if name in QUANTITIES:
        return QUANTITIES[name].decimals + 1
    return 1 if name.endswith("_mm") else 2 if name.endswith("_g") else 3


def _is_uncertainty(name: str) -> bool:
    return name.endswith("_u") or "_u_" in name


def _clean(table: pd.DataFrame) -> pd.DataFrame:
    """Round, and take control characters, which no format can hold, out of the text."""
    out = rounded(table)
    for column in out.columns:
        if not pd.api.types.is_numeric_dtype(out[column]) or str(out[column].dtype) == "Int64":
            cells = [_text(value) for value in out[column].tolist()]
            out[column] = pd.Series(cells, index=out.index, dtype=object)
    return out


def _text(value: object) -> object:
    if isinstance(value, str):
        return _CONTROL.sub("", value)
    return None if value is pd.NA or value is None or value != value else value


def to_xlsx(tables: Mapping[str, pd.DataFrame]) -> bytes:
    """Return tables as one workbook, a sheet each, headings in the words of the register.

    A text cell is written as text and never as a formula; one that starts as a formula does
    gets an apostrophe before it, as in the CSV files.

    Parameters
    ----------
    tables : by name of the sheet, at most 31 characters.

    References
    ----------
    ECMA-376 (.xlsx). OWASP, CSV injection.
    """
    # Costs a tenth of a second, which a page that writes no workbook need not pay.
    from openpyxl import Workbook
    from openpyxl.styles import Alignment, Font
    from openpyxl.utils import get_column_letter

    book = Workbook()
    book.remove(book.active)
    for name, table in tables.items():
        sheet = book.create_sheet(name[:31])
        for column, heading in enumerate(table.columns, start=1):
            cell = sheet.cell(1, column, heading_words(str(heading)))
            cell.font = Font(bold=True)
            cell.alignment = Alignment(wrap_text=True, vertical="top")
            sheet.column_dimensions[get_column_letter(column)].width = 14
        for row, values in enumerate(_clean(table).itertuples(index=False), start=2):
            for column, value in enumerate(values, start=1):
                _put(sheet.cell(row, column), value)
        sheet.freeze_panes = "B2"
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _put(cell: Cell, value: object) -> None:
    if value is None or value is pd.NA or value != value:
        return
    if isinstance(value, bool):
        cell.value = "yes" if value else "no"
    elif isinstance(value, int | float) or hasattr(value, "dtype"):
        cell.value = value
    else:
        text = str(value)[:_LONGEST_CELL]
        cell.value = f"'{text}" if text.startswith(_FORMULA) else text
        cell.data_type = "s"


def heading_words(name: str) -> str:
    """Return a column's name as a person reads it, with its unit.

    >>> heading_words("down_weight_g"), heading_words("friction_u_g"), heading_words("note_name")
    ('Down weight (g)', 'Friction, standard uncertainty (g)', 'Note name')
    """
    if name in QUANTITIES:
        return QUANTITIES[name].axis_label
    for quantity in QUANTITIES.values():
        if name == quantity.uncertainty_name:
            unit = f" ({quantity.unit})" if quantity.unit else ""
            return f"{quantity.label}, standard uncertainty{unit}"
    for unit in ("_g", "_mm"):
        if name.endswith(unit):
            return f"{_first_large(name.removesuffix(unit))} ({unit[1:]})"
    return _first_large(name)


def _first_large(name: str) -> str:
    words = name.replace("_", " ")
    return words[:1].upper() + words[1:]
