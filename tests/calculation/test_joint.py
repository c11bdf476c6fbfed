"""All readings taken together, held against scikit-learn's Gaussian process where it can do it.

scikit-learn knows nothing of a balance equation, so what is compared is a series read itself, with
errors that neighbours and all readings share, and the fill-in between its keys.
"""

import numpy as np
import pandas as pd
import pytest
from sklearn.gaussian_process import GaussianProcessRegressor

from balancekit.calculation.balance import solve_for_balance_weight
from balancekit.calculation.believed.find import find_groups
from balancekit.calculation.believed.joint import MODEL_PARTS, Known, System
from balancekit.calculation.believed.one_series import Course
from balancekit.calculation.course import EXPECTED, smooth_shapes
from balancekit.calculation.keyboard import keyboard
from balancekit.calculation.weighing.sampling import SAMPLED
from tests.benchmarks.flag_rates import with_results
from tests.calculation.given_kernel import Given

KEYS = keyboard()


def strike_weights(every: int = 3) -> pd.DataFrame:
    table = KEYS[["colour"]].copy()
    draw = np.random.default_rng(4)
    weights = np.linspace(11, 6, 88) + draw.normal(0, 0.2, 88)
    table["strike_weight_g"] = pd.Series(weights, table.index).where(table.index % every == 0)
    table["strike_weight_u_g"] = 0.1
    for name in ("down_weight_g", "up_weight_g", *MODEL_PARTS[:4], "spring_relief_g"):
        if name not in table:
            table[name] = np.nan
            table[name.replace("_g", "_u_g") if name.endswith("_g") else f"{name}_u"] = np.nan
    return table.assign(action_ratio=np.nan, action_ratio_u=np.nan)


def test_a_series_with_shared_errors_is_a_gaussian_process():
    table = strike_weights()
    shared = np.linspace(0, 0.3, 88)[:, None]
    known = Known(
        {"strike_weight_g": Course(0.15, 0.4, 0.5)},
        shared={"strike_weight_g": shared},
    )
    found = System(table, known).solve()
    # The same covariances again, written out.
    sizes = EXPECTED["strike_weight_g"]
    x = np.linspace(-0.5, 0.5, 88)
    step = np.where(table["colour"] == "natural", 0.5, -0.5)
    wide = 10 * (np.ptp(table["strike_weight_g"].dropna()) + sizes.change)
    line = np.column_stack(
        [wide + 0 * x, sizes.change * x, sizes.step * step, sizes.step * step * x]
    )
    bends = 0.4 * smooth_shapes(88)
    odd = System(table, known).blocks["strike_weight_g"].cover
    piano = (
        line @ line.T
        + bends @ bends.T
        + np.diag(np.diagonal(odd - line @ line.T - bends @ bends.T))
    )
    apart = np.subtract.outer(np.arange(88), np.arange(88)) / 2
    errors = 0.01 * (0.5 * np.exp(-0.5 * apart**2) + 0.5 * np.eye(88)) + shared @ shared.T
    at = np.flatnonzero(table["strike_weight_g"].notna())
    values = table["strike_weight_g"].to_numpy()[at]
    middle = np.median(values)
    process = GaussianProcessRegressor(Given(piano + errors), alpha=0.0, optimizer=None)
    process.fit(at[:, None], values - middle)
    # Readings carry the errors, true values do not: scikit-learn's own weights, our covariance.
    mean = middle + piano[:, at] @ process.alpha_
    assert found.mean == pytest.approx(mean, abs=1e-6)
    half = np.linalg.solve(process.L_, piano[at])
    assert np.diagonal(found.cover) == pytest.approx(np.diagonal(piano - half.T @ half), rel=1e-5)


