"""The instruments of one's own shop that tell what is usual: kept with what the person set."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from math import isfinite
from typing import Any

from balancekit.calculation.believed.usual import LOG_SIZES, USUAL_OF, Usual, UsualEvidence, pool
from balancekit.calculation.problems import refuse
from balancekit.calculation.quantities import QUANTITIES
from balancekit.calculation.words import listed, plural
from balancekit.instrument.descriptor import identified
from balancekit.instrument.in_hand import keep_at_home, kept_at_home
from balancekit.instrument.model import Instrument

_FILE = "usual.json"


@dataclass(frozen=True)
class Earlier:
    """An instrument weighed before: its title, and what it tells, by quantity."""

    title: str
    told: Mapping[str, UsualEvidence]


@dataclass(frozen=True)
class Shop:
    """What was read of the instruments weighed before.

    Attributes
    ----------
    folder : where they lie.
    told : by identity, what each tells.
    on : whether the next instrument is to be told of it.
    """

    folder: str = ""
    told: Mapping[str, Earlier] = field(default_factory=dict)
    on: bool = False

    def usual(self, instrument: Instrument | None = None) -> dict[str, Usual]:
        """Return what is usual, by quantity, told by all instruments but the one in hand."""
        others = [each.told for each in self._others(instrument)]
        by_name = {name: [told[name] for told in others if name in told] for name in USUAL_OF}
        return pool({name: each for name, each in by_name.items() if each})

    def words(self, instrument: Instrument | None = None, named: bool = False) -> str:
        """Say what is told of an instrument, and by how many; "" if nothing is.

        Parameters
        ----------
        instrument : the one in hand, which does not tell of itself.
        named : name the others; for the own eyes only.
        """
        others, usual = self._others(instrument), self.usual(instrument)
        if not usual:
            return ""
        names = f": {', '.join(each.title for each in others)}" if named else ""
        counts = {name: sum(name in each.told for each in others) for name in usual}
        labels = {
            name: QUANTITIES[name].label.lower()
            + (f" ({count} of them)" if count < len(others) else "")
            for name, count in counts.items()
        }
        what = f"the scatter of {listed(labels.values())} from key to key"
        run = [labels[name] for name, each in usual.items() if each.course is not None]
        if run:
            what += f", and of the course of {listed(run)} over the keyboard"
        tell = "It tells" if len(others) == 1 else "They tell"
        return (
            f"What is usual is told by {plural(len(others), 'instrument')} weighed before{names}. "
            f"{tell} of {what}."
        )

    def _others(self, instrument: Instrument | None) -> list[Earlier]:
        """Return those that tell; the identity is worked out only where it is asked for."""
        if not self.on or not self.told:
            return []
        own = "" if instrument is None else identified(instrument).identity
        return [each for identity, each in self.told.items() if identity != own]


def shop() -> Shop:
    """Return the shop of who works here; an empty one if none was named, or it cannot be read."""
    kept = kept_at_home(_FILE)
    try:
        told = {
            str(identity): Earlier(
                str(each["title"]), {str(name): _told(one) for name, one in each["told"].items()}
            )
            for identity, each in kept["told"].items()
        }
        return Shop(str(kept["folder"]), told, bool(kept["on"]))
    except (AttributeError, KeyError, TypeError, ValueError):
        return Shop()


def keep_shop(kept: Shop) -> Shop:
    """Note the shop for every instrument to come, and return it.

    Raises
    ------
    BalancekitError : it cannot be written.
    """
    if not keep_at_home(_FILE, asdict(kept)):
        raise refuse("The home folder cannot be written.", "Let it be written, and try again.")
    return kept


def _told(kept: Mapping[str, Any]) -> UsualEvidence:
    course, course_u, scatter = (
        tuple(float(value) for value in kept[name]) for name in ("course", "course_u", "scatter")
    )
    if len(scatter) != len(LOG_SIZES):
        raise ValueError("of another grid")
    if not all(map(isfinite, (*scatter, *course, *course_u))):
        raise ValueError("not a number")
    return UsualEvidence(
        scatter, (course[0], course[1], course[2]), (course_u[0], course_u[1], course_u[2])
    )
