"""The whole mechanism against MuJoCo, a general-purpose multibody engine (mujoco on PyPI).

Key, wippen and shank are hinged bodies. Between capstan and heel, and between jack and knuckle,
lies a weightless rod from one centre of curvature to the other; its far end is tied to the driven
lever by an equality constraint, so that the chain is closed twice. The engine knows neither the
action ratio nor any formula of this project: it gets masses, places and gravity.
"""

from __future__ import annotations

import mujoco
import numpy as np
import pytest
from scipy.integrate import solve_ivp

from balancekit.calculation.inertia import GRAVITY_M_S2
from balancekit.calculation.linkage.distances import fit_distances
from balancekit.calculation.linkage.loads import (
    HAMMER_CENTRE_MM,
    KEY_CENTRE_MM,
    KEY_MASS_G,
    WIPPEN_CENTRE_MM,
    Loads,
    account,
    inertia_g,
    lever_inertia_g_mm2,
)
from balancekit.calculation.linkage.positions import Linkage

GUARDS = (
    "balancekit.calculation.linkage.loads.account",
    "balancekit.calculation.linkage.loads.inertia_g",
    "balancekit.calculation.linkage.positions.Linkage",
)

STEP_S = 2e-5
ROD = 'mass="1e-7" diaginertia="1e-12 1e-12 1e-12"'


def _place(z):
    return f"{z.real / 1000:.12g} {z.imag / 1000:.12g} 0"


def _inertial(mass_g, centre, own_g_mm2):
    about = (own_g_mm2 - mass_g * abs(centre) ** 2) * 1e-9
    assert about > 0
    return (
        f'<inertial pos="{_place(centre)}" mass="{mass_g / 1000:.12g}" '
        f'diaginertia="{about:.12g} {about:.12g} {about:.12g}"/>'
    )


def _model(linkage, loads):
    it, centres = linkage.distances, linkage.centres
    parts = {name: arm for name, (_, arm) in linkage.parts.items()}
    own = lever_inertia_g_mm2(linkage, loads)
    wippen_g = loads.wippen_weight_g * it.heel_arm_mm / -WIPPEN_CENTRE_MM.real
    hammer_g = loads.strike_weight_g * it.hammer_arm_mm / HAMMER_CENTRE_MM.real
    key_centre = complex(-loads.front_weight_g * it.arm_mm / KEY_MASS_G, KEY_CENTRE_MM)
    hinge = '<joint name="{}" type="hinge" axis="0 0 1"/>'.format

    def lever(name, inertial, rod=""):
        return (
            f'<body name="{name}" pos="{_place(centres[name])}">{hinge(name)}{inertial}{rod}</body>'
        )

    def rod(name, start):
        return (
            f'<body name="{name}" pos="{_place(start)}">{hinge(name)}'
            f'<inertial pos="0 0 0" {ROD}/></body>'
        )

    first = centres["wippen"] + parts["heel"] - centres["key"] - parts["capstan"]
    second = centres["shank"] + parts["knuckle"] - centres["wippen"] - parts["jack"]
    return mujoco.MjModel.from_xml_string(f"""
    <mujoco>
      <compiler angle="radian" inertiafromgeom="false" boundmass="0" boundinertia="0"/>
      <option timestep="{STEP_S}" gravity="0 -{GRAVITY_M_S2} 0" iterations="200" tolerance="1e-14"/>
      <worldbody>
        {lever("key", _inertial(KEY_MASS_G, key_centre, own.key), rod("first", parts["capstan"]))}
        {
        lever(
            "wippen",
            _inertial(wippen_g, WIPPEN_CENTRE_MM, own.wippen),
            rod("second", parts["jack"]),
        )
    }
        {lever("shank", _inertial(hammer_g, HAMMER_CENTRE_MM, own.shank))}
      </worldbody>
      <equality>
        <connect body1="first" body2="wippen" anchor="{_place(first)}" solref="{4 * STEP_S} 1"
          solimp="0.9999 0.9999 0.001"/>
        <connect body1="second" body2="shank" anchor="{_place(second)}" solref="{4 * STEP_S} 1"
          solimp="0.9999 0.9999 0.001"/>
      </equality>
    </mujoco>""")


LINKAGE = Linkage(fit_distances(0.51, 5.6))
# A heavy front, so that the key falls by itself and nothing has to press it.
LOADS = Loads(front_weight_g=90.0, key_inertia_g=120.0)


def _lines(at):
    """Turns of the two rods, from the places of the centres of curvature."""
    turns = []
    for near, far in (("capstan", "heel"), ("jack", "knuckle")):
        ends = []
        for turned in (True, False):
            line = [
                LINKAGE.centres[lever] + arm * (np.exp(1j * getattr(at, lever)) if turned else 1)
                for lever, arm in (LINKAGE.parts[near], LINKAGE.parts[far])
            ]
            ends.append(np.angle(line[1] - line[0]))
        turns.append(float(ends[0] - ends[1]))
    return turns


@pytest.fixture(scope="module")
def fallen():
    """Time, and turns of key, wippen and shank, as the engine lets the key fall from rest."""
    model = _model(LINKAGE, LOADS)
    data = mujoco.MjData(model)
    rest = LINKAGE.at(0.0)
    first, second = _lines(rest)
    turns = {"key": rest.key, "wippen": rest.wippen, "shank": rest.shank}
    for name, value in turns.items():
        data.joint(name).qpos = float(value)
    data.joint("first").qpos = first - float(rest.key)
    data.joint("second").qpos = second - float(rest.wippen)
    rows = []
    while float(data.joint("key").qpos[0]) < float(LINKAGE.half_turn):
        rows.append((data.time, *(float(data.joint(name).qpos[0]) for name in turns)))
        mujoco.mj_step(model, data)
        assert data.time < 1.0
    return np.array(rows)


def test_wippen_and_shank_follow_the_key(fallen):
    at = LINKAGE.put(fallen[:, 1])
    assert fallen[:, 2] == pytest.approx(at.wippen, abs=2e-5)
    assert fallen[:, 3] == pytest.approx(at.shank, abs=1e-4)


def test_the_key_falls_in_the_same_time(fallen):
    """Statics and inertia together: travel against time, within 0.5 % of the stroke."""

    def move(_, now):
        travel = min(max(now[0], 0.0), end)
        at, near = (
            LINKAGE.at(travel),
            [LINKAGE.at(min(max(travel + d, 0.0), end)) for d in (-1e-3, 1e-3)],
        )
        masses = [float(inertia_g(LINKAGE, LOADS, each)) for each in near]
        slope = (masses[1] - masses[0]) / float(near[1].travel_mm - near[0].travel_mm)
        force = -float(account(LINKAGE, LOADS, at).balance_weight_g) * GRAVITY_M_S2 * 1000
        mass = float(inertia_g(LINKAGE, LOADS, at))
        return [now[1], (force - slope * now[1] ** 2 / 2) / mass]

    end = float(LINKAGE.stroke_mm)
    seconds = fallen[-1, 0]
    times = np.linspace(0, seconds, 40)
    found = solve_ivp(move, (0, seconds), [0.0, 0.0], t_eval=times, rtol=1e-7, atol=1e-9)
    engine = np.interp(times, fallen[:, 0], LINKAGE.put(fallen[:, 1]).travel_mm)
    assert found.y[0] == pytest.approx(engine, abs=0.005 * end)
    assert engine[-1] == pytest.approx(end, abs=0.01)
