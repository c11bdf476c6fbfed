"""The proof: which keys came out as planned, which to take up again, and why.

A second set of readings is set against what was predicted. Both have an uncertainty, so a
difference counts only by how many standard uncertainties it is::

    off = (read - predicted) / sqrt(u(read)^2 + u(predicted)^2)

With 88 keys and two quantities each, some lie beyond two by chance alone. So the keyboard is judged
as a whole: keys are called so that, of those called, at most a stated share is called by chance,
the false discovery rate. A key is taken up again if it is called at a smaller share too, and the
difference is large enough to matter; else it is weighed again first.
"""

from __future__ import annotations

from collections.abc import Collection, Hashable, Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from scipy.special import bdtr, ndtri

from balancekit.calculation.problems import BalancekitError, Problem, refuse
from balancekit.calculation.proof.false_calls import false_calls, told_by_parts
from balancekit.calculation.quantities import QUANTITIES, uncertainty_name
from balancekit.calculation.words import plural

MEETS, WEIGH_AGAIN, TAKE_UP, NOT_KNOWN = (
    "meets the plan",
    "weigh again",
    "take up again",
    "not known",
)

CALLED_SHARE, TAKEN_UP_SHARE = 0.1, 0.01
"""Of the keys that are called, or taken up again, this share may be so by chance."""
# Our own choice, no source.

REASON_BEYOND = 2.0
# Standard uncertainties: on a key that is called, a reading further off may be the reason.

WORTH_G: Mapping[str, float] = {
    "balance_weight_g": 1.0,
    "friction_g": 1.5,
    "front_weight_g": 0.5,
    "strike_weight_g": 0.2,
    "spring_relief_g": 1.0,
}
# Our own choice: less than this at the measuring point, or in the strike weight, is not worth
# a key taken up again. Below about 2 g a difference is probably not felt.

JUDGED = ("balance_weight_g", "friction_g")
"""What the hand meets: these decide whether a key meets the plan."""

_CAUSES: Mapping[str, str] = {
    "hammer": "strike_weight_g",
    "lead": "front_weight_g",
    "spring": "spring_relief_g",
    "friction": "friction_g",
}
"""What may be the reason, and the reading that tells."""

ENOUGH_SHARE = 1 / 3
# Our own choice: a reason accounts for at least this share of what the balance weight is off.

_SLIP = (
    "A reading of it looks like a slip of the pen. Look at the paper; mend it in the bench grid, "
    "or keep it there with K."
)

COVERED = ("down_weight_g", "up_weight_g", "balance_weight_g", "friction_g", "front_weight_g",
           "strike_weight_g", "spring_relief_g")  # fmt: skip


@dataclass(frozen=True)
class Limits:
    """When a key meets the plan and when it is taken up again; see the module.

    Attributes
    ----------
    called_share, taken_up_share : false discovery rates of keys that are called at all, and of
        those that are taken up again.
    worth_g : least difference that is worth taking a key up again, by quantity [g].
    """

    called_share: float = CALLED_SHARE
    taken_up_share: float = TAKEN_UP_SHARE
    worth_g: Mapping[str, float] = field(default_factory=lambda: dict(WORTH_G))

    def __post_init__(self) -> None:
        if not 0 < self.taken_up_share <= self.called_share < 1:
            raise refuse(
                f"Of the keys that are called {self.called_share:g} may be so by chance, of those "
                f"taken up again {self.taken_up_share:g}.",
                "Give two shares between 0 and 1, the larger first.",
            )


def rate_sentence() -> str:
    """Say how often a call may be wrong.

    >>> rate_sentence()
    'Of the keys called here, at most 10 in 100 are called by chance; of those to be taken up \
again, at most 1 in 100.'
    """
    limits = Limits()
    return (
        f"Of the keys called here, at most {100 * limits.called_share:g} in 100 are called by "
        f"chance; of those to be taken up again, at most {100 * limits.taken_up_share:g} in 100."
    )


def find_off(read: pd.DataFrame, predicted: pd.DataFrame, name: str) -> pd.DataFrame:
    """Set the readings of one quantity against what was predicted.

    Parameters
    ----------
    read : table of keys of the second readings.
    predicted : see ``prediction.predict``; indexed by the same keys.
    name : a quantity of both.

    Returns
    -------
    DataFrame by key: ``read, predicted, difference`` (read less predicted), ``u`` (standard
    uncertainty of the difference) and ``off`` (difference over u; 0 where both are exact and
    equal). Missing where either is not known.

    Raises
    ------
    BalancekitError : other keys, or a column that is lacking.
    """
    u = uncertainty_name(name)
    if not read.index.equals(predicted.index):
        raise refuse(
            "The second readings are of another keyboard than the plan.",
            "Set readings against a plan of the same instrument.",
        )
    lacking = [column for column in (name, u) if column not in read or column not in predicted]
    if lacking:
        raise BalancekitError(
            [Problem("The column is not there.", "Weigh it first.", column=c) for c in lacking]
        )
    difference = read[name] - predicted[name]
    spread = (read[u].fillna(0.0) ** 2 + predicted[u].fillna(0.0) ** 2) ** 0.5
    off = (difference / spread.where(spread > 0)).where(spread > 0, np.sign(difference) * np.inf)
    off = off.where(difference != 0, 0.0).where(difference.notna())
    return pd.DataFrame(
        {
            "read": read[name],
            "predicted": predicted[name],
            "difference": difference,
            "u": spread,
            "off": off,
        }
    )


