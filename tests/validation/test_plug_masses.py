"""Masses and moments of inertia of plugs and a plain key bar.

The numbers were computed once with trimesh, pymunk and sympy from handbook densities
(lead 11.34 g/cm3); trimesh is asked again here.
"""

from __future__ import annotations

import numpy as np
import pytest

from balancekit.calculation.inertia import plug_inertia_g_mm2
from balancekit.calculation.keyboard import keyboard
from balancekit.calculation.leads.key_stick import front_end_mm, usual_sticks, wood_inertia_g
from balancekit.calculation.leads.plugs import make_plug, usual_plugs, wood_removed_g

GUARDS = (
    "balancekit.calculation.leads.plugs.make_plug",
    "balancekit.calculation.leads.key_stick.wood_inertia_g",
)

trimesh = pytest.importorskip("trimesh")


def test_lead_plug_of_12_7_mm():
    assert make_plug(12.7, 12.7).mass_g == pytest.approx(18.24375, abs=5e-6)


def test_inertia_of_a_plug_about_its_axis_and_a_pivot():
    mass = make_plug(12.7, 12.7).mass_g
    own = plug_inertia_g_mm2(mass_g=mass, distance_mm=0.0, radius_mm=6.35)
    far = plug_inertia_g_mm2(mass_g=mass, distance_mm=150.0, radius_mm=6.35)
    assert own == pytest.approx(3.678168e-7 * 1e9, rel=1e-6)
    assert far == pytest.approx(4.1085218e-4 * 1e9, rel=1e-7)


def test_plug_through_a_key_13_mm_wide():
    plug = make_plug(12.7, 13.0)
    assert plug.mass_g == pytest.approx(18.6747, abs=5e-5)
    assert wood_removed_g(12.7, 13.0, 0.42) == pytest.approx(0.6917, abs=5e-5)
    assert plug.net_mass_g(0.42) == pytest.approx(17.9830, abs=5e-5)


def test_usual_plugs_weigh_what_the_trade_says():
    """Common practice, from memory: about 7.6, 10.4 and 13.6 g."""
    assert [plug.mass_g for plug in usual_plugs()] == pytest.approx([7.6, 10.4, 13.6], abs=0.05)


def test_trimesh_agrees_on_volume_and_inertia():
    """A finely faceted cylinder; its volume falls short of the round one by 2 pi^2 / (3 n^2)."""
    mesh = trimesh.creation.cylinder(radius=6.35, height=9.5, sections=720)
    mesh.density = 11.34e-3
    plug = make_plug(12.7, 9.5)
    assert mesh.mass == pytest.approx(plug.mass_g, rel=2e-5)
    axis = np.asarray(mesh.moment_inertia)[2, 2]
    own = plug_inertia_g_mm2(mass_g=plug.mass_g, distance_mm=0.0, radius_mm=6.35)
    assert axis == pytest.approx(own, rel=4e-5)


def test_a_plain_bar_of_400_x_23_x_13_mm():
    """450 kg/m3, pivot 230 mm from one end: 7.684105650e-4 kg m2."""
    sticks = usual_sticks(keyboard(1)["colour"], natural_arm_mm=217.0, front_edge_mm=13.0)
    sticks = sticks.assign(
        stick_length_mm=400.0, stick_height_mm=23.0, stick_width_mm=13.0, wood_density_g_cm3=0.45
    )
    assert front_end_mm(sticks).tolist() == [230.0]
    inertia = wood_inertia_g(sticks) * 217.0**2
    assert inertia.iloc[0] == pytest.approx(7.684105650e-4 * 1e9, rel=1e-9)
