"""The groups of an instrument: every series searched, what a capstan moves also together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from balancekit.calculation.believed.expected_course import NEIGHBOUR_SHARES
from balancekit.calculation.believed.groups import find_runs, find_shared_runs
from balancekit.calculation.believed.one_series import Course, as_read, course_of
from balancekit.calculation.believed.runs import Run
from balancekit.calculation.believed.search import FEWEST_READINGS, Search, search_of
from balancekit.calculation.believed.usual import Usual
from balancekit.calculation.course import EXPECTED
from balancekit.calculation.linkage.moves import capstan_shifts
from balancekit.calculation.quantities import READING_COLUMNS, TOUCH_COLUMNS, uncertainty_name
from balancekit.calculation.weighing.sampling import SAMPLED, fill_gaps, with_ratio

GROUPED = (
    "front_weight_g",
    "strike_weight_g",
    "key_ratio",
    "action_ratio",
    "wippen_weight_g",
    "friction_g",
)
"""The quantities in which groups are sought: those that vary on their own in a piano.

Where one cause moves several, the one that names the move stands first.
"""


@dataclass(frozen=True)
class FoundGroups:
    """The groups of an instrument, and the course of every series beside them.

    Attributes
    ----------
    runs : groups by quantity; a quantity without one is left out. Down, up and balance weight
        follow the others, so theirs are those of all the others.
    courses : by quantity, for each that has a reading.
    """

    runs: Mapping[str, tuple[Run, ...]]
    courses: Mapping[str, Course]


def find_groups(table: pd.DataFrame, usual: Mapping[str, Usual] | None = None) -> FoundGroups:
    """Find the groups of every series of the table of keys, and how it runs beside them.

    Where strike weight, wippen weight or key ratio are not read on a key, the action ratio is
    solved with what their own series tell of it, and the uncertainty that goes with it.

    Parameters
    ----------
    table : the table of keys as it was read, with ``colour`` and uncertainties.
    usual : what is usual in one's own shop, by quantity.
    """
    beside = [name for name in (*READING_COLUMNS, "balance_weight_g")
              if name in EXPECTED and name not in (*GROUPED, *TOUCH_COLUMNS)]  # fmt: skip
    own = [name for name in (*GROUPED, *beside) if name != "action_ratio"]
    searches = {name: search for name in own if (search := _search(table, name, usual))}
    filled = table
    if table["action_ratio"].notna().any() and table[list(SAMPLED)].isna().any(axis=None):
        guesses = {name: course_of(searches[name]) for name in SAMPLED if name in searches}
        filled = with_ratio(fill_gaps(table, guesses))
    ratio = _search(filled, "action_ratio", usual)
    if ratio:
        searches["action_ratio"] = ratio
    found = _shifted_by_capstans(searches, filled)
    sought = {name: searches[name] for name in GROUPED if _is_enough(searches.get(name))}
    for name, search in sought.items():
        found[name] = [*found.get(name, []), *find_runs(search)]
    grouped = {name: tuple(runs) for name, runs in found.items() if runs}
    every = {run.place: run for runs in grouped.values() for run in runs}
    if every:
        sums = ("down_weight_g", "up_weight_g", "balance_weight_g")
        grouped |= dict.fromkeys(sums, tuple(every.values()))
    _share_what_neighbours_tell(list(sought.values()))
    if "balance_weight_g" in searches:
        for run in grouped.get("balance_weight_g", ()):
            searches["balance_weight_g"].take(run)
    return FoundGroups(grouped, {name: course_of(each) for name, each in searches.items()})


def _shifted_by_capstans(
    searches: Mapping[str, Search], filled: pd.DataFrame
) -> dict[str, list[Run]]:
    """Find the groups that a displaced capstan line makes, in all that it moves.

    A group need not keep to the proportion of the levers to be found; if it does it is seen sooner.
    """
    if "key_ratio" not in searches:
        return {}
    parts, where = capstan_shifts(**usual_of_levers(filled)), searches["key_ratio"].where
    names = [n for n in parts if n in searches and np.array_equal(searches[n].where, where)]
    if len(names) < 2 or not _is_enough(searches["key_ratio"]):
        return {}
    shared = find_shared_runs([searches[n] for n in names], [parts[n] for n in names])
    return {name: list(shared) for name in names}


def _is_enough(search: Search | None) -> bool:
    """Whether groups can be told from a course that bends."""
    return search is not None and len(search.where) >= FEWEST_READINGS


def usual_of_levers(table: pd.DataFrame) -> dict[str, float]:
    """Return the medians of what ``capstan_shifts`` rests on."""
    names = ["key_ratio", "action_ratio", "wippen_weight_g"]
    return {str(name): float(table[name].astype(float).median()) for name in names}


def _share_what_neighbours_tell(searches: Sequence[Search]) -> None:
    """Let every series expect half of what the others tell of errors that neighbours share.

    One hand takes all readings, though not with one tool.
    """
    before = np.array([*NEIGHBOUR_SHARES.values()])
    told = np.log(np.maximum([search.told() for search in searches], 1e-12)).reshape(
        -1, len(before)
    )
    for search, others in zip(searches, told.sum(axis=0) - told, strict=True):
        seen = before * np.exp(others - others.max())
        search.expect((before + seen / seen.sum()) / 2)


def _search(
    table: pd.DataFrame, name: str, usual: Mapping[str, Usual] | None = None
) -> Search | None:
    if name not in table:
        return None
    values = as_read(table, name).astype(float)
    if name == "spring_relief_g" and values.nunique() == 1:
        return None  # the same on every key, as on an action without springs: no series
    spread, own = table[uncertainty_name(name)].astype(float), (usual or {}).get(name)
    return search_of(values, spread, table["colour"], name, own, fewest=1)


def shown_runs(runs: Mapping[str, Sequence[Run]]) -> list[tuple[str, Run]]:
    """Return quantity and run of every group that is a finding, from the left."""
    found = [(name, run) for name in GROUPED for run in runs.get(name, ())]
    return sorted(found, key=lambda pair: (pair[1].first, pair[1].last, GROUPED.index(pair[0])))


def members(run: Run, colours: pd.Series) -> np.ndarray:
    """Return which keys belong to a group."""
    return run.column((colours == "natural").to_numpy()) > 0
