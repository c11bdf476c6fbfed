"""Readings that all others together do not believe: the algebra, and how many are found.

The size of a misreading and its standard units are held against statsmodels' generalised least
squares, the mean shift outlier model written as a regression on one column; what is left beside
causes that were taken, against a regression on all their columns.
"""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from balancekit.calculation.believed.causes import (
    Cause,
    KeyEvidence,
    Patterns,
    Readings,
    find_causes,
)
from balancekit.calculation.believed.find import find_groups
from balancekit.calculation.believed.joint import Known, System
from balancekit.instrument.findings import find_all
from balancekit.instrument.model import Instrument
from balancekit.instrument.table import reading_table
from tests.benchmarks.flag_rates import READ, invented_table, with_results
from tests.benchmarks.invented_pianos import invent
from tests.calculation.test_joint import strike_weights

TABLE = invented_table(3)


def system_of(table: pd.DataFrame) -> System:
    groups = find_groups(table)
    return System(table, Known(groups.courses, groups.runs))


def held(table: pd.DataFrame) -> Readings:
    """The readings of a table, with every quantity on its own."""
    system = system_of(table)
    return Readings.of(system, Patterns.of(system))


def changed(key: int, **more: float) -> pd.DataFrame:
    table = TABLE[list(READ)].copy()
    for name, by in more.items():
        table.loc[key, name] += by
    return with_results(table)


def wrong() -> Readings:
    """Hold an up weight that is 12 g too high, and a strike weight of ten times its size."""
    table = changed(40, up_weight_g=12.0)
    table["strike_weight_g"] = table["strike_weight_g"].where(table.index != 7, 105.0)
    return held(with_results(table))


@pytest.mark.parametrize("row", [0, 100, 400])
def test_a_misreading_is_that_of_a_regression_on_it(row):
    system, readings = system_of(TABLE), held(TABLE)
    _, total, left = system.linear(system.begin())
    column = np.zeros(len(left))
    column[row] = 1.0
    fit = sm.GLS(left, column, sigma=total).fit(cov_type="fixed scale")
    assert readings.whole_left[row] / readings.whole[row, row] == pytest.approx(fit.params[0])
    assert readings.units()[row] == pytest.approx(fit.tvalues[0])


def test_what_is_left_beside_causes_is_left_beside_a_regression_on_them():
    spoiled = wrong()
    assert set(spoiled.keys) == {6, 39}
    system = spoiled.system
    _, total, left = system.linear(system.begin())
    near = [row for row, place in enumerate(spoiled.at) if place in (5, 6, 38, 39)]
    for row in (3, 250, 500, *near):
        if spoiled.inverse[row, row] < 1e-6 * spoiled.whole[row, row]:
            assert spoiled.taken[row].any()  # it is the cause itself: nothing is left of it
            continue
        column = np.zeros(len(left))
        column[row] = 1.0
        both = np.column_stack([column, spoiled.taken])
        fit = sm.GLS(left, both, sigma=total).fit(cov_type="fixed scale")
        inverse, rest = spoiled.inverse[row, row], spoiled.left[row]
        assert rest / inverse == pytest.approx(fit.params[0], rel=1e-6, abs=1e-9)
        assert inverse**-0.5 == pytest.approx(fit.bse[0], rel=1e-6)


def test_the_density_is_that_of_what_no_cause_explains():
    """With a free size of each cause: Gelman and others, Bayesian Data Analysis, 14.2; from memory.

    The integral over sizes without a prior leaves the determinant of the causes' own information.
    """
    spoiled = wrong()
    system = spoiled.system
    _, total, left = system.linear(system.begin())
    fit = sm.GLS(left, spoiled.taken, sigma=total).fit(cov_type="fixed scale")
    known = np.linalg.slogdet(fit.cov_params())[1]
    expected = -0.5 * (fit.ssr + np.linalg.slogdet(total)[1] - known)
    assert spoiled.density == pytest.approx(expected, rel=1e-8)


def test_where_nothing_is_off_nothing_is_taken():
    readings = held(TABLE)
    assert readings.keys == () and readings.taken.shape == (528, 0)
    assert readings.inverse == pytest.approx(readings.whole)
    assert len(readings.by_key) == 88


