"""What can be done on one key, hammer, lead and spring together, with its minutes and result.

All treatments of all keys lie in flat arrays, sorted by key, change of the hammer, kinds of work
and minutes. A run holds those that differ in none of these, a cell those of one key and one
change of its hammer, so that the least of each is one ``minimum.reduceat``.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from balancekit.calculation.plan.hammer_course import HammerCourse
from balancekit.calculation.plan.lead_choices import LeadChoices
from balancekit.calculation.plan.piano import INERTIA_SCALE_G, Floats, Piano
from balancekit.calculation.plan.work_costs import WorkCosts

Ints = NDArray[np.int64]

HAMMERS, LEADS, SPRINGS, FRICTION = "hammers", "leads", "springs", "friction"
TREATMENT_KINDS = (HAMMERS, LEADS, SPRINGS, FRICTION)
"""Kinds of work that a plan may use or leave out as a whole, beside moving a lever."""


@dataclass(frozen=True)
class Steps:
    """How finely hammers and springs are worked at the bench.

    Attributes
    ----------
    hammer_step_g, most_trimmed_g, most_added_g : of the strike weight [g].
    spring_step_g, most_spring_g : of the spring relief, to both sides [g].
    fitted_step_g, most_fitted_g : of the relief of a spring that is fitted anew [g].
    """

    hammer_step_g: float = 0.2
    most_trimmed_g: float = 1.2
    most_added_g: float = 0.8
    spring_step_g: float = 1.0
    most_spring_g: float = 4.0
    fitted_step_g: float = 2.0
    most_fitted_g: float = 8.0


@dataclass(frozen=True, eq=False)
class Treatments:
    """Every treatment of every key, flat; sorted by row, hammer, kinds of work and minutes.

    A row is a key, or, after all keys, the friction of one key.

    Attributes
    ----------
    piano : the keys.
    row : the row of each treatment.
    hammer : which change of the hammer, counted for each row; 0 for that of one that is left.
    minutes, money : of each.
    strike_g, front_g, relief_g : change of strike weight, front weight and relief [g].
    eased : whether the friction is put right.
    fitted : whether a new spring is fitted.
    lead : column of ``LeadChoices``; 0 for nothing.
    lead_inertia_g : change of the lead's inertia at the finger [g].
    new_holes, plugs_in, plugs_out : counts.
    friction_keys : places of the keys that have a row for their friction.
    hammer_step_g : how finely hammers are worked [g].
    """

    piano: Piano
    row: Ints
    hammer: Ints
    minutes: Floats
    money: Floats
    strike_g: Floats
    front_g: Floats
    relief_g: Floats
    eased: NDArray[np.bool_]
    fitted: NDArray[np.bool_]
    lead: Ints
    lead_inertia_g: Floats
    new_holes: Floats
    plugs_in: Floats
    plugs_out: Floats
    friction_keys: Ints
    hammer_step_g: float

    @cached_property
    def kinds(self) -> Ints:
        """Which kinds of work each treatment is, as a sum of 1, 2, 4 and 8."""
        return _as_number(self.strike_g != 0, self.lead != 0, self.relief_g != 0, self.eased)

    @cached_property
    def starts(self) -> Ints:
        """Where each run of one row, change of the hammer, kinds of work and minutes begins."""
        return _begins(self.row, self.hammer, self.kinds, self.minutes)

    @cached_property
    def run_minutes(self) -> Floats:
        """Minutes of each run."""
        return np.asarray(self.minutes[self.starts])

    @cached_property
    def run_kinds(self) -> Ints:
        """Kinds of work of each run."""
        return np.asarray(self.kinds[self.starts])

    @cached_property
    def cell_starts(self) -> Ints:
        """Where each row and change of its hammer begins among the runs."""
        return _begins(self.row[self.starts], self.hammer[self.starts])

    @cached_property
    def cell_row(self) -> Ints:
        """Row of each cell."""
        return np.asarray(self.row[self.starts[self.cell_starts]])

    def cell_of(self, treatment: Ints) -> Ints:
        """Return the cell of some treatments."""
        run = np.searchsorted(self.starts, treatment, side="right") - 1
        return np.asarray(np.searchsorted(self.cell_starts, run, side="right") - 1)

    @cached_property
    def row_cells(self) -> Ints:
        """Where each row begins among the cells, with the hammer that is left."""
        return np.asarray(np.searchsorted(self.cell_row, np.arange(self.rows)), dtype=np.int64)

    @cached_property
    def row_starts(self) -> Ints:
        """Where each row begins among the treatments, with the one that does nothing."""
        return np.asarray(np.searchsorted(self.row, np.arange(self.rows)), dtype=np.int64)

    @cached_property
    def course(self) -> HammerCourse:
        """The course that the hammers of a way keep to."""
        own = self.cell_row < self.piano.count
        change = self.strike_g[self.starts[self.cell_starts]]
        return HammerCourse(self.piano, self.cell_row[own], change[own], self.hammer_step_g)

    @property
    def rows(self) -> int:
        """Keys, and frictions after them."""
        return self.piano.count + len(self.friction_keys)

    @cached_property
    def _key(self) -> Ints:
        places = np.concatenate([np.arange(self.piano.count), self.friction_keys])
        return np.asarray(places[self.row])

    @cached_property
    def hand_square(self) -> Floats:
        """Square of the error that the hand leaves, before the hammer's ratio [g^2]."""
        piano = self.piano
        square = np.where(self.front_g != 0, piano.hand_lead_g**2, 0.0)
        square = square + np.where(self.relief_g != 0, piano.hand_spring_g**2, 0.0)
        return np.asarray(square + np.where(self.eased, piano.hand_friction_g**2, 0.0))

    def of_kinds(self, kinds: Collection[str]) -> NDArray[np.bool_]:
        """Tell which runs use no other kind of work."""
        others = _as_number(*(np.array(kind not in kinds) for kind in TREATMENT_KINDS))
        return np.asarray(self.run_kinds & others == 0)

    def uneven(self, ratio: Floats, balance_off_g: Floats, inertia_off_g: Floats) -> Floats:
        """Return what each treatment leaves uneven, in grams of balance weight squared.

        Parameters
        ----------
        ratio, balance_off_g, inertia_off_g : of each key once the levers are moved: action
            ratio, balance weight less its course, inertia less its course [g].
        """
        key = self._key
        own = self.row < self.piano.count
        r = ratio[key]
        off = balance_off_g[key] + r * self.strike_g - self.front_g - self.relief_g
        heavy = inertia_off_g[key] + r**2 * self.strike_g + self.lead_inertia_g
        hand = self.hand_square + np.where(
            self.strike_g != 0, (r * self.piano.hand_hammer_g) ** 2, 0.0
        )
        touch = off**2 + (heavy / INERTIA_SCALE_G) ** 2 + hand
        excess = np.where(self.eased, 0.0, self.piano.excess_friction_g[key]) ** 2
        return np.where(own, touch, excess + hand)


