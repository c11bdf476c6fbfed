"""Evenness before and after the work, one figure for each quantity."""

from __future__ import annotations

import pandas as pd

from balancekit.calculation.inertia import hammer_inertia_g
from balancekit.calculation.proof.evenness import (
    EVENNESS_OF,
    Evenness,
    evenness_table,
    expected_evenness,
    with_plateaus,
)
from balancekit.calculation.quantities import uncertainty_name
from balancekit.sharing.work import Work

Pair = tuple[pd.Series, pd.Series]
"""Values and their standard uncertainties by key."""


def evenness_before_after(work: Work) -> pd.DataFrame:
    """Return the evenness as found, and what it is expected to be after the work.

    Parameters
    ----------
    work : see ``work.Work``.

    Returns
    -------
    DataFrame indexed by ``quantity``, in the unit of each: ``found_step, found_weighing,
    found_real, found_ratio`` (see ``evenness.find_evenness``) and ``expected_real`` (see
    ``evenness.expected_evenness``). Inertia is never weighed: its ``found_real`` is that of
    the best estimates, and what all keys share, as the wood, is left out. ``found_plateau`` and
    ``expected_plateau`` stand beside them; see ``evenness.with_plateaus``.
    """
    found = evenness_table(work.found).reindex(list(EVENNESS_OF))
    table = found[["step", "weighing", "real", "ratio"]].add_prefix("found_")
    now, then = best_estimates(work, after=False), best_estimates(work, after=True)
    if "inertia_g" in now:
        table.loc["inertia_g", "found_real"] = _expected(work, now["inertia_g"], "inertia_g").real
    table["expected_real"] = pd.Series(
        {name: _expected(work, pair, name).real for name, pair in then.items()}, dtype=float
    )
    found = with_plateaus(table, work.plateaus, "found_")
    return with_plateaus(found, work.expected_plateaus, "expected_")


def _expected(work: Work, pair: Pair, name: str) -> Evenness:
    weighing = work.found.get(uncertainty_name(name), pd.Series(0.0, work.found.index))
    return expected_evenness(*pair, weighing, work.found["colour"])


def best_estimates(work: Work, *, after: bool) -> dict[str, Pair]:
    """Return the best estimate of each quantity at every key, and its standard uncertainty.

    Parameters
    ----------
    work : see ``work.Work``.
    after : after the work; else as found.
    """
    table = work.expected if after else work.believed.table
    found: dict[str, Pair] = {}
    for name in ("balance_weight_g", "friction_g", "strike_weight_g", "action_ratio"):
        if table[name].notna().any():
            found[name] = (table[name], table[uncertainty_name(name)])
    if "balance_weight_g" in found and "friction_g" in found:
        (balance, balance_u), (friction, friction_u) = (
            found["balance_weight_g"],
            found["friction_g"],
        )
        spread = (balance_u**2 + friction_u**2) ** 0.5
        found["down_weight_g"] = (balance + friction, spread)
        found["up_weight_g"] = (balance - friction, spread)
    inertia = work.expected["inertia_g"]
    if {"strike_weight_g", "action_ratio"} <= found.keys() and inertia.notna().any():
        others = _others_after_g(work) if after else work.others_found_g
        found["inertia_g"] = _inertia(others, *found["strike_weight_g"], *found["action_ratio"])
    return found


def _others_after_g(work: Work) -> pd.Series:
    """Return the inertia of wippen, key stick and lead after the work [g]."""
    expected = work.expected
    hammer = hammer_inertia_g(
        strike_weight_g=expected["strike_weight_g"],
        action_ratio=expected["action_ratio"].where(expected["action_ratio"] > 0),
    )
    others: pd.Series = expected["inertia_g"] - hammer
    return others


def _inertia(
    others_g: pd.Series,
    strike: pd.Series,
    strike_u: pd.Series,
    ratio: pd.Series,
    ratio_u: pd.Series,
) -> Pair:
    """Return the inertia of best estimates, and the part of its uncertainty that is a key's own."""
    hammer = hammer_inertia_g(strike_weight_g=strike, action_ratio=ratio)
    spread = (ratio**2 * strike_u) ** 2 + (2 * hammer / ratio * ratio_u) ** 2
    return hammer + others_g, spread**0.5