def meet_plan(
    read: pd.DataFrame, predicted: pd.DataFrame, *, limits: Limits | None = None
) -> pd.DataFrame:
    """Say for every key whether it meets the plan, and if not, why.

    Balance weight and friction are judged. The reason is the reading that is off: the strike
    weight (hammer), the front weight (lead), the spring relief (spring) or the friction
    itself. Where the balance weight is off and none of these is, a reading is wrong or a
    lever has moved, and the key is to be weighed again before anything is touched.

    Parameters
    ----------
    read : table of keys of the second readings. A key whose down or up weight is named in
        ``estimated`` was read, but looks like a slip: it is to be weighed again.
    predicted : see ``prediction.predict``.
    limits : when a key meets the plan; usual ones if left out.

    Returns
    -------
    DataFrame by key: ``verdict`` ("meets the plan", "weigh again", "take up again" or "not
    known"), ``reason`` (names with commas between, or ""), ``balance_weight_off_g`` and
    ``friction_off_g`` (read less predicted), ``hammer_g, lead_g, spring_g`` (how much of the
    balance weight each reason explains at the measuring point) and ``sentence``.

    Raises
    ------
    BalancekitError : see ``find_off``.
    """
    limits = limits or Limits()
    names = {*JUDGED, *_CAUSES.values()}
    offs = {name: find_off(read, predicted, name) for name in sorted(names)}
    ratio = predicted["action_ratio"]
    explained = {
        "hammer_g": offs["strike_weight_g"]["difference"] * ratio,
        "lead_g": -offs["front_weight_g"]["difference"],
        "spring_g": -offs["spring_relief_g"]["difference"],
    }
    grams = pd.DataFrame(explained)
    doubted = _looks_like_a_slip(read)
    told = told_by_parts(offs, grams, predicted)
    chance = false_calls(offs, JUDGED, told, [key not in doubted for key in read.index])
    difference, off = (_by_name(offs, column) for column in ("difference", "off"))
    each = zip(difference, off, grams.to_dict("records"), chance.to_dict("records"), strict=True)
    rows = [
        (WEIGH_AGAIN, "", _SLIP) if key in doubted else _judge(*of_key, limits)
        for key, of_key in zip(read.index, each, strict=True)
    ]
    table = pd.DataFrame(rows, index=read.index, columns=["verdict", "reason", "sentence"])
    table["balance_weight_off_g"] = offs["balance_weight_g"]["difference"]
    table["friction_off_g"] = offs["friction_g"]["difference"]
    return table.assign(**explained)[
        ["verdict", "reason", "balance_weight_off_g", "friction_off_g", *explained, "sentence"]
    ]


def _looks_like_a_slip(read: pd.DataFrame) -> set[int]:
    """Return the keys whose down or up weight was taken out because it looks like a slip."""
    if "estimated" not in read:
        return set()
    named = zip(read.index.tolist(), read["estimated"].str.split(", "), strict=True)
    return {int(key) for key, names in named if {"down_weight_g", "up_weight_g"} & set(names)}


def _grade(chance: float, difference: float, name: str, limits: Limits) -> str:
    if chance != chance:
        return NOT_KNOWN
    if chance > limits.called_share:
        return MEETS
    enough = abs(difference) >= limits.worth_g.get(name, 0.0)
    return TAKE_UP if chance <= limits.taken_up_share and enough else WEIGH_AGAIN


def _by_name(offs: Mapping[str, pd.DataFrame], column: str) -> list[dict[Hashable, float]]:
    """Return one column of the differences, for each key by quantity."""
    return pd.DataFrame({name: table[column] for name, table in offs.items()}).to_dict("records")


