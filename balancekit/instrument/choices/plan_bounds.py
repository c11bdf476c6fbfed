"""What later chapters decided and every way of a plan keeps, in words, and how it is released."""

from __future__ import annotations

from dataclasses import dataclass, replace

from balancekit.instrument.choices import hammer_choice, lead_choice
from balancekit.instrument.choices.hammer_choice import HammerChoice
from balancekit.instrument.choices.lead_choice import LeadChoice
from balancekit.instrument.model import Instrument

_NAMES = {hammer_choice.CHAPTER: "5 · Hammer mass", lead_choice.CHAPTER: "6 · Lead and spring"}


@dataclass(frozen=True)
class Bound:
    """One decision that binds the plan.

    Attributes
    ----------
    chapter : under which it stands in ``instrument.choices``.
    words : what every way keeps.
    left : what is still decided in the chapter without it; None for nothing.
    """

    chapter: str
    words: str
    left: HammerChoice | LeadChoice | None = None

    @property
    def notebook(self) -> str:
        """In which notebook it was decided."""
        return _NAMES[self.chapter]

    def release(self, instrument: Instrument) -> Instrument:
        """Return the instrument without this decision."""
        return instrument.with_choice(self.chapter, self.left and self.left.to_json())


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
    found = [] if hammers is None else _of_hammers(hammers, leads)
    return found if leads is None else [*found, *_of_leads(leads, hammers)]


_TARGETS = {
    "as found": "every hammer as it is",
    "levels": "every hammer as decided: a curve through {bass_g:g}, {middle_g:g}, {treble_g:g} g",
    "fitted": "every hammer as decided: the curve fitted to them",
    "least work": "every hammer as decided: the curve of least work",
}


def _of_hammers(choice: HammerChoice, leads: LeadChoice | None) -> list[Bound]:
    chapter = hammer_choice.CHAPTER
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
    found = [Bound(chapter, words)]
    if choice.ratio_part != 1:
        words = (
            f"the action ratio of all keys {choice.ratio_change_percent:+g} %, by the "
            f"{choice.lever}".replace("-", "−")
        )
        found.append(Bound(chapter, words, replace(choice, ratio_change_percent=0.0)))
    own_springs = leads is not None and leads.spring_relief_from != lead_choice.FROM_HAMMERS
    if choice.spring_relief_more_g and not own_springs:
        words = f"{choice.spring_relief_more_g:g} g more spring relief on every key"
        found.append(Bound(chapter, words, replace(choice, spring_relief_more_g=0.0)))
    return found


def _of_leads(choice: LeadChoice, hammers: HammerChoice | None) -> list[Bound]:
    chapter, free = lead_choice.CHAPTER, replace(choice, layout=lead_choice.FREE)
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
    if choice.layout == lead_choice.AS_FOUND:  # with no plug moved no rule of plugs binds
        found = [Bound(chapter, "the plugs as they are", free)]
    else:
        found = [Bound(chapter, "; ".join(rules))]
    if choice.layout == lead_choice.IN_LINES:
        words = (
            "new plugs on the straight lines that were found, and one adjusting plug in each key"
        )
        found.append(Bound(chapter, words, free))
    if choice.balance_weight_from == lead_choice.CURVE:
        found.append(Bound(chapter, "the balance weight along its decided curve"))
    elif level is not None:
        found.append(Bound(chapter, f"{level:g} g of balance weight on every key"))
    if choice.spring_relief_from != lead_choice.FROM_HAMMERS:
        what = (
            f"{choice.spring_relief_g:g} g on every key"
            if choice.spring_relief_from == lead_choice.LEVEL
            else "along its decided curve"
        )
        usual = replace(choice, spring_relief_from=lead_choice.FROM_HAMMERS)
        found.append(Bound(chapter, f"spring relief {what}", usual))
    return found