def test_a_sum_of_readings_is_off_as_its_contrast_is():
    spoiled = wrong()
    system = spoiled.system
    _, total, left = system.linear(system.begin())
    own = np.flatnonzero(spoiled.at == 50)
    columns = np.column_stack([np.eye(len(left))[:, own], spoiled.taken])
    fit = sm.GLS(left, columns, sigma=total).fit(cov_type="fixed scale")
    evidence = spoiled.by_key[50]
    contrast = np.zeros(columns.shape[1])
    contrast[[evidence.names.index("down_weight_g"), evidence.names.index("up_weight_g")]] = (
        0.5,
        -0.5,
    )
    test = fit.t_test(contrast)
    friction = {"down_weight_g": 0.5, "up_weight_g": -0.5}
    found = evidence.of([friction, {"down_weight_g": 1.0, "spring_relief_g": 1.0}])
    assert found[:, 0] == pytest.approx([test.effect[0], test.sd[0, 0]], rel=1e-6)
    assert np.isnan(found[:, 1]).all()
    every = evidence.of([dict.fromkeys(evidence.names, 1.0)])
    assert every[0, 0] == pytest.approx(evidence.off.sum())


def test_a_mended_reading_leaves_less_to_explain():
    spoiled = wrong()
    case = spoiled.case(39)
    mended = case.with_read({"up_weight_g": -12.0, "key_ratio": 0.0})
    assert mended.squares < 0.3 * case.squares
    moved = dict(zip(case.names, mended.off - case.off, strict=True))
    assert moved.pop("up_weight_g") == pytest.approx(-12.0)
    assert list(moved.values()) == pytest.approx([0.0] * 5)
    best = case.explained()
    assert best is not None
    rest = case.beside(best[0])
    assert rest.names == case.names and best[0] not in rest.causes
    assert rest.squares == pytest.approx(case.squares - best[2] ** 2)


def test_a_reading_is_believed_where_it_and_the_piano_explain_alike():
    """One weight alone cannot tell a slip from an odd key; two readings may."""
    one, pattern = np.eye(2), np.array([1.0, 0.0])
    real, misread = (
        Cause("strike_weight_g", False, pattern),
        Cause("strike_weight_g", True, pattern),
    )
    gone = Cause("key_ratio", False, np.array([0.0, 0.0]))
    alone = KeyEvidence(("strike_weight_g", "key_ratio"), np.array([5.0, 0.1]), one,
                        (gone, real, misread))  # fmt: skip
    best = alone.explained()
    assert best is not None and best[0] is real and best[1:] == (5.0, 5.0)
    apart = Cause("strike_weight_g", False, np.array([1.0, 1.0]))
    best = replace(alone, causes=(apart, misread)).explained()
    assert best is not None and best[0] is misread
    assert replace(alone, causes=(gone,)).explained() is None


def test_what_was_not_read_is_no_cause():
    """Strike weights on every third key alone: each may be odd or misread, and nothing else."""
    table = strike_weights()
    system = System(table, Known(find_groups(table).courses))
    patterns = Patterns.of(system)
    count = int(table["strike_weight_g"].notna().sum())
    assert patterns.names == ["strike_weight_g"] * (2 * count)
    assert patterns.misread.tolist() == [False] * count + [True] * count
    assert np.array_equal(patterns.rows[:count], patterns.rows[count:])
    assert Patterns.of(system_of(TABLE)).names.count("friction_g") == 88


def test_a_key_is_held_against_the_other_keys_alone():
    """What is off on a key with a cause does not know of that cause, nor of its own readings."""
    spoiled = wrong()
    system = spoiled.system
    _, total, left = system.linear(system.begin())
    for place in (6, 39, 50):
        own = np.flatnonzero(spoiled.at == place)
        others = spoiled.taken[:, [key != place for key in spoiled.keys]]
        fit = sm.GLS(
            left, np.column_stack([np.eye(len(left))[:, own], others]), sigma=total
        ).fit(cov_type="fixed scale")  # fmt: skip
        evidence = spoiled.by_key[place]
        assert evidence.off == pytest.approx(fit.params[: len(own)], rel=1e-6, abs=1e-8)
        spread = np.sqrt(np.diagonal(np.linalg.inv(evidence.inverse)))
        assert spread == pytest.approx(fit.bse[: len(own)], rel=1e-6)