def _judge(
    difference: Mapping[Hashable, float],
    off_by: Mapping[Hashable, float],
    explained: Mapping[Hashable, float],
    chance: Mapping[Hashable, float],
    limits: Limits,
) -> tuple[str, str, str]:
    """Return verdict, reason and sentence of one key."""
    grades = {name: _grade(chance[name], difference[name], name, limits) for name in JUDGED}
    beyond = {str(name) for name, off in off_by.items() if abs(off) > REASON_BEYOND}
    judged = [grades[name] for name in JUDGED]
    if all(grade == NOT_KNOWN for grade in judged):
        return NOT_KNOWN, "", "Not weighed after the work."
    verdict = next((word for word in (TAKE_UP, WEIGH_AGAIN) if word in judged), MEETS)
    if verdict == MEETS:
        return MEETS, "", "Within its band."
    off = [name for name in JUDGED if grades[name] == verdict]  # the worse hides the lesser
    said = "; ".join(_words(name, difference[name]) for name in off)
    reasons = []
    if "balance_weight_g" in off:
        reasons += _reasons(beyond, explained, difference["balance_weight_g"])
    if "friction_g" in off:
        reasons.append("friction")
    why = [_words(_CAUSES[cause], difference[_CAUSES[cause]]) for cause in reasons
           if _CAUSES[cause] not in off]  # fmt: skip
    if "balance_weight_g" in off and not why:
        return WEIGH_AGAIN, ", ".join(reasons), _sentence(
            f"{said}; no strike weight, front weight or spring relief tells why. Weigh all of the "
            "key again before anything is touched."
        )  # fmt: skip
    because = f", because {' and '.join(why)}" if why else ""
    return verdict, ", ".join(reasons), _sentence(f"{said}{because}.")


def _sentence(words: str) -> str:
    """Return words with a capital at their start."""
    return words[0].upper() + words[1:]


def _reasons(
    beyond: Collection[str], explained: Mapping[Hashable, float], off_g: float
) -> list[str]:
    """Return what explains the balance weight: it is off, and accounts for enough of it."""
    return [
        cause
        for cause in ("hammer", "lead", "spring")
        if _CAUSES[cause] in beyond and explained[f"{cause}_g"] / off_g >= ENOUGH_SHARE
    ]


def _words(name: str, difference: float) -> str:
    side = "above" if difference > 0 else "below"
    return f"{QUANTITIES[name].label.lower()} {abs(difference):.1f} g {side} the plan"


@dataclass(frozen=True)
class Coverage:
    """How often the readings lay in the band that was predicted.

    Attributes
    ----------
    count, inside : keys weighed, and keys inside.
    stated : share that the band promises, for example 0.95.
    low, high : between these the count inside lies in 95 of 100 cases, if the band is right.
    """

    count: int
    inside: int
    stated: float
    low: int
    high: int

    @property
    def share(self) -> float:
        """Share inside; NaN for no key."""
        return self.inside / self.count if self.count else float("nan")


def band_coverage(
    read: pd.DataFrame, predicted: pd.DataFrame, *, stated: float = 0.95
) -> dict[str, Coverage]:
    """Test the prediction's bands against what came out.

    Parameters
    ----------
    read, predicted : as for ``find_off``; quantities that either lacks are left out.
    stated : probability of the band.

    Returns
    -------
    coverage by quantity; one that is exact on both sides, as no spring, is left out.

    Raises
    ------
    BalancekitError : other keys, or a probability outside 0 to 1.

    References
    ----------
    Binomial distribution, any textbook of statistics.
    """
    if not 0 < stated < 1:
        raise refuse(f"A band of {stated} cannot be.", "Give a probability between 0 and 1.")
    factor = float(ndtri((1 + stated) / 2))
    found = {}
    for name in COVERED:
        u = uncertainty_name(name)
        if not {name, u} <= set(read) & set(predicted):
            continue
        off = find_off(read, predicted, name)
        known = off[off["off"].notna() & (off["u"] > 0)]
        if len(known):
            # The fewest inside that are reached with a chance of 2.5 % and of 97.5 %.
            reached = bdtr(np.arange(len(known) + 1), len(known), stated)
            low, high = np.searchsorted(reached, (0.025, 0.975)).tolist()
            inside = int((known["off"].abs() <= factor).sum())
            found[name] = Coverage(len(known), inside, stated, low, high)
    return found


def coverage_sentence(found: Coverage, name: str) -> str:
    """Say whether a band held what it promises.

    >>> coverage_sentence(Coverage(88, 84, 0.95, 79, 88), "down_weight_g")
    'Down weight: in their 95 % band lie 84 of 88 keys; 79 to 88 are to be expected.'
    """
    words = (
        f"{QUANTITIES[name].label}: in their {100 * found.stated:.0f} % band lie "
        f"{found.inside} of {plural(found.count, 'key')}; "
        f"{found.low} to {found.high} are to be expected."
    )
    if found.inside < found.low:
        words += " The work changed more than the plan says, or the weighing is less sure."
    return words
