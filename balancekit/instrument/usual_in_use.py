"""The instruments of one's own shop that tell what is usual: kept with what the person set."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from math import isfinite
from typing import Any

from balancekit.calculation.believed.usual import LOG_SIZES, USUAL_OF, Usual, UsualEvidence, pool
from balancekit.calculation.words import plural
from balancekit.instrument.in_hand import keep_at_home, kept_at_home

_FILE = "usual.json"


@dataclass(frozen=True)
class Shop:
    """What was read of the instruments weighed before.

    Attributes
    ----------
    folder : where they lie.
    told : by title, what each tells, by quantity.
    on : whether the next instrument is to be told of it.
    """

    folder: str = ""
    told: Mapping[str, Mapping[str, UsualEvidence]] = field(default_factory=dict)
    on: bool = False

    def usual(self, title: str) -> dict[str, Usual]:
        """Return what is usual, by quantity, told by all instruments but the one of this title."""
        if not self.on:
            return {}
        others = [told for name, told in self.told.items() if name != title]
        by_name = {name: [told[name] for told in others if name in told] for name in USUAL_OF}
        return pool({name: each for name, each in by_name.items() if each})

    def words(self, title: str, named: bool = False) -> str:
        """Say in a sentence what tells of the instrument of this title; "" if nothing does.

        Parameters
        ----------
        title : of the instrument in hand.
        named : name the others; for the own eyes only.
        """
        others = [name for name in self.told if name != title]
        if not self.on or not others:
            return ""
        names = f": {', '.join(others)}" if named else ""
        return (
            "What scatter and course are usual in wippen weight, key ratio and friction is told by "
            f"{plural(len(others), 'instrument')} weighed before{names}."
        )


def shop() -> Shop:
    """Return the shop of who works here; an empty one if none was named, or it cannot be read."""
    kept = kept_at_home(_FILE)
    try:
        told = {
            str(title): {str(name): _told(each) for name, each in by_name.items()}
            for title, by_name in kept["told"].items()
        }
        return Shop(str(kept["folder"]), told, bool(kept["on"]))
    except (AttributeError, KeyError, TypeError, ValueError):
        return Shop()


def keep_shop(kept: Shop) -> bool:
    """Note the shop for every instrument to come; say whether it could be written."""
    return keep_at_home(_FILE, asdict(kept))


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
