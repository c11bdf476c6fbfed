"""Two ways to the same ratio: do they agree, and if not, what is the likely slip?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations

import numpy as np
import pandas as pd

from balancekit.calculation.balance import Values
from balancekit.calculation.problems import refuse
from balancekit.calculation.quantities import uncertainty_name
from balancekit.calculation.ratios import Ratio, check_readings

AGREE, DISAGREE, NOT_COMPARED = "agree", "disagree", "not compared"
"""The verdicts."""

WAYS: dict[str, tuple[str, ...]] = {
    "key_ratio": ("ruler", "weight"),
    "action_ratio": ("balance", "added_mass", "travel"),
}
"""The ways that are known for each ratio; "balance" is the balance equation."""

REASONS: dict[tuple[str, str], tuple[str, ...]] = {
    ("ruler", "weight"): (
        "the known mass sat nearer to the balance pin than the capstan line",
        "the key rubs at the balance hole or the front pin and the scale did not follow: "
        "tap the key and read again",
        "the ruler was laid to the far side of the capstan, not to the line where it shines",
        "the arm was taken too short: measure from the balance pin to the measuring point",
    ),
    ("weight", "ruler"): (
        "the known mass sat behind the capstan line",
        "the arm was taken to the front edge, not to the measuring point",
        "the scale stood behind the measuring point",
        "the ruler was laid to the near side of the capstan, not to the line where it shines",
    ),
    ("balance", "added_mass"): (
        "the strike weight was read too light: shank not level, or scale beyond the strike point",
        "the known mass hung nearer to the shank's flange than the strike point",
        "the known mass touched a neighbour or did not hang free",
        "the front weight was read too heavy, or the wippen weight or key ratio too low",
    ),
    ("added_mass", "balance"): (
        "a support spring works and its relief is not in the readings",
        "the strike weight was read too heavy: scale nearer to the shank's flange than the "
        "strike point",
        "the known mass hung beyond the strike point",
        "the front weight was read too light, or the wippen weight or key ratio too high",
    ),
    ("balance", "travel"): (
        "lost motion, or felt and key that give way, took up part of the dip",
        "the dip was read with the aftertouch, but the hammer rises only as far as let-off",
        "the strike weight was read too light: shank not level, or scale beyond the strike point",
        "the ratio changes along the stroke: weights tell one position, travel the mean",
    ),
    ("travel", "balance"): (
        "a support spring works and its relief is not in the readings",
        "the dip was read behind the measuring point, where it is smaller",
        "the hammer was thrown, or rose on past the end of the dip that was read",
        "the ratio changes along the stroke: weights tell one position, travel the mean",
    ),
    ("added_mass", "travel"): (
        "lost motion, or felt and key that give way, took up part of the dip",
        "the dip was read with the aftertouch, but the hammer rises only as far as let-off",
        "the known mass hung beyond the strike point",
        "the ratio changes along the stroke: weights tell one position, travel the mean",
    ),
    ("travel", "added_mass"): (
        "the known mass hung nearer to the shank's flange than the strike point, or touched "
        "a neighbour",
        "the dip was read behind the measuring point, where it is smaller",
        "the hammer was thrown, or rose on past the end of the dip that was read",
        "the ratio changes along the stroke: weights tell one position, travel the mean",
    ),
}
# Common practice, no source; the order is our own judgement of what is likely.
"""What to suspect first, by (the way that reads higher, the way that reads lower)."""


def find_shared_covariance(
    *, balance_weight_u_g: Values, strike_weight_g: Values, known_mass_g: Values
) -> Values:
    """Return the covariance of the action ratio by balance and by added mass.

    Both use the same balance weight without the mass. An error in it pushes the one up
    and the other down, so the covariance is negative: -u(balance weight)^2 / (s m).

    Parameters
    ----------
    balance_weight_u_g : standard uncertainty of the balance weight that both use [g].
    strike_weight_g : strike weight s in the balance equation [g].
    known_mass_g : mass m at the strike point [g].

    Raises
    ------
    BalancekitError : a weight outside what an action can have.

    References
    ----------
    JCGM 100:2008, F.1.2.3.

    >>> find_shared_covariance(balance_weight_u_g=0.5, strike_weight_g=10.0, known_mass_g=5.0)
    -0.005
    """
    check_readings(
        {
            "strike_weight_g": (strike_weight_g, "strike_weight_g"),
            "known_mass_g": (known_mass_g, "known_mass_g"),
        },
        {"balance_weight_u_g": balance_weight_u_g},
    )
    return -(balance_weight_u_g**2) / (strike_weight_g * known_mass_g)


def _ways_table(
    quantity: str, ways: Mapping[str, Ratio], keys: Sequence[int] | None
) -> pd.DataFrame:
    """Put the ways side by side, one row for each key."""
    columns: dict[str, Values] = {}
    for way, ratio in ways.items():
        name = f"{quantity}_by_{way}"
        columns[name] = ratio.value
        columns[uncertainty_name(name)] = ratio.uncertainty
    series = [values for values in columns.values() if isinstance(values, pd.Series)]
    if series:
        index = series[0].index
        for other in series[1:]:
            index = index.union(other.index)
    else:
        length = max(np.size(values) for values in columns.values())
        index = pd.Index(range(1, length + 1) if keys is None else keys)
        if len(index) != length:
            raise refuse(
                f"There are {length} ratios and {len(index)} keys.",
                "Give one key number for each ratio.",
            )
    return pd.DataFrame(columns, index=index, dtype=float).rename_axis("key")


def _check_ways(quantity: str, ways: Mapping[str, Ratio], coverage: float) -> None:
    if quantity not in WAYS:
        raise refuse(f"'{quantity}' has no ways to compare.", f"Choose one of {tuple(WAYS)}.")
    unknown = [way for way in ways if way not in WAYS[quantity]]
    if unknown:
        raise refuse(f"'{unknown[0]}' is not a known way.", f"Choose from {WAYS[quantity]}.")
    if len(ways) < 2:
        raise refuse(
            f"{len(ways)} way is not enough to compare.", f"Give two or more of {WAYS[quantity]}."
        )
    if not 0 < coverage < float("inf"):
        raise refuse(f"A coverage of {coverage:g} is not possible.", "Give a number above 0.")


def compare_ways(
    quantity: str,
    ways: Mapping[str, Ratio],
    *,
    keys: Sequence[int] | None = None,
    covariances: Mapping[tuple[str, str], Values] | None = None,
    coverage: float = 2.0,
) -> pd.DataFrame:
    """Compare ways to one ratio, and say for each key whether they agree.

    Two ways disagree where they differ by more than ``coverage`` times the standard
    uncertainty of their difference. At 2, about 5 of 100 sound keys are shown all the
    same, and more with three ways: take a single one again before the action is touched.
    Where most keys disagree in the same direction, suspect the method, not the keys.

    Parameters
    ----------
    quantity : "key_ratio" or "action_ratio".
    ways : ratio and uncertainty by way, two or more of ``WAYS``; floats, arrays or Series
        indexed by key.
    keys : key numbers, if the ways are not Series; else 1, 2, 3 and so on.
    covariances : covariance of two ways that share a reading, by the pair of their names;
        0 if left out. See ``find_shared_covariance``.
    coverage : how many standard uncertainties of the difference are allowed.

    Returns
    -------
    DataFrame indexed by key, one row for each key: every way with its uncertainty
    (``key_ratio_by_ruler, key_ratio_by_ruler_u`` and so on), then, for the two ways that
    differ most against their uncertainty, ``higher, lower`` (the ways), ``difference,
    difference_u``, ``verdict`` ("agree", "disagree" or "not compared" where a way is
    missing) and ``reason`` (what to suspect, in order; empty unless they disagree).

    Raises
    ------
    BalancekitError : an unknown ratio or way, fewer than two ways, or a wrong coverage.

    References
    ----------
    JCGM 100:2008, 5.2.2 (difference of two results).

    >>> ways = {"ruler": Ratio(0.52, 0.003), "weight": Ratio(0.50, 0.004)}
    >>> row = compare_ways("key_ratio", ways).loc[1]
    >>> f"{row['difference']:.3f} u {row['difference_u']:.3f}: {row['verdict']}"
    '0.020 u 0.005: disagree'
    """
    _check_ways(quantity, ways, coverage)
    table = _ways_table(quantity, ways, keys)
    shared = {frozenset(pair): value for pair, value in (covariances or {}).items()}
    worst = pd.Series(-1.0, index=table.index)
    found = pd.DataFrame(
        {"higher": "", "lower": "", "difference": np.nan, "difference_u": np.nan},
        index=table.index,
    )
    for first, second in combinations(ways, 2):
        one, two = f"{quantity}_by_{first}", f"{quantity}_by_{second}"
        gap = table[one] - table[two]
        variance = table[uncertainty_name(one)] ** 2 + table[uncertainty_name(two)] ** 2
        gap_u = (variance - 2 * shared.get(frozenset((first, second)), 0.0)).clip(lower=0) ** 0.5
        # Two exact ways that differ at all differ by infinitely many uncertainties.
        strength = (gap.abs() / gap_u.where(gap_u > 0)).where(gap_u.isna() | (gap_u > 0), np.inf)
        strength = strength.mask(gap == 0, 0.0)
        here = strength > worst
        worst = worst.where(~here, strength)
        found.loc[here, "higher"] = np.where(gap[here] > 0, first, second)
        found.loc[here, "lower"] = np.where(gap[here] > 0, second, first)
        found.loc[here, "difference"] = gap[here].abs()
        found.loc[here, "difference_u"] = gap_u[here]
    found["verdict"] = np.select([worst < 0, worst > coverage], [NOT_COMPARED, DISAGREE], AGREE)
    found["reason"] = [
        "; ".join(REASONS[high, low]) if verdict == DISAGREE else ""
        for high, low, verdict in zip(
            found["higher"], found["lower"], found["verdict"], strict=True
        )
    ]
    return table.join(found)
