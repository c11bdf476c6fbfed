"""What follows from the choice of hammers: ceiling, target, plan, and what it brings.

    choice + inputs -> ceiling -> target -> plan -> front weight, lead and inertia afterwards

Panels and later chapters read it here; nothing of it is stored.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from balancekit.calculation.by_value import ByValue
from balancekit.calculation.hammers.hammer_ceiling import ceiling, front_weight_by_lead_share
from balancekit.calculation.hammers.hammer_curve import (
    TARGET,
    Totals,
    curve_from_levels,
    fitted_curve,
    hammer_totals,
    plan,
)
from balancekit.calculation.hammers.hammer_sets import Setting, check_set, consequences, fill_set
from balancekit.calculation.hammers.inertia_account import inertia_account
from balancekit.calculation.hammers.least_work import CurveBounds, least_work
from balancekit.calculation.hammers.ratio_map import MapKey
from balancekit.calculation.problems import BalancekitError
from balancekit.instrument.choices.hammer_choice import (
    OWN_HAMMERS,
    SET_TABLE,
    HammerChoice,
    choice_of,
)
from balancekit.instrument.choices.hammer_inputs import HammerInputs, hammer_inputs
from balancekit.instrument.findings import Findings
from balancekit.instrument.in_cells import card, or_problems
from balancekit.instrument.model import Instrument

SET_STRIKE_WEIGHT_U_G = 0.1
# A shop scale that reads to 0.1 g, hammer on its shank; common practice, no source.

_LEVER = ("ratio_change_percent", "lever", "spring_relief_more_g")
_FRONT = (*_LEVER, "front_weight_from", "front_weight_first_g", "front_weight_last_g",
          "lead_percent", "plug_distance_mm")  # fmt: skip
_RESTS_ON: Mapping[str, tuple[str, ...]] = {
    "hammers_g": (),
    "hammers_u_g": (),
    "estimate_g": (),
    "planned_table": _LEVER,
    "plug_distance_mm": ("plug_distance_mm",),
    "front_weight_limit_g": _FRONT,
    "ceiling": (*_FRONT, "balance_weight_g"),
    "setting": (*_LEVER, "plug_distance_mm", "balance_weight_g"),
}
"""What of the choice, beside the hammers, each part of a plan follows from."""


@dataclass(frozen=True, eq=False, repr=False)
class HammerPlan(ByValue):
    """A choice with all that follows from it; each part is worked out when first asked for.

    Attributes
    ----------
    inputs : the instrument as it is.
    choice : what is wanted.
    set_g : strike weights of the chosen set at the keys where it was weighed; None for the
        hammers in the piano [g].
    """

    inputs: HammerInputs
    choice: HammerChoice
    set_g: pd.Series | None = None

    def __repr__(self) -> str:
        return f"<HammerPlan of {len(self.keys)} keys, target {self.choice.target!r}>"

    def _repr_html_(self) -> str:
        def told() -> str:
            facts = {"Target": self.choice.target, "Work": hammer_totals(self.plan).sentence}
            return card("Plan of the hammers", facts, self.plan)

        return or_problems("The plan of the hammers", told)

    @property
    def keys(self) -> pd.Index:
        """The keys of the instrument."""
        return self.inputs.table.index

    @cached_property
    def hammers_g(self) -> pd.Series:
        """Strike weight of the hammers that are worked on; NaN where not weighed [g]."""
        if self.set_g is None:
            return self.inputs.weighed_g
        return self.set_g.reindex(self.keys).astype(float)

    @cached_property
    def hammers_u_g(self) -> pd.Series:
        """Standard uncertainty of ``hammers_g`` [g]."""
        if self.set_g is None:
            return self.inputs.weighed_u_g
        return pd.Series(SET_STRIKE_WEIGHT_U_G, self.keys)

    @cached_property
    def estimate_g(self) -> pd.Series:
        """Strike weight of the hammers that are worked on, estimated where not weighed [g]."""
        if self.set_g is None:
            return self.inputs.table["strike_weight_g"]
        return fill_set(self.set_g, self.keys)

    @cached_property
    def planned_table(self) -> pd.DataFrame:
        """The table of the inputs with the planned ratio and spring relief.

        A moved knuckle leaves the key ratio; a moved capstan takes it along.
        """
        table, part = self.inputs.table, self.choice.ratio_part
        scaled = ["action_ratio", "action_ratio_u"]
        if self.choice.lever == "capstan":
            scaled += ["key_ratio", "key_ratio_u"]
        planned = {name: table[name].to_numpy() * part for name in scaled}
        relief_g = table["spring_relief_g"].to_numpy() + self.choice.spring_relief_more_g
        return table.assign(**planned, spring_relief_g=relief_g)

    @cached_property
    def plug_distance_mm(self) -> pd.Series:
        """Balance pin to the middle of new plugs, at every key [mm]."""
        arm = self.inputs.table["arm_mm"]
        given = self.choice.plug_distance_mm
        place = self.inputs.plug_place if given is None else given / float(arm.max())
        return arm * place

    @cached_property
    def front_weight_limit_g(self) -> pd.Series:
        """Highest front weight allowed, at every key [g]."""
        choice, table = self.choice, self.planned_table
        if choice.front_weight_from == "levels":
            ends = (choice.front_weight_first_g, choice.front_weight_last_g)
            return pd.Series(np.linspace(*ends, len(self.keys)), self.keys)
        others = inertia_account(table, stick_inertia_g=table["stick_inertia_g"])
        limit: pd.Series = front_weight_by_lead_share(
            lead_share=choice.lead_percent / 100,
            other_inertia_g=others["inertia_g"],
            plug_distance_mm=self.plug_distance_mm,
            arm_mm=table["arm_mm"],
            bare_front_weight_g=table["bare_front_weight_g"],
        )
        return limit

    @cached_property
    def ceiling(self) -> pd.DataFrame:
        """The ceiling by leverage; see ``hammer_ceiling.ceiling``.

        Raises
        ------
        BalancekitError : no hammer is light enough for what is wanted.
        """
        return ceiling(
            self.planned_table.assign(
                strike_weight_g=self.hammers_g, strike_weight_u_g=self.hammers_u_g
            ),
            balance_weight_g=self.choice.balance_weight_g,
            front_weight_g=self.front_weight_limit_g,
        )

    @cached_property
    def bounds(self) -> CurveBounds:
        """What the least work must keep to."""
        choice = self.choice
        top = self.ceiling["ceiling_g"] + choice.over_ceiling_g if choice.keep_ceiling else np.inf
        return CurveBounds(choice.bend_g, choice.most_trimmed_g, choice.most_added_g, top)

    @property
    def level_keys(self) -> dict[str, int]:
        """The keys at which the three levels are set."""
        count = len(self.keys)
        return {"bass_g": 1, "middle_g": (count + 1) // 2, "treble_g": count}

    @cached_property
    def levels_g(self) -> dict[str, float]:
        """The three levels [g].

        Those not set lie on the curve fitted to the hammers. Where another curve is the target,
        they are its own heights, so that three levels can start from it.
        """
        if self.choice.target in ("fitted", "least work") and self.problem is None:
            return {name: float(self.target_g[key]) for name, key in self.level_keys.items()}
        fitted = fitted_curve(self.hammers_g)
        given = {name: getattr(self.choice, name) for name in self.level_keys}
        return {
            name: float(fitted[key]) if given[name] is None else given[name]
            for name, key in self.level_keys.items()
        }

    @cached_property
    def _sought(self) -> pd.Series | BalancekitError:
        """The target, or why there is none."""
        try:
            if self.choice.target == "levels":
                levels = {key: self.levels_g[name] for name, key in self.level_keys.items()}
                return curve_from_levels(levels, self.keys)
            if self.choice.target == "fitted":
                return fitted_curve(self.hammers_g)
            if self.choice.target == "least work":
                return least_work(self.hammers_g, self.bounds).target_g
            return self.estimate_g.rename(TARGET)
        except BalancekitError as error:
            return error

    @property
    def problem(self) -> BalancekitError | None:
        """Why there is no target; None where there is one."""
        return self._sought if isinstance(self._sought, BalancekitError) else None

    @property
    def target_g(self) -> pd.Series:
        """Target strike weight of each key [g].

        Raises
        ------
        BalancekitError : there is none; bounds that contradict each other say which and where.
        """
        if isinstance(self._sought, BalancekitError):
            raise self._sought
        return self._sought

    @cached_property
    def plan(self) -> pd.DataFrame:
        """What to do to each hammer; see ``hammer_curve.plan``.

        Raises
        ------
        BalancekitError : there is no target.
        """
        return plan(
            self.hammers_g,
            self.target_g,
            strike_weight_u_g=self.hammers_u_g,
            most_trimmed_g=self.choice.most_trimmed_g,
            most_added_g=self.choice.most_added_g,
        )

    @property
    def totals(self) -> Totals:
        """Grams and counts of the plan."""
        return hammer_totals(self.plan)

    @cached_property
    def setting(self) -> Setting:
        """What the hammers are put into."""
        table = self.planned_table
        return Setting(
            table,
            self.choice.balance_weight_g,
            table["arm_mm"],
            self.plug_distance_mm,
            table["stick_inertia_g"],
            table["bare_front_weight_g"],
            table["spring_relief_g"],
        )

    @cached_property
    def afterwards(self) -> pd.DataFrame:
        """Front weight, lead and inertia after the work; see ``hammer_sets.consequences``.

        Raises
        ------
        BalancekitError : there is no target.
        """
        return consequences(self.plan["planned_strike_weight_g"], self.setting)

    @cached_property
    def as_found(self) -> pd.DataFrame:
        """The account of inertia as the instrument is; see ``inertia_account``."""
        table = self.inputs.table
        return inertia_account(
            table,
            stick_inertia_g=table["stick_inertia_g"],
            lead_inertia_g=table["lead_inertia_g"],
            lead_inertia_u_g=table["lead_inertia_u_g"],
        )

    def following(self, choice: HammerChoice, set_g: pd.Series | None) -> HammerPlan:
        """Return the plan of another choice; what the change does not touch is taken over.

        So a slider that only bends the curve does not work the ceiling out anew.
        """
        after, before = HammerPlan(self.inputs, choice, set_g), self.choice
        shared = ["as_found"]
        if set_g is self.set_g:
            moved = {name for name, was in vars(before).items() if getattr(choice, name) != was}
            shared += [part for part, rests_on in _RESTS_ON.items() if moved.isdisjoint(rests_on)]
        vars(after).update({name: vars(self)[name] for name in shared if name in vars(self)})
        return after

    def map_key(self, key: int) -> MapKey:
        """Return one key for the map of ratio and hammer mass, as the instrument is."""
        row = self.inputs.table.loc[key].to_dict()
        relief = float(row["spring_relief_g"]) + self.choice.spring_relief_more_g
        same = ("strike_weight_g", "action_ratio", "wippen_weight_g", "key_ratio", "arm_mm",
                "bare_front_weight_g", "stick_inertia_g", "own_share")  # fmt: skip
        return MapKey(
            **{name: float(row[name]) for name in same},
            balance_weight_g=self.choice.balance_weight_g,
            plug_distance_mm=float(self.plug_distance_mm[key]),
            strike_weight_u_g=float(row["strike_weight_u_g"]),
            action_ratio_u=float(row["action_ratio_u"]),
            spring_relief_g=relief,
        )


def chosen_set(instrument: Instrument, choice: HammerChoice) -> pd.Series | None:
    """Return the strike weights of the set that a choice names; None for the piano's own [g].

    Raises
    ------
    BalancekitError : the set that is kept with the instrument cannot be.
    """
    if choice.hammers == OWN_HAMMERS:
        return None
    return check_set(instrument.table(SET_TABLE), instrument.settings.key_count)


def hammer_plan(
    instrument: Instrument, visit: int = 0, findings: Findings | None = None
) -> HammerPlan:
    """Return the plan that was decided on; "as found" where nothing was.

    Parameters
    ----------
    instrument : with its choice.
    visit : which set of readings, 0 for the first.
    findings : of that visit, if they are at hand.

    Raises
    ------
    BalancekitError : see ``hammer_inputs`` and ``choice_of``.
    """
    choice = choice_of(instrument) or HammerChoice()
    inputs = hammer_inputs(instrument, visit, findings)
    return HammerPlan(inputs, choice, chosen_set(instrument, choice))
