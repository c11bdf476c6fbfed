"""What was decided about the hammers: kept with the instrument as plain JSON.

The choice holds only what the user set. What follows from it is worked out anew each time;
see ``hammer_plan``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

import pandas as pd

from balancekit.calculation.hammers.hammer_sets import check_set
from balancekit.calculation.linkage.distances import ActionGeometry
from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.quantities import QUANTITIES
from balancekit.instrument.choices.choice_fields import ChoiceFields, Span
from balancekit.instrument.choices.chosen_way import with_way
from balancekit.instrument.model import Instrument

CHAPTER = "hammer_mass"
"""Under this name the choice stands in ``instrument.choices``."""

SET_TABLE = "hammer_set"
"""Under this name the chosen set of hammers stands in ``instrument.tables``."""

OWN_HAMMERS = ""
"""The name of the hammers that are in the piano."""


def _register(name: str, step: float) -> Span:
    quantity = QUANTITIES[name]
    return Span(quantity.label, quantity.unit, quantity.minimum, quantity.maximum, step)


SPANS: Mapping[str, Span] = {
    "balance_weight_g": Span("Wanted balance weight", "g", 20, 60, 0.5),
    "front_weight_first_g": Span("Highest front weight, first key", "g", 0, 60, 0.5),
    "front_weight_last_g": Span("Highest front weight, last key", "g", 0, 60, 0.5),
    "lead_percent": Span("Lead's highest part of the inertia", "%", 0.5, 20, 0.5),
    "plug_distance_mm": Span("Balance pin to plugs, natural", "mm", 20, 230, 1),
    "spring_relief_more_g": Span("Spring relief, more than now", "g", 0, 25, 0.5),
    "bass_g": Span("Level at the first key", "g", 2, 20, 0.1),
    "middle_g": Span("Level in the middle", "g", 2, 20, 0.1),
    "treble_g": Span("Level at the last key", "g", 2, 20, 0.1),
    "bend_g": Span("Bend allowed at a key", "g", 0, 0.2, 0.005),
    "most_trimmed_g": Span("Most that may be trimmed", "g", 0, 5, 0.05),
    "most_added_g": Span("Most that may be added", "g", 0, 5, 0.05),
    "over_ceiling_g": Span("Over the ceiling, at most", "g", 0, 5, 0.05),
    "ratio_change_percent": Span("Change of the action ratio", "%", -15, 15, 0.5),
    "capstan_arm_mm": Span("Balance pin to capstan", "mm", 20, 300, 0.5),
    "heel_arm_mm": _register("heel_arm_mm", 0.5),
    "top_arm_mm": _register("top_arm_mm", 0.5),
    "knuckle_arm_mm": _register("knuckle_arm_mm", 0.1),
    "hammer_arm_mm": _register("hammer_arm_mm", 0.5),
}
"""Every number of the choice. The limits are our own choice, wide enough for any grand."""

WORDS: Mapping[str, tuple[str, ...]] = {
    "front_weight_from": ("levels", "lead"),
    "target": ("as found", "levels", "fitted", "least work"),
    "lever": ("knuckle", "capstan"),
}
"""Every choice between words."""

FIELDS = ChoiceFields(
    "choice of hammers", SPANS, WORDS, yes_or_no=("keep_ceiling",),
    may_lack=("plug_distance_mm", "bass_g", "middle_g", "treble_g"),
)  # fmt: skip
_USUAL = ActionGeometry()


@dataclass(frozen=True)
class HammerChoice:
    """What the user wants of the hammers.

    Attributes
    ----------
    balance_weight_g : wanted [g].
    front_weight_from : what limits the front weight: "levels" or "lead".
    front_weight_first_g, front_weight_last_g : highest at the first and last key, in a
        straight line between; for "levels" [g].
    lead_percent : highest part of lead in the inertia at the finger; for "lead".
    plug_distance_mm : balance pin to plugs of a natural, of a sharp in proportion; None for
        where the plugs are now [mm].
    spring_relief_more_g : spring relief that is planned on top of what is there [g].
    target : "as found", "levels", "fitted" or "least work".
    bass_g, middle_g, treble_g : levels at the first, middle and last key; None for the curve
        fitted to the hammers [g].
    bend_g, most_trimmed_g, most_added_g : bounds of the least work [g].
    keep_ceiling : whether the least work stays under the ceiling.
    over_ceiling_g : by how much it may pass the ceiling [g].
    ratio_change_percent : planned change of the action ratio, the same at every key.
    lever : what changes it, "knuckle" or "capstan".
    capstan_arm_mm, heel_arm_mm, top_arm_mm, knuckle_arm_mm, hammer_arm_mm : see
        ``ActionGeometry`` [mm].
    hammers : name of the set that is planned with; "" for the hammers in the piano.

    Raises
    ------
    BalancekitError : every value that cannot be.

    >>> HammerChoice().with_level("middle_g", 12.0).middle_g
    12.0
    """

    # The numbers are our own choice, where a slider starts.
    balance_weight_g: float = 38.0
    front_weight_from: str = "levels"
    front_weight_first_g: float = 40.0
    front_weight_last_g: float = 15.0
    lead_percent: float = 5.0
    plug_distance_mm: float | None = None
    spring_relief_more_g: float = 0.0
    target: str = "as found"
    bass_g: float | None = None
    middle_g: float | None = None
    treble_g: float | None = None
    bend_g: float = 0.02
    most_trimmed_g: float = 1.5
    most_added_g: float = 0.5
    keep_ceiling: bool = True
    over_ceiling_g: float = 0.0
    ratio_change_percent: float = 0.0
    lever: str = "knuckle"
    capstan_arm_mm: float = _USUAL.capstan_arm_mm
    heel_arm_mm: float = _USUAL.heel_arm_mm
    top_arm_mm: float = _USUAL.top_arm_mm
    knuckle_arm_mm: float = _USUAL.knuckle_arm_mm
    hammer_arm_mm: float = _USUAL.hammer_arm_mm
    hammers: str = OWN_HAMMERS

    def __post_init__(self) -> None:
        problems = FIELDS.problems(self)
        if not isinstance(self.hammers, str):
            advice = "Give the name of a set, or none."
            problems.append(FIELDS.problem("hammers", self.hammers, advice))
        if problems:
            raise BalancekitError(problems)

    @property
    def ratio_part(self) -> float:
        """Planned action ratio over the present one.

        >>> HammerChoice(ratio_change_percent=-5.0).ratio_part
        0.95
        """
        return 1 + self.ratio_change_percent / 100

    def geometry(self, arm_mm: float) -> ActionGeometry:
        """Return the action's distances, for one arm of the key [mm]."""
        return ActionGeometry(
            arm_mm,
            self.capstan_arm_mm,
            self.heel_arm_mm,
            self.top_arm_mm,
            self.knuckle_arm_mm,
            self.hammer_arm_mm,
        )

    def with_level(self, name: str, value_g: float) -> HammerChoice:
        """Return the choice with one level set; the others give way so that the curve falls.

        Parameters
        ----------
        name : "bass_g", "middle_g" or "treble_g".
        value_g : the new level [g].
        """
        names = ("bass_g", "middle_g", "treble_g")
        place = names.index(name)
        levels: dict[str, Any] = {name: value_g}
        for other, beside in enumerate(names):
            level = getattr(self, beside)
            if other != place and level is not None:
                levels[beside] = (max if other < place else min)(level, value_g)
        return replace(self, **levels)

    def as_found(self) -> HammerChoice:
        """Return the choice that leaves the instrument as it is; the wishes are kept."""
        return replace(
            self,
            target="as found",
            hammers=OWN_HAMMERS,
            ratio_change_percent=0.0,
            spring_relief_more_g=0.0,
        )

    def to_json(self) -> dict[str, Any]:
        """Return the choice as plain JSON values."""
        return asdict(self)


