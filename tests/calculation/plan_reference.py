"""A plan found in other ways: every combination counted out, and a mixed-integer programme.

What the hammers of a way keep to is written here anew, from its words in ``hammer_course``.
"""

from __future__ import annotations

import numpy as np
import scipy

from balancekit.calculation.plan.combination import FEW_PRICES, Combination, Decision, Ground
from balancekit.calculation.plan.front import MOST_GAP_PERCENT, decisions
from balancekit.calculation.plan.treatments import HAMMERS, LEADS, SPRINGS, Treatments
from balancekit.calculation.plan.work_costs import WorkCosts
from balancekit.instrument.choices.whole_plan import WholePlan

Levels = frozenset[int]


def levels_of(treatments: Treatments) -> tuple[int, int]:
    """Return the lowest and highest level of the course, in half steps."""
    half = treatments.hammer_step_g / 2
    changes = np.append(treatments.strike_g, 0.0)
    return int(np.floor(changes.min() / half + 1e-9)), int(np.ceil(changes.max() / half - 1e-9))


def fitting(treatments: Treatments, key: int, change_g: float) -> Levels:
    """Return the levels that go with a change of one hammer; 0 for one that is left."""
    piano, half = treatments.piano, treatments.hammer_step_g / 2
    low, high = levels_of(treatments)
    off = float((piano.strike_weight_g - piano.smooth(piano.strike_weight_g, half / 2))[key])
    if not piano.may_cut[key] or np.isfinite(piano.hammer_fixed_g[key]):
        return frozenset(range(low, high + 1))
    reach = half if change_g else max(abs(off), half)
    return frozenset(
        level for level in range(low, high + 1)
        if abs(off + change_g - level * half) <= reach + 1e-9
    )  # fmt: skip


def beside(levels: Levels) -> Levels:
    """Return the levels that may come after some others."""
    return frozenset(level + step for level in levels for step in (-1, 0, 1))


def has_a_course(treatments: Treatments, changes_g: list[float]) -> bool:
    """Tell whether some changes of all hammers lie on a course together."""
    low, high = levels_of(treatments)
    levels: Levels = frozenset(range(low - 1, high + 2))
    for key, change in enumerate(changes_g):
        levels = beside(levels) & fitting(treatments, key, change)
    return bool(levels)


def allowed(treatments: Treatments, decision: Decision) -> np.ndarray:
    """Tell which treatments use no other kind of work than was decided."""
    keep = np.ones(len(treatments.row), dtype=bool)
    for kind, used in (
        (HAMMERS, treatments.strike_g != 0), (LEADS, treatments.lead != 0),
        (SPRINGS, treatments.relief_g != 0), ("friction", treatments.eased),
    ):  # fmt: skip
        keep &= ~used if kind not in decision.kinds else True
    return keep


def counted_out(
    treatments: Treatments,
    costs: WorkCosts,
    at: list[float],
    wanted: tuple[float, float, float] | None = None,
) -> list[float]:
    """Return the least unevenness within some minutes, over every combination there is.

    Of combinations that leave the rest of the hammers the same freedom, one that takes longer and
    leaves more is dropped at once.
    """
    best = [np.inf] * len(at)
    low, high = levels_of(treatments)
    for decision in decisions(treatments.piano, wanted):
        ground = Ground(treatments, decision)
        fixed = Combination(ground, costs, decision).fixed[0]
        may = allowed(treatments, decision)
        ends: dict[Levels, list[tuple[float, float]]] = {
            frozenset(range(low, high + 1)): [(fixed, 0.0)]
        }
        for row in range(treatments.rows):
            after: dict[Levels, list[tuple[float, float]]] = {}
            for i in np.flatnonzero((treatments.row == row) & may):
                own = row < treatments.piano.count
                change = float(treatments.strike_g[i])
                fits = fitting(treatments, row, change) if own else None
                more = float(treatments.minutes[i]), float(ground.uneven[i])
                for levels, found in ends.items():
                    then = levels if fits is None else beside(levels) & fits
                    if then:
                        after.setdefault(then, []).extend(
                            (minutes + more[0], uneven + more[1]) for minutes, uneven in found
                        )
            ends = {levels: undominated(found) for levels, found in after.items()}
        for found in ends.values():
            for number, most in enumerate(at):
                fit = [uneven for minutes, uneven in found if minutes <= most + 1e-9]
                best[number] = min([best[number], *fit])
    return best


