"""A few keys of an uneven piano, and a toy of how loud and how fast they play.

The levers are those of the lesson. The rest is a toy: the same finger does the same work on each
key, loudness follows the hammer's speed alone, and a key repeats as soon as it has come back.
Nothing bends, no felt gives way, and no damper is there.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import log10

from balancekit.calculation.balance import TERMS, solve_for_front_weight
from balancekit.calculation.generator import Recipe, invent
from balancekit.calculation.keyboard import keyboard
from balancekit.calculation.linkage.loads import held_g
from balancekit.calculation.linkage.motion import hammer_speed_m_s, move_seconds
from balancekit.lesson.lever_chain.one_key import LessonKey

_FIRST_KEY, _COUNT = 40, 13
"""One octave from the middle of the keyboard."""

WORKS_MJ: Mapping[str, float] = {"soft": 10.0, "middle": 40.0, "loud": 140.0}
# Our own choice: about what hammers of 1, 2.5 and 5 m/s ask for at a usual key.

FULL_M_S = 5.5
# Our own choice: a hammer so fast plays at full loudness.

WANTED_G, EASED_G = 37.0, 12.0
# Our own choice: balance weight and friction that the mended keys get.

_SPOILED: Mapping[int, Mapping[str, float]] = {
    42: {"friction_g": 8.0},
    45: {"strike_weight_g": 2.2},
    48: {"lead_g": -24.0},
    51: {"strike_weight_g": -2.0},
}

MENDS = ("as found", "lead set", "friction eased too", "hammers made alike too")
"""What is done to the keys, each with all before it."""


def uneven_keys(seed: int = 12) -> dict[int, LessonKey]:
    """Return an octave of keys by key number: some tight, some with another hammer or lead.

    >>> len(uneven_keys())
    13
    """
    truth = invent(seed, Recipe(strike_scatter_g=0.25)).truth.to_dict("index")
    keys = {}
    for number in range(_FIRST_KEY, _FIRST_KEY + _COUNT):
        row = truth[number]
        usual = LessonKey()
        key = LessonKey(
            strike_weight_g=row["strike_weight_g"],
            wippen_weight_g=row["wippen_weight_g"],
            key_ratio=row["key_ratio"],
            action_ratio=row["action_ratio"],
            friction_g=row["friction_g"],
        )
        wanted = (row["front_weight_g"] - usual.bare_front_weight_g) * key.arm_mm / key.lead_mm
        key = replace(key, lead_g=max(wanted, 0.0))
        for name, more in _SPOILED.get(number, {}).items():
            key = replace(key, **{name: getattr(key, name) + more})
        keys[number] = key
    return keys


def mend(keys: Mapping[int, LessonKey], how: str) -> dict[int, LessonKey]:
    """Return the keys after some work: lead for one balance weight, then friction, then hammers.

    >>> {round(key.balance_weight_g, 6) for key in mend(uneven_keys(), "lead set").values()}
    {37.0}
    """
    steps = MENDS.index(how)
    made = dict(keys)
    if steps >= 3:
        hammers = [key.strike_weight_g for key in keys.values()]
        middle = sorted(hammers)[len(hammers) // 2]
        made = {n: replace(key, strike_weight_g=middle) for n, key in made.items()}
    if steps >= 2:
        made = {n: replace(key, friction_g=min(key.friction_g, EASED_G)) for n, key in made.items()}
    if steps >= 1:
        made = {n: leaded(key) for n, key in made.items()}
    return made


def leaded(key: LessonKey) -> LessonKey:
    """Return a key with as much lead as a balance weight asks for, at the place of its lead."""
    terms = {name: getattr(key, name) for name in TERMS if name != "front_weight_g"}
    front = float(solve_for_front_weight(**{**terms, "balance_weight_g": WANTED_G}))
    lead = (front - key.bare_front_weight_g) * key.arm_mm / key.lead_mm
    return replace(key, lead_g=min(max(lead, 0.0), 60.0))


@dataclass(frozen=True)
class PlayedNote:
    """How a key plays under a finger that does so much work.

    Attributes
    ----------
    key, name, frequency_hz : of the note.
    speed_m_s : of the hammer at let-off [m/s].
    loudness_db : against full loudness, a toy: 20 log10 of the speeds [dB].
    repeats_a_second : how often it can be struck, a toy; 0 for a key that stays down.
    """

    key: int
    name: str
    frequency_hz: float
    speed_m_s: float
    loudness_db: float
    repeats_a_second: float


def play(number: int, key: LessonKey, work_mj: float) -> PlayedNote:
    """Return how a key plays.

    Down: even acceleration to the speed at let-off. Back: by itself, no weight on it.

    >>> note = play(40, LessonKey(), 40.0)
    >>> note.name, 1.0 < note.speed_m_s < 5.0
    ('C4', True)
    """
    line = keyboard().to_dict("index")[number]
    speed = hammer_speed_m_s(key.linkage, key.loads, work_mj)
    end = float(key.linkage.stroke_mm)
    back = held_g(key.linkage, key.loads, key.linkage.along(9), -1)
    repeats = 0.0
    if speed > 0 and float(back.min()) > 0:
        down_s = 2 * end / 1000 / (speed / float(key.action_ratio))
        repeats = 1 / (down_s + move_seconds(key.linkage, key.loads, 0.0, end, 0.0))
    loudness = 20 * log10(speed / FULL_M_S) if speed > 0 else float("-inf")
    return PlayedNote(
        number, str(line["note_name"]), float(line["frequency_hz"]), speed, loudness, repeats
    )


def unevenness_db(notes: Sequence[PlayedNote]) -> float:
    """Return how far the loudest note lies above the softest [dB]; silent ones are left out."""
    heard = [note.loudness_db for note in notes if note.speed_m_s > 0]
    return max(heard) - min(heard) if heard else 0.0
