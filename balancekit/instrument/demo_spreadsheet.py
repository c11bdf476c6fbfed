"""An invented spreadsheet as people keep them, to try the import on.

Written anew with ``python -m balancekit.instrument.demo_spreadsheet``: title rows, a blank
line, headings in their own words, a row of averages, and slips of the pen; then a second set of
readings as a text with decimal commas.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from typing import Any

import pandas as pd
from openpyxl import Workbook
from openpyxl.styles import Font

from balancekit.calculation.generator import Recipe, complete, invent, weigh
from balancekit.calculation.keyboard import keyboard
from balancekit.instrument.in_hand import data_folder
from balancekit.instrument.write_table import to_bytes

WORKBOOK = "chapel_grand.xlsx"
AFTER = "chapel_grand_after.csv"

SHEET_EXCHANGED_KEY = 17
"""Key whose down and up weight stand in each other's column."""

LOST_POINT_KEY = 52
"""Key whose wippen weight has its decimal point one place too far left."""

NOT_READ_KEY = 66
"""Key whose strike weight was not read."""

_HEADINGS = {
    "key": "Key no.",
    "note_name": "Name",
    "down_weight_g": "Down weight (g)",
    "up_weight_g": "up weight [g]",
    "front_weight_g": "Front weight",
    "strike_weight_g": "Strike weight, g",
    "wippen_weight_g": "WIPPEN WEIGHT (g)",
    "key_ratio": "Key-ratio",
    "note": "Remarks",
}
_TITLES = ("Chapel grand", "taken on two afternoons, dampers lifted")
_BLANK_AFTER_KEY = 44


def chapel_truth() -> pd.DataFrame:
    """Return the truth behind the invented chapel grand."""
    recipe = Recipe(bass_strike_g=11.2, treble_strike_g=5.6, ratio=5.6,
                    tight_keys={9: 7.0, 71: 6.0})  # fmt: skip
    return invent(1401, recipe).truth


def chapel_readings() -> pd.DataFrame:
    """Return the readings as the paper has them, slips included."""
    readings = weigh(chapel_truth(), 1402).set_index("key", drop=False)
    weights = ["down_weight_g", "up_weight_g"]
    readings.loc[SHEET_EXCHANGED_KEY, weights] = readings.loc[
        SHEET_EXCHANGED_KEY, weights[::-1]
    ].to_numpy()
    wippen = readings["wippen_weight_g"]
    readings["wippen_weight_g"] = wippen.where(wippen.index != LOST_POINT_KEY, wippen / 10)
    readings.loc[NOT_READ_KEY, "strike_weight_g"] = float("nan")
    readings.loc[9, "note"] = "sluggish"
    return readings


def _rows() -> Iterator[list[Any]]:
    """Yield the rows of the sheet from the top."""
    for title in _TITLES:
        yield [title]
    yield []
    yield list(_HEADINGS.values())
    readings = chapel_readings()
    readings["note_name"] = keyboard(len(readings))["note_name"]
    for line in readings[list(_HEADINGS)].to_dict("records"):
        yield [None if value != value or value == "" else value for value in line.values()]
        if line["key"] == _BLANK_AFTER_KEY:
            yield []
    means = readings.mean(numeric_only=True).round(2)
    yield ["Average", None, *(means[name] for name in list(_HEADINGS)[2:-1])]


def workbook() -> bytes:
    """Return the spreadsheet as .xlsx."""
    book = Workbook()
    sheet = book.active
    sheet.title = "Action"
    for row in _rows():
        sheet.append(row)
    sheet["A1"].font = Font(bold=True, size=14)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def spreadsheet_after_the_work() -> bytes:
    """Return a second set of readings: hammers evened out, two keys eased."""
    truth = chapel_truth()
    truth["strike_weight_g"] = truth["strike_weight_g"].rolling(15, 1, center=True).mean()
    truth.loc[[9, 71], "friction_g"] -= [6.5, 5.5]
    table = weigh(complete(truth), 1403)[list(_HEADINGS)[:1] + list(_HEADINGS)[2:-1]]
    return to_bytes(table.rename(columns=_HEADINGS), delimiter=";", decimal=",")


if __name__ == "__main__":
    (data_folder() / WORKBOOK).write_bytes(workbook())
    (data_folder() / AFTER).write_bytes(spreadsheet_after_the_work())
