"""What would fit, taken in place of what was read."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from balancekit.calculation.quantities import WITHIN_COLUMNS
from balancekit.instrument.doubts import COLUMNS_EXCHANGED, Doubt
from balancekit.instrument.entry import entry_table, set_cells
from balancekit.instrument.model import Instrument


def take_fitting(instrument: Instrument, visit: int, doubt: Doubt) -> Instrument:
    """Return the instrument with what would fit in place of what is doubted.

    Of a key that was read more than once the reading that is farthest from what fits is
    changed; of one whose reading was left open, the row that it was left open in.

    Raises
    ------
    BalancekitError : what would fit is not possible.
    """
    if doubt.kind == COLUMNS_EXCHANGED and doubt.key is None:
        return _exchanged(instrument, visit)
    table = entry_table(instrument, visit)
    cells: list[dict[str, Any]] = []
    for name, value in doubt.fits:
        rows = table[table["key"] == doubt.key]
        open_ = rows[rows[name].isna() & rows["doubted"].str.contains(f"{name} ", regex=False)]
        off = (rows[name] - value).abs().fillna(-1.0)
        row = open_.index[0] if len(open_) else off.idxmax()
        cells.append({"row": row, "column": name, "value": value})
    return set_cells(instrument, visit, cells)


def _exchanged(instrument: Instrument, visit: int) -> Instrument:
    """Name down and up weight the other way round, with what was doubted or kept of them."""
    held = instrument.visits[visit]
    names = {"down_weight_g": "up_weight_g", "up_weight_g": "down_weight_g"}
    widths = {WITHIN_COLUMNS[name]: WITHIN_COLUMNS[other] for name, other in names.items()}
    readings = held.readings.rename(columns=names | widths)
    readings["doubted"] = readings["doubted"].str.replace(
        "|".join(names), lambda found: names[found[0]], regex=True
    )
    confirmed = frozenset((key, names.get(name, name)) for key, name in held.confirmed)
    return instrument.with_visit(replace(held, readings=readings, confirmed=confirmed), visit)