def test_one_key_of_an_instrument_tells_of_itself_by_the_equation():
    """A cause moves the readings of its key as the balance equation says."""
    spoiled = wrong()
    by_name = {(cause.name, cause.misread): cause.pattern for cause in spoiled.case(50).causes}
    names = spoiled.case(50).names
    told = {name: dict(zip(names, by_name[name, False], strict=True)) for name in
            ("friction_g", "front_weight_g", "strike_weight_g", "key_ratio")}  # fmt: skip
    ratio = spoiled.system.known.courses["action_ratio"].guess[50]
    wippen = spoiled.system.known.courses["wippen_weight_g"].guess[50]
    for name, own, moved in (
        ("friction_g", None, (1.0, -1.0)), ("front_weight_g", "front_weight_g", (-1.0, -1.0)),
        ("strike_weight_g", "strike_weight_g", (ratio, ratio)),
        ("key_ratio", "key_ratio", (wippen, wippen)),
    ):  # fmt: skip
        expected = {"down_weight_g": moved[0], "up_weight_g": moved[1]} | (
            {own: 1.0} if own else {}
        )
        assert {n: v for n, v in told[name].items() if v} == pytest.approx(expected)


def test_what_a_tight_centre_does_is_friction():
    readings = find_causes(system_of(changed(40, down_weight_g=5.0, up_weight_g=-5.0)))
    assert readings.keys == (39,)
    best = readings.case(39).explained()
    assert best is not None and (best[0].name, best[0].misread) == ("friction_g", False)
    assert best[1] == pytest.approx(5.0, abs=3.0)


def test_a_misread_weight_is_named_with_its_size():
    readings = find_causes(system_of(changed(40, up_weight_g=6.0)))
    assert readings.keys == (39,)
    best = readings.case(39).explained()
    assert best is not None and (best[0].name, best[0].misread) == ("up_weight_g", True)
    assert best[1] == pytest.approx(6.0, abs=3.0)


def test_the_smallest_misreading_that_is_told_apart_is_found_as_often_as_promised():
    """Normal distribution: of readings off by that much, 80 in 100 lie beyond the limit."""
    readings = held(TABLE)
    sizes = readings.told_apart(0.8)
    assert readings.told_apart() == pytest.approx(sizes)
    half = readings.told_apart(0.5) * np.sqrt(np.diagonal(readings.whole))
    assert half == pytest.approx(readings.beyond())
    draw = np.random.default_rng(1)
    spread = 1 / np.sqrt(np.diagonal(readings.whole))
    seen = (sizes + spread * draw.normal(size=(400, len(sizes)))) / spread
    assert (np.abs(seen) > readings.beyond()).mean() == pytest.approx(0.8, abs=0.01)


@pytest.mark.slow
def test_weights_misread_by_five_grams_are_mostly_found_and_clean_ones_hardly_doubted():
    found, clean = 0, 0
    for seed in range(401, 409):
        readings = invent("quiet", seed).readings.assign(note="")
        whole = Instrument().with_readings(readings)
        flags = find_all(whole, 0, reading_table(whole)).flags
        clean += sum(flag.kind != "missing" for flag in flags)
        for row, name in ((11, "down_weight_g"), (44, "up_weight_g"), (70, "down_weight_g")):
            readings.loc[row, name] += 5.0 if row % 2 else -5.0
        wrong = Instrument().with_readings(readings)
        flags = find_all(wrong, 0, reading_table(wrong)).flags
        found += len({flag.key for flag in flags if flag.kind != "missing"} & {12, 45, 71})
    # 24 are planted; found in 80 of 100, fewer than 15 are so 13 times in 1,000 (binomial).
    assert found >= 15
    # At 1 in 1,000 of 4224 readings, more than 10 are flagged 4 times in 1,000 (Poisson).
    assert clean <= 10
