"""The layout of one key as a mixed-integer programme, written out on its own and solved by HiGHS.

It shares no search code with the package: the free places, the moments and the costs are
set up here again from the sizes of the key and the plugs.
"""

from __future__ import annotations

from math import pi

import numpy as np
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp

END_SHARE = 0.001


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
    share = END_SHARE + (1 - 2 * END_SHARE) * slider
    operation, new_hole = (1 - share) * rules.operation_g, (1 - share) * rules.new_hole_g
    arm, density = stick["arm_mm"], stick["wood_density_g_cm3"]
    clearance = rules.hole_clearance_mm
    front = stick["arm_mm"] + stick["front_edge_mm"]
    back = front - stick["stick_length_mm"]

    def fits(x: float, plug) -> bool:
        r = plug.diameter_mm / 2
        if plug.length_mm > stick["stick_width_mm"]:
            return False
        if plug.diameter_mm + 2 * rules.edge_clearance_mm > stick["stick_height_mm"]:
            return False
        if x + r > front - stick["front_free_mm"] or x - r < back + stick["back_free_mm"]:
            return False
        capstan = stick["capstan_mm"]
        return abs(x) >= r + stick["balance_free_mm"] and abs(x - capstan) >= r + 8.0

    def clear(x: float, diameter: float, others: list[tuple[float, float, float]]) -> bool:
        return all(abs(x - o[0]) >= (diameter + o[1]) / 2 + clearance - 1e-9 for o in others)

    # One column each: cost, moment gained, whether a plug goes in, place and width of a new hole.
    cost, moment, goes_in, span, owner = [], [], [], [], []
    for number, (x, diameter, mass) in enumerate(old):
        own = diameter**2 / 8
        cost += [share * mass * (x**2 + own) / arm**2, operation]
        moment += [0.0, -mass * x]
        goes_in += [0, 0]
        span += [None, None]
        owner += [number, number]
        for plug in plugs if rules.bore_old_holes else []:
            others = old[:number] + old[number + 1 :]
            if plug.diameter_mm <= diameter + 0.1 or not fits(x, plug):
                continue
            if not clear(x, plug.diameter_mm, others):
                continue
            ring = pi / 4 * (plug.diameter_mm**2 - diameter**2) * plug.length_mm / 1000
            net = plug.mass_g - ring * density
            cost.append(share * net * (x**2 + plug.diameter_mm**2 / 8) / arm**2 + 2 * operation)
            moment.append((net - mass) * x)
            goes_in.append(1)
            span.append((x, plug.diameter_mm))
            owner.append(number)
    for plug in plugs:
        wood = pi / 4 * plug.diameter_mm**2 * plug.length_mm / 1000 * density
        net = plug.mass_g - wood
        for x in range(int(np.floor(back)), int(np.ceil(front)) + 1):
            if fits(x, plug) and clear(x, plug.diameter_mm, old):
                inertia = net * (x**2 + plug.diameter_mm**2 / 8) / arm**2
                cost.append(share * inertia + operation + new_hole)
                moment.append(net * x)
                goes_in.append(1)
                span.append((float(x), plug.diameter_mm))
                owner.append(-1)
    owners = np.array(owner)
    rows = [np.array(moment), np.array(goes_in, dtype=float)]
    need = target_g - front_weight_now_g
    low = [(need - rules.tolerance_g) * arm, -np.inf]
    high = [(need + rules.tolerance_g) * arm, float(rules.most_plugs_in)]
    for number in range(len(old)):
        rows.append((owners == number).astype(float))
        low.append(1.0)
        high.append(1.0)
    wide = [i for i, each in enumerate(span) if each is not None]
    centre = np.array([span[i][0] for i in wide])
    half = np.array([span[i][1] / 2 + clearance / 2 for i in wide])
    for begin in np.unique(centre - half):
        over = (centre - half <= begin + 1e-7) & (centre + half > begin + 1e-7)
        row = np.zeros(len(cost))
        row[np.array(wide)[over]] = 1.0
        rows.append(row)
        low.append(-np.inf)
        high.append(1.0)
    scale = np.ones(len(rows))
    scale[0] = 1 / 1000
    matrix = sparse.csr_array(np.array(rows) * scale[:, None])
    limits = LinearConstraint(matrix, np.array(low) * scale, np.array(high) * scale)
    answer = milp(
        np.array(cost),
        constraints=limits,
        integrality=np.ones(len(cost)),
        bounds=Bounds(0, 1),
        options={"mip_rel_gap": 1e-4, "time_limit": time_limit_s},
    )
    if answer.status == 2:
        return float("inf")
    if answer.status != 0:
        raise RuntimeError(answer.message)
    return float(answer.fun)
