"""Laws that hold for all values: scaling, S = dP/dh = 2 a E*, inverses, complex-step slopes."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drypoint.contact import closed_forms as cf
from drypoint.contact import sphere_stress as ss
from drypoint.contact import unloading as ul

moduli = st.floats(1e8, 1e12)
lengths = st.floats(1e-9, 1e-4)
angles = st.floats(0.2, 1.5)
poisson = st.floats(-0.5, 0.49)
stretches = st.floats(1.01, 100.0)


def complex_slope(f: Callable[[Any], Any], x: float) -> float:
    step = 1e-30 * abs(x)
    return float(np.imag(f(x + 1j * step)) / step)


def central_slope(f: Callable[[Any], Any], x: float) -> float:
    step = 1e-5 * abs(x)
    return float((f(x + step) - f(x - step)) / (2 * step))


@given(moduli, lengths, lengths, stretches)
def test_sphere_force_grows_as_depth_to_three_halves(
    E: float, R: float, h: float, k: float
) -> None:
    assert cf.sphere_force(E, R, k * h) == pytest.approx(k**1.5 * cf.sphere_force(E, R, h))


@given(moduli, angles, lengths, stretches)
def test_cone_force_grows_as_depth_squared(E: float, psi: float, h: float, k: float) -> None:
    assert cf.cone_force(E, psi, k * h) == pytest.approx(k * k * cf.cone_force(E, psi, h))


@given(moduli, lengths, lengths, angles, stretches)
def test_force_scales_with_the_square_of_all_lengths(
    E: float, R: float, h: float, psi: float, k: float
) -> None:
    for force in (cf.sphere_force, cf.punch_force):
        assert force(E, k * R, k * h) == pytest.approx(k * k * force(E, R, h))
    assert cf.sphere_peak_pressure(E, k * R, k * h) == pytest.approx(
        cf.sphere_peak_pressure(E, R, h)
    )
    assert cf.cone_force(E, psi, k * h) == pytest.approx(k * k * cf.cone_force(E, psi, h))


@given(moduli, lengths, lengths, angles)
def test_stiffness_is_the_slope_of_force_and_twice_a_E(
    E: float, R: float, h: float, psi: float
) -> None:
    cases: list[tuple[Callable[[Any], Any], Any, Any]] = [
        (
            lambda x: cf.sphere_force(E, R, x),
            cf.sphere_stiffness(E, R, h),
            cf.sphere_contact_radius(R, h),
        ),
        (
            lambda x: cf.cone_force(E, psi, x),
            cf.cone_stiffness(E, psi, h),
            cf.cone_contact_radius(psi, h),
        ),
        (lambda x: cf.punch_force(E, R, x), cf.punch_stiffness(E, R), R),
    ]
    for force, stiffness, a in cases:
        assert complex_slope(force, h) == pytest.approx(float(stiffness), rel=1e-12)
        assert float(stiffness) == pytest.approx(float(2 * a * E), rel=1e-12)
        assert ul.reduced_modulus(stiffness, np.pi * a * a) == pytest.approx(E, rel=1e-12)


@given(moduli, lengths, lengths, angles)
def test_depth_and_force_are_inverse(E: float, R: float, h: float, psi: float) -> None:
    assert cf.sphere_depth(E, R, cf.sphere_force(E, R, h)) == pytest.approx(h, rel=1e-12)
    assert cf.cone_depth(E, psi, cf.cone_force(E, psi, h)) == pytest.approx(h, rel=1e-12)


@given(moduli, lengths, lengths)
def test_peak_pressure_three_ways(E: float, R: float, h: float) -> None:
    p_0, P = cf.sphere_peak_pressure(E, R, h), cf.sphere_force(E, R, h)
    assert p_0 == pytest.approx(3 * P / (2 * np.pi * R * h), rel=1e-12)
    assert p_0 == pytest.approx((6 * P * E * E / (np.pi**3 * R * R)) ** (1 / 3), rel=1e-12)
    assert cf.sphere_force_at_pressure(E, R, p_0) == pytest.approx(float(P), rel=1e-12)


@given(st.floats(1.005, 3.0))
def test_epsilon_slope_by_complex_step(m: float) -> None:
    def f(x: Any) -> Any:
        return ul.epsilon(x)

    step = 1e-4 * (m - 1)
    central = float((f(m + step) - f(m - step)) / (2 * step))
    assert complex_slope(f, m) == pytest.approx(central, rel=2e-6)
    assert f(m) < 1
    assert complex_slope(f, m) < 0


def test_epsilon_near_one_and_beyond_its_range() -> None:
    d = np.array([1e-14, 1e-10, 1e-6, 1e-4])
    # Leading terms for m -> 1: eps = m (1 - sqrt(2 d / pi) (1 - d/4)), d = m - 1.
    m = 1 + d
    d = m - 1
    expected = m * (1 - np.sqrt(2 * d / np.pi) * (1 - d / 4))
    np.testing.assert_allclose(ul.epsilon(m), expected, rtol=1e-9)
    seam = 1 + 1 / 30  # where the series takes over
    left, right = ul.epsilon(np.array([seam * (1 - 1e-15), seam * (1 + 1e-15)]))
    assert left == pytest.approx(right, rel=1e-13)
    assert np.isnan(ul.epsilon([0.9, np.nan])).all()
    out = ul.epsilon(np.array([0.9 + 0j, 1.0 + 1e-30j]))
    assert np.isnan(out[0].real) and np.isnan(out[0].imag) and out[1] == 1


@given(poisson, angles)
def test_radial_factor_slope_in_nu(nu: float, psi: float) -> None:
    def f(x: Any) -> Any:
        return ul.radial_factor(x, psi)

    step = 1e-6
    central = float((f(nu + step) - f(nu - step)) / (2 * step))
    slope = float(np.imag(f(nu + 1e-30j)) / 1e-30)
    assert slope == pytest.approx(central, rel=1e-5, abs=1e-6)


@given(st.floats(1e9, 5e11), st.floats(0.0, 0.49), st.floats(6e11, 2e12), st.floats(0.0, 0.3))
def test_moduli_round_trip(E: float, nu: float, E_i: float, nu_i: float) -> None:
    E_r = ul.combined_modulus(E, nu, E_i, nu_i)
    assert ul.indentation_modulus(E_r, nu, E_i, nu_i) == pytest.approx(E, rel=1e-11)
    assert E_r < ul.plane_strain_modulus(E, nu)
    rigid = ul.combined_modulus(E, nu, np.inf, nu_i)
    assert rigid == pytest.approx(float(ul.plane_strain_modulus(E, nu)), rel=1e-14)


@given(st.floats(1e3, 1e7), st.floats(1e-15, 1e-8), st.floats(0.9, 1.2))
def test_stiffness_area_modulus_round_trip(S: float, A: float, beta: float) -> None:
    E_r = ul.reduced_modulus(S, A, beta)
    assert ul.contact_stiffness(E_r, A, beta) == pytest.approx(S, rel=1e-13)
    assert ul.contact_area(S, E_r, beta) == pytest.approx(A, rel=1e-13)
    invariant = ul.force_over_stiffness_squared(2e9, E_r, beta)
    assert invariant == pytest.approx(2e9 * A / S**2, rel=1e-13)


SMOOTH: list[tuple[str, Callable[[Any], Any], float]] = [
    ("E_r of S", lambda x: ul.reduced_modulus(x, 3e-13, 1.05), 2e5),
    ("E_r of A", lambda x: ul.reduced_modulus(2e5, x, 1.05), 3e-13),
    ("E_r of beta", lambda x: ul.reduced_modulus(2e5, 3e-13, x), 1.05),
    ("E_IT of E_r", lambda x: ul.indentation_modulus(x, 0.2, 1.14e12, 0.07), 7e10),
    ("E_IT of nu", lambda x: ul.indentation_modulus(7e10, x, 1.14e12, 0.07), 0.2),
    ("E_IT of E_i", lambda x: ul.indentation_modulus(7e10, 0.2, x, 0.07), 1.14e12),
    ("E_IT of nu_i", lambda x: ul.indentation_modulus(7e10, 0.2, 1.14e12, x), 0.07),
    ("h_c of S", lambda x: ul.contact_depth(3e-7, 1e-2, x, 0.75), 2e5),
    ("gamma of psi", lambda x: ul.radial_factor(0.2, x), 1.22),
    ("F/S2 of E_r", lambda x: ul.force_over_stiffness_squared(9e9, x), 7e10),
    ("sphere P of R", lambda x: cf.sphere_force(1e11, x, 1e-8), 1e-6),
    ("sphere h of P", lambda x: cf.sphere_depth(1e11, 1e-6, x), 1e-4),
    ("cone h of psi", lambda x: cf.cone_depth(1e11, x, 1e-4), 1.2),
    ("punch p of r", lambda x: cf.punch_pressure(1.0, 1.0, x), 0.4),
    ("axis sigma_r of z", lambda x: ss.axis_stress(x, 0.3)[0], 0.8),
    ("surface sigma_r, inside", lambda x: ss.surface_stress(x, 0.3)[0], 0.6),
    ("surface sigma_r, outside", lambda x: ss.surface_stress(x, 0.3)[0], 1.4),
]


@pytest.mark.parametrize(("f", "x"), [s[1:] for s in SMOOTH], ids=[s[0] for s in SMOOTH])
def test_complex_step_is_the_central_difference(f: Callable[[Any], Any], x: float) -> None:
    assert complex_slope(f, x) == pytest.approx(central_slope(f, x), rel=1e-7)


@given(st.floats(0.0, 0.5))
def test_stress_under_a_sphere_joins_up(nu: float) -> None:
    axis_r, axis_z = ss.axis_stress(0.0, nu)
    surface_r, surface_t, surface_z = ss.surface_stress(0.0, nu)
    assert axis_z == surface_z == -1
    assert surface_r == pytest.approx(float(axis_r)) == surface_t == pytest.approx(-(0.5 + nu))
    inner, outer = ss.surface_stress(np.array([1 - 1e-14, 1 + 1e-14]), nu)[0]
    assert inner == pytest.approx(outer, abs=1e-6)
    z = np.linspace(0.0, 3.0, 3001)
    r, v = ss.axis_stress(z, nu)
    assert np.max((r - v) / 2) == pytest.approx(ss.max_shear(nu)[0], rel=1e-6)


def test_no_contact_gives_no_force_and_nan_stays() -> None:
    h = np.array([-1e-9, 0.0, np.nan])
    for value in (
        cf.sphere_force(1e11, 1e-6, h),
        cf.cone_force(1e11, 1.2, h),
        cf.punch_force(1e11, 1e-6, h),
        cf.sphere_stiffness(1e11, 1e-6, h),
    ):
        np.testing.assert_array_equal(value, [0, 0, np.nan])
    assert cf.punch_pressure(1.0, 1.0, 2.0) == 0 and np.isinf(cf.punch_pressure(1.0, 1.0, 1.0))


def test_impossible_modulus_is_nan() -> None:
    assert np.isnan(ul.indentation_modulus(1.2e12, 0.2, 1.14e12, 0.07))
    out = ul.indentation_modulus(np.array([7e10, 1.2e12]) + 0j, 0.2, 1.14e12, 0.07)
    assert np.isfinite(out[0]) and np.isnan(out[1].imag)


def test_pressure_under_a_punch_carries_the_force() -> None:
    # r = a sin(t) takes the infinite edge away.
    t = (np.arange(2000) + 0.5) * (np.pi / 2) / 2000
    p = cf.punch_pressure(5.0, 2.0, 2.0 * np.sin(t))
    force = np.sum(p * 2 * np.pi * 2.0 * np.sin(t) * 2.0 * np.cos(t)) * (np.pi / 2) / 2000
    assert force == pytest.approx(5.0, rel=1e-6)
