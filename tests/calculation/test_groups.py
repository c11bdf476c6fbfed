"""The evidence for groups of keys, held against scipy's multivariate normal distribution.

scipy knows nothing of running sums: it is given each covariance written out, with the group's
shift and without, and the ratio of the two densities is summed over the grid.
"""

import numpy as np
import pytest
from scipy.stats import Covariance, multivariate_normal

from balancekit.calculation.believed import search as search_module
from balancekit.calculation.believed.expected_course import neighbour_errors
from balancekit.calculation.believed.groups import (
    find_runs,
    find_shared_runs,
    shared_evidence,
)
from balancekit.calculation.believed.running_sums import of_runs
from balancekit.calculation.believed.runs import Run
from balancekit.calculation.believed.search import Search
from balancekit.calculation.course import EXPECTED, course_lines, smooth_shapes
from balancekit.calculation.keyboard import keyboard
from tests.benchmarks.invented_pianos import invent

NATURALS = (keyboard()["colour"] == "natural").to_numpy()
SIZES = EXPECTED["strike_weight_g"]
READ = np.flatnonzero(np.arange(88) % 3 > 0)
PLACES = np.linspace(-0.5, 0.5, 88)
ERROR = 0.1
LIMITS = (search_module._HOPELESS, search_module._NEEDLESS)


def search(values: np.ndarray, where: np.ndarray = READ) -> Search:
    noise = np.full(len(where), ERROR**2)
    return Search(where, values[where], noise, NATURALS, SIZES)


def series(seed: int, *shifted: tuple[int, int, float]) -> np.ndarray:
    values = np.random.default_rng(seed).normal(0, 0.15, 88) - PLACES
    for first, last, by in shifted:
        values[first : last + 1] += by
    return values


def written_out(sought: Search, runs: list[Run]) -> np.ndarray:
    """Return the log density of the readings at every point of the grid, groups included."""
    wide = [100 * (np.ptp(series(1)[READ]) + SIZES.change), SIZES.change, SIZES.step, SIZES.step]
    course = course_lines(NATURALS)[READ] * wide
    bends = smooth_shapes(88)[READ]
    shifts = [SIZES.step * run.column(NATURALS)[READ] for run in runs]
    found = []
    for scatter, bend, part in sought.sizes:
        cover = course @ course.T + bend**2 * bends @ bends.T + scatter**2 * np.eye(len(READ))
        cover = cover + ERROR**2 * neighbour_errors(READ, part)
        cover = cover + sum(np.outer(shift, shift) for shift in shifts)
        given = Covariance.from_cholesky(np.linalg.cholesky(cover))
        found.append(multivariate_normal(cov=given).logpdf(sought.values))
    return np.array(found)


@pytest.mark.parametrize("sharps", [False, True])
def test_the_evidence_for_a_run_is_the_ratio_of_scipy_s_densities(sharps: bool) -> None:
    sought = search(series(1))
    look = sought.look(sharps)
    share, plain = sought.share, written_out(sought, [])
    for at in np.linspace(0, len(look.first) - 1, 5).astype(int):
        run = Run(int(READ[look.first[at]]), int(READ[look.last[at]]), sharps, 0.0)
        ratio = np.exp(written_out(sought, [run]) - plain)
        assert look.evidence[at] == pytest.approx(np.log(share @ ratio), abs=1e-6)


def test_a_group_that_was_found_is_part_of_the_course_for_the_next_one(monkeypatch) -> None:
    monkeypatch.setattr(search_module, "_NEEDLESS", 1e9)  # the same points with it and without
    monkeypatch.setattr(search_module, "_HOPELESS", 1e9)
    sought = search(series(1))
    first = Run(int(READ[20]), int(READ[30]), False, 0.0)
    plain, begin = written_out(sought, [first]), np.log(sought.share)
    begin = begin + plain - written_out(sought, [])
    sought.take(first)
    assert sought.share == pytest.approx(np.exp(begin) / np.exp(begin).sum(), rel=1e-6)
    look = sought.look(False)
    at = len(look.first) // 2
    second = Run(int(READ[look.first[at]]), int(READ[look.last[at]]), False, 0.0)
    ratio = np.exp(written_out(sought, [first, second]) - plain)
    assert look.evidence[at] == pytest.approx(np.log(sought.share @ ratio), abs=1e-6)


