"""The groups of an instrument: every series searched, what a capstan moves also together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from balancekit.calculation.believed.expected_course import NEIGHBOUR_SHARES
from balancekit.calculation.believed.groups import find_runs, find_shared_runs
from balancekit.calculation.believed.runs import Run
from balancekit.calculation.believed.search import Search, search_of
from balancekit.calculation.believed.usual import Usual
from balancekit.calculation.course import Floats
from balancekit.calculation.irregularities.trend import as_read, fit_table
from balancekit.calculation.linkage.moves import capstan_shifts
from balancekit.calculation.quantities import uncertainty_name
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
class Course:
    """How much one series scatters and bends, and how far its errors are those of neighbours.

    Attributes
    ----------
    scatter, bend : root mean squares of what the readings leave open.
    neighbours : part of the weighing errors' variance that neighbouring keys share.
    left_open : covariance of the keys' true values because these sizes are open, (K, K).
    scatter_told : log likelihood of the scatter by itself; see ``usual.UsualEvidence``.
    """

    scatter: float
    bend: float
    neighbours: float
    left_open: Floats | float = 0.0
    scatter_told: Sequence[float] | Floats = ()


@dataclass(frozen=True)
class FoundGroups:
    """The groups of an instrument, and the course of every series beside them.

    Attributes
    ----------
    runs : groups by quantity; a quantity without one is left out. Down, up and balance weight
        follow the others, so theirs are those of all the others.
    courses : by quantity, for each that has readings enough.
    """

    runs: Mapping[str, tuple[Run, ...]]
    courses: Mapping[str, Course]


def find_groups(table: pd.DataFrame, usual: Mapping[str, Usual] | None = None) -> FoundGroups:
    """Find the groups of every series of the table of keys, and how it runs beside them.

    Where strike weight, wippen weight or key ratio are not read on a key, the action ratio is
    solved with the trend's value in its place, and the uncertainty that goes with it.

    Parameters
    ----------
    table : the table of keys as it was read, with ``colour`` and uncertainties.
    usual : what is usual in one's own shop, by quantity.
    """
    own = [name for name in GROUPED if name != "action_ratio"]
    searches = {name: search for name in own if (search := _search(table, name, usual))}
    filled = table
    if table["action_ratio"].notna().any() and table[list(SAMPLED)].isna().any(axis=None):
        read = {name: table[[name, uncertainty_name(name), "colour"]] for name in SAMPLED}
        trends = {name: fit_table(part)[name] for name, part in read.items() if name in part
                  and part[name].notna().any()}  # fmt: skip
        filled = with_ratio(fill_gaps(table, trends=trends)).assign(estimated="")
    ratio = _search(filled, "action_ratio", usual)
    if ratio:
        searches["action_ratio"] = ratio
    found = _shifted_by_capstans(searches, filled)
    for name, search in searches.items():
        found[name] = [*found.get(name, []), *find_runs(search)]
    grouped = {name: tuple(runs) for name, runs in found.items() if runs}
    every = {run.place: run for runs in grouped.values() for run in runs}
    if every:
        sums = ("down_weight_g", "up_weight_g", "balance_weight_g")
        grouped |= dict.fromkeys(sums, tuple(every.values()))
    _share_what_neighbours_tell(list(searches.values()))
    return FoundGroups(
        grouped,
        {
            name: Course(*search.mixed(), search.left_open(), search.scatter_told())
            for name, search in searches.items()
        },
    )


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
    if len(names) < 2:
        return {}
    shared = find_shared_runs([searches[n] for n in names], [parts[n] for n in names])
    return {name: list(shared) for name in names}


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
    spread, own = table[uncertainty_name(name)].astype(float), (usual or {}).get(name)
    return search_of(as_read(table, name), spread, table["colour"], name, own)


def shown_runs(runs: Mapping[str, Sequence[Run]]) -> list[tuple[str, Run]]:
    """Return quantity and run of every group that is a finding, from the left."""
    found = [(name, run) for name in GROUPED for run in runs.get(name, ())]
    return sorted(found, key=lambda pair: (pair[1].first, pair[1].last, GROUPED.index(pair[0])))


def members(run: Run, colours: pd.Series) -> np.ndarray:
    """Return which keys belong to a group."""
    return run.column((colours == "natural").to_numpy()) > 0
