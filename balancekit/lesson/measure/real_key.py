"""A key of a real instrument, read as the virtual one is: to be set beside it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from balancekit.calculation.quantities import QUANTITIES, TOUCH_COLUMNS, uncertainty_name
from balancekit.instrument.model import Instrument
from balancekit.instrument.table import reading_table
from balancekit.lesson.measure.virtual_bench import (
    COMPUTED,
    ENTERED,
    RULERS,
    SCALES,
)


@dataclass(frozen=True)
class RealKey:
    """What was read at one key of an instrument.

    Attributes
    ----------
    title : of the instrument.
    key, note_name, colour : which key.
    readings : every reading by quantity, in order.
    values : mean readings and what follows from them, by quantity.
    uncertainties : their standard uncertainties.
    """

    title: str
    key: int
    note_name: str
    colour: str
    readings: Mapping[str, list[float]]
    values: Mapping[str, float]
    uncertainties: Mapping[str, float]

    @property
    def words(self) -> str:
        """The key in words."""
        return f"{self.title}, key {self.key}, {self.note_name}, a {self.colour}"

    @property
    def lacks(self) -> list[str]:
        """Quantities that were not read, and so cannot be computed with."""
        return [name for name in (*TOUCH_COLUMNS, *SCALES) if not self.readings.get(name)]


def real_key(
    instrument: Instrument, key: int, visit: int = 0, *, table: pd.DataFrame | None = None
) -> RealKey:
    """Return one key of an instrument as the bench of the lesson sees it.

    Parameters
    ----------
    instrument : with its readings.
    key : key number.
    visit : which set of readings, 0 for the first.
    table : the reading table of the visit, if at hand.
    """
    table = reading_table(instrument, visit) if table is None else table
    line = {str(name): value for name, value in table.loc[key].to_dict().items() if pd.notna(value)}
    raw = instrument.visits[visit].readings
    raw = raw[raw["key"] == key]
    readings = {
        name: [float(value) for value in raw[name].dropna()] if name in raw else []
        for name in (*TOUCH_COLUMNS, *SCALES)
    }
    settings = instrument.settings
    arm = settings.sharp_arm_mm if line["colour"] == "sharp" else settings.natural_arm_mm
    values = {name: float(line[name]) for name in ENTERED if name in line}
    values["arm_mm"] = float(arm)
    if "key_ratio" in line:
        values["capstan_arm_mm"] = float(line["key_ratio"]) * float(arm)
    u = {
        name: float(line[uncertainty_name(name)])
        for name in ENTERED
        if uncertainty_name(name) in line
    }
    return RealKey(
        instrument.title, key, str(line["note_name"]), str(line["colour"]), readings, values, u
    )


def text_beside(real: RealKey, name: str) -> str:
    """Return what is known of a quantity at the real key, as the bench shows it.

    A length is given by the instrument's settings and the key ratio.
    """
    if name not in real.values:
        return "not read"
    text = QUANTITIES[name].text
    value = text(real.values[name])
    doubt = real.uncertainties.get(name)
    said = f"{value} ± {text(doubt)}" if doubt else value
    count = len(real.readings.get(name, []))
    times = f", {count} readings" if count > 1 else ""
    return said + (" (given)" if name in RULERS else times if name not in COMPUTED else "")
