"""Area functions for all values: growing, smooth, right derivatives, exact round trips."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from drypoint.tips.area import (
    area,
    area_slope,
    check_range,
    effective_radius,
    parameter_names,
    series_from_nm,
    series_to_nm,
    surface_area,
    tip_joint,
)
from drypoint.tips.build import blunted_tip, ideal_tip, series_tip, table_parameters, table_tip
from drypoint.tips.geometry import Geometry
from drypoint.tips.tip import Tip
from drypoint.uncertainty.joint import join

BERKOVICH = Geometry("Berkovich")
KNOTS = (20e-9, 50e-9, 100e-9, 220e-9, 500e-9, 900e-9)


def some_table() -> Tip:
    """A table with uneven growth, so that the monotone cubic's branches are all used."""
    areas = [2e-14, 9e-14, 3.4e-13, 1.45e-12, 7.0e-12, 2.1e-11]
    return table_tip(BERKOVICH, KNOTS, table_parameters(areas))


TIPS: dict[str, Tip] = {
    "Berkovich": ideal_tip("Berkovich"),
    "Vickers": ideal_tip("Vickers"),
    "cone": ideal_tip("cone", angle=1.2),
    "sphere": ideal_tip("sphere", radius=5e-6),
    "sphero-cone": ideal_tip("sphero-cone", radius=1e-6, angle=1.0),
    "series": series_tip(
        BERKOVICH, series_from_nm([24.1, 900.0, 1500.0, -200.0]), h_min=5e-9, h_max=2e-6
    ),
    "blunted": blunted_tip(Geometry("Berkovich", radius=150e-9)),
    "blunted cube corner": blunted_tip(Geometry("cube corner", radius=60e-9)),
    "table": some_table(),
}
each_tip = pytest.mark.parametrize("tip", TIPS.values(), ids=TIPS.keys())
depths = st.floats(6e-9, 1.8e-6)


def slope_by_complex_step(f: Any, x: float) -> float:
    step = 1e-30 * abs(x)
    return float(np.imag(f(x + 1j * step)) / step)


@each_tip
@given(h=depths)
def test_slope_is_the_complex_step_and_the_central_difference(tip: Tip, h: float) -> None:
    def f(x: Any) -> Any:
        return area(tip, {}, x)

    exact = float(area_slope(tip, {}, h))
    assert slope_by_complex_step(f, h) == pytest.approx(exact, rel=1e-11)
    step = 1e-6 * h
    assert (f(h + step) - f(h - step)) / (2 * step) == pytest.approx(exact, rel=1e-4)


@each_tip
@given(h=depths)
def test_derivatives_in_every_parameter(tip: Tip, h: float) -> None:
    best = tip.area.parameters.as_dict()
    assert set(best) == set(parameter_names(tip.area.kind, max(len(best), 1), tip.geometry.shape))
    for f in (area, area_slope, surface_area):
        for name, value in best.items():
            imag = slope_by_complex_step(lambda x, f=f, n=name: f(tip, {n: x}, h), value)
            step = 1e-6 * abs(value)
            up, down = f(tip, {name: value + step}, h), f(tip, {name: value - step}, h)
            scale = abs(float(f(tip, {}, h))) / abs(value)
            central = float(up - down) / (2 * step)
            assert imag == pytest.approx(central, rel=1e-4, abs=1e-5 * scale), (f, name)


@each_tip
def test_area_is_positive_growing_and_smooth(tip: Tip) -> None:
    h = np.geomspace(6e-9, 1.8e-6, 4001)
    for f in (area, surface_area):
        value = f(tip, {}, h)
        assert np.all(value > 0) and np.all(np.diff(value) > 0)
    assert np.all(surface_area(tip, {}, h) > area(tip, {}, h))
    slope = area_slope(tip, {}, h)
    assert np.all(slope > 0)
    assert np.max(np.abs(np.diff(np.log(slope)))) < 0.02  # no jump: step in ln h is 0.0014


@each_tip
def test_no_area_below_the_surface(tip: Tip) -> None:
    assert area(tip, {}, 0.0) == pytest.approx(0.0, abs=1e-30)
    out = area(tip, {}, np.array([-1e-9 + 0j, 1e-7]))
    assert np.isnan(out[0].real) and np.isnan(out[0].imag) and np.isfinite(out[1])
    assert np.isnan(area(tip, {}, [-1e-9, np.nan])).all()
    assert np.isnan(area_slope(tip, {}, -1e-9)) and np.isnan(effective_radius(tip, {}, 0.0))


@each_tip
def test_draws_broadcast_with_depths(tip: Tip) -> None:
    h = np.array([50e-9, 300e-9, 700e-9])
    best = tip.area.parameters.as_dict()
    spread = np.array([0.999, 1.0, 1.001, 1.002])
    theta = {n: v * spread[:, None] for n, v in best.items()}
    together = area(tip, theta, h)
    assert together.shape == (4, 3)
    for i, s in enumerate(spread):
        row = {n: v * s for n, v in best.items()}
        np.testing.assert_allclose(together[i], area(tip, row, h), rtol=1e-12)


@given(st.floats(20e-9, 5e-6), st.floats(0.3, 1.4), st.floats(0.01, 50.0), st.floats(1.1, 50.0))
def test_sphero_cone_scales_and_joins(R: float, psi: float, ratio: float, k: float) -> None:
    small = ideal_tip("sphero-cone", radius=R, angle=psi)
    large = ideal_tip("sphero-cone", radius=k * R, angle=psi)
    h = ratio * R
    for f in (area, surface_area):
        assert f(large, {}, k * h) == pytest.approx(k * k * float(f(small, {}, h)), rel=1e-10)
    h_t = R * (1 - np.sin(psi))
    around = np.array([h_t * (1 - 1e-12), h_t * (1 + 1e-12)])
    for f in (area, area_slope, surface_area):
        below, above = f(small, {}, around)
        assert below == pytest.approx(above, rel=1e-10)


