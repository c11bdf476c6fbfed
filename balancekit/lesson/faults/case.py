"""A whole instrument with planted faults, to be found from its readings."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd
from numpy.random import Generator

from balancekit.calculation.generator import Recipe, complete, invent, weigh
from balancekit.calculation.irregularities.slips import Flag
from balancekit.calculation.linkage.moves import with_moved_capstan
from balancekit.calculation.problems import BalancekitError, Problem, refuse
from balancekit.instrument.model import Instrument, Section, Visit

PLUG_MISSING_G = 13.6 * 0.55
# A usual plug (from memory) a little beyond half of the arm.

SIZES: Mapping[str, float] = {"small": 0.5, "usual": 1.0, "large": 1.6}
"""How large a fault is, as a part of the usual size."""
# Our own choice: a small one lies about three standard deviations off, hard but fair.

Change = Callable[[Mapping[str, float], Generator], dict[str, float]]


@dataclass(frozen=True)
class FaultKind:
    """One kind of fault.

    Attributes
    ----------
    words : what the learner chooses.
    change : what it does to a key's truth, given the truth and a source of chance.
    on_paper : True if only the writing down is wrong; then ``change`` acts on the readings.
    """

    words: str
    change: Change
    on_paper: bool = False


def _capstan(row: Mapping[str, float], draw: Generator) -> dict[str, float]:
    """Set the capstan 3 to 4 mm too far from the balance pin: the levers do the rest."""
    names = ("key_ratio", "action_ratio", "wippen_weight_g")
    moved = with_moved_capstan(**{name: row[name] for name in names}, move_mm=draw.uniform(3, 4))
    return {name: float(value) for name, value in moved.items()}


FAULTS: Mapping[str, FaultKind] = {
    "tight": FaultKind(
        "tight centre or bushing",
        lambda row, draw: {"friction_g": row["friction_g"] + draw.uniform(6.0, 8.0)},
    ),
    "loose": FaultKind(
        "loose centre or worn bushing",
        lambda row, draw: {"friction_g": row["friction_g"] - draw.uniform(5.0, 6.0)},
    ),
    "heavy hammer": FaultKind(
        "hammer heavier than its neighbours",
        lambda row, draw: {"strike_weight_g": row["strike_weight_g"] + draw.uniform(1.2, 1.7)},
    ),
    "light hammer": FaultKind(
        "hammer lighter than its neighbours",
        lambda row, draw: {"strike_weight_g": row["strike_weight_g"] - draw.uniform(1.1, 1.5)},
    ),
    "lead missing": FaultKind(
        "a lead missing in the key",
        lambda row, draw: {
            "front_weight_g": row["front_weight_g"] - PLUG_MISSING_G * draw.uniform(0.9, 1.1)
        },
    ),
    "capstan": FaultKind("capstan line out of place", _capstan),
    "exchanged": FaultKind(
        "down and up weight exchanged on paper",
        lambda row, _: {"down_weight_g": row["up_weight_g"], "up_weight_g": row["down_weight_g"]},
        on_paper=True,
    ),
    "decimal": FaultKind(
        "decimal point slipped on paper",
        lambda row, _: {"strike_weight_g": round(row["strike_weight_g"] / 10, 2)},
        on_paper=True,
    ),
}
"""Every kind of fault that may be planted."""

MOST_FAULTS = 12
_APART = 4


@dataclass(frozen=True)
class Case:
    """An instrument with planted faults.

    Attributes
    ----------
    seed : it was made from.
    planted : kind of fault by key number.
    instrument : its readings, as a learner gets them.
    sizes : size of each fault by key number, one of ``SIZES``; "usual" where it is left out.
    drawn : whether the faults were drawn from the seed, not chosen.
    """

    seed: int
    planted: Mapping[int, str]
    instrument: Instrument
    sizes: Mapping[int, str] = field(default_factory=dict)
    drawn: bool = False


@dataclass(frozen=True)
class CaseResult:
    """What a search found.

    Attributes
    ----------
    found : keys named with the right fault.
    other_cause : keys named, but with another fault.
    missed : keys not named.
    accused : sound keys that were named.
    """

    found: tuple[int, ...]
    other_cause: tuple[int, ...]
    missed: tuple[int, ...]
    accused: tuple[int, ...]

    @property
    def all_right(self) -> bool:
        """Whether every fault was found and no sound key accused."""
        return not (self.other_cause or self.missed or self.accused)

    @property
    def words(self) -> str:
        """The result as a sentence.

        >>> CaseResult((3, 9), (), (40,), ()).words
        'found 2, right key but another cause 0, missed 1, falsely accused 0'
        """
        return (
            f"found {len(self.found)}, right key but another cause {len(self.other_cause)}, "
            f"missed {len(self.missed)}, falsely accused {len(self.accused)}"
        )


def make_case(seed: int, faults: int = 8) -> Case:
    """Make an instrument with planted faults.

    Parameters
    ----------
    seed : the same seed gives the same case.
    faults : how many; up to eight are all of different kinds.

    Raises
    ------
    BalancekitError : fewer than 1 or more than 12 faults.

    >>> len(make_case(3, 5).planted)
    5
    """
    if not 1 <= faults <= MOST_FAULTS:
        raise refuse(f"{faults} faults cannot be planted.", f"Give 1 to {MOST_FAULTS}.")
    draw = np.random.default_rng([seed, 3])
    recipe = _recipe(draw)
    planted = dict(zip(_places(draw, faults), _kinds(draw, faults), strict=True))
    return replace(_case(seed, recipe, planted, {}, draw), drawn=True)


def plant(seed: int, planted: Mapping[int, str], sizes: Mapping[int, str] | None = None) -> Case:
    """Make an instrument with the faults that a teacher chose.

    Parameters
    ----------
    seed : of the instrument around them.
    planted : kind of fault by key number, one of ``FAULTS``.
    sizes : one of ``SIZES`` by key number; "usual" where it is left out.

    Raises
    ------
    BalancekitError : no fault, a key, a fault or a size that is not there.

    >>> plant(3, {40: "tight"}, {40: "large"}).planted
    {40: 'tight'}
    """
    sizes = dict(sizes or {})
    if not planted:
        raise refuse("No fault was chosen.", "Choose at least one key and its fault.")
    problems = _unknown(planted, 88)
    problems += [
        Problem("No fault was chosen for this key.", f"Choose one of {', '.join(FAULTS)}.", key=key)
        for key, kind in planted.items() if not kind
    ]  # fmt: skip
    problems += [
        Problem(f"'{size}' is not a size.", f"Choose one of {', '.join(SIZES)}.", key=key)
        for key, size in sizes.items() if size not in SIZES
    ]  # fmt: skip
    if problems:
        raise BalancekitError(problems)
    draw = np.random.default_rng([seed, 3])
    # Sorted, as in the file: the same faults then meet the same chance.
    return _case(seed, _recipe(draw), dict(sorted(planted.items())), sizes, draw)


def _recipe(draw: Generator) -> Recipe:
    return Recipe(
        bass_strike_g=draw.uniform(10.5, 12.2),
        treble_strike_g=draw.uniform(5.4, 6.6),
        ratio=draw.uniform(5.4, 5.9),
        ratio_wave=draw.uniform(0.0, 0.06),
    )


def _case(
    seed: int, recipe: Recipe, planted: dict[int, str], sizes: dict[int, str], draw: Generator
) -> Case:
    """Plant the faults into a truth, weigh it, and spoil what is wrong on paper."""
    truth = invent(seed, recipe).truth
    for key, name in planted.items():
        if not FAULTS[name].on_paper:
            row = _row(truth, key)
            part = SIZES[sizes.get(key, "usual")]
            for column, value in FAULTS[name].change(row, draw).items():
                truth.loc[key, column] = row[column] + part * (value - row[column])
    readings = weigh(complete(truth), seed + 1).set_index("key")
    for key, name in planted.items():
        if FAULTS[name].on_paper:
            for column, value in FAULTS[name].change(_row(readings, key), draw).items():
                readings.loc[key, column] = value
    instrument = Instrument(
        title=f"Case {seed}",
        visits=(Visit("as found"),),
        sections=(Section("bass", 1), Section("tenor", 21), Section("treble", 57)),
    ).with_readings(readings.reset_index())
    return Case(seed, dict(sorted(planted.items())), instrument, sizes)


def _row(table: pd.DataFrame, key: int) -> dict[str, float]:
    return {str(name): value for name, value in table.loc[key].to_dict().items()}


def _places(draw: Generator, count: int) -> list[int]:
    """Choose keys that are not side by side, nor at the ends."""
    places: list[int] = []
    for key in draw.permutation(np.arange(4, 86)):
        if all(abs(int(key) - other) >= _APART for other in places):
            places.append(int(key))
        if len(places) == count:
            break
    return places


def _kinds(draw: Generator, count: int) -> list[str]:
    names = [*FAULTS]
    first = [str(name) for name in draw.permutation(names)]
    more = [str(name) for name in draw.choice(names, max(0, count - len(names)))]
    return [*first[:count], *more]


def judge(case: Case, named: Mapping[int, str]) -> CaseResult:
    """Compare what was named with what was planted.

    Parameters
    ----------
    case : the case.
    named : kind of fault by key number, one of ``FAULTS`` each; "" for a key whose cause is open.

    Raises
    ------
    BalancekitError : a key that is not there, or a fault that is not known.
    """
    problems = _unknown(named, case.instrument.settings.key_count)
    if problems:
        raise BalancekitError(problems)
    right = [key for key, kind in case.planted.items() if named.get(key) == kind]
    other = [key for key in case.planted if key in named and key not in right]
    return CaseResult(
        tuple(right),
        tuple(other),
        tuple(key for key in case.planted if key not in named),
        tuple(sorted(key for key in named if key not in case.planted)),
    )


def _unknown(named: Mapping[int, str], key_count: int) -> list[Problem]:
    """Find faults and keys that are not there; a cause may be left open."""
    return [
        Problem(f"'{kind}' is not a fault of the list.", f"Choose one of {', '.join(FAULTS)}.",
                key=key)
        for key, kind in named.items() if kind and kind not in FAULTS
    ] + [
        Problem(f"There is no key {key}.", "Give 1 to 88.", key=key)
        for key in named if not 1 <= key <= key_count
    ]  # fmt: skip


def suspected_by_flags(flags: Sequence[Flag]) -> dict[int, str]:
    """Return what the suite's own flags say, in the words of the case: fault by key, "" if open."""
    named: dict[int, str] = {}
    for flag in flags:
        if flag.kind != "missing" and not named.get(flag.key):
            named[flag.key] = _fault_of(flag)
    return dict(sorted(named.items()))


