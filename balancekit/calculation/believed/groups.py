"""Keys that are shifted together: a run of neighbours, or the sharps of a run.

A group is a step up at one key and down at another, on top of the slow course of a series. A
course that may bend freely swallows such a step. So every run of keys is weighed against the
course with both sizes of it, scatter and bends, open: at every point of a grid of sizes, with
Q the inverse covariance of the readings and h the run, a shift of prior size t changes the
evidence by the factor::

    exp(t^2 (h'Qy)^2 / (1 + t^2 h'Qh) / 2) / sqrt(1 + t^2 h'Qh)

which is exact. All runs come at once from running sums over y and Q. A run is taken if it is
worth its price: runs are many, and the price is their number times the odds against any.

References
----------
Kass and Raftery, Journal of the American Statistical Association 90 (1995) 773, Bayes factors.
Olshen, Venkatraman, Lucito and Wigler, Biostatistics 5 (2004) 557: a change is sought as a run
with two ends, because a run between two changes hides each of them alone; from memory.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from balancekit.calculation.believed.running_sums import of_runs
from balancekit.calculation.believed.runs import FEWEST_KEYS, Look, Run, odds_of
from balancekit.calculation.believed.search import Search
from balancekit.calculation.course import Floats

_LIKELY = 60
# Our own choice: of so many runs that are liked best a group's ends are told, and the shift that
# two series share.

_STEP = 0.5
_STEPS = np.arange(-12.0, 12.0 + _STEP, _STEP)
# Shifts over which is summed, in standard deviations; a bell a third as wide is met every 1.5.

_FAR_OFF = 12.0
# Ends whose log evidence lies further below the best are not weighed.

_CLEARLY = 1.0
# Our own choice: log of the odds at which readings like one account of the keys clearly better.

_MOST = 6
# Our own choice: more groups than this in one series are not told apart.


def _take(searches: Sequence[Search], look: Look, evidence: Floats, odds: float) -> Run:
    """Put the run of most evidence into the course of some series; return it.

    With it in the course its sizes are known better, and so are its ends.
    """
    likely = np.argsort(evidence)[: -_LIKELY - 1 : -1]
    likely = likely[evidence[likely] > evidence[likely[0]] - _FAR_OFF]
    first, last = look.first[likely], look.last[likely]
    run = searches[0].run(int(first[0]), int(last[0]), look.sharps, odds)
    for search in searches:
        search.take(run)
    told = [search.other_ends(first, last, look.sharps) for search in searches]
    total = np.sum([each for each, _ in told], axis=0)
    best = int(np.argmax(total))
    run = searches[0].run(int(first[best]), int(last[best]), look.sharps, odds)
    for search, (_, drawn) in zip(searches, told, strict=True):
        search.doubt_ends(total, drawn - drawn[best])
        if best:
            search.hold((*search.runs[:-1], run), search.shifts)
    return run


def find_runs(search: Search) -> list[Run]:
    """Return the groups of one series, the surest first; each is sought beside those before."""
    found: list[Run] = []
    while len(found) < _MOST:
        best = max((search.look(sharps) for sharps in (False, True)), key=lambda look: look.odds)
        if best.odds <= 0:
            break
        found.append(_take([search], best, best.evidence, best.odds))
    return _parted(search, found)


def _parted(search: Search, found: list[Run]) -> list[Run]:
    """Tell a run that another takes back in part as what is left of both.

    Both say the same of these keys, but what a person sees is runs beside keys that are as they
    should be. It stays as it was found where the readings like that clearly better.
    """
    for one, other in permutations(found, 2):
        shifts = dict(zip(search.runs, search.shifts, strict=True))
        parts = _left_over(one, other, shifts)
        if not parts:
            continue
        del shifts[one], shifts[other]
        likely = search.evidence - _CLEARLY
        before = search.runs, search.shifts
        search.hold((*shifts, *parts), (*shifts.values(), *parts.values()))
        if search.evidence > likely:
            return _parted(search, [*(run for run in found if run in shifts), *parts])
        search.hold(*before)
    return found


def _left_over(one: Run, other: Run, shifts: Mapping[Run, float]) -> dict[Run, float]:
    """Return the runs that are left, and their shifts, where the other takes back a part of one.

    None where none is taken back, or too little is left.
    """
    if one.sharps != other.sharps or not one.first < other.first <= one.last:
        return {}
    before = replace(one, last=other.first - 1)
    if other.last < one.last:
        after, shift = replace(one, first=other.last + 1), shifts[one]
    else:
        after, shift = replace(other, first=one.last + 1), shifts[other]
    opposite = shifts[one] * shifts[other] < 0
    long = min(each.last - each.first + 1 for each in (before, after)) >= FEWEST_KEYS
    return {before: shifts[one], after: shift} if opposite and long else {}


def find_shared_runs(searches: Sequence[Search], parts: Sequence[float]) -> list[Run]:
    """Return groups that several series share, shifted in a fixed proportion.

    A capstan line that is displaced moves key ratio, action ratio and wippen weight together.

    Parameters
    ----------
    searches : read on the same keys; groups that are found are put into all.
    parts : shift of each for a shift of 1 in the first.
    """
    found: list[Run] = []
    while len(found) < _MOST:
        looks = [search.look(False) for search in searches]
        total = np.sum([look.evidence for look in looks], axis=0)
        likely = np.argsort(total)[-_LIKELY:]
        shared = np.full(len(total), -np.inf)
        ends = looks[0].first[likely], looks[0].last[likely]
        shared[likely] = shared_evidence(searches, parts, *ends)
        odds = odds_of(shared)
        if odds <= 0 or odds <= max(look.odds for look in looks):
            break
        found.append(_take(searches, looks[0], shared, odds))
    return found


def shared_evidence(
    searches: Sequence[Search],
    parts: Sequence[float],
    first: NDArray[np.intp],
    last: NDArray[np.intp],
) -> Floats:
    """Return the log evidence of some runs for a shift that several series share, (R,).

    Given the shift s of the first, the series know nothing of each other: each has its own sum
    over its grid of ``exp(s part h'Qy - (s part)^2 h'Qh / 2)``. The product of these sums, with
    the prior of s, is summed over even steps of s.

    Parameters
    ----------
    searches, parts : see ``find_shared_runs``.
    first, last : readings at which each run begins and ends, (R,).
    """
    told = [
        (part * pull, part**2 * held, search.share[:, None])
        for search, part in zip(searches, parts, strict=True)
        for pull, held in (of_runs(search.running, first, last),)
    ]
    before = 1 / searches[0].shift ** 2
    known = before + sum((share * held).sum(axis=0) for _, held, share in told)
    middle = sum((share * pull).sum(axis=0) for pull, _, share in told) / known
    shift = middle + _STEPS[:, None] / np.sqrt(known)
    total = 0.5 * np.log(before / known * _STEP**2 / (2 * np.pi)) - 0.5 * before * shift**2
    for pull, held, share in told:
        grown = shift[:, None] * pull - 0.5 * shift[:, None] ** 2 * held
        most = grown.max(axis=1)
        total = total + most + np.log((share * np.exp(grown - most[:, None])).sum(axis=1))
    most = total.max(axis=0)
    result: Floats = most + np.log(np.exp(total - most).sum(axis=0))
    return result