PROPOSAL = HammerChoice(target="least work")
"""Where the panels start when nothing was decided yet."""


def choice_of(instrument: Instrument) -> HammerChoice | None:
    """Return what was decided about the hammers; None if nothing was.

    Raises
    ------
    BalancekitError : what is kept cannot be read, or names a set that is not there.
    """
    kept = instrument.choices.get(CHAPTER)
    if kept is None:
        return None
    choice = FIELDS.read(HammerChoice, kept)
    check_fits(choice, instrument)
    return choice


def check_fits(choice: HammerChoice, instrument: Instrument) -> None:
    """Refuse a choice that does not fit the instrument.

    Raises
    ------
    BalancekitError : the set it names is not kept with the instrument, or has impossible
        weights; or plugs would sit beyond the measuring point.
    """
    if choice.hammers != OWN_HAMMERS:
        if SET_TABLE not in instrument.tables:
            advice = "Choose a set again, or the hammers in the piano."
            raise BalancekitError(FIELDS.problem("hammers", choice.hammers, advice))
        check_set(instrument.table(SET_TABLE), instrument.settings.key_count)
    arm_mm = instrument.settings.natural_arm_mm
    if choice.plug_distance_mm is not None and choice.plug_distance_mm > arm_mm:
        advice = f"Give less than the arm of a natural, {arm_mm:g} mm."
        raise BalancekitError(FIELDS.problem("plug_distance_mm", choice.plug_distance_mm, advice))


def with_choice(
    instrument: Instrument, choice: HammerChoice, weighed_g: pd.Series | None = None
) -> Instrument:
    """Return the instrument with what was decided about the hammers, and no chosen way.

    Parameters
    ----------
    instrument : as it is.
    choice : what was decided.
    weighed_g : strike weights of the chosen set, by key; None to keep the set that is there.

    Raises
    ------
    BalancekitError : the choice does not fit the instrument.
    """
    if weighed_g is not None:
        table = pd.DataFrame({"key": weighed_g.index, "strike_weight_g": weighed_g.to_numpy()})
        instrument = instrument.with_table(SET_TABLE, table)
    check_fits(choice, instrument)
    return with_way(instrument, None).with_choice(CHAPTER, choice.to_json())
