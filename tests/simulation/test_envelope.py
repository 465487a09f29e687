"""The construction against its own definitions and against known limits."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drypoint.simulation import Law, SimulationError, Truth
from drypoint.simulation.envelope import Envelope, state
from drypoint.tips.area import area
from drypoint.tips.build import blunted_tip, ideal_tip
from drypoint.tips.geometry import Geometry

DIAMOND = (1 - 0.07**2) / 1140e9
DEPTHS = np.geomspace(1e-12, 2e-6, 400)


def glass(**changes: object) -> Truth:
    tip = blunted_tip(Geometry("modified Berkovich", radius=80e-9))
    base = Truth(tip=tip, E=Law.constant(72e9), H=Law.constant(9.2e9), nu=0.17, m=1.3)
    return replace(base, **changes)  # type: ignore[arg-type]


@given(
    E=st.floats(5e9, 600e9),
    share=st.floats(0.005, 0.12),
    m=st.floats(1.05, 1.5),
    radius=st.floats(10e-9, 500e-9),
)
def test_definitions_hold(E: float, share: float, m: float, radius: float) -> None:
    tip = blunted_tip(Geometry("modified Berkovich", radius=radius))
    t = Truth(tip=tip, E=Law.constant(E), H=Law.constant(share * E), nu=0.25, m=m)
    s = state(t, DEPTHS)
    e_r = 1 / ((1 - 0.25**2) / E + DIAMOND)
    assert pytest.approx(2 / np.sqrt(np.pi) * e_r * np.sqrt(s.A_p), rel=1e-12) == s.S
    assert s.h_c == pytest.approx(s.h - s.eps * s.F / s.S, rel=1e-9)
    assert s.S * (s.h - s.h_p) == pytest.approx(s.m * s.F, rel=1e-9)
    plastic = s.plastic == 1
    assert s.F[plastic] == pytest.approx(share * E * s.A_p[plastic], rel=1e-12)
    assert np.all(s.m[plastic] == m)
    assert np.all(s.h_p >= -1e-9 * s.h)
    assert np.all(np.diff(s.F) > 0) and np.all(np.diff(s.h) > 0)
    assert np.all(s.F_el * (1 + 1e-12) >= s.F)


def test_first_contact_of_a_sphere_is_hertz() -> None:
    # Hertz 1881: P = 4/3 E* R^(1/2) h^(3/2), for depths small against R.
    R = 10e-6
    t = glass(tip=ideal_tip("sphere", radius=R))
    s = state(t, np.geomspace(1e-12, 1e-9, 30))
    e_r = 1 / ((1 - 0.17**2) / 72e9 + DIAMOND)
    assert np.all(s.plastic == 0)
    assert s.h == pytest.approx(2 * s.h_c, rel=1e-12)
    assert pytest.approx(4 / 3 * e_r * np.sqrt(R) * s.h**1.5, rel=1e-4) == s.F
    assert np.all(s.h_p == 0)
    assert s.m == pytest.approx(1.5)


def test_first_contact_of_a_blunted_tip_is_hertz_with_its_radius() -> None:
    s = state(glass(), 1e-11)
    e_r = 1 / ((1 - 0.17**2) / 72e9 + DIAMOND)
    assert s.F[0] == pytest.approx(4 / 3 * e_r * np.sqrt(80e-9) * s.h[0] ** 1.5, rel=2e-4)


def test_sharp_tip_scales_with_depth_squared() -> None:
    s = state(glass(tip=ideal_tip("modified Berkovich")), DEPTHS)
    assert s.F / s.h**2 == pytest.approx(np.full(len(DEPTHS), s.F[0] / s.h[0] ** 2), rel=1e-10)
    assert pytest.approx(np.full(len(DEPTHS), s.F[0] / s.S[0] ** 2), rel=1e-10) == s.F / s.S**2


def test_rigid_plastic_limit() -> None:
    tip = ideal_tip("modified Berkovich", E_i=1e22)
    s = state(glass(tip=tip, E=Law.constant(1e22)), DEPTHS)
    assert s.h == pytest.approx(s.h_c, rel=1e-9)
    assert s.h_p == pytest.approx(s.h, rel=1e-9)
    assert pytest.approx(9.2e9 * area(tip, {}, s.h), rel=1e-8) == s.F


def test_passage_is_smooth() -> None:
    s = state(glass(), np.linspace(1e-9, 30e-9, 40001))
    p = s.F / s.A_p
    slope = np.gradient(p, s.h_c)
    assert np.all(np.diff(p) > -1e-3) and p[-1] == pytest.approx(9.2e9, rel=1e-12)
    assert np.max(np.abs(np.diff(slope))) < 1e-3 * np.max(slope)
    assert np.max(np.abs(np.diff(s.h_p))) < 1e-11


def test_way_back_from_force_and_depth() -> None:
    e = Envelope(glass(), force=10e-3, depth=300e-9, creep_log=2.4)
    forces = np.geomspace(1e-9, 10e-3, 500)
    assert pytest.approx(forces, rel=1e-12) == e.at_force(forces).F
    depths = np.geomspace(1e-11, 300e-9, 500)
    assert e.branch(e.at_depth(depths, 2.4), 2.4) == pytest.approx(depths, rel=1e-12)
    assert e.elastic_force(e.elastic_depth(forces)) == pytest.approx(forces, rel=1e-10)


def test_law_of_depth() -> None:
    law = Law(surface=240e9, deep=170e9, length=200e-9)
    assert law.at(0.0) == pytest.approx(240e9)
    assert law.at(200e-9) == pytest.approx(170e9 + 70e9 / np.e)
    assert Law.constant(5.0).at(DEPTHS) == pytest.approx(5.0)


def test_impossible_specimens_are_refused() -> None:
    with pytest.raises(SimulationError, match="not positive"):
        Law.constant(-1.0)
    with pytest.raises(SimulationError, match="do not grow"):
        Envelope(glass(m=2.0, H=Law.constant(40e9)), force=1e-3)
    with pytest.raises(SimulationError, match="do not grow"):
        Envelope(glass(H=Law(9e9, 1e7, 20e-9)), force=1e-3)
    with pytest.raises(SimulationError, match="not reached"):
        Envelope(glass(tip=ideal_tip("sphere", radius=50e-9)), force=1.0)
    with pytest.raises(SimulationError, match="Poisson"):
        glass(nu=0.7)
    with pytest.raises(SimulationError, match="no fault"):
        glass(fault="gremlins")
