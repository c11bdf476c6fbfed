"""What first: the work of a way in the order of the greatest gain for the next hour."""

from __future__ import annotations

import numpy as np
import pandas as pd

from balancekit.calculation.plan.combination import fixed_costs
from balancekit.calculation.plan.front import Way
from balancekit.calculation.plan.knowledge import wanted_line
from balancekit.calculation.plan.treatments import FRICTION, HAMMERS, LEADS, SPRINGS, Treatments
from balancekit.calculation.plan.work_costs import USUAL, WorkCosts

REVERSIBLE_BONUS = 1.25
# Our own choice: what can be undone may gain a quarter less for its minutes and still come first.

BLOCK_MINUTES = 60.0

LEVER_WORK = ("move capstan", "move knuckle")
"""The work on a lever, as its operation is called."""

_RANK = {**dict.fromkeys(LEVER_WORK, 0), FRICTION: 1, SPRINGS: 2, HAMMERS: 3, LEADS: 4}


def order_of_work(treatments: Treatments, way: Way, costs: WorkCosts) -> pd.DataFrame:
    """Return the work of a way hour by hour, the greatest gain first.

    Groups are put right before single keys, because the weights of their keys rest on it. Within
    an hour the work goes by kind and from left to right, as it goes at the bench.

    Parameters
    ----------
    treatments, way : from ``find_front``.
    costs : minutes of each operation.

    Returns
    -------
    DataFrame with ``hour`` (from 1), ``work`` (``LEVER_WORK``, friction, springs, hammers, leads),
    ``first_key``, ``last_key``, ``minutes``, ``undone`` (whether it can be), ``gain_g2`` (what is
    left uneven less [g squared]), ``minutes_so_far``, ``left_g`` (root mean square over the keys
    once it is done [g]) and ``may_stop`` (whether the day may end after it).
    """
    piano = treatments.piano
    left, before = _left(treatments, way), _left(treatments, way, moved=False)
    nothing = _nothing(treatments)
    lines = []
    for number in way.decision.shifts:
        shift = piano.shifts[number]
        rows = list(shift.rows)
        gain = float((before[nothing[rows]] - left[nothing[rows]]).sum())
        minutes = len(rows) * costs.each(f"move {shift.lever}")
        lines.append(
            (f"move {shift.lever}", shift.first_key, shift.last_key, minutes,
             USUAL[f"move {shift.lever}"].undone, gain)
        )  # fmt: skip
    for row in range(treatments.rows):
        index = int(way.chosen[row])
        if index == nothing[row]:
            continue
        place = row if row < piano.count else int(treatments.friction_keys[row - piano.count])
        key, work = int(piano.keys[place]), _work(treatments, index)
        cut = treatments.new_holes[index] or treatments.strike_g[index] < 0
        undone = not (cut or treatments.fitted[index])
        gain = float(left[nothing[row]] - left[index])
        lines.append((work, key, key, float(treatments.minutes[index]), undone, gain))
    columns = ["work", "first_key", "last_key", "minutes", "undone", "gain_g2"]
    table = pd.DataFrame(lines, columns=columns)
    if table.empty:
        return table.assign(hour=0, minutes_so_far=0.0, left_g=0.0, may_stop=True)
    rate = table["gain_g2"] / table["minutes"].clip(lower=0.1)
    rate = rate * np.where(table["undone"], REVERSIBLE_BONUS, 1.0)
    rate[table["work"].isin(LEVER_WORK)] = np.inf
    table = table.loc[rate.sort_values(ascending=False, kind="stable").index]
    start = fixed_costs(piano, costs, way.decision)[0] - float(
        table.loc[table["work"].isin(LEVER_WORK), "minutes"].sum()
    )
    so_far = start + table["minutes"].cumsum()
    table["hour"] = np.ceil(so_far / BLOCK_MINUTES).clip(lower=1).astype(int)
    rank = table["work"].map(lambda work: _RANK[work.split(" and ")[0]])
    table = table.assign(rank=rank).sort_values(["hour", "rank", "first_key"], kind="stable")
    table["minutes_so_far"] = start + table["minutes"].cumsum()
    whole = float(before[nothing].sum())
    table["left_g"] = np.sqrt(np.maximum(whole - table["gain_g2"].cumsum(), 0.0) / piano.count)
    last = table["hour"] != table["hour"].shift(-1)
    table["may_stop"] = last & ~table["work"].isin(LEVER_WORK)
    return table[["hour", *columns, "minutes_so_far", "left_g", "may_stop"]].reset_index(drop=True)


def _left(treatments: Treatments, way: Way, *, moved: bool = True) -> np.ndarray:
    """Return what each treatment leaves, with the levers moved or as found."""
    piano = treatments.piano
    ratio, balance, inertia = piano.moved(way.decision.shifts if moved else ())
    course = piano.inertia_course(way.decision.shifts)
    return treatments.uneven(ratio, balance - wanted_line(treatments, way), inertia - course)


def _nothing(treatments: Treatments) -> np.ndarray:
    """Return for each row the treatment that does nothing, or the least that was decided."""
    return treatments.row_starts


def _work(treatments: Treatments, index: int) -> str:
    if treatments.eased[index]:
        return FRICTION
    used = [
        kind
        for kind, values in (
            (HAMMERS, treatments.strike_g), (LEADS, treatments.front_g),
            (SPRINGS, treatments.relief_g),
        )
        if values[index] != 0
    ]  # fmt: skip
    return " and ".join(used)
