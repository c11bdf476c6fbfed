"""A way in words and numbers: what it is called, what it counts, and why it does what it does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from balancekit.calculation.plan.front import Front, Way
from balancekit.calculation.plan.knowledge import Chances, wanted_line
from balancekit.calculation.plan.piano import ALL_KEYS, INERTIA_SCALE_G, Floats
from balancekit.calculation.plan.treatments import FRICTION, Treatments
from balancekit.calculation.plan.work_costs import USUAL, WorkCosts
from balancekit.calculation.proof.evenness import find_evenness
from balancekit.calculation.words import plural

WAYS_COLUMNS = (
    "way", "hours", "money", "hammers_touched", "plugs_in", "plugs_out", "new_holes",
    "capstan_mm", "spring_relief_g", "balance_step_g", "inertia_step_percent", "sure_percent",
    "gap_percent",
)  # fmt: skip
"""The columns of the table of ways, in order."""

NOTHING = "nothing"

THIRDS = ("bass", "middle", "treble")


@dataclass(frozen=True, eq=False)
class Told:
    """What one way does and brings, by key; every Series is indexed by key.

    Attributes
    ----------
    strike_g, front_g, relief_g : change of strike weight, front weight, spring relief [g].
    eased : keys whose friction is put right.
    balance_weight_g, inertia_g : expected after the work [g].
    """

    strike_g: pd.Series
    front_g: pd.Series
    relief_g: pd.Series
    eased: tuple[int, ...]
    balance_weight_g: pd.Series
    inertia_g: pd.Series


def tell(treatments: Treatments, way: Way) -> Told:
    """Return what a way does and brings, key by key."""
    piano = treatments.piano
    own = way.chosen[: piano.count]
    ratio, balance, inertia = piano.moved(way.decision.shifts)
    strike, front, relief = (
        values[own] for values in (treatments.strike_g, treatments.front_g, treatments.relief_g)
    )

    def by_key(values: Floats) -> pd.Series:
        return pd.Series(values, piano.keys)

    return Told(
        by_key(strike),
        by_key(front),
        by_key(relief),
        tuple(_keys_by_kind(treatments, way).get(FRICTION, ())),
        by_key(balance + ratio * strike - front - relief),
        by_key(inertia + ratio**2 * strike + treatments.lead_inertia_g[own]),
    )


def kinds_of(treatments: Treatments, way: Way) -> tuple[str, ...]:
    """Return the levers that a way moves and the kinds of work that it does on single keys."""
    levers = [treatments.piano.shifts[number].words for number in way.decision.shifts]
    return (*levers, *_keys_by_kind(treatments, way))


def _keys_by_kind(treatments: Treatments, way: Way) -> dict[str, list[int]]:
    """Return the keys of each kind of work that is done."""
    own, frictions = np.split(way.chosen, [treatments.piano.count])
    places = {
        FRICTION: treatments.friction_keys[treatments.eased[frictions]],
        "springs": np.flatnonzero(treatments.relief_g[own]),
        "hammers": np.flatnonzero(treatments.strike_g[own]),
        "lead": np.flatnonzero(treatments.front_g[own]),
    }
    return {name: treatments.piano.keys[those].tolist() for name, those in places.items()
            if len(those)}  # fmt: skip


def name_of(treatments: Treatments, way: Way) -> str:
    """Say in a few words what a way does.

    Keys of one kind of work are named as a run where the run holds hardly any other key, and by
    the third of the keyboard where all lie in one.
    """
    work = _keys_by_kind(treatments, way)
    parts = [treatments.piano.shifts[number].words for number in way.decision.shifts]
    every = treatments.piano.keys
    parts += [
        f"{what} {_where(keys, int(every[0]), int(every[-1]))}" for what, keys in work.items()
    ]
    if not parts:
        return NOTHING
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])}, then {parts[-1]}"


def _where(keys: Sequence[int], lowest: int, highest: int) -> str:
    """Say where some keys are.

    >>> _where([1, 5, 9], 1, 88), _where([1, 5, 60], 1, 88), _where([4, 5, 6], 1, 88)
    ('on 3 keys of the bass only', 'on 3 keys', 'of keys 4 to 6')
    """
    first, last = min(keys), max(keys)
    if len(keys) == 1:
        return f"of key {first}"
    if len(keys) >= 0.8 * (last - first + 1):
        return f"of keys {first} to {last}"
    third = (highest - lowest + 1) / 3
    thirds = {int((key - lowest) / third) for key in (first, last)}
    part = f" of the {THIRDS[thirds.pop()]} only" if len(thirds) == 1 else ""
    return f"on {plural(len(keys), 'key')}{part}"


def stays_of(treatments: Treatments, way: Way) -> str:
    """Say what of a way cannot be undone, counted: levers, hammers, holes, springs."""
    told, own = tell(treatments, way), way.chosen[: treatments.piano.count]
    moved: dict[str, int] = {}
    for number in way.decision.shifts:
        shift = treatments.piano.shifts[number]
        if not USUAL[f"move {shift.lever}"].undone:
            moved[shift.lever] = moved.get(shift.lever, 0) + len(shift.rows)
    counts = {
        **{f"{lever} moved": count for lever, count in moved.items()},
        "hammer trimmed": int((told.strike_g < 0).sum()),
        "new hole": int(treatments.new_holes[own].sum()),
        "spring fitted": int(treatments.fitted[own].sum()),
    }
    return ", ".join(_counted(what, count) for what, count in counts.items() if count) or NOTHING


def _counted(what: str, count: int) -> str:
    thing, _, done = what.partition(" ") if what != "new hole" else (what, "", "")
    return f"{plural(count, thing)} {done}".rstrip()


def ways_table(
    front: Front, numbers: Sequence[int], sure: Sequence[Chances], colours: pd.Series
) -> pd.DataFrame:
    """Return ways side by side, with the columns ``WAYS_COLUMNS``.

    Parameters
    ----------
    front : the ways.
    numbers : which of them.
    sure : the chances of each; ``sure_percent`` is that of at least 95 of 100 keys.
    colours : "natural" or "sharp", by key.
    """
    t = front.treatments
    rows = []
    for number, chance in zip(numbers, sure, strict=True):
        way = front.ways[number]
        told, own = tell(t, way), way.chosen[: t.piano.count]
        step = find_evenness(told.balance_weight_g, 0.0 * told.balance_weight_g, colours).step
        mass = find_evenness(told.inertia_g, 0.0 * told.inertia_g, colours).step
        moved = [t.piano.shifts[each] for each in way.decision.shifts]
        moves = [abs(shift.move_mm) for shift in moved if shift.lever == "capstan"]
        touched = told.relief_g != 0
        relief = t.piano.spring_relief_g + told.relief_g.to_numpy()
        rows.append(
            (
                name_of(t, way), way.minutes / 60, way.money, int((told.strike_g != 0).sum()),
                int(t.plugs_in[own].sum()), int(t.plugs_out[own].sum()),
                int(t.new_holes[own].sum()), max(moves, default=0.0),
                float(relief[touched].mean()) if touched.any() else 0.0,
                step, 100 * mass / float(told.inertia_g.mean()), chance.most_percent,
                way.gap_percent,
            )
        )  # fmt: skip
    return pd.DataFrame(rows, columns=list(WAYS_COLUMNS))


def why(treatments: Treatments, way: Way, key: int) -> pd.DataFrame:
    """Return the treatments of one key that were considered, the best of each kind of work.

    Parameters
    ----------
    treatments, way : from ``find_front``.
    key : key number.

    Returns
    -------
    DataFrame with ``work`` ("key" or "friction": the two are decided apart), ``treatment``
    (words), ``minutes``, ``money``, ``strike_g`` and ``front_g`` (changes [g]),
    ``new_holes``, ``balance_off_g`` (balance weight less its line [g]), ``inertia_off_g``
    (inertia less its course [g]), ``left_g`` (what is left uneven [g]), ``sticks_out`` (whether
    the hammer would, of its neighbours as the way has them; only where that leaves less) and
    ``taken``, sorted by what is left; friction comes last.
    """
    piano = treatments.piano
    place = int(np.flatnonzero(piano.keys == key)[0])
    rows = np.flatnonzero(treatments.row == place)
    ratio, balance, inertia = piano.moved(way.decision.shifts)
    off = balance - wanted_line(treatments, way)
    heavy = inertia - piano.inertia_course(way.decision.shifts)
    left = treatments.uneven(ratio, off, heavy)
    taken = int(way.chosen[place])
    others = treatments.cell_of(way.chosen[: piano.count])
    fits = np.isin(treatments.cell_of(rows), treatments.course.open_to(others, place))
    out = dict(zip(rows.tolist(), (~fits).tolist(), strict=True))
    kinds: dict[tuple[str, bool], int] = {}
    for row in sorted(out, key=lambda each: (left[each], treatments.minutes[each])):
        kind = _kind(treatments, row)
        if not out[row] or (kind, False) not in kinds:
            kinds.setdefault((kind, out[row]), row)
    kinds[_kind(treatments, taken), False] = taken
    lines = []
    for (kind, sticks_out), row in kinds.items():
        strike, front = float(treatments.strike_g[row]), float(treatments.front_g[row])
        relief = float(treatments.relief_g[row])
        lines.append(
            (
                "key", kind, float(treatments.minutes[row]), float(treatments.money[row]),
                strike, front,
                int(treatments.new_holes[row]),
                float(off[place] + ratio[place] * strike - front - relief),
                float(heavy[place] + ratio[place] ** 2 * strike + treatments.lead_inertia_g[row]),
                float(left[row]) ** 0.5, sticks_out, row == taken,
            )
        )  # fmt: skip
    columns = ["work", "treatment", "minutes", "money", "strike_g", "front_g", "new_holes",
               "balance_off_g", "inertia_off_g", "left_g", "sticks_out", "taken"]  # fmt: skip
    found = pd.DataFrame(lines, columns=columns).sort_values("left_g", ignore_index=True)
    number = np.flatnonzero(treatments.friction_keys == place)
    if not len(number):
        return found
    own = piano.count + int(number[0])
    rubs = [
        (FRICTION, "put the friction right" if treatments.eased[row] else "leave the friction",
         float(treatments.minutes[row]), float(treatments.money[row]), 0.0, 0.0, 0, 0.0, 0.0,
         float(left[row]) ** 0.5, False, row == int(way.chosen[own]))
        for row in np.flatnonzero(treatments.row == own).tolist()
    ]  # fmt: skip
    return pd.concat([found, pd.DataFrame(rubs, columns=columns)], ignore_index=True)


def _kind(treatments: Treatments, row: int) -> str:
    strike = treatments.strike_g[row]
    words = ["trim the hammer"] if strike < 0 else ["add to the hammer"] if strike > 0 else []
    if treatments.front_g[row] != 0:
        words.append("change the lead")
    if treatments.relief_g[row] != 0:
        words.append("fit a spring" if treatments.fitted[row] else "set the spring")
    return " and ".join(words) or "leave it"


def why_levers(treatments: Treatments, way: Way, costs: WorkCosts, key: int) -> list[str]:
    """Say for each lever that takes in a key what moving it costs, and whether the way does."""
    piano, said = treatments.piano, []
    place = int(np.flatnonzero(piano.keys == key)[0])
    for number, shift in enumerate(piano.shifts):
        if place in shift.rows and shift.place != ALL_KEYS:
            does = "moved in this way" if number in way.decision.shifts else "not moved here"
            hours = len(shift.rows) * costs.each(f"move {shift.lever}") / 60
            said.append(
                f"{shift.words}, {abs(shift.move_mm):.1f} mm: {does}; {hours:.1f} h for the group, "
                f"action ratio x {shift.ratio_part:.3f}"
            )
    for shift in (piano.shifts[number] for number in way.decision.shifts):
        if shift.place == ALL_KEYS:
            said.append(f"{shift.words}: moved in this way")
    return said


def why_words(considered: pd.DataFrame) -> str:
    """Say in two sentences why the taken treatment was taken."""
    of_key = considered[considered["work"] == "key"]
    taken = of_key[of_key["taken"]].iloc[0]
    best = of_key[~of_key["sticks_out"]].iloc[0]
    text = (
        f"Taken: {taken['treatment']}, {taken['minutes']:.0f} min; {taken['left_g']:.1f} g are "
        f"left uneven (inertia counted {INERTIA_SCALE_G:g} g to a gram)."
    )
    rubs = considered[considered["taken"] & (considered["work"] == FRICTION)]
    if len(rubs):
        text += f" Its friction: {rubs.iloc[0]['treatment']}, {rubs.iloc[0]['minutes']:.0f} min."
    least = of_key.iloc[0]
    out = (
        f" To {least['treatment']}, the hammer by {abs(least['strike_g']):.1f} g, would leave "
        f"{least['left_g']:.1f} g, but the hammer would stick out of its neighbours."
        if least["sticks_out"]
        else ""
    )
    if best["treatment"] == taken["treatment"]:
        return f"{text} No other treatment of this key leaves less.{out}"
    return (
        f"{text} To {best['treatment']} would leave {best['left_g']:.1f} g and take "
        f"{best['minutes']:.0f} min: other keys gain more from those minutes.{out}"
    )
