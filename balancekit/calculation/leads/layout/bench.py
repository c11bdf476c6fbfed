"""The keys as they are, ready for a layout: rules, stock, old plugs, and where holes fit.

What is laid out here does not depend on the wanted front weight or on the slider, so it is
done once and not again while the slider moves.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from balancekit.calculation.leads import key_stick
from balancekit.calculation.leads.layout.grid import KeyTask
from balancekit.calculation.leads.layout.sets import (
    Floats,
    OldPlugs,
    Stock,
    list_ways,
)
from balancekit.calculation.leads.plugs import USUAL_LENGTH_MM, Plug, make_plug
from balancekit.calculation.problems import BalancekitError, Problem, refuse


@dataclass(frozen=True)
class LayoutRules:
    """What a layout must keep to, and what an operation counts.

    Attributes
    ----------
    tolerance_g : how far the front weight may lie from its target [g], 0.02 or more.
    most_plugs_in : at most so many plugs go into one key, 0 to 6.
    hole_clearance_mm : wood that stays between two holes [mm].
    edge_clearance_mm : wood that stays above and below a hole [mm].
    operation_g : what one operation counts, in grams at the finger; taking a plug out and
        putting one in are one operation each.
    new_hole_g : what one new hole counts beside its operation, in grams at the finger.
    bore_old_holes : whether an old hole may be bored out for a larger plug.
    """

    tolerance_g: float = 0.1
    most_plugs_in: int = 4
    hole_clearance_mm: float = 3.0
    edge_clearance_mm: float = 2.0
    operation_g: float = 4.0
    new_hole_g: float = 2.0
    bore_old_holes: bool = True

    def __post_init__(self) -> None:
        limits = {
            "tolerance_g": (0.02, 20.0),
            "most_plugs_in": (0, 6),
            "hole_clearance_mm": (0.0, 30.0),
            "edge_clearance_mm": (0.0, 30.0),
            "operation_g": (0.0, 1000.0),
            "new_hole_g": (0.0, 1000.0),
        }
        for name, (low, high) in limits.items():
            value = getattr(self, name)
            if not low <= value <= high:
                raise refuse(f"{name} is {value}.", f"Give {low:g} to {high:g}.")
        if self.most_plugs_in != int(self.most_plugs_in):
            raise refuse(f"most_plugs_in is {self.most_plugs_in}.", "Give a whole number.")


@dataclass(frozen=True)
class LayoutBench:
    """The keys as they are, ready for a layout at any target and any slider.

    Attributes
    ----------
    keys : key numbers, shape (n,); keys without a front weight are left out.
    front_weight_now_g : shape (n,), with the plugs that are in the keys [g].
    sticks : table of key sticks of these keys.
    plugs : what may go in.
    rules : what a layout keeps to.
    """

    keys: pd.Index
    front_weight_now_g: Floats
    sticks: pd.DataFrame
    plugs: tuple[Plug, ...]
    rules: LayoutRules
    old: tuple[OldPlugs, ...]
    stock: Stock
    wood_densities: Floats
    wood: NDArray[np.int64]
    grid_start_mm: int
    tasks: tuple[KeyTask, ...]

    @cached_property
    def front_edge_mm(self) -> Floats:
        """Measuring point to front edge, shape (n,) [mm]."""
        edge: Floats = self.sticks["front_edge_mm"].to_numpy(dtype=float)
        return edge


def read_leads(leads: pd.DataFrame, sticks: pd.DataFrame) -> pd.DataFrame:
    """Check the plugs that are in the keys; a mass not given is that of a usual lead plug.

    Parameters
    ----------
    leads : table of kind ``leads``: ``key, diameter_mm, mass_g, distance_mm``.
    sticks : table of key sticks.

    Raises
    ------
    BalancekitError : every plug on no key, beyond the key's ends, or without a place.
    """
    out = leads[["key", "diameter_mm", "mass_g", "distance_mm"]].copy()
    front = dict(zip(sticks.index.tolist(), key_stick.front_end_mm(sticks).tolist(), strict=True))
    back = dict(zip(sticks.index.tolist(), key_stick.back_end_mm(sticks).tolist(), strict=True))
    problems: list[Problem] = []
    for line, (key, wide, mass, x) in enumerate(out.to_numpy(dtype=float).tolist(), start=2):
        message = advice = ""
        if key not in front:
            message, advice = "This key is not on the keyboard.", "Mend the key number."
        elif not wide > 0 or not back[key] < x < front[key]:
            message = f"A plug of {wide:g} mm at {x:g} mm from the balance pin is not on this key."
            advice = (
                f"Give a diameter above 0 and a distance from {back[key]:g} to {front[key]:g} mm, "
                "negative behind the pin."
            )
        elif mass <= 0:
            message, advice = f"The plug weighs {mass:g} g.", "Give a mass above 0."
        if message:
            problems.append(Problem(message, advice, file="leads.csv", line=line, key=int(key)))
    if problems:
        raise BalancekitError(problems)
    usual = [make_plug(wide, USUAL_LENGTH_MM).mass_g for wide in out["diameter_mm"]]
    out["mass_g"] = out["mass_g"].fillna(pd.Series(usual, index=out.index, dtype=float))
    return out


def prepare_layout(
    sticks: pd.DataFrame,
    front_weight_now_g: pd.Series,
    leads: pd.DataFrame,
    plugs: Sequence[Plug],
    *,
    rules: LayoutRules | None = None,
    zones: Sequence[key_stick.Zone] = (),
) -> LayoutBench:
    """Get the keys ready for layouts; what does not depend on target and slider is done once.

    Parameters
    ----------
    sticks : table of key sticks, indexed by key; see ``key_stick.usual_sticks``.
    front_weight_now_g : front weight of each key with the plugs now in it [g]; a key
        without one is left out.
    leads : the plugs that are in the keys, table of kind ``leads``; may be empty.
    plugs : what may go in.
    rules : what a layout keeps to.
    zones : further places without holes.

    Raises
    ------
    BalancekitError : no plug to put in, or leads that cannot be.
    """
    rules = rules or LayoutRules()
    if not plugs:
        raise refuse("There is no plug in the stock.", "Put at least one plug into the stock.")
    known = front_weight_now_g.reindex(sticks.index).dropna()
    sticks = sticks.loc[known.index]
    leads = read_leads(leads[leads["key"].isin(known.index)], sticks)
    stock = Stock(
        np.array([plug.diameter_mm for plug in plugs]),
        np.array([plug.length_mm for plug in plugs]),
        np.array([plug.mass_g for plug in plugs]),
    )
    densities, wood = np.unique(sticks["wood_density_g_cm3"].to_numpy(), return_inverse=True)
    by_key = {key: rows for key, rows in leads.groupby("key")}
    old = tuple(_old_plugs(by_key.get(key)) for key in sticks.index)
    start, tasks = _tasks(sticks, old, stock, rules, zones, wood) if len(sticks) else (0, ())
    return LayoutBench(
        sticks.index, known.to_numpy(dtype=float), sticks, tuple(plugs), rules, old, stock,
        densities, wood, start, tasks,
    )  # fmt: skip


def _old_plugs(rows: pd.DataFrame | None) -> OldPlugs:
    """Return the plugs of one key, from back to front."""
    if rows is None:
        none = np.zeros(0)
        return OldPlugs(none, none, none)
    rows = rows.sort_values("distance_mm")
    return OldPlugs(
        *(rows[name].to_numpy(dtype=float) for name in ("distance_mm", "diameter_mm", "mass_g"))
    )


def _tasks(
    sticks: pd.DataFrame,
    old: Sequence[OldPlugs],
    stock: Stock,
    rules: LayoutRules,
    zones: Sequence[key_stick.Zone],
    wood: NDArray[np.int64],
) -> tuple[int, tuple[KeyTask, ...]]:
    """Lay the grid and tell where new holes fit; return its first place and a task for each key."""
    start = int(np.floor(key_stick.back_end_mm(sticks).min()))
    grid = np.arange(start, int(np.ceil(key_stick.front_end_mm(sticks).max())) + 1)
    radius = stock.diameter_mm / 2
    tasks = []
    rows = sticks.to_dict("records")
    for number, (row, here) in enumerate(zip(rows, old, strict=True)):
        stretches = key_stick.blocked_stretches(row, zones)
        goes_in = (stock.length_mm <= row["stick_width_mm"]) & (
            stock.diameter_mm + 2 * rules.edge_clearance_mm <= row["stick_height_mm"]
        )
        free = key_stick.hole_fits(grid, stock.diameter_mm, stretches) & goes_in[:, None]
        clear = here.diameter_mm / 2 + rules.hole_clearance_mm
        for place, width in zip(here.distance_mm, clear, strict=True):
            free &= np.abs(grid - place) >= radius[:, None] + width - 1e-9
        larger = stock.diameter_mm[None, :] > here.diameter_mm[:, None] + 0.1
        clear_there = key_stick.hole_fits(here.distance_mm, stock.diameter_mm, stretches)
        may_bore = larger & goes_in & clear_there.T
        may_bore &= rules.bore_old_holes
        ways = list_ways(
            here,
            stock,
            may_bore,
            wood_density_g_cm3=row["wood_density_g_cm3"],
            most_plugs_in=int(rules.most_plugs_in),
            hole_clearance_mm=rules.hole_clearance_mm,
        )
        bored = {
            (i, j): np.abs(grid - here.distance_mm[i])
            >= radius[:, None] + radius[j] + rules.hole_clearance_mm - 1e-9
            for i, j in zip(*(each.tolist() for each in np.nonzero(may_bore)), strict=True)
        }
        tasks.append(KeyTask(row["arm_mm"], int(wood[number]), ways, free, bored))
    return start, tuple(tasks)
