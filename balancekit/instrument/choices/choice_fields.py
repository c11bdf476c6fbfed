"""What the fields of a choice may be, and how a choice is read from plain JSON.

A choice is a frozen dataclass of numbers, words, and yes or no. Hammers have one, leads
and springs another; both are checked and read alike.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, TypeVar

from balancekit.calculation.problems import BalancekitError, Problem
from balancekit.calculation.words import nearest

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

    Choice = TypeVar("Choice", bound=DataclassInstance)


@dataclass(frozen=True)
class Span:
    """The label of one number of a choice, and what is allowed for it.

    Attributes
    ----------
    label : full words.
    unit : as printed.
    low, high : allowed, and the ends of its slider.
    step : of its slider.
    """

    label: str
    unit: str
    low: float
    high: float
    step: float


@dataclass(frozen=True)
class ChoiceFields:
    """What the fields of one choice may be.

    Attributes
    ----------
    called : what the choice is called where something is wrong with it.
    spans : every number, by name.
    words : every choice between words, by name.
    yes_or_no : every field that is true or false.
    may_lack : numbers that may be None.
    whole : numbers that must be whole.
    """

    called: str
    spans: Mapping[str, Span]
    words: Mapping[str, tuple[str, ...]]
    yes_or_no: Collection[str]
    may_lack: Collection[str]
    whole: Collection[str] = ()

    def problem(self, name: str, value: object, advice: str) -> Problem:
        """Return what is said of a value that cannot be."""
        return Problem(f"'{value}' cannot be.", advice, file=self.called, column=name)

    def problems(self, choice: object) -> list[Problem]:
        """Return every number, word, and yes or no of a choice that cannot be.

        >>> from types import SimpleNamespace
        >>> span = Span("Spares", "%", 0, 100, 5)
        >>> leads = ChoiceFields("choice of leads", {"spare_percent": span}, {}, (), ())
        >>> print(leads.problems(SimpleNamespace(spare_percent=200))[0])
        choice of leads, spare_percent: '200' cannot be. Spares: 0 to 100 %.
        """
        found = []
        for name, span in self.spans.items():
            value = getattr(choice, name)
            if not self._fits(name, value):
                whole = "a whole number, " if name in self.whole else ""
                allowed = f"{span.label}: {whole}{span.low:g} to {span.high:g} {span.unit}"
                found.append(self.problem(name, value, f"{allowed.rstrip()}."))
        for name, words in self.words.items():
            value = getattr(choice, name)
            if value not in words:
                found.append(self.problem(name, value, f"Choose one of: {', '.join(words)}."))
        for name in self.yes_or_no:
            value = getattr(choice, name)
            if not isinstance(value, bool):
                found.append(self.problem(name, value, "Give true or false."))
        return found

    def _fits(self, name: str, value: object) -> bool:
        """Say whether a number is allowed."""
        if value is None:
            return name in self.may_lack
        if isinstance(value, bool) or not isinstance(value, int | float):
            return False
        span = self.spans[name]
        return span.low <= value <= span.high and (name not in self.whole or value == int(value))

    def read(self, kind: type[Choice], data: object) -> Choice:
        """Read a choice from plain JSON values; what is not there has its usual value.

        Raises
        ------
        BalancekitError : no table of names and values, a name that is not known, or a value
            that cannot be.
        """
        if not isinstance(data, Mapping):
            raise BalancekitError(self.problem("", data, "Give names and values."))
        known = {item.name for item in fields(kind)}
        strange = [name for name in data if name not in known]
        if strange:
            advice = {n: f"No choice has this name. {nearest(str(n), known)}" for n in strange}
            raise BalancekitError(
                [self.problem(str(n), data[n], advice[n].rstrip()) for n in strange]
            )
        return kind(**data)
