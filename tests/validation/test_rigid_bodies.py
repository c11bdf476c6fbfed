"""Moments of inertia against trimesh, and against textbook bodies.

trimesh integrates over the triangles of a closed surface and knows none of our formulas.
Round bodies have 512 sides, so they agree to about 5e-5. The numbers in kg m2 were
recomputed with trimesh, pymunk and sympy from the stated sizes and densities.
"""

import numpy as np
import pytest
import trimesh

from balancekit.calculation.inertia import (
    plug_inertia_g,
    plug_inertia_g_mm2,
    stick_inertia_g_mm2,
    stick_mass_g,
)

GUARDS = (
    "balancekit.calculation.inertia.plug_inertia_g",
    "balancekit.calculation.inertia.stick_inertia_g_mm2",
)

KG_M2 = 1e-9
"""One g mm2 in kg m2."""

STICK = dict(length_mm=400.0, height_mm=23.0, width_mm=13.0, density_g_cm3=0.45)


def about_pin_g_mm2(mesh: trimesh.Trimesh, density_g_cm3: float) -> float:
    """Moment of inertia about the y axis through the origin, by trimesh."""
    mesh.density = density_g_cm3 / 1000
    return float(mesh.moment_inertia_frame(np.eye(4))[1, 1])


def cylinder_across(diameter_mm: float, length_mm: float, x_mm: float) -> trimesh.Trimesh:
    mesh = trimesh.creation.cylinder(radius=diameter_mm / 2, height=length_mm, sections=512)
    mesh.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, [1, 0, 0]))
    mesh.apply_translation([x_mm, 0, 0])
    return mesh


def test_lead_plug():
    """12.7 mm diameter x 12.7 mm at 11.34 g/cm3 is 18.24375 g."""
    own = plug_inertia_g_mm2(mass_g=18.24375, distance_mm=0.0, radius_mm=6.35)
    assert own * KG_M2 == pytest.approx(3.678168e-7, rel=1e-6)
    far = plug_inertia_g_mm2(mass_g=18.24375, distance_mm=150.0, radius_mm=6.35)
    assert far * KG_M2 == pytest.approx(4.1085218e-4, rel=1e-7)
    by_trimesh = about_pin_g_mm2(cylinder_across(12.7, 12.7, -150.0), 11.34)
    assert far == pytest.approx(by_trimesh, rel=2e-4)


def test_plug_less_the_wood_bored_out():
    """12.7 mm through a 13 mm key of 0.42 g/cm3: net 17.9830 g."""
    lead = about_pin_g_mm2(cylinder_across(12.7, 13.0, 110.0), 11.34)
    wood = about_pin_g_mm2(cylinder_across(12.7, 13.0, 110.0), 0.42)
    found = plug_inertia_g(mass_g=17.9830, distance_mm=110.0, radius_mm=6.35, arm_mm=220.0)
    assert found == pytest.approx((lead - wood) / 220.0**2, rel=2e-4)


def test_key_stick():
    """Bar 400 x 23 x 13 mm, 450 kg/m3, pivot 230 mm from one end."""
    assert stick_mass_g(**STICK) == pytest.approx(53.82, abs=1e-9)
    found = stick_inertia_g_mm2(**STICK, pin_to_front_mm=230.0)
    assert found * KG_M2 == pytest.approx(7.684105650e-4, rel=1e-9)
    mesh = trimesh.creation.box(extents=[400.0, 13.0, 23.0])
    mesh.apply_translation([230.0 - 200.0, 0, 0])
    assert found == pytest.approx(about_pin_g_mm2(mesh, 0.45), rel=1e-9)
