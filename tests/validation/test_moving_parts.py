"""Kinetic energy of hammer, wippen, key and lead against MuJoCo, a general multibody engine.

Three hinged bodies turn as fast as their levers make them; the engine adds up their energy from
masses and moments of inertia alone. It knows no action ratio, no inertia at the finger and no
half of a square.
"""

from __future__ import annotations

import mujoco
import numpy as np
import pytest

from balancekit.calculation.hammers.blow import blow
from balancekit.calculation.inertia import (
    WIPPEN_SHAPE,
    at_measuring_point_g,
    hammer_inertia_g,
    plug_inertia_g,
    stick_inertia_g_mm2,
    wippen_inertia_g,
)
from balancekit.calculation.keyboard import keyboard
from balancekit.calculation.leads.bare_key import bare_inertia_g
from balancekit.calculation.leads.key_stick import usual_sticks

GUARDS = (
    "balancekit.calculation.inertia.hammer_inertia_g",
    "balancekit.calculation.inertia.wippen_inertia_g",
    "balancekit.calculation.inertia.plug_inertia_g",
    "balancekit.calculation.inertia.at_measuring_point_g",
    "balancekit.calculation.hammers.blow.blow",
)

ARM_MM, KEY_RATIO, ACTION_RATIO = 240.0, 0.51, 5.6
HEEL_MM, HAMMER_MM = 95.0, 131.0
SHANK_G, HEAD_G, WIPPEN_WEIGHT_G = 3.5, 8.4, 18.0
STICK = dict(length_mm=400.0, height_mm=23.0, width_mm=13.0, density_g_cm3=0.45)
PIN_TO_FRONT_MM = 230.0
PLUGS = ((13.6, 110.0, 6.35), (10.4, -60.0, 5.55))
FITTINGS = ((6.0, PIN_TO_FRONT_MM - 60.0), (5.0, -ARM_MM * KEY_RATIO), (7.0, -155.0))
"""Covering, capstan, and a back check 15 mm before the back end: mass and place."""
KEY = usual_sticks(
    keyboard(1)["colour"], natural_arm_mm=ARM_MM, key_ratio=KEY_RATIO,
    front_edge_mm=PIN_TO_FRONT_MM - ARM_MM,
).assign(
    stick_length_mm=400.0, stick_height_mm=23.0, stick_width_mm=13.0, wood_density_g_cm3=0.45,
    covering_g=6.0, covering_mm=60.0, capstan_g=5.0, back_check_g=7.0, back_check_mm=15.0,
)  # fmt: skip
HAMMER_VELOCITY_M_S = 4.0
STRIKE_WEIGHT_G = HEAD_G + SHANK_G / 2  # a level shank rests half on its centre


def body(name: str, *inertials: str) -> str:
    """A hinged lever; each further part is a body that stands still on it."""
    parts = "".join(f"<body>{inertial}</body>" for inertial in inertials)
    return (
        f'<body><joint name="{name}" type="hinge" axis="0 1 0"/>'
        f'<inertial pos="0 0 0" mass="1e-9" diaginertia="1e-15 1e-15 1e-15"/>{parts}</body>'
    )


def point(mass_g: float, x_mm: float, own_g_mm2: float = 1e-6) -> str:
    about = f"{own_g_mm2 * 1e-9:.12g}"
    return (
        f'<inertial pos="{x_mm / 1000:.12g} 0 0" mass="{mass_g / 1000:.12g}" '
        f'diaginertia="{about} {about} {about}"/>'
    )


def bar() -> str:
    mass_g = 400.0 * 23.0 * 13.0 * 0.45 / 1000
    own = mass_g * (400.0**2 + 23.0**2) / 12  # a cuboid about its middle, any textbook
    return point(mass_g, PIN_TO_FRONT_MM - 200.0, own)


def energy_mj(levers: dict[str, tuple[list[str], float]]) -> float:
    """Kinetic energy of hinged levers, each with its turning speed [rad/s], by the engine [mJ]."""
    model = mujoco.MjModel.from_xml_string(
        '<mujoco><compiler boundmass="0" boundinertia="0" balanceinertia="true"/>'
        '<option gravity="0 0 0"><flag energy="enable"/></option><worldbody>'
        + "".join(body(name, *parts) for name, (parts, _) in levers.items())
        + "</worldbody></mujoco>"
    )
    data = mujoco.MjData(model)
    for name, (_, speed) in levers.items():
        data.joint(name).qvel = speed
    mujoco.mj_forward(model, data)
    return float(data.energy[1]) * 1000


