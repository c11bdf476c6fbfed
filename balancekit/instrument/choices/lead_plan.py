"""What follows from the choice of leads and springs: target, layout, what it brings.

    hammers + wishes -> front weight target -> layout of plugs -> plan, shopping, inertia

Panels, sheets and later chapters read it here; nothing of it is stored.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from balancekit.calculation.by_value import ByValue
from balancekit.calculation.hammers.inertia_account import inertia_account
from balancekit.calculation.leads.front_weight import front_weight_target
from balancekit.calculation.leads.layout import Layout, LayoutBench, RowLayout
from balancekit.calculation.leads.leads_plan import saved, scrap_list, shopping_list, ways_out
from balancekit.calculation.leads.springs import (
    relief_along_stroke,
    relief_curve,
    spring_at_rest,
)
from balancekit.calculation.linkage.distances import fit_distances
from balancekit.calculation.linkage.positions import Linkage
from balancekit.calculation.words import plural
from balancekit.instrument.choices.lead_choice import (
    AS_FOUND,
    CURVES,
    FROM_HAMMERS,
    IN_LINES,
    LEVEL,
    TOLERANCE_G,
    LeadChoice,
    choice_of,
)
from balancekit.instrument.choices.lead_inputs import (
    Asked,
    LeadInputs,
    all_zones,
    free_layout,
    layout_bench,
    lead_inputs,
    lines_layout,
)
from balancekit.instrument.findings import Findings
from balancekit.instrument.in_cells import card, or_problems
from balancekit.instrument.model import Instrument

_WISHES = ("balance_weight_from", "balance_weight_g", *CURVES["balance_weight"], "highest_from",
           "highest_front_weight_g", "spring_relief_from", "spring_relief_g",
           *CURVES["spring_relief"])  # fmt: skip
_BY_WISHES = ("balance_weight_g", "spring_relief_g", "limit_g", "target", "wanted_g",
              "wanted_without_spring_g")  # fmt: skip
_BY_LAYOUT = ("asked", "asked_without_spring", "free", "without_spring", "ways_out", "saved")


@dataclass(frozen=True, eq=False, repr=False)
class LeadPlan(ByValue):
    """A choice with all that follows from it; each part is worked out when first asked for.

    Attributes
    ----------
    inputs : the instrument as it is, with its planned hammers.
    choice : what is wanted.
    """

    inputs: LeadInputs
    choice: LeadChoice

    def __repr__(self) -> str:
        return f"<LeadPlan of {len(self.keys)} keys, layout {self.choice.layout!r}>"

    def _repr_html_(self) -> str:
        def told() -> str:
            counts = self.plan["action"].value_counts()
            facts = {
                "Layout": self.choice.layout,
                "Put in": plural(int(counts.get("put in", 0)), "plug"),
                "Take out": plural(int(counts.get("take out", 0)), "plug"),
                "Caution": "Lead is toxic: gloves, wet wiping, no sanding. A bored hole stays.",
            }
            return card("Plan of leads and springs", facts, self.plan)

        return or_problems("The plan of leads and springs", told)

    @property
    def keys(self) -> pd.Index:
        """The keys of the instrument."""
        return self.inputs.keys

    @property
    def level_keys(self) -> tuple[int, int, int]:
        """The keys at which the three levels of a curve are set."""
        count = len(self.keys)
        return 1, (count + 1) // 2, count

    # What is wanted

    @property
    def balance_level_g(self) -> float:
        """Wanted balance weight, as one level [g]."""
        level = self.choice.balance_weight_g
        return self.inputs.hammers.choice.balance_weight_g if level is None else level

    def levels_g(self, name: str) -> tuple[float, float, float]:
        """Return the three levels of "balance_weight" or "spring_relief" [g]."""
        level = self.balance_level_g if name == "balance_weight" else self.choice.spring_relief_g
        given = [getattr(self.choice, each) for each in CURVES[name]]
        first, middle, last = (level if each is None else float(each) for each in given)
        return first, middle, last

    def _curve(self, name: str) -> pd.Series:
        levels = dict(zip(self.level_keys, self.levels_g(name), strict=True))
        return relief_curve(levels, self.keys).rename(f"{name}_g")

    @cached_property
    def balance_weight_g(self) -> pd.Series:
        """Wanted balance weight of each key [g]."""
        if self.choice.balance_weight_from == LEVEL:
            return pd.Series(self.balance_level_g, self.keys)
        return self._curve("balance_weight")

    @cached_property
    def spring_relief_g(self) -> pd.Series:
        """Spring relief of each key, with the key at rest [g]."""
        if self.choice.spring_relief_from == FROM_HAMMERS:
            return self.inputs.table["spring_relief_g"]
        if self.choice.spring_relief_from == LEVEL:
            return pd.Series(self.choice.spring_relief_g, self.keys)
        return self._curve("spring_relief")

    @cached_property
    def limit_g(self) -> pd.Series:
        """Highest front weight allowed, at every key [g]."""
        if self.choice.highest_from == FROM_HAMMERS:
            return self.inputs.hammers.front_weight_limit_g
        return pd.Series(self.choice.highest_front_weight_g, self.keys)

    # Front weight

    @cached_property
    def target(self) -> pd.DataFrame:
        """Front weight that each key needs; see ``front_weight.front_weight_target``."""
        return front_weight_target(
            self.inputs.table,
            self.balance_weight_g,
            spring_relief_g=self.spring_relief_g,
            strike_weight_g=self.inputs.table["strike_weight_g"],
            strike_weight_u_g=self.inputs.strike_weight_u_g,
            highest_g=self.limit_g,
        )

    @cached_property
    def wanted_g(self) -> pd.Series:
        """Front weight that the layout aims at: the target, and the limit where it is above [g]."""
        return self.target["front_weight_g"].clip(upper=self.limit_g)

    @cached_property
    def wanted_without_spring_g(self) -> pd.Series:
        """Front weight of the same action without any spring, limit or not [g]."""
        return self.target["front_weight_g"] + self.spring_relief_g

    # Layout

    @property
    def bench(self) -> LayoutBench:
        """The keys ready for layouts."""
        return layout_bench(self.inputs, self.choice.rules, self.choice.behind_pin)

    @cached_property
    def asked(self) -> Asked:
        """What a layout depends on; two plans that ask the same have the same layouts."""
        return self._asked(self.wanted_g)

    @cached_property
    def asked_without_spring(self) -> Asked:
        """What the layout of the same action without a spring depends on."""
        return self._asked(self.wanted_without_spring_g)

    def _asked(self, target_g: pd.Series) -> Asked:
        choice, target = self.choice, tuple(target_g.tolist())
        return self.inputs, choice.rules, choice.behind_pin, target, choice.slider

    @cached_property
    def free(self) -> Layout:
        """The best layout of each key by itself."""
        return free_layout(*self.asked)

    @cached_property
    def lines(self) -> RowLayout:
        """The plugs in straight lines; takes a few seconds."""
        return lines_layout(*self.asked)

    @property
    def layout(self) -> Layout:
        """The layout that was chosen; the free one while nothing is."""
        return self.lines.layout if self.choice.layout == IN_LINES else self.free

    @cached_property
    def without_spring(self) -> Layout:
        """The free layout of the same action without a spring."""
        return free_layout(*self.asked_without_spring)

    def at_relief(self, relief_g: float) -> Layout:
        """Return the free layout with the same relief on every key [g]."""
        return free_layout(*self._asked(self.wanted_without_spring_g - relief_g))

    @cached_property
    def ways_out(self) -> pd.DataFrame:
        """Keys of the free layout that miss their front weight; see ``leads_plan.ways_out``."""
        zones = all_zones(self.inputs, self.choice.behind_pin)
        return ways_out(self.bench, self.free, self.wanted_g, zones=zones)

    def following(self, choice: LeadChoice) -> LeadPlan:
        """Return the plan of another choice; what the change does not touch is taken over.

        So a slider of the spring or of the layout does not work the front weights out anew.
        """
        after, before = LeadPlan(self.inputs, choice), self.choice
        shared = ["other_inertia_g"]
        if all(getattr(choice, name) == getattr(before, name) for name in _WISHES):
            shared += _BY_WISHES
            if (choice.rules, choice.behind_pin, choice.slider) == (
                before.rules, before.behind_pin, before.slider
            ):  # fmt: skip
                shared += _BY_LAYOUT
        vars(after).update({name: vars(self)[name] for name in shared if name in vars(self)})
        return after

    # What it brings

    @cached_property
    def other_inertia_g(self) -> pd.Series:
        """Inertia of hammer, wippen and key stick after the work [g]."""
        table = self.inputs.table
        account = inertia_account(table, stick_inertia_g=table["stick_inertia_g"])
        other: pd.Series = account["inertia_g"]
        return other

    def balance_after_g(self, layout: Layout) -> pd.Series:
        """Return the balance weight that each key will have with a layout [g]."""
        table, target = self.inputs.table, self.target["front_weight_g"]
        more = target - layout.keys["front_weight_g"].reindex(table.index)
        after: pd.Series = self.balance_weight_g + more
        return after

    def finer_costs(self) -> str:
        """Say what a tolerance costs that no weighing can tell; "" where it asks for none."""
        asked = self.choice.tolerance_g
        if asked >= TOLERANCE_G:
            return ""
        usual = replace(self.choice, tolerance_g=TOLERANCE_G)
        coarse = free_layout(*LeadPlan(self.inputs, usual)._asked(self.wanted_g)).keys
        more, holes = (
            int(self.free.keys[name].sum() - coarse[name].sum())
            for name in ("operations", "new_holes")
        )
        u_g = float(self.target["front_weight_u_g"].median())
        return (
            f"Within {asked:g} g is finer than weighing can tell: {more} operations and {holes} "
            f"new holes more than within {TOLERANCE_G:g} g, while each need is known to about "
            f"± {u_g:.1f} g."
        )

    @cached_property
    def saved(self) -> pd.DataFrame:
        """Lead and inertia that the spring saves at each key; see ``leads_plan.saved``."""
        return saved(self.free, self.without_spring)

    # Spring

    @property
    def wippen_arm_mm(self) -> float:
        """Wippen centre to where the capstan meets it [mm]."""
        arm = self.choice.wippen_arm_mm
        return self.inputs.hammers.choice.heel_arm_mm if arm is None else arm

    @cached_property
    def linkage(self) -> Linkage:
        """The levers of all keys, with the wippen's arm as measured; distances of shape (n, 1)."""
        columns = (self.inputs.table[name] for name in ("key_ratio", "action_ratio", "arm_mm"))
        key_ratio, action_ratio, arm = (c.to_numpy(dtype=float)[:, None] for c in columns)
        distances = fit_distances(
            key_ratio, action_ratio, arm_mm=arm, heel_arm_mm=self.wippen_arm_mm
        )
        return Linkage(distances)

    @cached_property
    def torque_n_mm(self) -> pd.Series:
        """Torque of each key's spring on the wippen, with the key at rest [N mm]."""
        spring = spring_at_rest(
            self.linkage,
            self.spring_relief_g.to_numpy(dtype=float)[:, None],
            key_dip_mm=self.inputs.key_dip_mm,
            turn_ratio=self.choice.spring_turn_ratio,
        )
        return pd.Series(spring.torque_n_mm[:, 0], self.keys)

    @cached_property
    def stroke(self) -> pd.DataFrame:
        """Relief along the stroke of each key; see ``springs.relief_along_stroke``.

        Raises
        ------
        BalancekitError : a coil that cannot be wound from the wire.
        """
        return relief_along_stroke(
            self.spring_relief_g,
            self.linkage,
            rate_n_mm_rad=self.choice.spring.rate_n_mm_rad,
            key_dip_mm=self.inputs.key_dip_mm,
            spring_turn_ratio=self.choice.spring_turn_ratio,
        )

    # For the sheets

    @property
    def touched(self) -> pd.Index:
        """Keys on whose plugs there is something to do."""
        keys = self.layout.keys
        return keys.index[keys["operations"] > 0]

    @property
    def springs_decided(self) -> bool:
        """Whether a relief of its own was set here."""
        return self.choice.spring_relief_from != FROM_HAMMERS

    @cached_property
    def plan(self) -> pd.DataFrame:
        """One row a plug, ``layout.Layout.plan``; empty where the leads stay as found."""
        plan = self.layout.plan
        return plan.iloc[:0] if self.choice.layout == AS_FOUND else plan

    @cached_property
    def front_weight_g(self) -> pd.Series:
        """Front weight of each key after the work; NaN where nothing is done [g]."""
        if self.choice.layout == AS_FOUND:
            return pd.Series(np.nan, self.keys, name="front_weight_g")
        reached: pd.Series = self.layout.keys.loc[self.touched, "front_weight_g"]
        return reached.reindex(self.keys)

    @cached_property
    def lead_inertia_g(self) -> pd.Series:
        """Inertia of the leads in each key after the work [g]."""
        if self.choice.layout == AS_FOUND:
            found: pd.Series = self.inputs.table["lead_inertia_g"]
            return found
        after: pd.Series = self.layout.keys["lead_inertia_g"].reindex(self.keys)
        return after.fillna(self.inputs.table["lead_inertia_g"])

    @cached_property
    def shopping(self) -> pd.DataFrame:
        """Plugs to buy; see ``leads_plan.shopping_list``."""
        share = self.choice.spare_percent / 100
        return shopping_list(Layout(self.layout.keys, self.plan, self.layout.slider), share)

    @cached_property
    def scrap(self) -> pd.DataFrame:
        """Plugs that come out; see ``leads_plan.scrap_list``."""
        return scrap_list(Layout(self.layout.keys, self.plan, self.layout.slider))


def lead_plan(
    instrument: Instrument, visit: int = 0, findings: Findings | None = None
) -> LeadPlan | None:
    """Return the plan of leads and springs that was decided on; None if nothing was.

    Parameters
    ----------
    instrument : with its choices.
    visit : which set of readings, 0 for the first.
    findings : of that visit, if they are at hand.

    Raises
    ------
    BalancekitError : see ``lead_inputs`` and ``lead_choice.choice_of``.
    """
    choice = choice_of(instrument)
    if choice is None:
        return None
    return LeadPlan(lead_inputs(instrument, visit, findings), choice)