def test_a_group_is_found_where_no_weight_at_the_key_was_read():
    table = strike_weights(1)
    table.loc[30:50, "strike_weight_g"] += 2.0
    found = find_groups(table)
    assert [run.place for run in found.runs["strike_weight_g"]] == [(29, 49, False)]
    assert set(found.courses) == {"strike_weight_g"}
    joint = System(table, Known(found.courses, found.runs)).solve()
    ((shift, shift_u),) = joint.shifts["strike_weight_g"]
    assert abs(shift - 2.0) < 3 * shift_u


def test_an_error_that_all_readings_share_does_not_average_out():
    table = strike_weights(1)
    courses = find_groups(table).courses
    offset = np.full((88, 1), 0.5)
    alone = System(table, Known(courses)).solve()
    shared = System(table, Known(courses, shared={"strike_weight_g": offset})).solve()
    mean = np.ones(88) / 88
    assert (mean @ alone.cover @ mean) ** 0.5 < 0.02
    assert (mean @ shared.cover @ mean) ** 0.5 == pytest.approx(0.5, rel=0.02)


def test_one_scale_has_one_error_in_all_that_was_weighed_on_it():
    table = strike_weights(1)
    table["front_weight_g"], table["front_weight_u_g"] = 30.0 - np.arange(88) / 5, 0.3
    offset = {name: np.full((88, 1), 0.5) for name in ("strike_weight_g", "front_weight_g")}
    found = System(table, Known(find_groups(table).courses, shared=offset)).solve()
    mean = np.ones(88) / 88
    front, strike = (slice(found.names.index(n) * 88, (found.names.index(n) + 1) * 88)
                     for n in ("front_weight_g", "strike_weight_g"))  # fmt: skip
    both = mean @ found.cover[front, strike] @ mean
    assert both == pytest.approx(0.25, rel=0.05)


def test_readings_of_sampled_keys_tell_of_the_others_through_the_balance():
    """With wippen weight and key ratio on every sixth key, the other keys' ratio is still known."""
    draw = np.random.default_rng(2)
    true = {"front_weight_g": 30 - np.arange(88) / 4, "strike_weight_g": np.linspace(11, 6, 88),
            "wippen_weight_g": np.full(88, 18.0), "key_ratio": np.full(88, 0.5),
            "action_ratio": 5.6 + draw.normal(0, 0.04, 88)}  # fmt: skip
    true["action_ratio"] = true["action_ratio"] + 0.4 * (np.arange(88) % 12 == 8)
    held = solve_for_balance_weight(**true, spring_relief_g=0.0)
    table = KEYS[["colour"]].assign(spring_relief_g=0.0, spring_relief_u_g=0.0)
    sizes = {"front_weight_g": 0.3, "strike_weight_g": 0.1, "wippen_weight_g": 0.2,
             "key_ratio": 0.005}  # fmt: skip
    for name, u in sizes.items():
        seen = pd.Series(true[name] + draw.normal(0, u, 88), table.index)
        table[name] = seen.where((table.index % 6 == 0) | (name not in SAMPLED[1:]))
        table[name.replace("_g", "_u_g") if name.endswith("_g") else f"{name}_u"] = u
    for name, sign in (("down_weight_g", 1), ("up_weight_g", -1)):
        table[name] = held + sign * 12 + draw.normal(0, 0.7, 88)
        table[name.replace("_g", "_u_g")] = 0.7
    courses = dict(find_groups(with_results(table)).courses)
    courses["action_ratio"] = Course(0.12, 0.1, 0.0)
    # The scatter is that of the whole, odd keys among them.
    found = System(table, Known(courses)).solve()
    at = found.names.index("action_ratio") * 88
    off = found.mean[at : at + 88] - true["action_ratio"]
    u = np.diagonal(found.cover)[at : at + 88] ** 0.5
    # Every twelfth key is odd by 0.4; not one of these has a key ratio of its own.
    odd = np.flatnonzero((np.arange(88) % 12 == 8) & table["key_ratio"].isna())
    assert len(odd) > 3 and (np.abs(off[odd]) < 0.3).all()
    assert (np.abs(off) <= 1.96 * u).mean() > 0.88, (off, u)
