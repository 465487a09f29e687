"""Elastic contact in the small-strain mode against closed forms, at the default mesh.

Few steps, because nothing depends on the way there.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

import drypoint.stress as stress
from drypoint.contact import (
    closed_forms,
    layered_stack,
    layered_stress,
    profiles,
    sphere_stress,
)
from drypoint.stress.farfield import outside_stiffness, point_force_displacement
from drypoint.stress.give import disc
from drypoint.tips.build import ideal_tip

E, NU = 200e9, 0.3
E_STAR = E / (1 - NU**2)
R, H = 10e-6, 100e-9
STACK = stress.Stack(stress.Material(E, NU))
FEW = stress.Effort(stress.EFFORTS["quick"].elements, 6, 6)
PSI = float(np.radians(70.3))


def press(tip: stress.Profile, h: float, stack: stress.Stack = STACK) -> stress.Solution:
    protocol = stress.Protocol.to_depth(h, unload=False)
    return stress.solve(stack, tip, protocol, mesh=FEW, small_strain=True, errors=False)


@pytest.fixture(scope="module")
def ball() -> stress.Solution:
    return press(stress.paraboloid(R), H)


def test_ball_presses_as_hertz_says(ball: stress.Solution) -> None:
    """Force within 0.5 %, contact radius within 1 % [hertz1881]."""
    assert ball.force == pytest.approx(closed_forms.sphere_force(E_STAR, R, ball.depth), rel=0.005)
    a = closed_forms.sphere_contact_radius(R, H)
    assert ball.contact_radius[-1] == pytest.approx(a, rel=0.01)


def test_pressure_under_a_ball(ball: stress.Solution) -> None:
    """p_0 sqrt(1 - r^2/a^2) [hertz1881], 0.5 % of p_0 off the axis, where a node holds little."""
    p_0 = closed_forms.sphere_peak_pressure(E_STAR, R, H)
    x = ball.surfaces[-1].r / closed_forms.sphere_contact_radius(R, H)
    inside = (x > 0) & (x < 0.85)
    exact = np.sqrt(1 - x[inside] ** 2)
    assert ball.surfaces[-1].pressure[inside] / p_0 == pytest.approx(exact, abs=0.005)


def test_largest_shear_under_a_ball(ball: stress.Solution) -> None:
    """0.310 p_0 at 0.481 a for nu = 0.3 [johnson1985]; means over the elements on the axis."""
    p_0 = closed_forms.sphere_peak_pressure(E_STAR, R, H)
    a = closed_forms.sphere_contact_radius(R, H)
    rows = ball.mesh.shape[1] - 1
    sigma = ball.sigma[-1, :rows, [0, 3], :].mean(axis=0) / p_0
    z = -ball.mesh.X[ball.mesh.quads[:rows], 1].mean(axis=1) / a
    shear = CubicSpline(z[::-1], (sigma[::-1, 0] - sigma[::-1, 2]) / 2)
    depth = np.linspace(0.3, 0.7, 2001)
    best = depth[np.argmax(shear(depth))]
    assert float(shear(best)) == pytest.approx(0.31002, rel=0.005)
    assert best == pytest.approx(0.48086, rel=0.005)


def test_the_whole_field_under_a_ball(ball: stress.Solution) -> None:
    """All four stresses within two contact radii against exact Hankel integrals.

    0.4 % of p_0 in the root mean square, 5 % at the contact's edge, where the slope is infinite.
    """
    p_0 = float(closed_forms.sphere_peak_pressure(E_STAR, R, H))
    a = float(closed_forms.sphere_contact_radius(R, H))
    rows = ball.mesh.shape[1] - 1
    f = stress.field(ball, -1)
    r = f.r.mean(axis=1).reshape(-1, rows)[:, -1]
    z = -f.z.mean(axis=1).reshape(-1, rows)[0, ::-1]
    k, m = int(np.sum(r < 2 * a)), int(np.sum(z < 2 * a))
    half_space = layered_stack.Stack((), layered_stack.Medium(E, NU))
    exact = layered_stress.field(half_space, profiles.paraboloid(R), a, r[:k], z[:m])
    found = f.sigma.mean(axis=1).reshape(-1, rows, 4)[:k, ::-1][:, :m] / p_0
    pairs = ((0, exact.sigma_r), (2, exact.sigma_z), (3, exact.sigma_theta))
    for i, component in (*pairs, (1, -exact.tau_rz)):
        off = found[..., i].T - component / p_0
        assert np.sqrt(np.mean(off**2)) < 0.004
        assert np.abs(off).max() < 0.05


def test_tensile_ring_around_the_contact(ball: stress.Solution) -> None:
    """sigma_r = (1 - 2 nu)/3 p_0 a^2/r^2 outside the contact [johnson1985].

    From the surface's own strains, E/(1 - nu^2) (eps_r + nu eps_theta); 0.5 % of the ring's height.
    """
    p_0 = closed_forms.sphere_peak_pressure(E_STAR, R, H)
    a = closed_forms.sphere_contact_radius(R, H)
    top = ball.mesh.top
    r, u = ball.mesh.X[top, 0], ball.displacement[-1, top, 0]
    middle, mean = 0.5 * (r[1:] + r[:-1]), 0.5 * (u[1:] + u[:-1])
    sigma = E_STAR * (np.diff(u) / np.diff(r) + NU * mean / middle)
    ring = (1 - 2 * NU) / 3 * p_0
    outside = (middle > 1.2 * a) & (middle < 3 * a)
    exact = ring * (a / middle[outside]) ** 2
    assert sigma[outside] / ring == pytest.approx(exact / ring, abs=0.005)


def test_cone_presses_as_sneddon_says() -> None:
    """Force within 0.5 % [sneddon1965], contact radius within 1.5 %."""
    cone = press(stress.cone(PSI), H)
    F = closed_forms.cone_force(E_STAR, PSI, cone.depth)
    assert cone.force[1:] == pytest.approx(F[1:], rel=0.005)
    a = closed_forms.cone_contact_radius(PSI, H)
    assert cone.contact_radius[-1] == pytest.approx(a, rel=0.015)


def test_flat_punch() -> None:
    """2 a E* h [sneddon1965], within 0.5 % in spite of the infinite pressure at the edge."""
    punch = press(stress.flat_punch(1e-6), 10e-9)
    assert punch.force[-1] == pytest.approx(2 * E_STAR * 1e-6 * 10e-9, rel=0.005)


@pytest.mark.parametrize("nu", [0.0, 0.499])
def test_poisson_ratio_enters_through_the_plane_strain_modulus(nu: float) -> None:
    run = press(stress.paraboloid(R), H, stress.Stack(stress.Material(E, nu)))
    F = closed_forms.sphere_force(E / (1 - nu**2), R, H)
    assert run.force[-1] == pytest.approx(F, rel=0.005)


@pytest.mark.parametrize(("E_i", "nu_i"), [(1140e9, 0.07), (200e9, 0.3)])
def test_an_elastic_tip_presses_with_the_reduced_modulus(E_i: float, nu_i: float) -> None:
    """Diamond, and steel on steel: 1/E_r = (1 - nu^2)/E + (1 - nu_i^2)/E_i in [hertz1881]."""
    E_r = 1 / (1 / E_STAR + (1 - nu_i**2) / E_i)
    run = press(stress.paraboloid(R).elastic(E_i, nu_i), H)
    assert run.depth[-1] == pytest.approx(H, rel=1e-3)
    assert run.force[-1] == pytest.approx(closed_forms.sphere_force(E_r, R, H), rel=0.005)
    a = closed_forms.sphere_contact_radius(R, H)
    assert run.contact_radius[-1] == pytest.approx(a, rel=0.015)
    S = np.polyval(np.polyder(np.polyfit(run.depth, run.force, 3)), 0.8 * H)
    slope = pytest.approx(closed_forms.sphere_stiffness(E_r, R, 0.8 * H), rel=0.02)
    assert slope == S


def test_give_of_a_half_space() -> None:
    """Under uniform pressure 2 p a/E* in the middle, 4 p a/(pi E*) at the edge [johnson1985];
    far away that of a point force, F/(pi E* r)."""
    b = np.array([1.0])
    assert disc(np.array([0.0]), b)[0] == pytest.approx(2.0)
    assert disc(np.array([1.0]), b)[0] == pytest.approx(4 / np.pi)
    assert disc(np.array([50.0]), b)[0] == pytest.approx(1 / 50.0, rel=1e-3)


def test_first_yield_under_a_ball() -> None:
    """p_0 = 1.613 Y for nu = 0.3 [johnson1985]: force pi^3 R^2 p_0^3/(6 E*^2).

    1.5 % of the force is 0.5 % of p_0.
    """
    Y = 5e9
    F_Y = sphere_stress.first_yield_force(E_STAR, R, Y, NU)
    stack = stress.Stack(stress.Material(E, NU, Y))
    run = stress.solve(
        stack, stress.paraboloid(R), stress.Protocol.to_force(1.3 * F_Y, unload=False),
        mesh=stress.Effort(8, 12, 6), small_strain=True, errors=False, fields=False,
    )  # fmt: skip
    (found,) = run.first_yield
    assert found.resolved
    assert found.force == pytest.approx(F_Y, rel=0.015)


def test_a_tip_by_its_area_function_is_its_equivalent_cone() -> None:
    """The modified Berkovich pyramid has the area of a 70.30 degree cone (geometry)."""
    tip = ideal_tip("modified Berkovich")
    profile = stress.from_tip(tip, 1e-6)
    assert profile.radius(1e-7) == pytest.approx(1e-7 * np.tan(np.radians(70.296)), rel=1e-4)
    assert profile.E_star_tip == pytest.approx(1140e9 / (1 - 0.07**2))


def test_the_outside_is_as_stiff_as_a_half_space_without_its_core() -> None:
    """Between two cylinders the stored energies differ by what lies between them.

    The stiffness falls as 1/size, and a hemisphere of a nearly rigid core of that size is bounded
    by the flat punch: 2 E* r above, half of it below.
    """
    big = outside_stiffness(E, NU, 2e-6, -2e-6)
    small = outside_stiffness(E, NU, 1e-6, -1e-6)
    assert small == pytest.approx(2 * big, rel=1e-9)
    far = [point_force_displacement(E, NU, r, -z)[1] for r, z in ((1e-6, 0.0), (0.0, 1e-6))]
    assert far[0] == pytest.approx(-(1 - NU**2) / (np.pi * E * 1e-6))
    assert small < 1 / (2 * E_STAR * 0.5e-6)
