"""The layout of one key as a mixed-integer programme, written out on its own and solved by HiGHS.

It shares no search code with the package: the free places, the moments and the costs are
set up here again from the sizes of the key and the plugs.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import pi

import numpy as np
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp

END_SHARE = 0.001


@dataclass
class _Columns:
    """One column each: cost, moment gained, whether a plug goes in, new hole, old plug."""

    cost: list[float] = field(default_factory=list)
    moment: list[float] = field(default_factory=list)
    goes_in: list[float] = field(default_factory=list)
    hole: list[tuple[float, float] | None] = field(default_factory=list)
    old: list[int] = field(default_factory=list)

    def add(self, cost, moment, goes_in=0.0, hole=None, old=-1):
        self.cost.append(cost)
        self.moment.append(moment)
        self.goes_in.append(goes_in)
        self.hole.append(hole)
        self.old.append(old)


def _ends(stick: dict) -> tuple[float, float]:
    front = stick["arm_mm"] + stick["front_edge_mm"]
    return front - stick["stick_length_mm"], front


def _fits(x: float, plug, stick: dict, rules) -> bool:
    r, (back, front) = plug.diameter_mm / 2, _ends(stick)
    if plug.length_mm > stick["stick_width_mm"]:
        return False
    if plug.diameter_mm + 2 * rules.edge_clearance_mm > stick["stick_height_mm"]:
        return False
    if x + r > front - stick["front_free_mm"] or x - r < back + stick["back_free_mm"]:
        return False
    return abs(x) >= r + stick["balance_free_mm"] and abs(x - stick["capstan_mm"]) >= r + 8.0


def _clear(x: float, diameter: float, others, rules) -> bool:
    between = rules.hole_clearance_mm - 1e-9
    return all(abs(x - o[0]) >= (diameter + o[1]) / 2 + between for o in others)


def _columns(stick: dict, old, plugs, rules, slider: float) -> _Columns:
    """List everything that may be done to the key."""
    share = END_SHARE + (1 - 2 * END_SHARE) * slider
    operation, new_hole = (1 - share) * rules.operation_g, (1 - share) * rules.new_hole_g
    arm, density = stick["arm_mm"], stick["wood_density_g_cm3"]

    def inertia(mass: float, x: float, diameter: float) -> float:
        return share * mass * (x**2 + diameter**2 / 8) / arm**2

    columns = _Columns()
    for number, (x, diameter, mass) in enumerate(old):
        others = old[:number] + old[number + 1 :]
        columns.add(inertia(mass, x, diameter), 0.0, old=number)
        columns.add(operation, -mass * x, old=number)
        for plug in plugs if rules.bore_old_holes else []:
            wide = plug.diameter_mm
            if wide > diameter + 0.1 and _fits(x, plug, stick, rules):
                if not _clear(x, wide, others, rules):
                    continue
                ring = pi / 4 * (wide**2 - diameter**2) * plug.length_mm / 1000
                net = plug.mass_g - ring * density
                cost = inertia(net, x, wide) + 2 * operation
                columns.add(cost, (net - mass) * x, 1.0, (x, wide), number)
    back, front = _ends(stick)
    for plug in plugs:
        wide = plug.diameter_mm
        net = plug.mass_g - pi / 4 * wide**2 * plug.length_mm / 1000 * density
        for x in range(int(np.floor(back)), int(np.ceil(front)) + 1):
            if _fits(x, plug, stick, rules) and _clear(x, wide, old, rules):
                cost = inertia(net, x, wide) + operation + new_hole
                columns.add(cost, net * x, 1.0, (float(x), wide))
    return columns


def _one_hole_at_a_place(columns: _Columns, clearance_mm: float) -> list[np.ndarray]:
    """Return a row for each place: of the holes that would cover it, one at most."""
    wide = np.array([i for i, hole in enumerate(columns.hole) if hole is not None], dtype=int)
    centre = np.array([columns.hole[i][0] for i in wide])
    half = np.array([columns.hole[i][1] / 2 + clearance_mm / 2 for i in wide])
    rows = []
    for begin in np.unique(centre - half):
        row = np.zeros(len(columns.cost))
        row[wide[(centre - half <= begin + 1e-7) & (centre + half > begin + 1e-7)]] = 1.0
        rows.append(row)
    return rows


def _solve(columns: _Columns, aim: np.ndarray, low_g_mm, high_g_mm, count, rules, limit_s):
    """Solve the programme for one aim, with the moment between two bounds."""
    apart = _one_hole_at_a_place(columns, rules.hole_clearance_mm)
    owner = np.array(columns.old)
    chosen = [(owner == number).astype(float) for number in range(count)]
    rows = [np.array(columns.moment) / 1000, np.array(columns.goes_in), *chosen, *apart]
    low = [low_g_mm / 1000, -np.inf, *[1.0] * count, *[-np.inf] * len(apart)]
    high = [high_g_mm / 1000, rules.most_plugs_in, *[1.0] * count, *[1.0] * len(apart)]
    answer = milp(
        aim,
        constraints=LinearConstraint(sparse.csr_array(np.array(rows)), low, high),
        integrality=np.ones(len(aim)),
        bounds=Bounds(0, 1),
        options={"mip_rel_gap": 1e-4, "time_limit": limit_s},
    )
    if answer.status == 2:
        return float("inf")
    if answer.status != 0:
        raise RuntimeError(answer.message)
    return float(answer.fun)


def farthest_front_weight(
    stick: dict, front_weight_now_g: float, old, plugs: list, rules, *, up: bool
) -> float:
    """Return the highest front weight that any layout gives, or the lowest [g]."""
    columns = _columns(stick, old, plugs, rules, 0.5)
    sign = -1.0 if up else 1.0
    aim = sign * np.array(columns.moment)
    found = _solve(columns, aim, -np.inf, np.inf, len(old), rules, 120.0)
    return front_weight_now_g + sign * found / stick["arm_mm"]


def least_cost(
    stick: dict,
    front_weight_now_g: float,
    target_g: float,
    old: list[tuple[float, float, float]],
    plugs: list,
    rules,
    slider: float,
    time_limit_s: float = 120.0,
) -> float:
    """Return the least cost in grams at the finger, infinite if no layout meets the tolerance.

    Parameters
    ----------
    stick : the columns of the table of key sticks, for one key.
    old : (distance, diameter, mass) of each plug in the key.
    """
    columns = _columns(stick, old, plugs, rules, slider)
    need, arm = target_g - front_weight_now_g, stick["arm_mm"]
    low, high = (need - rules.tolerance_g) * arm, (need + rules.tolerance_g) * arm
    return _solve(columns, np.array(columns.cost), low, high, len(old), rules, time_limit_s)
