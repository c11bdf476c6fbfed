"""Which levers a plan may move: those of groups that stand off, and those of all keys.

A group is brought to where its neighbours are, so it takes their key dip and blow distance.
Where all keys are moved, dip or blow must give way; a move for which both would leave what is
usable is not offered.
"""

from __future__ import annotations

import numpy as np

from balancekit.calculation.believed.name_groups import Group
from balancekit.calculation.levers import Regulation, regulation_after
from balancekit.calculation.linkage.distances import ActionGeometry, fit_distances
from balancekit.calculation.linkage.moves import capstan_shifts, lever_moves
from balancekit.calculation.plan.piano import ALL_KEYS, Shift
from balancekit.calculation.proof.groups_after import meet
from balancekit.instrument.believed import Believed
from balancekit.instrument.choices import hammer_choice
from balancekit.instrument.model import BenchSettings, Instrument

CAPSTAN_STEPS_MM = (-4.0, -3.0, -2.0, -1.0, 1.0, 2.0, 3.0, 4.0)
KNUCKLE_STEPS_MM = (-1.0, -0.5, 0.5, 1.0)
# Our own choice: what a heel and a jack still meet; positive makes the ratio smaller.


def levers_of(believed: Believed, instrument: Instrument) -> tuple[tuple[Shift, ...], bool]:
    """Return every lever that may be moved, and whether one of all keys must be.

    A change of the ratio that was decided with the hammers is the only one of all keys then.
    """
    geometry = geometry_of(believed, instrument)
    decided = _decided(believed, instrument, geometry)
    of_all = (decided,) if decided else _of_all(believed, instrument, geometry)
    return (*_of_groups(believed, instrument, geometry), *of_all), decided is not None


def geometry_of(believed: Believed, instrument: Instrument) -> ActionGeometry:
    """Return the distances of the action: those given with the hammers, else fitted ones."""
    choice, arm = hammer_choice.choice_of(instrument), instrument.settings.natural_arm_mm
    if choice is not None:
        return choice.geometry(arm)
    table = believed.table
    return fit_distances(
        float(table["key_ratio"].mean()), float(table["action_ratio"].mean()), arm_mm=arm
    )


def regulated(settings: BenchSettings, ratio_part: float) -> Regulation | None:
    """Return dip and blow of an instrument after its ratio has changed; None if not usable."""
    return regulation_after(
        ratio_part,
        key_dip_mm=settings.key_dip_mm,
        blow_distance_mm=settings.blow_distance_mm,
        aftertouch_mm=settings.aftertouch_mm,
    )


def _every(believed: Believed) -> tuple[tuple[int, ...], int, int]:
    keys = believed.table.index
    return tuple(range(len(keys))), int(keys[0]), int(keys[-1])


def _of_all(
    believed: Believed, instrument: Instrument, geometry: ActionGeometry
) -> tuple[Shift, ...]:
    """Return the moves of all keys that leave dip and blow usable."""
    if len(believed.table) < 2:
        return ()
    found = []
    capstan, knuckle = float(geometry.capstan_arm_mm), float(geometry.knuckle_arm_mm)
    for lever, steps in (("capstan", CAPSTAN_STEPS_MM), ("knuckle", KNUCKLE_STEPS_MM)):
        for move in steps:
            moved = (
                geometry.with_capstan(capstan - move)
                if lever == "capstan"
                else geometry.with_knuckle(knuckle + move)
            )
            part = float(moved.action_ratio / geometry.action_ratio)
            if regulated(instrument.settings, part) is not None:
                lifted = part if lever == "capstan" else 1.0
                found.append(Shift(*_every(believed), lever, part, lifted, move, ALL_KEYS))
    return tuple(found)


def _decided(believed: Believed, instrument: Instrument, geometry: ActionGeometry) -> Shift | None:
    """Return the move of all keys that was decided with the hammers; None if none was."""
    choice = hammer_choice.choice_of(instrument)
    if choice is None or choice.ratio_part == 1:
        return None
    capstan, knuckle = lever_moves(geometry, action_ratio=1.0, wanted_ratio=choice.ratio_part)
    move = -capstan.move_mm if choice.lever == "capstan" else knuckle.move_mm
    key_part = choice.ratio_part if choice.lever == "capstan" else 1.0
    return Shift(
        *_every(believed), choice.lever, choice.ratio_part, key_part, round(move, 1), ALL_KEYS
    )


def _of_groups(
    believed: Believed, instrument: Instrument, geometry: ActionGeometry
) -> tuple[Shift, ...]:
    """Return for each group that stands off what puts it right: its capstans, or its knuckles.

    A group in the key ratio is a displaced capstan line, and takes the action ratio with it; one
    in the action ratio alone is the knuckle's, and the capstan can make up for it.
    """
    found: list[Shift] = []
    capstan = [group for group in believed.groups if group.quantity == "key_ratio"]
    ratios = [group for group in believed.groups if group.quantity == "action_ratio"]
    for group in believed.groups:
        if group.quantity == "key_ratio":
            beside = [each for each in ratios if meet(each, group)]
            shift = max(beside, key=lambda g: abs(g.shift), default=None)
            found += _both(group, shift, believed, instrument, geometry)
        elif group.quantity == "action_ratio" and not any(meet(group, c) for c in capstan):
            found += _both(None, group, believed, instrument, geometry)
    return tuple(found)


def _both(
    key_group: Group | None,
    ratio_group: Group | None,
    believed: Believed,
    instrument: Instrument,
    geometry: ActionGeometry,
) -> list[Shift]:
    """Return the move of the capstans and that of the knuckles that put one group right."""
    group = key_group or ratio_group
    assert group is not None
    table = believed.table
    inside = group.where(table)
    ratio = float(table["action_ratio"][inside].mean())
    key_ratio = float(table["key_ratio"][inside].mean())
    key_by = 0.0 if key_group is None else key_group.shift
    if ratio_group is None:  # too little to be seen in the ratio itself: the levers say how much
        wippen_g = float(table["wippen_weight_g"][inside].mean())
        by = key_by * float(
            capstan_shifts(key_ratio=key_ratio, action_ratio=ratio, wippen_weight_g=wippen_g)[
                "action_ratio"
            ]
        )
    else:
        by = ratio_group.shift
    part = 1 - by / ratio
    settings = instrument.settings
    arm = settings.sharp_arm_mm if group.members == "sharps" else settings.natural_arm_mm
    move = key_by * arm
    capstan, knuckle = lever_moves(geometry, action_ratio=1.0, wanted_ratio=part)
    if key_group is None:
        move = -capstan.move_mm
    rows = tuple(np.flatnonzero(inside).tolist())
    of = (rows, group.first_key, group.last_key)
    place = f"keys {group.first_key} to {group.last_key}, {group.members}"
    return [
        Shift(*of, "capstan", part, part, move, place),
        Shift(*of, "knuckle", part, 1.0, knuckle.move_mm, place),
    ]