def _as_number(*flags: NDArray[np.bool_]) -> Ints:
    """Write flags as one whole number.

    >>> _as_number(np.array([True, False]), np.array([True, True])).tolist()
    [3, 2]
    """
    return np.asarray(sum(flag.astype(np.int64) << place for place, flag in enumerate(flags)))


def _begins(*columns: NDArray[np.float64] | Ints) -> Ints:
    """Return where a row begins that differs from the one before.

    >>> _begins(np.array([1, 1, 2]), np.array([5.0, 6.0, 6.0])).tolist()
    [0, 1, 2]
    """
    new = np.any([np.diff(column) != 0 for column in columns], axis=0)
    return np.asarray(np.concatenate([[0], np.flatnonzero(new) + 1]), dtype=np.int64)


def list_treatments(
    piano: Piano, leads: LeadChoices, costs: WorkCosts, steps: Steps | None = None
) -> Treatments:
    """List every treatment of every key.

    Parameters
    ----------
    piano : the keys; what must not be cut or bored there is left out.
    leads : from ``list_lead_choices``, on the keys of the piano.
    costs : minutes and money.
    steps : how finely hammers and springs are worked.
    """
    steps = steps or Steps()
    hammer, hammer_minutes, hammer_money = _hammer_steps(costs, steps)
    parts: list[dict[str, Floats]] = []
    for place in range(piano.count):
        h, hm, hc = hammer, hammer_minutes, hammer_money
        fixed = piano.hammer_fixed_g[place]
        if not piano.may_cut[place]:
            h, hm, hc = h[:1], hm[:1], hc[:1]
        elif fixed == fixed:
            h, hm, hc = _decided(float(fixed - piano.strike_weight_g[place]), costs)
        springs, fitted = _springs(piano, place, steps)
        kind = np.where(fitted, "fit spring", np.where(springs != 0, "set spring", ""))
        spring_minutes, spring_money = (
            np.array([of(str(name)) if name else 0.0 for name in kind])
            for of in (costs.each, costs.price)
        )
        left = np.flatnonzero(np.isfinite(leads.minutes[place]))
        left = left if piano.may_lead[place] else left[:1]
        grid = np.meshgrid(np.arange(len(h)), left, np.arange(len(springs)), indexing="ij")
        i, j, s = (each.ravel() for each in grid)
        parts.append(
            {
                "row": np.full(len(i), float(place)),
                "hammer": i.astype(float),
                "minutes": hm[i] + leads.minutes[place, j] + spring_minutes[s],
                "money": hc[i] + leads.money[place, j] + spring_money[s],
                "strike_g": h[i],
                "front_g": leads.change_g[place, j],
                "relief_g": springs[s],
                "eased": np.zeros(len(i)),
                "fitted": fitted[s].astype(float),
                "lead": j.astype(float),
                **{
                    name: getattr(leads, given)[place, j]
                    for name, given in (
                        ("lead_inertia_g", "inertia_g"), ("new_holes", "new_holes"),
                        ("plugs_in", "plugs_in"), ("plugs_out", "plugs_out"),
                    )
                },
            }
        )  # fmt: skip
    tight = np.flatnonzero(piano.excess_friction_g != 0)
    for number, _ in enumerate(tight):
        none = {name: np.zeros(2) for name in parts[0]}
        parts.append(
            {**none, "row": np.full(2, float(piano.count + number)), "eased": np.array([0.0, 1.0]),
             "minutes": np.array([0.0, costs.each("ease friction")]),
             "money": np.array([0.0, costs.price("ease friction")])}
        )  # fmt: skip
    flat = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    kinds = _as_number(*(flat[name] != 0 for name in ("strike_g", "lead", "relief_g", "eased")))
    order = np.lexsort((flat["minutes"], kinds, flat["hammer"], flat["row"]))
    flat = {name: values[order] for name, values in flat.items()}
    rows, hammers, lead = (flat.pop(name).astype(np.int64) for name in ("row", "hammer", "lead"))
    eased, fitted = (flat.pop(name).astype(bool) for name in ("eased", "fitted"))
    return Treatments(
        piano, rows, hammers, eased=eased, fitted=fitted, lead=lead,
        friction_keys=np.asarray(tight), hammer_step_g=steps.hammer_step_g, **flat,
    )  # fmt: skip


