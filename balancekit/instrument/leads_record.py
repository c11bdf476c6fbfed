"""Which keys' plugs are known: a key with no record is unknown, never empty."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd

from balancekit.calculation.inertia import plug_inertia_g
from balancekit.calculation.leads.key_stick import back_end_mm, front_end_mm, usual_sticks
from balancekit.calculation.leads.lead_estimate import estimate_lead
from balancekit.calculation.leads.plugs import USUAL_LENGTH_MM, make_plug
from balancekit.calculation.problems import BalancekitError, Problem
from balancekit.calculation.words import plural
from balancekit.instrument.model import Instrument

_COLUMNS = ["key", "diameter_mm", "mass_g", "distance_mm"]


@dataclass(frozen=True)
class FoundPlug:
    """One plug that was found in a key.

    Attributes
    ----------
    from_front_mm : its middle, from the front edge of the key [mm].
    diameter_mm : of the plug [mm].
    mass_g : of the plug; None for that of a usual lead plug [g].
    """

    from_front_mm: float
    diameter_mm: float
    mass_g: float | None = None


def recorded_keys(instrument: Instrument) -> frozenset[int]:
    """Return the keys whose plugs were recorded, those without any plug among them.

    Nothing is planned, bored, taken out or counted on the others.

    Parameters
    ----------
    instrument : what was given; a key with a row in ``leads`` counts as recorded.

    >>> sorted(recorded_keys(Instrument()))
    []
    """
    rows = (instrument.table("leads")["key"], instrument.table("leads_seen")["key"])
    return frozenset(int(key) for column in rows for key in column)


def lead_by_key(
    instrument: Instrument,
    front_weight_g: pd.Series,
    front_weight_u_g: pd.Series,
    sticks: pd.DataFrame,
) -> pd.DataFrame:
    """Return the lead in each key, counted or estimated; see ``estimate_lead``.

    Whether it was estimated stands in ``lead_estimated``.

    Parameters
    ----------
    front_weight_g, front_weight_u_g : by key [g].
    sticks : table of key sticks; see ``key_stick.usual_sticks``.
    """
    leads, arm = instrument.table("leads"), sticks["arm_mm"]
    arms = arm.loc[leads["key"]].to_numpy()
    rows = pd.DataFrame(
        {
            "lead_g": leads["mass_g"],
            "lead_front_weight_g": leads["mass_g"] * leads["distance_mm"] / arms,
            "lead_inertia_g": plug_inertia_g(
                mass_g=leads["mass_g"],
                distance_mm=leads["distance_mm"],
                radius_mm=leads["diameter_mm"] / 2,
                arm_mm=arms,
            ),
        }
    )
    counted = rows.groupby(leads["key"]).sum()
    counted = counted.reindex(sorted(recorded_keys(instrument)), fill_value=0.0)
    found = estimate_lead(front_weight_g, front_weight_u_g, sticks, counted)
    return found.rename(columns={"estimated": "lead_estimated"})


def key_sticks(instrument: Instrument, key_ratio: pd.Series) -> pd.DataFrame:
    """Return the key sticks, whether the key ratio of every key is known or not.

    Parameters
    ----------
    key_ratio : by key; where it is missing the middle of the others tells where the capstan is.
    """
    settings = instrument.settings
    middle = key_ratio.median()
    return usual_sticks(
        instrument.keys["colour"],
        natural_arm_mm=settings.natural_arm_mm,
        sharp_arm_mm=settings.sharp_arm_mm,
        front_edge_mm=settings.front_edge_mm,
        key_ratio=key_ratio.fillna(middle if middle == middle else 0.5),
        given=instrument.table("key_sticks"),
    )


def plugs_in(instrument: Instrument, key: int, sticks: pd.DataFrame) -> tuple[FoundPlug, ...]:
    """Return the plugs that were recorded in one key, from the front edge on."""
    leads = instrument.table("leads")
    rows = leads[leads["key"] == key]
    front = float(front_end_mm(sticks)[key])
    found = [
        FoundPlug(front - float(row["distance_mm"]), float(row["diameter_mm"]),
                  float(row["mass_g"]))
        for row in rows.to_dict("records")
    ]  # fmt: skip
    return tuple(sorted(found, key=lambda plug: plug.from_front_mm))


def with_plugs(
    instrument: Instrument, keys: Iterable[int], plugs: Sequence[FoundPlug], sticks: pd.DataFrame
) -> Instrument:
    """Return the instrument with these plugs, and no other, on record in some keys.

    Parameters
    ----------
    keys : key numbers; each gets a record of its own.
    plugs : what is in each of them; none says that there is no plug in it.

    Raises
    ------
    BalancekitError : a plug beyond the ends of a key, or two that lie in one another; every
        problem, and nothing is recorded.
    """
    chosen = sorted(set(keys))
    front, back = front_end_mm(sticks), back_end_mm(sticks)
    problems: list[Problem] = []
    rows: list[tuple[int, float, float, float]] = []
    for key in chosen:
        length = float(front[key] - back[key])
        problems += _wrong(key, plugs, length)
        rows += [
            (key, plug.diameter_mm, _mass_g(plug), float(front[key]) - plug.from_front_mm)
            for plug in plugs
        ]
    if problems:
        raise BalancekitError(problems)
    leads, seen = instrument.table("leads"), instrument.table("leads_seen")
    kept = leads[~leads["key"].isin(chosen)]
    table = pd.concat([kept, pd.DataFrame(rows, columns=_COLUMNS)], ignore_index=True)
    looked = sorted({*seen["key"].tolist(), *chosen})
    changed = instrument.with_table("leads", table.sort_values(["key", "distance_mm"]))
    return changed.with_table("leads_seen", pd.DataFrame({"key": looked}))


def without_record(instrument: Instrument, keys: Iterable[int]) -> Instrument:
    """Return the instrument with the record of some keys taken out: they are unknown again."""
    gone = set(keys)
    leads, seen = instrument.table("leads"), instrument.table("leads_seen")
    changed = instrument.with_table("leads", leads[~leads["key"].isin(gone)])
    return changed.with_table("leads_seen", seen[~seen["key"].isin(gone)])


def _mass_g(plug: FoundPlug) -> float:
    usual = make_plug(plug.diameter_mm, USUAL_LENGTH_MM).mass_g
    return usual if plug.mass_g is None else plug.mass_g


def _wrong(key: int, plugs: Sequence[FoundPlug], length_mm: float) -> list[Problem]:
    found = []
    placed = sorted(plugs, key=lambda plug: plug.from_front_mm)
    for plug in placed:
        if not plug.diameter_mm / 2 <= plug.from_front_mm <= length_mm - plug.diameter_mm / 2:
            message = f"A plug at {plug.from_front_mm:g} mm from the front edge is not on this key."
            advice = f"The key is {length_mm:g} mm long; measure from its front edge."
            found.append(Problem(message, advice, key=key))
    for one, two in pairwise(placed):
        if two.from_front_mm - one.from_front_mm < (one.diameter_mm + two.diameter_mm) / 2:
            message = (
                f"Plugs at {one.from_front_mm:g} and {two.from_front_mm:g} mm lie in one another."
            )
            found.append(Problem(message, "Measure the middle of each plug.", key=key))
    return found


@dataclass(frozen=True)
class LeadTotal:
    """The lead in the keys of an instrument, as every notebook tells it.

    Attributes
    ----------
    recorded_g : in the keys on record [g]; ``recorded`` is how many they are.
    estimated_g, estimated_u_g : in the keys without a record, from their front weight [g];
        ``estimated`` is how many could be estimated.
    unknown : keys without a record and without a front weight.
    """

    recorded_g: float
    recorded: int
    estimated_g: float
    estimated_u_g: float
    estimated: int
    unknown: int

    @property
    def sentence(self) -> str:
        """The figures in words, the estimated ones marked."""
        parts = [f"Lead on record: {self.recorded_g:.0f} g in {plural(self.recorded, 'key')}."]
        if self.estimated:
            parts.append(
                f"Estimated from the front weight, not looked into: {self.estimated_g:.0f} ± "
                f"{2 * self.estimated_u_g:.0f} g in {plural(self.estimated, 'key')}."
            )
        if self.unknown:
            parts.append(f"Unknown: {plural(self.unknown, 'key')}.")
        return " ".join(parts)


def lead_total(lead: pd.DataFrame) -> LeadTotal:
    """Add up the lead of all keys.

    Parameters
    ----------
    lead : see ``lead_by_key``; ``HammerInputs.table`` has the same columns.

    References
    ----------
    JCGM 100:2008, 5.2.2: what all estimated keys have in common adds up, the rest in squares.
    """
    known = lead[~lead["lead_estimated"]]
    guessed = lead[lead["lead_estimated"] & lead["lead_g"].notna()]
    own = np.sqrt((guessed["lead_u_g"] ** 2 - guessed["lead_shared_u_g"] ** 2).clip(lower=0.0))
    spread = np.hypot(guessed["lead_shared_u_g"].sum(), float((own**2).sum()) ** 0.5)
    return LeadTotal(
        float(known["lead_g"].sum()), len(known), float(guessed["lead_g"].sum()), float(spread),
        len(guessed), len(lead) - len(known) - len(guessed),
    )  # fmt: skip
