"""What was decided about leads and springs: kept with the instrument as plain JSON.

The choice holds only what the user set. What follows from it is worked out anew each time;
see ``lead_plan``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

from balancekit.calculation.leads.layout import LayoutRules
from balancekit.calculation.leads.springs import WIRES, TorsionSpring
from balancekit.calculation.problems import BalancekitError
from balancekit.instrument.choices.choice_fields import ChoiceFields, Span
from balancekit.instrument.choices.chosen_way import with_way
from balancekit.instrument.model import Instrument

CHAPTER = "lead_and_spring"
"""Under this name the choice stands in ``instrument.choices``."""

AS_FOUND, FREE, IN_LINES = "as found", "free", "in lines"
FROM_HAMMERS, LEVEL, CURVE = "hammers", "level", "curve"

SPANS: Mapping[str, Span] = {
    "balance_weight_g": Span("Wanted balance weight", "g", 20, 60, 0.5),
    "balance_weight_first_g": Span("Balance weight, first key", "g", 20, 60, 0.5),
    "balance_weight_middle_g": Span("Balance weight, middle", "g", 20, 60, 0.5),
    "balance_weight_last_g": Span("Balance weight, last key", "g", 20, 60, 0.5),
    "highest_front_weight_g": Span("Highest front weight", "g", 0, 80, 0.5),
    "spring_relief_g": Span("Spring relief", "g", 0, 40, 0.5),
    "spring_relief_first_g": Span("Spring relief, first key", "g", 0, 40, 0.5),
    "spring_relief_middle_g": Span("Spring relief, middle", "g", 0, 40, 0.5),
    "spring_relief_last_g": Span("Spring relief, last key", "g", 0, 40, 0.5),
    "least_inertia_percent": Span("Least work → least inertia", "%", 0, 100, 1),
    "tolerance_g": Span("Tolerance of the front weight", "g", 0.02, 2, 0.01),
    "most_plugs_in": Span("Most plugs to put into a key", "", 0, 6, 1),
    "hole_clearance_mm": Span("Wood between two holes", "mm", 0, 15, 0.5),
    "edge_clearance_mm": Span("Wood above and below a hole", "mm", 0, 8, 0.5),
    "operation_g": Span("One operation counts", "g", 0, 50, 0.5),
    "new_hole_g": Span("A new hole counts besides", "g", 0, 50, 0.5),
    "spare_percent": Span("Spares", "%", 0, 100, 5),
    "wire_mm": Span("Wire", "mm", 0.2, 2, 0.01),
    "coil_mm": Span("Coil, middle of the wire", "mm", 2, 20, 0.1),
    "body_turns": Span("Turns", "", 1, 20, 0.25),
    "leg_1_mm": Span("One leg", "mm", 0, 80, 1),
    "leg_2_mm": Span("Other leg", "mm", 0, 80, 1),
    "wippen_arm_mm": Span("Wippen centre to capstan", "mm", 20, 200, 0.5),
    "spring_turn_ratio": Span("Turn of the spring / of the wippen", "", 0.2, 2, 0.05),
}
"""Every number of the choice. The limits are our own choice, wide enough for any grand."""

WORDS: Mapping[str, tuple[str, ...]] = {
    "balance_weight_from": (LEVEL, CURVE),
    "highest_from": (FROM_HAMMERS, LEVEL),
    "spring_relief_from": (FROM_HAMMERS, LEVEL, CURVE),
    "layout": (AS_FOUND, FREE, IN_LINES),
    "material": tuple(WIRES),
}
"""Every choice between words."""

CURVES: Mapping[str, tuple[str, str, str]] = {
    name: (f"{name}_first_g", f"{name}_middle_g", f"{name}_last_g")
    for name in ("balance_weight", "spring_relief")
}
"""The three levels of each curve: at the first key, the middle and the last key."""

FIELDS = ChoiceFields(
    "choice of leads and springs", SPANS, WORDS, yes_or_no=("bore_old_holes", "behind_pin"),
    may_lack={"balance_weight_g", "wippen_arm_mm", *CURVES["balance_weight"],
              *CURVES["spring_relief"]},
    whole=("most_plugs_in",),
)  # fmt: skip
_USUAL = LayoutRules()

TOLERANCE_G = 1.0
# Our own choice: two standard uncertainties of a balance weight that is weighed once more, 0.5 g
# each (see the register). A finer layout cannot be told from this one by any later weighing.


@dataclass(frozen=True)
class LeadChoice:
    """What the user wants of leads and springs.

    Attributes
    ----------
    balance_weight_from : "level" or "curve".
    balance_weight_g : the level; None for the one chosen with the hammers [g].
    balance_weight_first_g, balance_weight_middle_g, balance_weight_last_g : the curve, straight
        between them; None for the level [g].
    highest_from : limit of the front weight: that of the "hammers" or one "level".
    highest_front_weight_g : the level [g].
    spring_relief_from : "hammers" (what is there, and what was planned with the hammers),
        "level" or "curve".
    spring_relief_g : the level [g].
    spring_relief_first_g, spring_relief_middle_g, spring_relief_last_g : the curve; None for
        the level [g].
    layout : "as found", "free" (the best for each key) or "in lines".
    least_inertia_percent : 0 for least work, 100 for least inertia.
    tolerance_g, most_plugs_in, hole_clearance_mm, edge_clearance_mm, operation_g, new_hole_g,
        bore_old_holes : see ``layout_bench.LayoutRules``.
    behind_pin : whether new plugs may go behind the balance pin.
    spare_percent : spare plugs on the shopping list.
    wire_mm, coil_mm, body_turns, leg_1_mm, leg_2_mm, material : see ``springs.TorsionSpring``.
    wippen_arm_mm : wippen centre to where the capstan meets it; None for the one given with
        the hammers [mm].
    spring_turn_ratio : see ``springs.relief_along_stroke``.

    Raises
    ------
    BalancekitError : every value that cannot be.

    >>> LeadChoice(least_inertia_percent=30).slider
    0.3
    """

    # The numbers are our own choice, where a slider starts.
    balance_weight_from: str = LEVEL
    balance_weight_g: float | None = None
    balance_weight_first_g: float | None = None
    balance_weight_middle_g: float | None = None
    balance_weight_last_g: float | None = None
    highest_from: str = LEVEL
    highest_front_weight_g: float = 45.0
    spring_relief_from: str = FROM_HAMMERS
    spring_relief_g: float = 8.0
    spring_relief_first_g: float | None = None
    spring_relief_middle_g: float | None = None
    spring_relief_last_g: float | None = None
    layout: str = AS_FOUND
    least_inertia_percent: float = 50.0
    tolerance_g: float = TOLERANCE_G
    most_plugs_in: int = _USUAL.most_plugs_in
    hole_clearance_mm: float = _USUAL.hole_clearance_mm
    edge_clearance_mm: float = _USUAL.edge_clearance_mm
    operation_g: float = _USUAL.operation_g
    new_hole_g: float = _USUAL.new_hole_g
    bore_old_holes: bool = _USUAL.bore_old_holes
    behind_pin: bool = False
    spare_percent: float = 10.0
    wire_mm: float = 0.7
    coil_mm: float = 6.0
    body_turns: float = 4.0
    leg_1_mm: float = 30.0
    leg_2_mm: float = 30.0
    material: str = "music wire"
    wippen_arm_mm: float | None = None
    spring_turn_ratio: float = 1.0

    def __post_init__(self) -> None:
        problems = FIELDS.problems(self)
        if problems:
            raise BalancekitError(problems)

    @property
    def slider(self) -> float:
        """Place between least work, 0, and least inertia, 1."""
        return self.least_inertia_percent / 100

    @property
    def rules(self) -> LayoutRules:
        """What a layout must keep to."""
        return LayoutRules(
            self.tolerance_g,
            int(self.most_plugs_in),
            self.hole_clearance_mm,
            self.edge_clearance_mm,
            self.operation_g,
            self.new_hole_g,
            self.bore_old_holes,
        )

    @property
    def spring(self) -> TorsionSpring:
        """The spring as it is designed.

        Raises
        ------
        BalancekitError : a coil that cannot be wound from the wire.
        """
        return TorsionSpring(
            self.wire_mm, self.coil_mm, self.body_turns, self.leg_1_mm, self.leg_2_mm, self.material
        )

    def as_found(self) -> LeadChoice:
        """Return the choice that leaves leads and springs as they are; the wishes are kept."""
        return replace(self, layout=AS_FOUND, spring_relief_from=FROM_HAMMERS)

    def to_json(self) -> dict[str, Any]:
        """Return the choice as plain JSON values."""
        return asdict(self)


PROPOSAL = LeadChoice(layout=FREE)
"""Where the panels start when nothing was decided yet."""


def choice_of(instrument: Instrument) -> LeadChoice | None:
    """Return what was decided about leads and springs; None if nothing was.

    Raises
    ------
    BalancekitError : what is kept cannot be read.
    """
    kept = instrument.choices.get(CHAPTER)
    return None if kept is None else FIELDS.read(LeadChoice, kept)


def with_choice(instrument: Instrument, choice: LeadChoice) -> Instrument:
    """Return the instrument with what was decided about leads and springs."""
    return with_way(instrument, None).with_choice(CHAPTER, choice.to_json())
