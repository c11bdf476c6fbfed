"""The way that was chosen: kept with the instrument as plain JSON, key by key.

It holds what is to be done, not how it was found, so that sheets, prediction and proof need no
search. Deciding on hammers or leads anew takes it back: they bind the next plan.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, fields, replace
from typing import Any

from balancekit.calculation.leads.layout import KeyLines
from balancekit.calculation.problems import BalancekitError, Problem
from balancekit.instrument.model import Instrument

CHAPTER = "whole_plan"
"""Under this name the way stands in ``instrument.choices``."""

LEVERS = ("capstan", "knuckle")

_FILE = "chosen way"


@dataclass(frozen=True)
class KeyWork:
    """What is to be done on one key; what stays is None or False.

    Attributes
    ----------
    key : key number.
    strike_weight_g, front_weight_g, spring_relief_g : to reach [g].
    ease : whether its friction is put right.
    lines : lines of plugs that its new front weight keeps to; None where plugs stand freely.
    """

    key: int
    strike_weight_g: float | None = None
    front_weight_g: float | None = None
    spring_relief_g: float | None = None
    ease: bool = False
    lines: KeyLines | None = None


@dataclass(frozen=True)
class LeverWork:
    """A group of keys on which a lever is moved.

    Attributes
    ----------
    keys : its keys.
    lever : "capstan" or "knuckle".
    move_mm : how far; positive makes the ratio smaller [mm].
    ratio_part, key_ratio_part : action ratio and key ratio after it over those before; see
        ``plan.piano.Shift``.
    """

    keys: tuple[int, ...]
    lever: str
    move_mm: float
    ratio_part: float
    key_ratio_part: float


@dataclass(frozen=True)
class ChosenWay:
    """A way to work, as it was chosen.

    Attributes
    ----------
    name : what it does, in words.
    minutes, money : as planned.
    first_g, last_g : wanted balance weight of the first and the last key [g].
    keys : work on single keys, from the left.
    levers : groups on which a lever is moved.
    done : keys whose work is ticked as done.
    levers_moved : whether the levers are ticked as moved.
    """

    name: str
    minutes: float
    money: float
    first_g: float
    last_g: float
    keys: tuple[KeyWork, ...] = ()
    levers: tuple[LeverWork, ...] = ()
    done: tuple[int, ...] = ()
    levers_moved: bool = False

    @property
    def begun(self) -> bool:
        """Whether anything is ticked as done."""
        return bool(self.done) or self.levers_moved

    def with_done(self, keys: Iterable[int], levers_moved: bool = False) -> ChosenWay:
        """Return the way with the work of just these keys ticked as done.

        Levers come first at the bench, so they count as moved once any key is done.
        """
        worked = {work.key for work in self.keys} & set(keys)
        moved = bool(self.levers) and (levers_moved or bool(worked))
        return replace(self, done=tuple(sorted(worked)), levers_moved=moved)

    def to_json(self) -> dict[str, Any]:
        """Return the way as plain JSON values."""
        told = asdict(self)
        told["keys"] = [
            {n: value for n, value in each.items() if value is not None and value is not False}
            for each in told["keys"]
        ]
        for each in told["keys"]:
            if "lines" in each:
                lines = each["lines"]
                each["lines"] = {**lines, "plugs": list(lines["plugs"]),
                                 "places_mm": list(lines["places_mm"])}  # fmt: skip
        told["levers"] = [{**each, "keys": list(each["keys"])} for each in told["levers"]]
        return {**told, "done": list(self.done)}


def _problem(value: object, name: str, advice: str) -> BalancekitError:
    return BalancekitError(
        Problem(f"'{str(value)[:60]}' cannot be.", advice, file=_FILE, column=name)
    )


def _number(value: object, name: str, low: float, high: float) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        raise _problem(value, name, f"Give a number from {low:g} to {high:g}.")
    return float(value)


def _key(value: object, count: int) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= count:
        raise _problem(value, "key", f"Give a whole number, 1 to {count}.")
    return value


def _known(value: object, kind: type, name: str) -> Mapping[str, Any]:
    allowed = {field.name for field in fields(kind)}
    if not isinstance(value, Mapping) or not set(value) <= allowed:
        raise _problem(value, name, f"Give {', '.join(sorted(allowed))}.")
    return value


def _list(value: object, name: str) -> list[Any]:
    if not isinstance(value, list):
        raise _problem(value, name, "Give a list.")
    return value


def _lines(value: object) -> KeyLines | None:
    """Read the lines that a key keeps to."""
    if value is None:
        return None
    told = _known(value, KeyLines, "lines")
    plugs, places = (_list(told.get(name, []), name) for name in ("plugs", "places_mm"))
    if not all(isinstance(name, str) for name in plugs) or len(plugs) != len(places):
        raise _problem(plugs, "plugs", "Give the name of a plug for each place.")
    if not isinstance(told.get("take_out"), bool):
        raise _problem(told.get("take_out"), "take_out", "Give true or false.")
    at = tuple(int(_number(place, "places_mm", -500, 500)) for place in places)
    return KeyLines(told["take_out"], tuple(plugs), at)


def from_json(value: object, key_count: int) -> ChosenWay:
    """Return a way from plain JSON.

    Parameters
    ----------
    value : as ``ChosenWay.to_json`` gives it.
    key_count : of the instrument.

    Raises
    ------
    BalancekitError : anything that cannot be.
    """
    told = _known(value, ChosenWay, "way")
    keys = []
    for each in _list(told.get("keys", []), "keys"):
        work = _known(each, KeyWork, "keys")
        weights = {
            name: _number(work[name], name, -150, 150)
            for name in ("strike_weight_g", "front_weight_g", "spring_relief_g")
            if work.get(name) is not None
        }
        ease = work.get("ease", False)
        if not isinstance(ease, bool):
            raise _problem(ease, "ease", "Give true or false.")
        lines = _lines(work.get("lines"))
        keys.append(KeyWork(_key(work.get("key"), key_count), ease=ease, lines=lines, **weights))
    moved = told.get("levers_moved", bool(told.get("done")))
    if not isinstance(moved, bool):
        raise _problem(moved, "levers_moved", "Give true or false.")
    levers = []
    for each in _list(told.get("levers", []), "levers"):
        work = _known(each, LeverWork, "levers")
        if work.get("lever") not in LEVERS:
            raise _problem(work.get("lever"), "lever", f"Give {' or '.join(LEVERS)}.")
        levers.append(
            LeverWork(
                tuple(_key(key, key_count) for key in _list(work.get("keys"), "keys")),
                str(work["lever"]),
                _number(work.get("move_mm"), "move_mm", -50, 50),
                _number(work.get("ratio_part"), "ratio_part", 0.5, 2),
                _number(work.get("key_ratio_part"), "key_ratio_part", 0.5, 2),
            )
        )
    return ChosenWay(
        str(told.get("name", ""))[:300],
        _number(told.get("minutes"), "minutes", 0, 1e6),
        _number(told.get("money"), "money", 0, 1e9),
        _number(told.get("first_g"), "first_g", 0, 150),
        _number(told.get("last_g"), "last_g", 0, 150),
        tuple(sorted(keys, key=lambda work: work.key)),
        tuple(levers),
        tuple(_key(key, key_count) for key in _list(told.get("done", []), "done")),
        moved and bool(levers),
    )


def chosen_way(instrument: Instrument) -> ChosenWay | None:
    """Return the way that was chosen; None if none was.

    Raises
    ------
    BalancekitError : what is kept cannot be read.
    """
    kept = instrument.choices.get(CHAPTER)
    return None if kept is None else from_json(kept, instrument.settings.key_count)


def with_way(instrument: Instrument, way: ChosenWay | None) -> Instrument:
    """Return the instrument with a chosen way; None forgets it."""
    return instrument.with_choice(CHAPTER, None if way is None else way.to_json())
