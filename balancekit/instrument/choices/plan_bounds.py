"""What later chapters decided and every way of a plan keeps, in words, and how it is released."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from balancekit.instrument.choices import hammer_choice, lead_choice
from balancekit.instrument.choices.hammer_choice import HammerChoice
from balancekit.instrument.choices.lead_choice import LeadChoice
from balancekit.instrument.model import Instrument

HAMMERS, LEADS = "5 · Hammer mass", "6 · Lead and spring"


@dataclass(frozen=True)
class Bound:
    """One decision that binds the plan.

    Attributes
    ----------
    chapter : in which it was made.
    words : what every way keeps.
    release : returns the instrument without this decision.
    whole : whether its release is that of the whole chapter.
    """

    chapter: str
    words: str
    release: Callable[[Instrument], Instrument]
    whole: bool = False


def bounds_of(instrument: Instrument) -> list[Bound]:
    """Return every decision that binds the plan of an instrument.

    Raises
    ------
    BalancekitError : what is kept of a decision cannot be read.

    >>> from balancekit.instrument.choices.hammer_choice import with_choice
    >>> grand = with_choice(Instrument(), HammerChoice(target="fitted"))
    >>> [bound.words for bound in bounds_of(grand)]
    ['every hammer as decided: the curve fitted to them']
    >>> bounds_of(bounds_of(grand)[0].release(grand))
    []
    """
    hammers = hammer_choice.choice_of(instrument)
    leads = lead_choice.choice_of(instrument)
    found = [] if hammers is None else _of_hammers(hammers)
    return found if leads is None else [*found, *_of_leads(leads, hammers)]


_TARGETS = {
    "as found": "every hammer as it is",
    "levels": "every hammer as decided: a curve through {bass_g:g}, {middle_g:g}, {treble_g:g} g",
    "fitted": "every hammer as decided: the curve fitted to them",
    "least work": "every hammer as decided: the curve of least work",
}


def _of_hammers(choice: HammerChoice) -> list[Bound]:
    def without(**usual: float) -> Callable[[Instrument], Instrument]:
        kept = replace(choice, **usual)  # type: ignore[arg-type]
        return lambda instrument: instrument.with_choice(hammer_choice.CHAPTER, kept.to_json())

    levels = (choice.bass_g, choice.middle_g, choice.treble_g)
    words = _TARGETS[choice.target]
    if choice.target == "levels":
        words = (
            _TARGETS["fitted"]
            if None in levels
            else words.format(bass_g=levels[0], middle_g=levels[1], treble_g=levels[2])
        )
    if choice.hammers != hammer_choice.OWN_HAMMERS:
        words = f"the hammers '{choice.hammers}' in place of those in the piano; {words}"
    found = [Bound(HAMMERS, words, lambda one: one.with_choice(hammer_choice.CHAPTER, None), True)]
    if choice.ratio_part != 1:
        found.append(
            Bound(
                HAMMERS,
                f"the action ratio of all keys {choice.ratio_change_percent:+g} %, by the "
                f"{choice.lever}".replace("-", "−"),
                without(ratio_change_percent=0.0),
            )
        )
    if choice.spring_relief_more_g:
        found.append(
            Bound(
                HAMMERS,
                f"{choice.spring_relief_more_g:g} g more spring relief on every key",
                without(spring_relief_more_g=0.0),
            )
        )
    return found


def _of_leads(choice: LeadChoice, hammers: HammerChoice | None) -> list[Bound]:
    def kept(**usual: object) -> Callable[[Instrument], Instrument]:
        freed = replace(choice, **usual)  # type: ignore[arg-type]
        return lambda instrument: instrument.with_choice(lead_choice.CHAPTER, freed.to_json())

    level = choice.balance_weight_g
    if level is None and hammers is not None:
        level = hammers.balance_weight_g
    rules = [
        f"a front weight of at most {choice.highest_front_weight_g:g} g"
        if choice.highest_from == lead_choice.LEVEL
        else "the highest front weight of the hammers",
        f"at most {choice.most_plugs_in:.0f} plugs put into a key",
        f"{choice.hole_clearance_mm:g} mm of wood between holes and "
        f"{choice.edge_clearance_mm:g} mm above and below",
        "old holes bored larger" if choice.bore_old_holes else "no old hole bored larger",
        "plugs behind the pin too" if choice.behind_pin else "no plug behind the pin",
    ]
    laid = {
        lead_choice.AS_FOUND: "the plugs as they are",
        lead_choice.IN_LINES: "new plugs on the straight lines that were found, and one "
        "adjusting plug in each key",
    }
    found = [Bound(LEADS, "; ".join(rules), _without_leads, True)]
    if choice.layout in laid:
        found.append(Bound(LEADS, laid[choice.layout], kept(layout=lead_choice.FREE)))
    if choice.balance_weight_from == lead_choice.CURVE:
        found.append(
            Bound(LEADS, "the balance weight along its decided curve", _without_leads, True)
        )
    elif level is not None:
        found.append(
            Bound(LEADS, f"{level:g} g of balance weight on every key", _without_leads, True)
        )
    if choice.spring_relief_from != lead_choice.FROM_HAMMERS:
        what = (
            f"{choice.spring_relief_g:g} g on every key"
            if choice.spring_relief_from == lead_choice.LEVEL
            else "along its decided curve"
        )
        usual = kept(spring_relief_from=lead_choice.FROM_HAMMERS)
        found.append(Bound(LEADS, f"spring relief {what}", usual))
    return found


def _without_leads(instrument: Instrument) -> Instrument:
    return instrument.with_choice(lead_choice.CHAPTER, None)
