"""Target curves for the strike weight, and the plan that leads there.

A target is a smooth, falling curve over the keyboard. It comes from a few levels that
the user sets, from a fit to the hammers that are there, or from ``least_work``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd
import scipy

from balancekit.calculation.hammers.least_work import LOWEST_G, Numbers, per_key
from balancekit.calculation.inertia import Values, refuse_below
from balancekit.calculation.problems import refuse
from balancekit.calculation.words import in_words

TARGET = "target_strike_weight_g"

PIECES = 4
# Our own choice: four stretches of a cubic follow a keyboard and no single hammer.

POINTLESS = 2.0
# Common practice, no source: a change below two standard uncertainties is not told
# from weighing (about 95 %, JCGM 100:2008, G.1.3).


def curve_from_levels(levels_g: Mapping[int, float], keys: pd.Index) -> pd.Series:
    """Draw a smooth, falling curve through a few levels.

    Between the levels the curve never rises and never overshoots. Beyond the first and
    the last level it is level.

    Parameters
    ----------
    levels_g : strike weight by key number, for example of a bass, a middle and a treble key [g].
    keys : the keys of the instrument.

    Returns
    -------
    target strike weight of each key [g].

    Raises
    ------
    BalancekitError : no level, a level that no hammer has, or a level above the one to its left.

    References
    ----------
    Fritsch and Carlson, Monotone piecewise cubic interpolation, SIAM J. Numer. Anal. 17 (1980).

    >>> curve_from_levels({1: 11.0, 3: 9.0, 5: 7.0}, pd.RangeIndex(1, 6)).tolist()
    [11.0, 10.0, 9.0, 8.0, 7.0]
    """
    if not levels_g:
        raise refuse("No level was given.", "Set the strike weight of at least one key.")
    places = sorted(levels_g)
    heights = [float(levels_g[place]) for place in places]
    refuse_below("Level (g)", heights, LOWEST_G)
    for left, right in pairwise(places):
        if levels_g[right] > levels_g[left]:
            raise refuse(
                f"The level at key {right} is {levels_g[right]:g} g, above the "
                f"{levels_g[left]:g} g at key {left}.",
                "Hammers grow lighter towards the treble: lower the right one or raise the left.",
            )
    inside = np.clip(keys.to_numpy(dtype=float), places[0], places[-1])
    curve = (
        scipy.interpolate.PchipInterpolator(places, heights)(inside)
        if len(places) > 1
        else heights[0]
    )
    return pd.Series(np.broadcast_to(curve, len(keys)), index=keys, name=TARGET)


def fitted_curve(strike_weight_g: pd.Series) -> pd.Series:
    """Fit a smooth, falling curve to the hammers that are there (least squares).

    A spline whose coefficients never rise never rises itself. With few weighed keys the
    spline has fewer pieces; one weighed key gives a level line.

    Parameters
    ----------
    strike_weight_g : as found, indexed by key [g]; NaN where not weighed.

    Returns
    -------
    target strike weight of each key [g].

    Raises
    ------
    BalancekitError : no key was weighed, or an impossible strike weight.

    References
    ----------
    de Boor, A Practical Guide to Splines, Springer 1978, on the control polygon: a spline
    falls where its coefficients fall.

    >>> found = pd.Series([10.0, 9.0, None, 7.0, 6.0], index=pd.RangeIndex(1, 6))
    >>> fitted_curve(found).round(6).tolist()
    [10.0, 9.0, 8.0, 7.0, 6.0]
    """
    keys, strike_g = strike_weight_g.index, strike_weight_g.to_numpy(dtype=float)
    weighed = np.isfinite(strike_g)
    if not weighed.any():
        raise refuse("No strike weight was weighed.", "Weigh at least one hammer on its shank.")
    refuse_below("Strike weight (g)", strike_g, LOWEST_G)
    shape = _falling_shapes(keys.to_numpy(dtype=float), int(weighed.sum()))
    # The first column is the level, free; each other is one fall, 0 or more.
    lower = np.concatenate([[-np.inf], np.zeros(shape.shape[1] - 1)])
    fit = scipy.optimize.lsq_linear(
        shape[weighed], strike_g[weighed], (lower, np.inf), method="bvls"
    )
    return pd.Series(shape @ fit.x, index=keys, name=TARGET)


def _falling_shapes(keys: Numbers, known: int) -> Numbers:
    """Return a level and the falls of a spline at each key, shape (keys, coefficients)."""
    degree = min(3, known - 1)
    if degree == 0:
        return np.ones((len(keys), 1))
    pieces = max(1, min(PIECES, known // 3))
    breaks = np.linspace(keys[0], keys[-1], pieces + 1)
    knots = np.concatenate([[keys[0]] * degree, breaks, [keys[-1]] * degree])
    basis = scipy.interpolate.BSpline.design_matrix(keys, knots, degree).toarray()
    falls = np.cumsum(basis[:, ::-1], axis=1)[:, ::-1]
    shapes: Numbers = np.column_stack([np.ones(len(keys)), -falls[:, 1:]])
    return shapes


@dataclass(frozen=True)
class Totals:
    """What a plan adds up to.

    Attributes
    ----------
    trimmed_g, added_g : grams over all keys [g].
    trim_count, add_count, leave_count, unknown_count : hammers of each kind.
    """

    trimmed_g: float
    added_g: float
    trim_count: int
    add_count: int
    leave_count: int
    unknown_count: int

    @property
    def touched_count(self) -> int:
        """Number of hammers that are trimmed or added to."""
        return self.trim_count + self.add_count

    @property
    def sentence(self) -> str:
        """The totals in one sentence.

        >>> Totals(3.25, 0.5, 6, 1, 80, 1).sentence
        'Hammers: trim 3.2 g in all off 6, add 0.5 g to 1, leave 80; 1 not weighed.'
        """
        unknown = f"; {self.unknown_count} not weighed" if self.unknown_count else ""
        return (
            f"Hammers: trim {self.trimmed_g:.1f} g in all off {self.trim_count}, "
            f"add {self.added_g:.1f} g to {self.add_count}, leave {self.leave_count}{unknown}."
        )


def plan(
    strike_weight_g: pd.Series,
    target_g: pd.Series,
    *,
    strike_weight_u_g: Values = 0.1,
    pointless: float = POINTLESS,
    most_trimmed_g: Values = float("inf"),
    most_added_g: Values = float("inf"),
) -> pd.DataFrame:
    """List what to do to each hammer.

    A change smaller than ``pointless`` standard uncertainties of the strike weight cannot
    be told from weighing: the hammer is left as it is. So it is where no more than that may be
    trimmed or added.

    Parameters
    ----------
    strike_weight_g : as found, indexed by key [g]; NaN where not weighed.
    target_g : target strike weight, by the same keys [g].
    strike_weight_u_g : standard uncertainty of the strike weight, a float or by key [g].
    pointless : how many standard uncertainties a change must exceed.
    most_trimmed_g, most_added_g : no hammer is worked on by more, a float or by key [g].

    Returns
    -------
    DataFrame by key: ``strike_weight_g, target_strike_weight_g, work`` ("trim", "add",
    "leave" or "not weighed"), ``trimmed_g, added_g`` (0 where left),
    ``planned_strike_weight_g`` (what the hammer will weigh; the target where it was not
    weighed) and ``left_over_g`` (planned less target: what stays uneven).

    Raises
    ------
    BalancekitError : targets for other keys, or a negative uncertainty.

    >>> found = pd.Series([10.0, 9.7, 9.0], index=pd.RangeIndex(1, 4))
    >>> target = pd.Series([9.6, 9.6, 9.6], index=found.index)
    >>> plan(found, target)["work"].tolist()
    ['trim', 'leave', 'add']
    """
    keys = strike_weight_g.index
    if not target_g.index.equals(keys):
        lacking = [key for key in keys if key not in target_g.index]
        where = in_words(lacking) if lacking else "other keys than the hammers"
        raise refuse(f"The target does not fit the keyboard: {where}.", "Give one for each key.")
    refuse_below("Times the standard uncertainty", pointless, 0)
    spread_g = per_key(strike_weight_u_g, keys)
    refuse_below("Uncertainty of the strike weight (g)", spread_g, 0)
    off_g = _limit("Most that may be trimmed (g)", most_trimmed_g, keys)
    on_g = _limit("Most that may be added (g)", most_added_g, keys)
    found, target = strike_weight_g.to_numpy(dtype=float), target_g.to_numpy(dtype=float)
    change = target - found
    allowed = np.minimum(np.maximum(change, -off_g), on_g)
    # An unknown uncertainty hides nothing.
    hidden = abs(allowed) <= pointless * np.nan_to_num(spread_g)
    work = np.select(
        [np.isnan(change), hidden, change < 0], ["not weighed", "leave", "trim"], default="add"
    )
    done = np.where(hidden, 0.0, allowed)
    planned = np.where(np.isnan(change), target, found + done)
    return pd.DataFrame(
        {
            "strike_weight_g": found,
            TARGET: target,
            "work": work,
            "trimmed_g": np.maximum(-done, 0.0),
            "added_g": np.maximum(done, 0.0),
            "planned_strike_weight_g": planned,
            "left_over_g": planned - target,
        },
        index=keys,
    )


def _limit(label: str, limit_g: Values, keys: pd.Index) -> Numbers:
    """Return a limit by key; infinite where there is none."""
    limit = per_key(limit_g, keys)
    refuse_below(label, np.where(np.isposinf(limit), 0.0, limit), 0)
    return np.where(np.isnan(limit), np.inf, limit)


def hammer_totals(planned: pd.DataFrame) -> Totals:
    """Add up a plan; see ``plan``."""
    counts = planned["work"].value_counts()
    return Totals(
        float(planned["trimmed_g"].sum()),
        float(planned["added_g"].sum()),
        *(int(counts.get(work, 0)) for work in ("trim", "add", "leave", "not weighed")),
    )
