"""The layout of plugs: which go in, which come out, which stay, and exactly where.

Every key is to end with a wanted front weight. Of all the layouts that reach it within
the tolerance the one of least cost is taken::

    cost = slider x inertia of the leads at the finger
         + (1 - slider) x (operations x operation price + new holes x hole price)

all in grams at the finger. The slider runs from 0, least work, to 1, least inertia; at its
ends the other side still counts a thousandth, so that of two equal layouts the better is
taken. New holes stand on a 1 mm grid from the balance pin, and on it the layout is the best
there is; ``layout.search`` says why.

Lead is toxic: gloves, wet wiping, wash before food, no sanding or melting, scraps by local
rules. A hole cannot be undone: plan first, and try the plug loose on top of the key.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from balancekit.calculation.leads.key_stick import from_front_edge_mm
from balancekit.calculation.leads.layout.bench import LayoutBench, LayoutRules
from balancekit.calculation.leads.layout.reach import farthest
from balancekit.calculation.leads.layout.search import LayoutSearch
from balancekit.calculation.leads.layout.sets import (
    KEEP,
    TAKE_OUT,
    Floats,
    Ints,
    gaps_mm,
    list_sequences,
)
from balancekit.calculation.leads.layout.tables import Found, Prices
from balancekit.calculation.problems import refuse

END_SHARE = 0.001
# What the other side of the slider still counts at its ends; our own choice.

_NEAREST_G = 0.02
# How exactly the nearest layout is looked for where none meets the tolerance; our own choice,
# far below what a scale under the key shows.

PLUG_ACTIONS = {KEEP: "keep", TAKE_OUT: "take out"}
PUT_IN = "put in"


@dataclass(frozen=True)
class Layout:
    """A layout of the whole keyboard.

    Attributes
    ----------
    keys : indexed by key: ``target_g, front_weight_g, miss_g, within, lead_inertia_g, lead_g,
        operations, new_holes, plugs_in, taken_out, kept, cost_g``. ``miss_g`` is what the
        expected front weight is above the target; ``lead_inertia_g`` and ``lead_g`` are of all
        leads that are then in the key.
    plan : one row a plug: ``key, action`` (keep, take out, put in), ``plug, diameter_mm,
        mass_g, distance_mm, from_front_edge_mm, hole`` (old, new, bored larger) and
        ``front_weight_g``, expected of the key.
    slider : 0 for least work, 1 for least inertia.
    """

    keys: pd.DataFrame
    plan: pd.DataFrame
    slider: float


def mix_prices(rules: LayoutRules, slider: float) -> Prices:
    """Return what inertia, operations and holes count at one place of the slider.

    Raises
    ------
    BalancekitError : a slider outside 0 to 1.

    >>> mix_prices(LayoutRules(operation_g=4.0), 0.5)
    Prices(inertia=0.5, operation_g=2.0, new_hole_g=1.0)
    """
    if not 0 <= slider <= 1:
        raise refuse(f"The slider is at {slider}.", "Give 0, least work, to 1, least inertia.")
    share = END_SHARE + (1 - 2 * END_SHARE) * slider
    return Prices(share, (1 - share) * rules.operation_g, (1 - share) * rules.new_hole_g)


def find_layout(
    bench: LayoutBench, target_front_weight_g: pd.Series, slider: float = 0.5
) -> Layout:
    """Find the layout of least cost for every key.

    Where no layout meets the tolerance, the nearest one is given and ``within`` is False;
    ``leads_plan.ways_out`` says what would help.

    Parameters
    ----------
    bench : the keys, from ``layout.prepare_layout``.
    target_front_weight_g : wanted front weight, indexed by key [g]; a key without one is
        left out.
    slider : 0 for least work, 1 for least inertia.

    Returns
    -------
    Layout with its table of keys and its plan.

    Raises
    ------
    BalancekitError : a slider outside 0 to 1.
    """
    prices = mix_prices(bench.rules, slider)
    target = target_front_weight_g.reindex(bench.keys).to_numpy(dtype=float)
    rows = np.nonzero(np.isfinite(target))[0]
    tolerance = np.full(len(rows), bench.rules.tolerance_g)
    found = search(bench, rows, target[rows], tolerance, prices)
    lost = np.array([i for i, each in enumerate(found) if each.way < 0], dtype=np.int64)
    if len(lost):
        for i, each in zip(lost, _nearest(bench, rows[lost], target, prices), strict=True):
            found[i] = each
    return tabulate(bench, rows, target[rows], found, slider)


def search(
    bench: LayoutBench, rows: Ints, target_g: Floats, tolerance_g: Floats, prices: Prices
) -> list[Found]:
    """Search some of the keys, each with a tolerance of its own; see ``layout.search``.

    Parameters
    ----------
    rows : places of the keys in the bench, shape (n,).
    target_g, tolerance_g : shape (n,), of these keys [g].
    """
    return Searched(bench, rows, prices).run(target_g, tolerance_g) if len(rows) else []


class Searched:
    """Some of the keys, set up for searches that differ in their targets alone.

    Parameters
    ----------
    bench, rows, prices : as for ``search``.
    """

    def __init__(self, bench: LayoutBench, rows: Ints, prices: Prices) -> None:
        self.arm_mm = np.array([bench.tasks[row].arm_mm for row in rows])
        self.now_g = bench.front_weight_now_g[rows]
        self.tables = _tables(bench, rows, prices)

    def aim(self, target_g: Floats, tolerance_g: Floats) -> LayoutSearch:
        """Set targets and tolerances of the keys, shape (n,) [g]."""
        need = target_g - self.now_g
        self.tables.aim((need - tolerance_g) * self.arm_mm, (need + tolerance_g) * self.arm_mm)
        return self.tables

    def run(self, target_g: Floats, tolerance_g: Floats) -> list[Found]:
        """Return the layout of least cost of each key; its way is -1 where there is none."""
        return self.aim(target_g, tolerance_g).run()


def _tables(bench: LayoutBench, rows: Ints, prices: Prices) -> LayoutSearch:
    tasks = [bench.tasks[row] for row in rows]
    clearance = bench.rules.hole_clearance_mm
    sequences = list_sequences(
        bench.stock, int(bench.rules.most_plugs_in), clearance, bench.wood_densities
    )
    net_mass = np.array([bench.stock.net_mass_g(density) for density in bench.wood_densities])
    gap = gaps_mm(bench.stock.diameter_mm, clearance)
    width = bench.stock.diameter_mm
    return LayoutSearch(tasks, sequences, net_mass, width, gap, bench.grid_start_mm, prices)


def _nearest(bench: LayoutBench, rows: Ints, target: Floats, prices: Prices) -> list[Found]:
    """Find the layouts that miss their target by the least.

    A target out of reach gets the farthest layout. One in a gap between layouts is closed in
    on from both sides, to within ``_NEAREST_G``.
    """
    target, now = target[rows], bench.front_weight_now_g[rows]
    failed = np.full(len(rows), bench.rules.tolerance_g)
    met = np.full(len(rows), np.inf)
    best = [Found() for _ in rows]
    tables = Searched(bench, rows, prices).aim(target, failed)
    for i, row in enumerate(rows.tolist()):
        up = bool(target[i] > now[i])
        moment, found = farthest(tables, i, up=up)
        short = target[i] - (now[i] + moment / bench.tasks[row].arm_mm)
        out_of_reach = short > 0 if up else short < 0
        if out_of_reach:
            best[i], met[i] = found, failed[i]
        else:  # leaving all as it is meets the target within what it is off now
            met[i] = abs(target[i] - now[i]) + 1e-6
    gaps = np.nonzero(met > failed)[0]
    for i, found in zip(
        gaps.tolist(), search(bench, rows[gaps], target[gaps], met[gaps], prices), strict=True
    ):
        best[i] = found
    while True:
        wide = np.nonzero(met - failed > _NEAREST_G)[0]
        if not len(wide):
            return best
        tried = (met[wide] + failed[wide]) / 2
        for i, found in enumerate(search(bench, rows[wide], target[wide], tried, prices)):
            at = wide[i]
            if found.way < 0:
                failed[at] = tried[i]
            else:
                best[at] = found
                off = now[at] + gain_g(bench, int(rows[at]), found) - target[at]
                met[at] = min(tried[i], max(abs(off), failed[at]))


def _masses(bench: LayoutBench, row: int, found: Found) -> Floats:
    """Return the net masses of the plugs that go into new holes [g]."""
    density = bench.wood_densities[bench.wood[row]]
    masses: Floats = bench.stock.net_mass_g(density)[list(found.sizes)]
    return masses


def gain_g(bench: LayoutBench, row: int, found: Found) -> float:
    """Return the front weight that one key gains by its layout [g]."""
    new = _masses(bench, row, found) @ np.array(found.distances_mm, dtype=float)
    old = bench.tasks[row].ways.gain_g_mm[found.way]
    return float(new + old) / bench.tasks[row].arm_mm


def lead_inertia_g(bench: LayoutBench, row: int, found: Found) -> float:
    """Return the inertia at the finger of all leads that are then in one key [g]."""
    task = bench.tasks[row]
    mass, x = _masses(bench, row, found), np.array(found.distances_mm, dtype=float)
    radius = bench.stock.diameter_mm[list(found.sizes)] / 2
    old = task.ways.inertia_g_mm2[found.way]
    return (float(old) + float(mass @ (x**2 + radius**2 / 2))) / task.arm_mm**2


class PlugCounts(NamedTuple):
    """How many holes are new, plugs put in, and plugs taken out."""

    new_holes: int
    plugs_in: int
    taken_out: int


def counts_of(bench: LayoutBench, row: int, found: Found) -> PlugCounts:
    """Count the work on one key; boring an old hole larger takes a plug out and puts one in."""
    ways, new = bench.tasks[row].ways, len(found.sizes)
    bored = int(ways.plugs_in[found.way])
    return PlugCounts(new, new + bored, int(ways.operations[found.way]) - bored)


def tabulate(
    bench: LayoutBench, rows: Ints, target: Floats, found: list[Found], slider: float
) -> Layout:
    """Turn what was found for some keys of a bench into the table of keys and the plan."""
    lines: list[dict[str, Any]] = []
    plan: list[dict[str, Any]] = []
    for row, wanted, each in zip(rows.tolist(), target.tolist(), found, strict=True):
        front_weight = bench.front_weight_now_g[row] + gain_g(bench, row, each)
        plugs = _plugs_of(bench, row, each)
        plan += [{**plug, "front_weight_g": front_weight} for plug in plugs]
        lines.append(_line(bench, row, wanted, front_weight, each, plugs))
    keys = pd.DataFrame(lines, columns=LINE_COLUMNS).set_index("key")
    table = pd.DataFrame(plan, columns=PLAN_COLUMNS)
    order = table.sort_values(["key", "distance_mm", "action"], ascending=[True, False, False])
    return Layout(keys, order.reset_index(drop=True), slider)


def joined_layouts(one: Layout, other: Layout) -> Layout:
    """Return the layouts of different keys as one."""
    parts = [each for each in (one, other) if len(each.keys)] or [one]
    plans = [each.plan for each in parts if len(each.plan)] or [one.plan]
    plan = pd.concat(plans).sort_values("key", kind="stable").reset_index(drop=True)
    return Layout(pd.concat([each.keys for each in parts]).sort_index(), plan, one.slider)


LINE_COLUMNS = (
    "key", "target_g", "front_weight_g", "miss_g", "within", "lead_inertia_g", "lead_g",
    "operations", "new_holes", "plugs_in", "taken_out", "kept", "cost_g",
)  # fmt: skip

PLAN_COLUMNS = (
    "key", "action", "plug", "diameter_mm", "mass_g", "distance_mm", "from_front_edge_mm",
    "hole", "front_weight_g",
)  # fmt: skip


def _plugs_of(bench: LayoutBench, row: int, found: Found) -> list[dict[str, Any]]:
    """List every plug of one key with what is done to it."""
    old = bench.old[row]
    plugs: list[tuple[str, str, float, float, float, str]] = []
    for i, doing in enumerate(bench.tasks[row].ways.doing[found.way].tolist()):
        x, wide = float(old.distance_mm[i]), float(old.diameter_mm[i])
        action = PLUG_ACTIONS.get(doing, PLUG_ACTIONS[TAKE_OUT])
        plugs.append((action, f"old {wide:g} mm", wide, float(old.mass_g[i]), x, "old"))
        if doing >= 0:
            plug = bench.plugs[doing]
            plugs.append((PUT_IN, plug.name, plug.diameter_mm, plug.mass_g, x, "bored larger"))
    for size, x in zip(found.sizes, found.distances_mm, strict=True):
        plug = bench.plugs[size]
        plugs.append((PUT_IN, plug.name, plug.diameter_mm, plug.mass_g, float(x), "new"))
    arm, front_edge = bench.tasks[row].arm_mm, float(bench.front_edge_mm[row])
    edge = from_front_edge_mm(0.0, arm_mm=arm, front_edge_mm=front_edge)
    return [
        {
            "key": bench.keys[row],
            "action": action,
            "plug": name,
            "diameter_mm": wide,
            "mass_g": mass,
            "distance_mm": x,
            "from_front_edge_mm": edge - x,
            "hole": hole,
        }
        for action, name, wide, mass, x, hole in plugs
    ]


def _line(
    bench: LayoutBench,
    row: int,
    target: float,
    front_weight: float,
    found: Found,
    plugs: list[dict[str, Any]],
) -> dict[str, Any]:
    """Return one row of the table of keys."""
    actions = [plug["action"] for plug in plugs]
    counts = counts_of(bench, row, found)
    return {
        "key": bench.keys[row],
        "target_g": target,
        "front_weight_g": front_weight,
        "miss_g": front_weight - target,
        "within": bool(abs(front_weight - target) <= bench.rules.tolerance_g + 1e-6),
        "lead_inertia_g": lead_inertia_g(bench, row, found),
        "lead_g": sum(p["mass_g"] for p in plugs if p["action"] != PLUG_ACTIONS[TAKE_OUT]),
        "operations": counts.taken_out + counts.plugs_in,
        "new_holes": counts.new_holes,
        "plugs_in": counts.plugs_in,
        "taken_out": counts.taken_out,
        "kept": actions.count(PLUG_ACTIONS[KEEP]),
        "cost_g": found.cost_g,
    }
