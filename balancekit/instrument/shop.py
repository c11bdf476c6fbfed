"""Read a folder of instruments weighed before: what each tells of what is usual."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from balancekit.calculation.believed.one_series import Course
from balancekit.calculation.believed.usual import USUAL_OF, UsualEvidence
from balancekit.calculation.course import Floats, lines
from balancekit.calculation.problems import refuse
from balancekit.instrument.believed import BELIEVED, Believed, believe
from balancekit.instrument.descriptor import identified
from balancekit.instrument.findings import find_all
from balancekit.instrument.in_hand import instruments_in
from balancekit.instrument.model import Instrument
from balancekit.instrument.store import open_folder
from balancekit.instrument.table import reading_table
from balancekit.instrument.usual_in_use import Earlier, Shop


def read_shop(folder: Path) -> Shop:
    """Read every instrument that lies directly in a folder, as it was found; a copy tells nothing.

    Raises
    ------
    BalancekitError : there is none, or one of them cannot be used.
    """
    told: dict[str, Earlier] = {}
    for place in instruments_in(folder):
        instrument = identified(open_folder(place, only_look=True)[0])
        each = {} if instrument.identity in told else evidence_of(instrument)
        if each:
            title = instrument.title
            if any(title == earlier.title for earlier in told.values()):
                title = place.name
            told[instrument.identity] = Earlier(title, each)
    if not told:
        raise refuse(
            f"No instrument in '{folder}' tells of wippen weight, key ratio or friction.",
            "Name a folder that holds the folders of instruments that were weighed.",
        )
    return Shop(str(folder), told, on=True)


def evidence_of(instrument: Instrument) -> dict[str, UsualEvidence]:
    """Return what one instrument tells by itself, by quantity; only of what is believed of it."""
    if instrument.visits[0].readings.empty:
        return {}
    findings = find_all(instrument, 0, reading_table(instrument), usual={})
    believed = believe(instrument, 0, findings)
    shapes = lines((believed.table["colour"] == "natural").to_numpy())
    take = np.asarray(np.linalg.pinv(shapes), dtype=np.float64)
    return {
        name: _told(take, believed, findings.known.courses[name], name)
        for name in USUAL_OF
        if name in findings.known.courses and believed.table[name].notna().all()
    }


def _told(take: Floats, believed: Believed, course: Course, name: str) -> UsualEvidence:
    """Return what one quantity tells; ``take`` gives level, change and step of its values."""
    count = len(believed.table)
    own = slice(BELIEVED.index(name) * count, (BELIEVED.index(name) + 1) * count)
    spread = np.sqrt(np.diagonal(take @ believed.cover[own, own] @ take.T))
    level, change, step = (float(value) for value in take @ believed.centre[own])
    level_u, change_u, step_u = (float(value) for value in spread)
    scatter = tuple(float(value) for value in course.scatter_told)
    return UsualEvidence(scatter, (level, change, step), (level_u, change_u, step_u))