def _fault_of(flag: Flag) -> str:
    above = flag.read > flag.expected
    if flag.kind == "slip":
        if "exchanged with" in flag.advice:
            return "exchanged"
        return "decimal" if "decimal point" in flag.advice else ""
    return {
        ("friction_g", True): "tight",
        ("friction_g", False): "loose",
        ("strike_weight_g", True): "heavy hammer",
        ("strike_weight_g", False): "light hammer",
        ("front_weight_g", False): "lead missing",
        ("key_ratio", True): "capstan",
        ("action_ratio", True): "capstan",
    }.get((flag.quantity, above), "")


def case_table(case: Case, named: Mapping[int, str], by_flags: Mapping[int, str]) -> pd.DataFrame:
    """Return one row for each key that is planted or named: ``planted, you, suite`` in words."""

    def words(kinds: Mapping[int, str], key: int) -> str:
        if key not in kinds:
            return "–"
        return FAULTS[kinds[key]].words if kinds[key] else "named, cause left open"

    keys = sorted({*case.planted, *named, *by_flags})
    return pd.DataFrame(
        {
            "planted": [words(case.planted, key) for key in keys],
            "you": [words(named, key) for key in keys],
            "suite": [words(by_flags, key) for key in keys],
        },
        index=pd.Index(keys, name="key"),
    )
