"""The table of keys with what is believed in place of what was not read, or looks like a slip."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
import pandas as pd

from balancekit.calculation.proof.plateaus import Plateaus, plateaus_in
from balancekit.calculation.quantities import (
    PARTS_COLUMNS,
    READING_COLUMNS,
    TOUCH_COLUMNS,
    uncertainty_name,
)
from balancekit.calculation.weighing.sampling import SAMPLED
from balancekit.instrument.believed import Believed, believe
from balancekit.instrument.findings import Findings, find_all
from balancekit.instrument.model import Instrument
from balancekit.instrument.shared_errors import with_shared
from balancekit.instrument.table import add_results, reading_table


def key_table(
    instrument: Instrument,
    visit: int = 0,
    *,
    read: pd.DataFrame | None = None,
    findings: Findings | None = None,
) -> pd.DataFrame:
    """Compute the table of keys, with readings that were taken on some keys filled in between.

    Strike weight, wippen weight and key ratio are often read on a few keys only. Where one
    is not read, it and the action ratio are what is believed of the key from all readings, with
    a larger uncertainty; ``estimated`` names such readings, with commas between.

    Parameters
    ----------
    instrument, visit : as for ``reading_table``, which also lists the columns.
    read, findings : the reading table and the findings in it, if at hand.
    """
    table = reading_table(instrument, visit) if read is None else read
    upright = instrument.settings.action == "upright"
    if upright or not table[list(SAMPLED)].isna().any(axis=None):
        return table
    found = findings or find_all(instrument, visit, table)
    return _filled(table, SAMPLED, believe(instrument, visit, found))


def _filled(table: pd.DataFrame, names: Collection[str], believed: Believed) -> pd.DataFrame:
    """Return a table whose gaps hold what is believed, and results to match."""
    filled, words = table.copy(), table["estimated"].astype(object).copy()
    for name in names:
        u = uncertainty_name(name)
        gap = table[name].isna() & believed.table[name].notna()
        filled[name] = table[name].astype(float).where(~gap, believed.table[name])
        filled[u] = table[u].astype(float).where(~gap, believed.table[u])
        words[gap] = [f"{said}, {name}" if said else name for said in words[gap]]
    filled["estimated"] = words
    add_results(filled)
    ours = (words != "") & filled["action_ratio"].notna()
    for name in ("action_ratio", "action_ratio_u"):
        filled[name] = filled[name].where(~ours, believed.table[name])
    return filled


def plateaus_of(instrument: Instrument, findings: Findings) -> Plateaus:
    """Return runs of keys that stand off together, as they were read in one visit.

    Parameters
    ----------
    instrument : what was given.
    findings : of that visit.
    """
    if "plateaus" not in findings.kept:
        findings.kept["plateaus"] = plateaus_in(without_slips(instrument, findings))
    kept: Plateaus = findings.kept["plateaus"]
    return kept


def without_slips(instrument: Instrument, findings: Findings) -> pd.DataFrame:
    """Return the table of keys with readings that look like slips taken out.

    What is believed stands in their place, with its larger uncertainty, and is named in
    ``estimated``; down and up weight are not filled in, because friction is each key's own.

    Parameters
    ----------
    instrument : what was given.
    findings : of one of its visits.
    """
    read = with_shared(findings.table, findings.known.shared)
    slips = [
        flag for flag in findings.flags if flag.kind == "slip" and flag.quantity in READING_COLUMNS
    ]
    if not slips:
        return key_table(instrument, read=read, findings=findings)
    table = read.copy()
    for flag in slips:
        table.loc[flag.key, [flag.quantity, uncertainty_name(flag.quantity)]] = np.nan
    if instrument.settings.action == "upright":
        add_results(table, upright=True)
    else:
        table = _filled(table, PARTS_COLUMNS, believe(instrument, findings=findings))
    for flag in slips:
        if flag.quantity in TOUCH_COLUMNS:
            said = str(table.at[flag.key, "estimated"])
            table.at[flag.key, "estimated"] = ", ".join(filter(None, [said, flag.quantity]))
    return table
