"""The table of keys that the work rests on: no slip of the pen bends a plan."""

from __future__ import annotations

import pandas as pd

from balancekit.calculation.quantities import READING_COLUMNS, uncertainty_name
from balancekit.calculation.weighing.sampling import fill_gaps
from balancekit.instrument.findings import Findings
from balancekit.instrument.model import Instrument
from balancekit.instrument.table import add_results, key_table


def believed_table(instrument: Instrument, findings: Findings) -> pd.DataFrame:
    """Return the table of keys with readings that look like slips taken out.

    What the trend can tell is filled in, with its larger uncertainty, and named in
    ``estimated``; down and up weight are not filled in, because friction is each key's own.

    Parameters
    ----------
    instrument : what was given.
    findings : of one of its visits.
    """
    read = findings.table
    slips = [
        flag for flag in findings.flags if flag.kind == "slip" and flag.quantity in READING_COLUMNS
    ]
    if not slips:
        return key_table(instrument, read=read, trends=findings.trends)
    table = read.copy()
    for flag in slips:
        table.loc[flag.key, [flag.quantity, uncertainty_name(flag.quantity)]] = float("nan")
    upright = instrument.settings.action == "upright"
    if not upright:
        names = [name for name in READING_COLUMNS[2:] if name in findings.trends]
        table = fill_gaps(table, names, findings.trends)
    add_results(table, upright)
    for flag in slips:
        if flag.quantity in READING_COLUMNS[:2]:
            said = str(table.at[flag.key, "estimated"])
            table.at[flag.key, "estimated"] = ", ".join(filter(None, [said, flag.quantity]))
    return table