def _springs(piano: Piano, place: int, steps: Steps) -> tuple[Floats, NDArray[np.bool_]]:
    """Return changes of the relief of one key, nothing first, and whether they need a new spring.

    A spring that is there can be set within its reach; a relief below nothing is none.
    """
    now, decided = float(piano.spring_relief_g[place]), float(piano.relief_fixed_g[place])
    if decided == decided:
        changes = np.array([decided - now if abs(decided - now) > 1e-6 else 0.0])
    else:
        changes = np.zeros(1)
        if piano.has_springs and now > 0:
            set_to = np.arange(-steps.most_spring_g, steps.most_spring_g + 1e-9,
                               steps.spring_step_g)  # fmt: skip
            changes = np.append(changes, set_to[np.abs(set_to) > 1e-9])
        if piano.may_fit_springs and piano.may_cut[place]:
            anew = np.arange(steps.fitted_step_g, steps.most_fitted_g + 1e-9, steps.fitted_step_g)
            changes = np.append(changes, anew[~np.isin(anew, changes)])
        changes = np.round(changes[now + changes >= -1e-9], 6)
    there = now > 0
    fitted = (changes != 0) & ((not there) | (np.abs(changes) > steps.most_spring_g + 1e-9))
    return changes, fitted


def _hammer_steps(costs: WorkCosts, steps: Steps) -> tuple[Floats, Floats, Floats]:
    """Return changes of the strike weight, nothing first, their minutes and money."""
    down = np.arange(steps.hammer_step_g, steps.most_trimmed_g + 1e-9, steps.hammer_step_g)
    up = np.arange(steps.hammer_step_g, steps.most_added_g + 1e-9, steps.hammer_step_g)
    change = np.round(np.concatenate([[0.0], -down, up]), 6)
    return change, *_hammer_costs(change, costs)


def _decided(change: float, costs: WorkCosts) -> tuple[Floats, Floats, Floats]:
    """Return the one change that the user decided on."""
    only = np.array([change if abs(change) > 1e-6 else 0.0])
    return only, *_hammer_costs(only, costs)


def _hammer_costs(change: Floats, costs: WorkCosts) -> tuple[Floats, Floats]:
    def told(trim: float, add: float) -> Floats:
        return np.where(change < 0, trim, np.where(change > 0, add, 0.0))

    return (
        told(costs.each("trim hammer"), costs.each("add to hammer")),
        told(costs.price("trim hammer"), costs.price("add to hammer")),
    )
