"""What would fit, taken in place of what was read."""

from __future__ import annotations

from typing import Any

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
        readings = instrument.visits[visit].readings
        names = {"down_weight_g": "up_weight_g", "up_weight_g": "down_weight_g"}
        return instrument.with_readings(readings.rename(columns=names), visit)
    table = entry_table(instrument, visit)
    cells: list[dict[str, Any]] = []
    for name, value in doubt.fits:
        rows = table[table["key"] == doubt.key]
        open_ = rows[rows[name].isna() & rows["doubted"].str.contains(f"{name} ", regex=False)]
        off = (rows[name] - value).abs().fillna(-1.0)
        row = open_.index[0] if len(open_) else off.idxmax()
        cells.append({"row": row, "column": name, "value": value})
    return set_cells(instrument, visit, cells)
