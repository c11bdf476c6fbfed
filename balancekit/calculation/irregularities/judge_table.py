"""The readings of one visit judged: groups, trends, and what is off, in this order."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

import pandas as pd

from balancekit.calculation.believed.causes import find_causes
from balancekit.calculation.believed.find import find_groups
from balancekit.calculation.believed.following_leads import FollowingLeads
from balancekit.calculation.believed.joint import Known, System
from balancekit.calculation.believed.usual import Usual
from balancekit.calculation.course import Floats
from balancekit.calculation.irregularities.key_case import Flag
from balancekit.calculation.irregularities.slips import find_flags
from balancekit.calculation.irregularities.trend import Trend, find_trends


@dataclass(frozen=True)
class Judged:
    """What is found in a table of keys.

    Attributes
    ----------
    trends : by quantity; a quantity with no reading has none.
    flags : what is missing, looks like a slip, or stands out; confirmed readings left out.
    known : what is known of the readings as a whole, odd keys and slips among it.
    """

    trends: Mapping[str, Trend]
    flags: tuple[Flag, ...]
    known: Known


def judge_table(
    table: pd.DataFrame,
    *,
    shared: Mapping[str, Floats] | None = None,
    usual: Mapping[str, Usual] | None = None,
    confirmed: Collection[tuple[int, str]] = (),
    hung: bool = True,
) -> Judged:
    """Judge the readings of a table of keys by each other.

    Parameters
    ----------
    table : the table of keys as it was read, results and uncertainties with it.
    shared, usual, hung : see ``joint.Known``.
    confirmed : (key, quantity) pairs that the user looked at and keeps.
    """
    groups = find_groups(table, usual)
    known = Known(groups.courses, groups.runs, shared or {}, usual or {}, hung=hung)
    system = System(table, known)
    readings = find_causes(system) if system.rows else None
    trends = find_trends(readings, table)
    flags = find_flags(table, trends, readings, confirmed=confirmed)
    slips = [(flag.key, flag.quantity) for flag in flags if flag.kind == "slip"]
    off = {
        name: ((trend.reading - trend.expected).to_numpy(), trend.expected_u.to_numpy())
        for name, trend in trends.items()
    }
    follow = readings is not None and isinstance(readings.system, FollowingLeads)
    return Judged(trends, flags, replace(known, off=off, slips=slips, leads_follow=follow))
