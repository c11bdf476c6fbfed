"""What is wished for of the whole plan: level of the balance weight, a lighter action, springs.

Kept with the instrument as plain JSON. Without a wish the plan evens out what is there.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from balancekit.calculation.problems import BalancekitError
from balancekit.instrument.choices.choice_fields import ChoiceFields, Span
from balancekit.instrument.model import Instrument

CHAPTER = "plan_wishes"
"""Under this name the wishes stand in ``instrument.choices``."""

SPANS: Mapping[str, Span] = {
    "balance_weight_g": Span("Balance weight on every key", "g", 20, 60, 0.5),
    "lighter_percent": Span("Lighter to set going, by", "%", -10, 15, 1),
}
"""Every number. The limits are our own choice, wide enough for any grand."""

_FIELDS = ChoiceFields("wishes for the plan", SPANS, {}, ("fit_springs",), may_lack=tuple(SPANS))


@dataclass(frozen=True)
class PlanWishes:
    """What is wished for.

    Attributes
    ----------
    balance_weight_g : on every key; None leaves level and course to the plan [g].
    lighter_percent : how much lighter the keys are to be to set going; None lets the level of
        the inertia go where it goes [%].
    fit_springs : whether support springs may be fitted anew.

    Raises
    ------
    BalancekitError : every value that cannot be.

    >>> PlanWishes(lighter_percent=5.0).to_json()["lighter_percent"]
    5.0
    """

    balance_weight_g: float | None = None
    lighter_percent: float | None = None
    fit_springs: bool = False

    def __post_init__(self) -> None:
        problems = _FIELDS.problems(self)
        if problems:
            raise BalancekitError(problems)

    def to_json(self) -> dict[str, Any]:
        """Return the wishes as plain JSON values."""
        return asdict(self)


def wishes_of(instrument: Instrument) -> PlanWishes:
    """Return what is wished for; nothing if nobody wished.

    Raises
    ------
    BalancekitError : what is kept cannot be read.
    """
    kept = instrument.choices.get(CHAPTER)
    return PlanWishes() if kept is None else _FIELDS.read(PlanWishes, kept)


def with_wishes(instrument: Instrument, wishes: PlanWishes) -> Instrument:
    """Return the instrument with wishes; none at all are forgotten."""
    none = wishes == PlanWishes()
    return instrument.with_choice(CHAPTER, None if none else wishes.to_json())
