"""What the choices add up to: the work on each key, and what it will weigh afterwards.

Every chapter that decided something gives its part; where nothing was decided the piano is
taken as found. Sheets, report and proof all start here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import pandas as pd

from balancekit.calculation.believed.name_groups import Group
from balancekit.calculation.hammers.hammer_curve import hammer_totals
from balancekit.calculation.irregularities.trend import Trend
from balancekit.calculation.leads.leads_plan import scrap_list, shopping_list
from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.proof.friction_by_load import ASSEMBLY_U_G, LoadPart
from balancekit.calculation.proof.groups_after import all_groups
from balancekit.calculation.proof.plateaus import Plateaus, plateaus_in
from balancekit.calculation.proof.prediction import KNOWN, KeyMass, Planned, predict
from balancekit.calculation.quantities import PARTS_COLUMNS
from balancekit.calculation.words import plural
from balancekit.instrument.believed import Believed
from balancekit.instrument.choices.chosen_way import ChosenWay, chosen_way
from balancekit.instrument.choices.hammer_choice import OWN_HAMMERS, choice_of
from balancekit.instrument.choices.hammer_inputs import (
    HammerInputs,
    hammer_inputs,
    others_found_g,
)
from balancekit.instrument.choices.hammer_plan import HammerPlan, hammer_plan
from balancekit.instrument.choices.lead_plan import LeadPlan, lead_plan
from balancekit.instrument.findings import Findings
from balancekit.instrument.friction_work import friction_work
from balancekit.instrument.model import Instrument
from balancekit.instrument.occasion import Occasion
from balancekit.instrument.ratio_checks import load_part_of
from balancekit.sharing.way_work import (
    way_hammers,
    way_leads,
    way_levers,
    way_planned,
    way_sentences,
)

_TOUCHED = ("trim", "add")


@dataclass(frozen=True)
class Work:
    """The work on one instrument, operation by operation.

    Every table is indexed by key; an operation on which nothing is to be done has no rows.

    Attributes
    ----------
    title, visit_title, date : of the instrument and the readings that the work starts from.
    found : the table of keys as found, readings that look like slips replaced by the trend;
        ``estimated`` names them.
    friction : ``friction_g, expected_g, treat`` ("ease" or "tighten") and ``advice``.
    hammers : ``work`` ("trim" or "add"), ``strike_weight_g, target_strike_weight_g,
        trimmed_g, added_g, planned_strike_weight_g``.
    hammer_set : name of the set of hammers that goes in; "" for the piano's own.
    leads : one row a plug, as ``layout.Layout.plan``, the key as a column.
    shopping, scrap : plugs to buy and plugs that come out; see ``leads_plan``.
    levers : levers to move, see ``way_work.way_levers``.
    way : the way that was chosen for the whole action; None if none was.
    springs : ``spring_relief_g`` as found and ``planned_relief_g`` [g].
    planned : what the work brings each key to.
    expected : what each key will weigh, see ``prediction.predict``.
    others_found_g : inertia of wippen, key stick and lead as found, at the measuring
        point; missing where it is not known [g].
    trends : of the readings that the work starts from, by quantity.
    totals : what each operation adds up to, one sentence each, by operation.
    undecided : what was not decided or cannot be worked out, one sentence each.
    believed : what is believed of every key as found.
    plateaus : runs of keys that stand off together, as found.
    load_part : the part of the friction that grows with the load.
    """

    title: str
    visit_title: str
    date: str
    found: pd.DataFrame
    friction: pd.DataFrame
    hammers: pd.DataFrame
    hammer_set: str
    leads: pd.DataFrame
    shopping: pd.DataFrame
    scrap: pd.DataFrame
    springs: pd.DataFrame
    planned: Planned
    expected: pd.DataFrame
    others_found_g: pd.Series
    trends: Mapping[str, Trend]
    totals: Mapping[str, str]
    undecided: tuple[str, ...]
    believed: Believed
    levers: pd.DataFrame = field(default_factory=pd.DataFrame)
    way: ChosenWay | None = None
    plateaus: Plateaus = field(default_factory=dict)
    load_part: LoadPart = field(default_factory=LoadPart)

    @property
    def weigh_first(self) -> Mapping[int, str]:
        """Keys with a doubted reading, by key, and what is doubted."""
        return self.believed.weigh_first

    @property
    def groups(self) -> tuple[Group, ...]:
        """Groups of keys as found, plateaus of the balance weight among them."""
        return all_groups(self.believed.groups, self.plateaus)

    @cached_property
    def expected_plateaus(self) -> Plateaus:
        """Runs of keys that are expected to stand off together after the work."""
        return plateaus_in(self.expected)

    @property
    def anything(self) -> bool:
        """Whether there is anything to do."""
        tables = (self.levers, self.friction, self.hammers, self.leads, self.springs)
        return any(len(each) for each in tables)


def work_from(
    instrument: Instrument,
    visit: int = 0,
    *,
    occasion: Occasion | None = None,
) -> Work:
    """Gather the work that the choices of an instrument decide.

    Parameters
    ----------
    instrument : with its choices.
    visit : the set of readings that the work starts from.
    occasion : that visit, if at hand; of the same instrument, whatever was decided on it.
    """
    held = occasion or Occasion(instrument, visit)
    findings = held.findings
    undecided: list[str] = []
    found, believed = held.without_slips, held.believed
    if instrument.settings.action == "upright":
        # Its hammers do not hang on the key: what else was read does not bear on the balance.
        found = found.assign(**dict.fromkeys(PARTS_COLUMNS, float("nan")))
    way = None if instrument.settings.action == "upright" else chosen_way(instrument)
    if way is not None:
        return _work_of_way(instrument, held, way)
    leads, why_none = _leads(instrument, visit, findings)
    known = None if leads is None else leads.inputs.hammers
    hammers = _hammers(instrument, visit, findings, known, undecided)
    undecided += [why_none] if why_none else []
    friction = friction_work(found, findings)
    planned, springs = _planned(found, findings, friction, hammers, leads)
    doubted = list(believed.weigh_first)
    load_part = load_part_of(instrument, believed.table)
    planned = _without(planned, doubted, load_part)
    inputs = _inputs(instrument, visit, findings, hammers, leads)
    expected = predict(
        believed.table,
        planned,
        key_mass=None if inputs is None else _key_mass(inputs, leads),
        cover=believed.by_key(KNOWN),
    )
    touched = pd.DataFrame()
    if hammers is not None:
        touched = hammers.plan[hammers.plan["work"].isin(_TOUCHED)]
        if hammers.choice.hammers != OWN_HAMMERS:
            touched = hammers.plan
        touched = touched[~touched.index.isin(doubted)]
    work = Work(
        title=instrument.title,
        visit_title=held.title,
        date=held.date,
        found=found,
        friction=friction,
        hammers=touched,
        hammer_set="" if hammers is None else hammers.choice.hammers,
        leads=pd.DataFrame() if leads is None else leads.plan[~leads.plan["key"].isin(doubted)],
        shopping=pd.DataFrame() if leads is None else leads.shopping,
        scrap=pd.DataFrame() if leads is None else leads.scrap,
        springs=springs,
        planned=planned,
        expected=expected,
        others_found_g=others_found_g(believed.table, inputs),
        trends=findings.trends,
        totals={},
        undecided=tuple(undecided),
        believed=believed,
        plateaus=held.plateaus,
        load_part=load_part,
    )
    return _with_totals(work, hammers)


def _work_of_way(instrument: Instrument, held: Occasion, way: ChosenWay) -> Work:
    """Gather the work of the way that was chosen for the whole action."""
    findings, found, believed = held.findings, held.without_slips, held.believed
    estimates = hammer_inputs(instrument, held.visit, findings)
    layout = way_leads(way, instrument, estimates.table)
    levers = way_levers(way, instrument.settings)
    trend = findings.trends["friction_g"]
    spread = float(np.hypot(trend.scatter, trend.trend_u.mean()))
    planned = way_planned(way, found, layout, trend.trend, spread)
    load_part = load_part_of(instrument, believed.table)
    planned = _without(planned, list(believed.weigh_first), load_part)
    eased = [work.key for work in way.keys if work.ease]
    friction = friction_work(found, findings)
    relief = planned.spring_relief_g
    assert relief is not None
    springs = pd.DataFrame(
        {"spring_relief_g": found["spring_relief_g"], "planned_relief_g": relief}
    ).loc[relief.notna()]
    lead_g = layout.keys["lead_inertia_g"].reindex(found.index)
    lead_g = lead_g.fillna(estimates.table["lead_inertia_g"])
    lead_u_g = estimates.table["lead_inertia_u_g"]
    mass = KeyMass(estimates.table["stick_inertia_g"], lead_g, lead_u_g=lead_u_g)
    work = Work(
        title=instrument.title,
        visit_title=held.title,
        date=held.date,
        found=found,
        friction=friction.loc[friction.index.isin(eased)],
        hammers=way_hammers(way, estimates.table["strike_weight_g"]),
        hammer_set="",
        leads=layout.plan,
        shopping=shopping_list(layout),
        scrap=scrap_list(layout),
        springs=springs,
        planned=planned,
        expected=predict(believed.table, planned, key_mass=mass, cover=believed.by_key(KNOWN)),
        others_found_g=others_found_g(believed.table, estimates),
        trends=findings.trends,
        totals={},
        undecided=(),
        believed=believed,
        levers=levers,
        way=way,
        plateaus=held.plateaus,
        load_part=load_part,
    )
    work = _with_totals(work, None)
    said = way_sentences(way, layout, levers)
    first = {"levers": said["levers"]} if "levers" in said else {}
    return replace(work, totals={**first, **work.totals, **said})


def _hammers(
    instrument: Instrument,
    visit: int,
    findings: Findings,
    known: HammerPlan | None,
    undecided: list[str],
) -> HammerPlan | None:
    """Return the plan of hammers if one was decided on and can be worked out.

    ``known`` is that plan, if the leads were worked out from it already.
    """
    if instrument.settings.action == "upright":
        return None
    try:
        if choice_of(instrument) is None:
            undecided.append("Hammers: nothing was decided; they stay as found.")
            return None
        plan = known or hammer_plan(instrument, visit, findings)
        plan.plan  # noqa: B018 - worked out here, so that a contradiction is met here
    except BalancekitError as error:
        undecided.append(f"Hammers: {error.problems[0]}")
        return None
    return plan


def _leads(instrument: Instrument, visit: int, findings: Findings) -> tuple[LeadPlan | None, str]:
    """Return the plan of leads and springs, or None and why there is none."""
    if instrument.settings.action == "upright":
        return None, ""
    try:
        plan = lead_plan(instrument, visit, findings)
        if plan is None:
            return None, "Leads and springs: nothing was decided; they stay as found."
        plan.front_weight_g  # noqa: B018 - worked out here, so that a contradiction is met here
    except BalancekitError as error:
        return None, f"Leads and springs: {error.problems[0]}"
    return plan, ""


def _planned(
    found: pd.DataFrame,
    findings: Findings,
    friction: pd.DataFrame,
    hammers: HammerPlan | None,
    leads: LeadPlan | None,
) -> tuple[Planned, pd.DataFrame]:
    """Return what each key is brought to, and the work on springs."""
    strike: pd.Series | None = None
    parts: dict[str, float] = {}
    relief: pd.Series | None = None
    if leads is not None and leads.springs_decided:
        relief = leads.spring_relief_g
    if hammers is not None:
        plan = hammers.plan
        own = hammers.choice.hammers == OWN_HAMMERS
        touched = plan["work"].isin(_TOUCHED) if own else pd.Series(True, plan.index)
        strike = plan["planned_strike_weight_g"].where(touched)
        parts["ratio_part"] = hammers.choice.ratio_part
        if hammers.choice.lever == "capstan":
            parts["key_ratio_part"] = hammers.choice.ratio_part
        more = hammers.choice.spring_relief_more_g
        if relief is None and more:
            relief = found["spring_relief_g"] + more
    trend = findings.trends.get("friction_g")
    wanted = pd.Series(float("nan"), found.index)
    spread = 1.0
    if trend is not None:
        treated = found.index.isin(friction.index) | found["friction_g"].isna()
        wanted = trend.trend.where(treated)
        spread = float(np.hypot(trend.scatter, trend.trend_u.mean()))
    planned = Planned(
        strike_weight_g=strike,
        front_weight_g=None if leads is None else leads.front_weight_g,
        spring_relief_g=relief,
        friction_g=wanted,
        friction_u_g=spread,
        **parts,
    )
    if relief is None:
        return planned, pd.DataFrame(columns=["spring_relief_g", "planned_relief_g"])
    springs = pd.DataFrame(
        {"spring_relief_g": found["spring_relief_g"], "planned_relief_g": relief}
    )
    return planned, springs[springs["planned_relief_g"].notna()]


def _without(planned: Planned, keys: list[int], load_part: LoadPart) -> Planned:
    """Leave undone what cannot be undone on keys to be weighed first; let friction change."""
    strike, front = planned.strike_weight_g, planned.front_weight_g
    return replace(
        planned,
        friction_load_part=load_part.part,
        friction_load_part_u=load_part.part_u,
        assembly_u_g=ASSEMBLY_U_G,
        strike_weight_g=None if strike is None else strike.where(~strike.index.isin(keys)),
        front_weight_g=None if front is None else front.where(~front.index.isin(keys)),
    )


def _inputs(
    instrument: Instrument,
    visit: int,
    findings: Findings,
    hammers: HammerPlan | None,
    leads: LeadPlan | None,
) -> HammerInputs | None:
    """Return the best estimates of each key as found; None where they are not known."""
    if hammers is None and leads is not None:
        hammers = leads.inputs.hammers
    try:
        return hammer_inputs(instrument, visit, findings) if hammers is None else hammers.inputs
    except BalancekitError:
        return None  # an upright, or a quantity that was read at no key: no inertia is said


def _key_mass(inputs: HammerInputs, leads: LeadPlan | None) -> KeyMass:
    """Return the inertia of stick and lead after the work."""
    table = inputs.table
    lead = table["lead_inertia_g"] if leads is None else leads.lead_inertia_g
    return KeyMass(table["stick_inertia_g"], lead, lead_u_g=table["lead_inertia_u_g"])


def _with_totals(work: Work, hammers: HammerPlan | None) -> Work:
    """Add the sentence of each operation."""
    said: dict[str, str] = {}
    if len(work.friction):
        said["friction"] = f"Friction: {plural(len(work.friction), 'key')}."
    if hammers is not None:
        doubted = hammers.plan.index.isin(list(work.weigh_first))
        said["hammers"] = hammer_totals(hammers.plan[~doubted]).sentence
        if doubted.any():
            said["hammers"] += f" Weigh first: {plural(int(doubted.sum()), 'key')}."
    if len(work.leads):
        counts = work.leads["action"].value_counts()
        keys = work.leads.loc[work.leads["action"] != "keep", "key"].nunique()
        said["leads"] = (
            f"Leads: put in {counts.get('put in', 0)}, take out {counts.get('take out', 0)}, "
            f"in {plural(keys, 'key')}."
        )
    if len(work.springs):
        said["springs"] = f"Springs: {plural(len(work.springs), 'key')}."
    return replace(work, totals=said)