def undominated(found: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return the pairs of which no other is shorter and leaves less."""
    kept: list[tuple[float, float]] = []
    for pair in sorted(found):
        if not kept or pair[1] < kept[-1][1]:
            kept.append(pair)
    return kept


def by_highs(treatments: Treatments, combination: Combination, minutes: float) -> float:
    """Return the least unevenness of one decision within some minutes, as HiGHS finds it."""
    t, decision, ground = treatments, combination.decision, combination.ground
    may = np.flatnonzero(allowed(t, decision))
    # Of equal treatments in all but the lead only the best can be in the answer.
    order = may[np.lexsort((ground.uneven[may], t.minutes[may], t.strike_g[may], t.row[may]))]
    same = np.all([np.diff(v[order]) == 0 for v in (t.row, t.strike_g, t.minutes)], axis=0)
    used = order[np.append(True, ~same)]
    low, high = levels_of(t)
    levels, count = high - low + 1, t.piano.count
    size = len(used) + levels * count
    rows: list[tuple[dict[int, float], float, float]] = []
    for row in range(t.rows):
        here = np.flatnonzero(t.row[used] == row).tolist()
        rows.append((dict.fromkeys(here, 1.0), 1, 1))
        if row >= count:
            continue
        first = len(used) + row * levels
        rows.append((dict.fromkeys(range(first, first + levels), 1.0), 1, 1))
        for change in np.unique(t.strike_g[used[here]]):
            taken = {i: 1.0 for i in here if t.strike_g[used[i]] == change}
            fits = {first + level - low: -1.0 for level in fitting(t, row, float(change))}
            rows.append((taken | fits, -np.inf, 0))
        for level in range(levels if row + 1 < count else 0):
            then = {first + levels + n: -1.0 for n in (level - 1, level, level + 1)
                    if 0 <= n < levels}  # fmt: skip
            rows.append(({first + level: 1.0} | then, -np.inf, 0))
    rows.append((dict(enumerate(t.minutes[used])), 0, minutes - combination.fixed[0] + 1e-6))
    matrix = scipy.sparse.lil_array((len(rows), size))
    for number, (each, _, _) in enumerate(rows):
        matrix[number, list(each)] = list(each.values())
    done = scipy.optimize.milp(
        np.append(ground.uneven[used], np.zeros(levels * count)),
        integrality=np.ones(size),
        bounds=scipy.optimize.Bounds(0, 1),
        constraints=scipy.optimize.LinearConstraint(
            matrix.tocsr(), [low for _, low, _ in rows], [high for _, _, high in rows]
        ),
        options={"mip_rel_gap": 1e-4},
    )
    assert done.success
    return float(done.fun)


def hold_against_highs(plan: WholePlan, hours: float) -> None:
    """Hold that no way within some hours leaves less than the plan's, as HiGHS finds it."""
    t, way = plan.treatments, plan.way(plan.front.within(60 * hours))
    least = np.inf
    for decision in decisions(plan.piano):
        combo = Combination(Ground(t, decision), plan.costs, decision, FEW_PRICES)
        own = combo.floor.at(np.array([way.minutes]))[0]
        if own > way.uneven + 1e-6:  # the bound is itself held against the programme elsewhere
            continue
        found = by_highs(t, combo, way.minutes)
        assert found >= own - 1e-6
        least = min(least, found)
    assert way.bound - 1e-6 <= least <= way.uneven * (1 + 1e-4)  # HiGHS is that exact
    assert way.uneven <= least * (1 + MOST_GAP_PERCENT / 100)