def test_two_groups_of_one_series_are_found_with_their_ends() -> None:
    every = np.arange(88)
    runs = find_runs(search(series(3, (20, 33, 0.9), (58, 70, -0.9)), every))
    assert sorted(run.place for run in runs) == [(20, 33, False), (58, 70, False)]


def test_a_step_between_the_colours_that_changes_over_the_keyboard_is_no_group() -> None:
    for seed in range(3):
        more = 0.9 * (0.5 - PLACES) * ~NATURALS  # the sharps lie higher in the bass alone
        assert find_runs(search(series(seed) + more, np.arange(88))) == []


def test_a_shift_that_two_series_share_is_seen_where_neither_shows_it_alone() -> None:
    """Half of each is there: alone it is not worth its price."""
    every, alone, together = np.arange(88), 0, 0
    for seed in range(8):
        one, other = (search(series(2 * seed + k, (30, 44, 0.27)), every) for k in (0, 1))
        together += bool(find_shared_runs([one, other], [1.0, 1.0]))
        alone += bool(find_runs(search(series(2 * seed, (30, 44, 0.27)), every)))
    assert together > alone


def test_the_evidence_for_a_shared_shift_is_that_of_all_points_of_all_grids() -> None:
    """Normal shift, normal readings: in closed form at each triple of points, by hand."""
    parts = [1.0, -0.4, 2.5]
    searches = [search(series(k, (30, 44, 0.3 * part))) for k, part in enumerate(parts, 1)]
    look = searches[0].look(False)
    best = np.argsort(look.evidence)[[-1, -40, 0]]
    first, last = look.first[best], look.last[best]
    assert shared_evidence(searches[:1], [1.0], first, last) == pytest.approx(
        look.evidence[best], abs=1e-6
    )
    found = shared_evidence(searches, parts, first, last)
    axes = np.ix_(*(np.arange(len(each.share)) for each in searches))
    for run, evidence in enumerate(found):
        pull, held, share = 0.0, 1 / SIZES.step**2, 1.0
        for each, part, axis in zip(searches, parts, axes, strict=True):
            pulls, helds = of_runs(each.running, first[[run]], last[[run]])
            pull = pull + part * pulls[axis, 0]
            held, share = held + part**2 * helds[axis, 0], share * each.share[axis]
        grown = share * np.exp(0.5 * pull**2 / held) / (SIZES.step * np.sqrt(held))
        assert evidence == pytest.approx(np.log(grown.sum()), abs=1e-4)


@pytest.mark.parametrize("shape", ["quiet", "shifted group", "a section off"])
def test_points_that_are_left_out_change_nothing(shape, monkeypatch) -> None:
    """The whole grid gives the same groups, and the same sizes to one part in a thousand."""
    for seed in (1, 2):
        readings = invent(shape, seed).readings.set_index("key")
        read = readings["wippen_weight_g"].to_numpy()
        given = (
            np.arange(88),
            read,
            np.full(88, 0.2**2),
            NATURALS,
            EXPECTED["wippen_weight_g"],
        )
        found = []
        for limits in ((1e9, 1e9), LIMITS):
            monkeypatch.setattr(search_module, "_HOPELESS", limits[0])
            monkeypatch.setattr(search_module, "_NEEDLESS", limits[1])
            sought = Search(*given)
            runs = [run.place for run in find_runs(sought)]
            spread = np.sqrt(np.diagonal(sought.left_open()))
            found.append((runs, sought.mixed(), spread))
        assert found[0][0] == found[1][0]
        assert found[1][1][:2] == pytest.approx(found[0][1][:2], rel=1e-3)
        assert found[1][2] == pytest.approx(found[0][2], rel=0.05, abs=1e-4)


def test_other_ends_are_weighed_as_scipy_s_densities_weigh_them() -> None:
    sought = search(series(1))
    first, last = np.array([14, 13, 20]), np.array([22, 22, 40])
    runs = [Run(int(READ[a]), int(READ[b]), False, 0.0) for a, b in zip(first, last, strict=True)]
    sought.take(runs[0])
    before = sought.weight - written_out(sought, runs[:1])
    evidence, _ = sought.other_ends(first, last, sharps=False)
    expected = [np.logaddexp.reduce(before + written_out(sought, [run])) for run in runs]
    assert evidence - evidence[0] == pytest.approx(np.array(expected) - expected[0], abs=1e-6)