@given(st.floats(10e-9, 500e-9))
def test_blunted_becomes_sphere_above_and_pyramid_below(R: float) -> None:
    tip = blunted_tip(Geometry("Berkovich", radius=R))
    sphere, sharp = ideal_tip("sphere", radius=R), ideal_tip("Berkovich")
    assert area(tip, {}, R / 30) == pytest.approx(float(area(sphere, {}, R / 30)), rel=1e-13)
    assert effective_radius(tip, {}, R / 30) == pytest.approx(R, rel=1e-12)
    assert area(tip, {}, 1e4 * R) == pytest.approx(float(area(sharp, {}, 1e4 * R)), rel=1e-4)
    ratio = surface_area(tip, {}, 1e4 * R) / surface_area(sharp, {}, 1e4 * R)
    assert ratio == pytest.approx(1, rel=1e-4)


def test_table_is_the_library_interpolant_in_logarithms() -> None:
    tip = TIPS["table"]
    areas = tip.area.parameters.mean
    other = PchipInterpolator(np.log(KNOTS), np.log(areas))
    h = np.geomspace(KNOTS[0], KNOTS[-1], 501)
    np.testing.assert_allclose(area(tip, {}, h), np.exp(other(np.log(h))), rtol=1e-12)
    np.testing.assert_allclose(area(tip, {}, KNOTS), areas, rtol=1e-14)
    # Beyond the ends a power law with the same slope.
    for edge, far in ((KNOTS[0], KNOTS[0] / 4), (KNOTS[-1], KNOTS[-1] * 4)):
        power = float(area_slope(tip, {}, edge) * edge / area(tip, {}, edge))
        expected = float(area(tip, {}, edge)) * (far / edge) ** power
        assert area(tip, {}, far) == pytest.approx(expected, rel=1e-12)


def test_table_with_few_knots_follows_a_blunted_tip() -> None:
    true = blunted_tip(Geometry("Berkovich", radius=200e-9))
    knots = np.geomspace(5e-9, 2e-6, 12)
    table = table_tip(BERKOVICH, tuple(knots), table_parameters(area(true, {}, knots)))
    h = np.geomspace(5e-9, 2e-6, 1000)
    assert np.max(np.abs(area(table, {}, h) / area(true, {}, h) - 1)) < 0.005
    for exact in (ideal_tip("Berkovich"), ideal_tip("cone", angle=1.0)):
        two = table_tip(exact.geometry, KNOTS[:2], table_parameters(area(exact, {}, KNOTS[:2])))
        np.testing.assert_allclose(area(two, {}, h), area(exact, {}, h), rtol=1e-12)


@given(st.lists(st.floats(1e-6, 1e4) | st.floats(-1e4, -1e-6), min_size=1, max_size=9))
def test_series_in_nanometres_round_trip(coefficients: list[float]) -> None:
    root = np.outer(coefficients, np.linspace(0.1, 1.0, 4))
    covariance = root @ root.T
    joint = series_from_nm(coefficients, covariance, "certificate")
    back, cov = series_to_nm(joint)
    np.testing.assert_allclose(back, coefficients, rtol=1e-15)
    np.testing.assert_allclose(cov, covariance, rtol=1e-15)
    assert joint.names == parameter_names("series", len(coefficients))
    assert set(joint.origin) == {"certificate"}


def test_variance_of_a_series_is_the_same_in_both_units() -> None:
    sd = np.array([0.2, 30.0, 100.0])
    joint = series_from_nm([24.0, 500.0, 1000.0], np.diag(sd**2))
    tip = series_tip(BERKOVICH, joint, h_min=1e-9, h_max=1e-6)
    names = joint.names
    j = np.array(
        [slope_by_complex_step(lambda x, n=n: area(tip, {n: x}, 100e-9), joint[n]) for n in names]
    )
    u_nm2 = np.sqrt(np.sum((sd * np.array([1e4, 1e2, 1e1])) ** 2))
    assert np.sqrt(j @ joint.cov @ j) == pytest.approx(u_nm2 * 1e-18, rel=1e-12)


def test_measured_sphere_keeps_the_cap_formula() -> None:
    R = 10e-6
    ball = ideal_tip("sphere", radius=R)
    knots = np.geomspace(1e-8, 1e-6, 9)
    table = table_tip(ball.geometry, tuple(knots), table_parameters(area(ball, {}, knots)))
    assert surface_area(table, {}, knots[4]) == pytest.approx(2 * np.pi * R * knots[4], rel=1e-12)


def test_range_and_joint() -> None:
    tip = TIPS["table"]
    outside = check_range(tip, [10e-9, 20e-9, 900e-9, 901e-9, np.nan])
    np.testing.assert_array_equal(outside, [True, False, False, True, True])
    joint = join(tip_joint(tip))
    assert joint.names == (*parameter_names("table", 6), "tip.E_i", "tip.nu_i")
    assert joint["tip.E_i"] == 1140e9 and joint["tip.nu_i"] == 0.07
    worn = ideal_tip("Vickers", u_angle=0.002, E_i=1141e9, u_E_i=10e9, u_nu_i=0.01)
    joint = join(tip_joint(worn))
    assert joint.names == ("tip.angle", "tip.E_i", "tip.nu_i")
    np.testing.assert_allclose(joint.sd, [0.002, 10e9, 0.01])
