"""Ploughing, scratch hardness and adhesion against closed forms and printed values."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate

from drypoint.scratch import MODELS, Known, ScratchError, adhesion, ploughing, scratch_hardness
from drypoint.scratch.ploughing import cone, front_section, sphere
from drypoint.tips.build import ideal_tip

# Bowden and Tabor (1950), closed forms from memory; the numbers computed from them by hand.
CONES = [(60.0, 0.36755), (70.3, 0.22794), (45.0, 0.63662), (30.0, 1.10266)]
SPHERES = [(0.1, 0.042569), (0.2, 0.085924), (0.5, 0.230676)]


@pytest.mark.parametrize(("degrees", "mu"), CONES)
def test_cone(degrees: float, mu: float) -> None:
    half = float(np.radians(degrees))
    assert cone(half) == pytest.approx(mu, abs=1e-5)
    tip = ideal_tip("cone", angle=half)
    value, u = ploughing(tip, np.array([1e-8, 1e-6]))
    assert value == pytest.approx([mu, mu], abs=1e-5)  # of any depth: a cone has no length
    assert not u.any()


@pytest.mark.parametrize(("ratio", "mu"), SPHERES)
def test_sphere(ratio: float, mu: float) -> None:
    R = 5e-6
    assert sphere(ratio * R, R) == pytest.approx(mu, abs=1e-6)
    tip = ideal_tip("sphere", radius=R)
    depth = R * (1 - np.sqrt(1 - ratio**2))
    assert ploughing(tip, np.array([depth]))[0][0] == pytest.approx(mu, abs=1e-6)


def test_small_grooves_of_a_sphere() -> None:
    s = np.array([1e-6, 1e-3, 0.0199, 0.0201])
    assert sphere(s, 1.0) == pytest.approx(4 * s / (3 * np.pi), rel=2e-4)
    assert np.all(np.diff(sphere(np.linspace(0.01, 1, 500), 1.0)) > 0)
    assert np.isnan(sphere(1.1, 1.0))


@given(st.floats(0.05, 20.0), st.floats(20.0, 75.0))
def test_section_of_a_rounded_cone_against_quadrature(depth: float, degrees: float) -> None:
    half, R = float(np.radians(degrees)), 1.0
    tip = ideal_tip("sphero-cone", angle=half, radius=R)
    to_cone = R * (1 - np.sin(half))

    def radius(z: float) -> float:  # plane geometry, written apart from the tip's own code
        if z <= to_cone:
            return float(np.sqrt(2 * R * z - z * z))
        return float(R * np.cos(half) + (z - to_cone) * np.tan(half))

    split = [to_cone] if to_cone < depth else None
    expected = 2 * integrate.quad(radius, 0, depth, points=split)[0]
    assert front_section(tip, np.array([depth]))[0] == pytest.approx(expected, rel=1e-4)


def test_uncertain_angle_shows_in_the_ploughing_part() -> None:
    half, u_half = float(np.radians(60.0)), 0.01
    tip = ideal_tip("cone", angle=half, u_angle=u_half)
    _, u = ploughing(tip, np.array([1e-6]), u_depth=1e-8)
    assert u[0] == pytest.approx(2 / np.pi / np.sin(half) ** 2 * u_half, rel=1e-6)


def test_flat_punch_does_not_plough() -> None:
    with pytest.raises(ScratchError, match="no flank"):
        ploughing(ideal_tip("flat punch", radius=1e-6), np.array([1e-7]))


def test_scratch_hardness_by_the_standards_constant() -> None:
    # ASTM G171-03: HS_P = k P / w^2, k = 24.98 for GPa, gram-force and micrometre.
    gf, um = 9.80665e-3, 1e-6
    found = scratch_hardness(Known(200 * gf), Known(30 * um))
    assert found.value / 1e9 == pytest.approx(24.98 * 200 / 30**2, rel=4e-4)
    assert found.value / 1e9 == pytest.approx(8 * 9.80665 / np.pi * 200 / 900, rel=1e-12)
    # 1 N and 20 um by hand: 8/(pi 400) TPa
    assert scratch_hardness(Known(1.0), Known(20e-6)).value == pytest.approx(6.3662e9, rel=1e-5)


def test_scratch_hardness_carries_its_uncertainty() -> None:
    w = np.array([20.0, 21.0, 19.0, 20.5, 19.5]) * 1e-6
    found = scratch_hardness(Known(1.0, 0.01), w, u_width_scale=0.005, u_edge=0.1e-6)
    own = np.std(w, ddof=1) / np.sqrt(5) / w.mean()
    relative = np.sqrt(0.01**2 + (2 * own) ** 2 + 0.01**2 + (0.2 / 20) ** 2)
    assert found.u / found.value == pytest.approx(relative, rel=1e-12)
    assert np.hypot(found.u_random, found.u_systematic) == pytest.approx(found.u)
    assert sum(s for _, s in found.shares) == pytest.approx(1.0)
    stylus = ideal_tip("sphero-cone", angle=np.radians(60), radius=200e-6)
    assert scratch_hardness(Known(1.0), Known(20e-6), tip=stylus).remarks == ()
    assert "not the stylus" in scratch_hardness(
        Known(1.0), Known(2e-5), tip=ideal_tip("Berkovich")
    ).remarks[0]  # fmt: skip
    with pytest.raises(ScratchError, match="two readings"):
        scratch_hardness(Known(1.0), np.array([2e-5]))


GIVEN = {
    "L_c": Known(20.0, 1.0), "d": Known(40e-6, 1e-6), "t": Known(2e-6, 0.05e-6),
    "E": Known(400e9, 20e9), "nu": Known(0.22, 0.02), "mu": Known(0.15, 0.01),
    "A_t": Known(60e-12, 3e-12), "sigma_0": Known(2e9, 0.2e9), "H": Known(8e9, 0.2e9),
    "R": Known(200e-6, 5e-6), "k": Known(0.5, 0.1),
}  # fmt: skip


def test_adhesion_goes_back_to_the_critical_load() -> None:
    # Bull and Berasetegui (2006), from memory: L_c of each model, put back in.
    v = {k: q.value for k, q in GIVEN.items()}
    W = adhesion("Burnett and Rickerby", GIVEN).value
    assert np.pi * v["d"] ** 2 / 8 * np.sqrt(2 * v["E"] * W / v["t"]) == pytest.approx(v["L_c"])
    W = adhesion("Bull and Rickerby", GIVEN).value
    load = v["A_t"] / (v["nu"] * v["mu"]) * np.sqrt(2 * v["E"] * W / v["t"])
    assert load == pytest.approx(v["L_c"])


def test_stress_of_laugiers_model_is_that_of_a_sliding_hertzian_contact() -> None:
    # Hamilton and Goodman (1966) as quoted by Lawn (1967), from memory: at the edge of a sliding
    # sphere (1 - 2 nu)/2 P/(pi a^2) (1 +- A mu), A = 3 pi (4 + nu)/(8 (1 - 2 nu)).
    given = {**GIVEN, "sigma_0": Known(0.0)}
    v = {k: q.value for k, q in given.items()}
    a, A = v["d"] / 2, 3 * np.pi * (4 + v["nu"]) / (8 * (1 - 2 * v["nu"]))
    lead = (1 - 2 * v["nu"]) / 2 * v["L_c"] / (np.pi * a**2) * (1 - A * v["mu"])
    W = adhesion("Laugier", given).value
    assert pytest.approx(lead**2 * v["t"] / (2 * v["E"]), rel=1e-12) == W


@pytest.mark.parametrize("author", MODELS)
def test_adhesion_uncertainty_against_drawing(author: str) -> None:
    found = adhesion(author, GIVEN)  # type: ignore[arg-type]
    rng = np.random.default_rng(3)
    small = {k: Known(q.value, q.u / 50) for k, q in GIVEN.items()}
    drawn = {k: q.value + q.u * rng.standard_normal(20_000) for k, q in small.items()}
    spread = float(np.std(MODELS[author].formula(drawn)))
    assert found.u == pytest.approx(50 * spread, rel=0.03)
    assert found.assumptions and sum(s for _, s in found.shares) == pytest.approx(1.0)


def test_adhesion_says_what_it_lacks() -> None:
    with pytest.raises(ScratchError, match="width of the track"):
        adhesion("Burnett and Rickerby", {"L_c": Known(1.0)})
    with pytest.raises(ScratchError, match="wider than the tip"):
        adhesion("Benjamin and Weaver", {**GIVEN, "R": Known(1e-6)})
