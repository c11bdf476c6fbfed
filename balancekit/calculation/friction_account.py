"""Where the friction of a key sits: the parts taken alone, and what they leave.

The friction of a part alone is taken at the part's own radius: the shank at the strike
point, the wippen where the capstan meets it, the key stick alone at the measuring point.
Carried to the measuring point the first is multiplied by the action ratio, the second
by the key ratio, the third by one. What is left of the whole is in the places that
cannot be taken alone: capstan and heel, knuckle, balance hole under load.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from balancekit.calculation.problems import BalancekitError, Problem

FRICTION_PARTS: dict[str, str | None] = {
    "shank centre": "action_ratio",
    "wippen centre": "key_ratio",
    "key bushings": None,
}
"""Parts that are taken alone, and the ratio that carries each to the measuring point."""

REMAINDER = "capstan and heel, knuckle, balance hole"
"""What cannot be taken alone."""

PART_U_G = {"shank centre": 0.1, "wippen centre": 0.3, "key bushings": 0.5}
"""Standard uncertainty of the friction of a part alone [g]."""
# From memory: half of the difference of two readings, in the smallest weights used there.


def account_friction(parts: pd.DataFrame, table: pd.DataFrame) -> pd.DataFrame:
    """Divide the friction of each sampled key among its parts.

    Parameters
    ----------
    parts : ``key``, ``part`` and ``friction_g``, the friction of the part alone at its own
        radius [g]; a part taken more than once on a key is averaged. One key is enough.
    table : the table of keys, with ``friction_g``, ``action_ratio``, ``key_ratio`` and their
        uncertainties.

    Returns
    -------
    DataFrame by ``key`` and ``part``, for each sampled key every part and last the remainder:
    ``share_g`` and ``share_u_g`` at the measuring point [g], ``share`` of the whole, and
    ``remark``. A part not taken has no share and stays in the remainder, and the remark says so.

    Raises
    ------
    BalancekitError : a part that is not one of ``FRICTION_PARTS``, a key that is not in the table
        or whose whole friction is not known, a friction below 0.

    References
    ----------
    Virtual work: a friction times the travel at its own place. JCGM 100:2008, 5.1.2.

    >>> table = pd.DataFrame(dict(friction_g=13.0, friction_u_g=0.5, action_ratio=5.5,
    ...     action_ratio_u=0.1, key_ratio=0.5, key_ratio_u=0.005), index=[40])
    >>> taken = pd.DataFrame(dict(key=40, part=["shank centre", "wippen centre", "key bushings"],
    ...     friction_g=[1.0, 3.0, 2.0]))
    >>> account_friction(taken, table)["share_g"].tolist()  # 13 = 5.5 + 1.5 + 2 + 4
    [5.5, 1.5, 2.0, 4.0]
    """
    known = parts[parts["friction_g"].notna()]
    problems = list(_problems(known, table))
    if problems:
        raise BalancekitError(problems)
    taken = known.groupby(["key", "part"])["friction_g"].agg(["mean", "size"])
    rows = [
        row
        for key in sorted(known["key"].unique())
        for row in _one_key(int(key), taken.loc[key], table.loc[key])
    ]
    columns = ["key", "part", "share_g", "share_u_g", "share", "remark"]
    return pd.DataFrame(rows, columns=columns).set_index(["key", "part"])


def _problems(parts: pd.DataFrame, table: pd.DataFrame) -> list[Problem]:
    """What is wrong with single rows."""
    problems = []
    for key, part, friction in parts[["key", "part", "friction_g"]].itertuples(index=False):
        if part not in FRICTION_PARTS:
            message, advice = (
                f"'{part}' is not taken alone.",
                f"Choose one of {', '.join(FRICTION_PARTS)}.",
            )
        elif key not in table.index or pd.isna(table["friction_g"][key]):
            message = f"The whole friction of key {key} is not known."
            advice = "Take its down weight and up weight too."
        elif not 0 <= friction < np.inf:
            message = f"A friction of {friction:g} g cannot be."
            advice = "Give half of the difference between the two readings, 0 g or more."
        else:
            continue
        problems.append(Problem(message, advice, key=int(key), column="friction_g"))
    return problems


def _one_key(key: int, taken: pd.DataFrame, row: pd.Series) -> list[tuple[object, ...]]:
    """Shares of one key: each part, then the remainder."""
    whole, left, variance = float(row["friction_g"]), float(row["friction_g"]), 0.0
    rows: list[tuple[object, ...]] = []
    in_remainder = []
    for part, ratio_name in FRICTION_PARTS.items():
        ratio = float(row[ratio_name]) if ratio_name else 1.0
        if part not in taken.index or np.isnan(ratio):
            why = "not taken" if part not in taken.index else "its ratio is not known"
            rows.append((key, part, np.nan, np.nan, np.nan, f"{why}; in the remainder"))
            in_remainder.append(part)
            continue
        alone, count = float(taken["mean"][part]), int(taken["size"][part])
        ratio_u = float(row[f"{ratio_name}_u"]) if ratio_name else 0.0
        share = alone * ratio
        share_u = float(np.hypot(PART_U_G[part] / count**0.5 * ratio, alone * ratio_u))
        rows.append((key, part, share, share_u, share / whole if whole else np.nan, ""))
        left, variance = left - share, variance + share_u**2
    spread = float(np.sqrt(variance + float(row["friction_u_g"]) ** 2))
    remark = _remark(left, spread, in_remainder)
    rows.append((key, REMAINDER, left, spread, left / whole if whole else np.nan, remark))
    return rows


def _remark(left: float, spread: float, in_remainder: list[str]) -> str:
    """What to know about the remainder of a key."""
    words = []
    if in_remainder:
        words.append(f"holds {', '.join(in_remainder)} too")
    if left < -2 * spread:
        words.append(
            "the parts are more than the whole, beyond weighing: take them again, each at its own "
            "radius"
        )
    elif left < 2 * spread:
        words.append("no more than weighing can tell from none")
    return "; ".join(words)


def friction_sentence(account: pd.DataFrame) -> str:
    """Say which share is the largest on the keys sampled, and so what to treat first.

    Parameters
    ----------
    account : from ``account_friction``.
    """
    if account.empty:
        return "No friction of a part alone was taken."
    mean = account["share_g"].groupby("part").mean().dropna()
    counts = account["share_g"].groupby("part").count()
    keys = account.index.get_level_values("key").nunique()
    order = mean.sort_values(ascending=False)
    said = [f"{part} {share:.1f} g" for part, share in order.items()]
    where = "On the one key sampled" if keys == 1 else f"On the {keys} keys sampled, on average"
    sentence = f"{where}, friction at the measuring point is {'; '.join(said)}."
    spread = account["share_u_g"].groupby("part").mean()
    if len(order) > 1:
        first, second = order.index[:2]
        sure = (spread[first] ** 2 / counts[first] + spread[second] ** 2 / counts[second]) ** 0.5
        if order.iloc[0] - order.iloc[1] < 2 * sure:
            sentence += (
                f" {first.capitalize()} and {second} cannot be told apart: sample more keys."
            )
        else:
            sentence += f" Look at {first} first."
    return sentence