KEY_SPEED_M_S = HAMMER_VELOCITY_M_S / ACTION_RATIO
KEY_RAD_S = KEY_SPEED_M_S / (ARM_MM / 1000)
PARTS = {
    "hammer": (
        [point(HEAD_G, HAMMER_MM), point(SHANK_G, HAMMER_MM / 2, SHANK_G * HAMMER_MM**2 / 12)],
        HAMMER_VELOCITY_M_S / (HAMMER_MM / 1000),
    ),
    # All of it at the heel weighs its mass there; the shape says how much more it counts.
    "wippen": (
        [point(WIPPEN_WEIGHT_G, HEEL_MM, (WIPPEN_SHAPE - 1) * WIPPEN_WEIGHT_G * HEEL_MM**2)],
        KEY_SPEED_M_S * KEY_RATIO / (HEEL_MM / 1000),
    ),
    "stick": ([bar()], KEY_RAD_S),
    "bare key": ([bar(), *(point(mass, place) for mass, place in FITTINGS)], KEY_RAD_S),
    "lead": ([point(m, x, m * r**2 / 2) for m, x, r in PLUGS], KEY_RAD_S),
}
AT_THE_FINGER_G = {
    "hammer": hammer_inertia_g(
        strike_weight_g=STRIKE_WEIGHT_G, action_ratio=ACTION_RATIO, shank_mass_g=SHANK_G
    ),
    "wippen": wippen_inertia_g(wippen_weight_g=WIPPEN_WEIGHT_G, key_ratio=KEY_RATIO),
    "stick": at_measuring_point_g(
        stick_inertia_g_mm2(**STICK, pin_to_front_mm=PIN_TO_FRONT_MM), arm_mm=ARM_MM
    ),
    "bare key": float(bare_inertia_g(KEY).iloc[0]),
    "lead": sum(
        plug_inertia_g(mass_g=m, distance_mm=x, radius_mm=r, arm_mm=ARM_MM) for m, x, r in PLUGS
    ),
}


def struck(inertia_g: float) -> float:
    """Work of the inertia in one blow, by the product [mJ]."""
    table = blow(
        balance_weight_g=38.0, friction_g=10.0, inertia_g=inertia_g, action_ratio=ACTION_RATIO,
        blow_distance_mm=46.0, hammer_velocity_m_s=HAMMER_VELOCITY_M_S,
    )  # fmt: skip
    return float(table["inertia_mj"].iloc[0])


@pytest.mark.parametrize("part", PARTS)
def test_energy_of_a_part(part: str) -> None:
    assert struck(AT_THE_FINGER_G[part]) == pytest.approx(energy_mj({part: PARTS[part]}), rel=1e-6)


def test_energy_of_the_whole_key() -> None:
    whole = {name: part for name, part in PARTS.items() if name != "stick"}  # the bare key has it
    total = sum(AT_THE_FINGER_G[name] for name in whole)
    assert struck(total) == pytest.approx(energy_mj(whole), rel=1e-6)


def test_force_times_way_is_the_energy() -> None:
    """The even force over the dip does the work that the engine counts, and the statics' own."""
    table = blow(
        balance_weight_g=38.0, friction_g=10.0, inertia_g=300.0, action_ratio=ACTION_RATIO,
        blow_distance_mm=46.0, hammer_velocity_m_s=HAMMER_VELOCITY_M_S,
    ).iloc[0]  # fmt: skip
    dip_m = 0.046 / ACTION_RATIO
    lifted_mj = 0.048 * 9.80665 * dip_m * 1000  # mass x gravity x way
    assert table["static_mj"] == pytest.approx(lifted_mj, rel=1e-12)
    assert table["force_n"] * dip_m * 1000 == pytest.approx(lifted_mj + struck(300.0), rel=1e-12)
    assert np.isclose(table["work_mj"], table["static_mj"] + table["inertia_mj"])
