"""Elastic limits that are known exactly, and the invariant that no area enters."""

from __future__ import annotations

import numpy as np
import pytest
from reduction_cases import PLAIN, Floats, Reduced, batch, glass, reduced, with_

from drypoint.contact.unloading import combined_modulus
from drypoint.simulation import Creep, Law, single
from drypoint.simulation.record import simulate_batch
from drypoint.tips.build import ideal_tip
from drypoint.tips.geometry import Geometry
from drypoint.tips.tip import Tip

E, NU = 72e9, 0.17
RIGID = 1e30
DIAMOND = (1141e9, 0.07)


def up_and_down(force: Floats, depth: Floats) -> tuple[Floats, Floats, None]:
    """An elastic record: the way back is the way there."""
    return (
        np.concatenate([force, force[-2::-1]]),
        np.concatenate([depth, depth[-2::-1]]),
        None,
    )


def power(n: float, k: float, h_max: float = 100e-9) -> tuple[Floats, Floats, None]:
    """F = k h^n up and down."""
    h = np.linspace(0, h_max, 400)
    return up_and_down(k * h**n, h)


def value(r: Reduced, symbol: str) -> float:
    assert not r.faults
    return float(r.tests[symbol].value[0])


def codes(r: Reduced) -> set[str]:
    return {f.code for f in r.tests.flags[0]}


@pytest.mark.parametrize("elastic", [(RIGID, 0.0), DIAMOND])
def test_a_sphere_on_an_elastic_solid(elastic: tuple[float, float]) -> None:
    """Hertz, in Johnson, Contact Mechanics (1985) (M-hi): F = 4/3 E_r sqrt(R) h^(3/2), so m = 3/2,
    epsilon = 3/4, h_c = h/2, and the modulus comes back. Hertz's contact is a paraboloid; the
    sphere's area is smaller by h_c/2R."""
    R = 100e-6
    E_r = float(combined_modulus(E, NU, *elastic))
    tip = ideal_tip("sphere", radius=R, E_i=elastic[0], nu_i=elastic[1])
    r = reduced(batch([power(1.5, 4 / 3 * E_r * np.sqrt(R))]), tip, PLAIN, nu=(NU, 0.0))
    assert value(r, "m") == pytest.approx(1.5, abs=1e-8)
    assert value(r, "epsilon") == pytest.approx(0.75, abs=1e-8)
    assert value(r, "h_c") == pytest.approx(50e-9, rel=1e-8)
    paraboloid = np.sqrt(1 - 50e-9 / (2 * R))
    assert value(r, "E_r") * paraboloid == pytest.approx(E_r, rel=1e-7)
    assert value(r, "E_IT") == pytest.approx(E, rel=2e-4)
    assert value(r, "S") == pytest.approx(2 * E_r * np.sqrt(R * 100e-9), rel=1e-8)


def test_an_elastic_contact_has_no_hardness() -> None:
    """Mean pressure of an elastic contact is no hardness: withheld, with the reason."""
    R = 100e-6
    tip = ideal_tip("sphere", radius=R, E_i=RIGID)
    k = 4 / 3 * E / (1 - NU**2) * np.sqrt(R)
    r = reduced(batch([power(1.5, k)]), tip, PLAIN, nu=(NU, 0.0))
    assert np.isnan(value(r, "H_IT"))
    assert np.isnan(value(r, "HV_conv"))
    assert value(r, "E_IT") == pytest.approx(E, rel=2e-4)
    assert value(r, "eta_IT") == pytest.approx(100.0, abs=0.01)
    assert value(r, "h_p") == pytest.approx(0.0, abs=1e-14)
    sentence = next(f.sentence for f in r.tests.flags[0] if f.code == "still elastic")
    assert "withheld" in sentence
    allowed = with_(PLAIN, analysis={"elastic_work_limit": 1.5})
    r = reduced(batch([power(1.5, k)]), tip, allowed, nu=(NU, 0.0))
    mean_pressure = k * (100e-9) ** 1.5 / (np.pi * R * 100e-9)
    assert value(r, "H_IT") == pytest.approx(mean_pressure, rel=5e-4)


@pytest.mark.parametrize("radial", [False, True])
@pytest.mark.parametrize("psi", [70.3, 42.28])
def test_a_cone_on_an_elastic_solid(psi: float, radial: bool) -> None:
    """Sneddon, Int. J. Eng. Sci. 3 (1965) 47 (M-hi): F = (2/pi) E tan(psi) h^2, so m = 2, epsilon =
    2(1 - 2/pi) = 0.7268, and E_r is exact with beta = 1. The radial factor divides it (Hay,
    Bolshakov & Pharr, J. Mater. Res. 14 (1999) 2296: 1.0670 at nu 0.3 and 70.32 deg, 1.2264 at
    42.28 deg; formula M-hi, numbers C)."""
    nu = 0.3
    E_star = E / (1 - nu**2)
    half = np.radians(psi)
    tip = ideal_tip("cone", angle=half, E_i=RIGID)
    options = with_(PLAIN, analysis={"radial_correction": radial})
    record = power(2.0, 2 / np.pi * E_star * np.tan(half))
    r = reduced(batch([record]), tip, options, nu=(nu, 0.0))
    gamma = {70.3: 1.0670, 42.28: 1.2264}[psi] if radial else 1.0
    assert value(r, "m") == pytest.approx(2.0, abs=1e-8)
    assert value(r, "epsilon") == pytest.approx(2 * (1 - 2 / np.pi), abs=1e-8)
    assert value(r, "h_c") == pytest.approx(2 / np.pi * 100e-9, rel=1e-8)
    assert value(r, "E_r") == pytest.approx(E_star / gamma, rel=1e-4 if radial else 1e-8)
    pressure = E_star / (2 * np.tan(half))
    F, A = value(r, "F_max"), value(r, "A_p")
    assert pytest.approx(pressure, rel=1e-8) == F / A


def test_beta_divides_the_modulus() -> None:
    """S = beta (2/sqrt pi) E_r sqrt A; beta = 1.034 for a triangle, King, Int. J. Solids Struct. 23
    (1987) 1657 (M-hi)."""
    tip = ideal_tip("cone", angle=np.radians(70.3), E_i=RIGID)
    record = batch([power(2.0, 2 / np.pi * E * np.tan(np.radians(70.3)))])
    king = reduced(record, tip, with_(PLAIN, analysis={"beta": 1.034}), nu=(0.0, 0.0))
    assert value(king, "E_r") == pytest.approx(E / 1.034, rel=1e-8)


@pytest.mark.parametrize("law", ["linear", "power law"])
def test_a_flat_punch(law: str) -> None:
    """Sneddon 1965 (M-hi): F = 2 a E* h, a straight line: m = 1, epsilon = 1, h_r = h_c = 0."""
    a = 5e-6
    E_star = E / (1 - NU**2)
    tip = ideal_tip("flat punch", radius=a, E_i=RIGID)
    options = with_(PLAIN, analysis={"unloading": law})
    r = reduced(batch([power(1.0, 2 * a * E_star)]), tip, options, nu=(NU, 0.0))
    assert value(r, "m") == pytest.approx(1.0, abs=1e-6)
    assert value(r, "S") == pytest.approx(2 * a * E_star, rel=1e-6)
    assert value(r, "E_IT") == pytest.approx(E, rel=1e-6)
    assert value(r, "h_r") == pytest.approx(0.0, abs=1e-13)
    assert abs(value(r, "h_c")) < 5e-10  # epsilon falls steeply from 1 just above m = 1
    assert ("odd exponent" in codes(r)) == (law == "power law")


def test_an_exponent_below_one_is_flagged_and_still_gives_a_modulus() -> None:
    """No epsilon exists below m = 1 (Pharr & Bolshakov, J. Mater. Res. 17 (2002) 2660); the
    nearest, a flat punch, is taken."""
    tip = ideal_tip("flat punch", radius=5e-6, E_i=RIGID)
    r = reduced(batch([power(0.97, 0.1)]), tip, PLAIN, nu=(NU, 0.0))
    assert value(r, "epsilon") == 1.0
    assert "odd exponent" in codes(r)
    assert np.isfinite(value(r, "E_IT"))


@pytest.mark.parametrize(
    ("shape", "factor"),
    [
        ("Berkovich", 23.9621),
        ("modified Berkovich", 24.4943),
        ("Vickers", 24.5042),
        ("cube corner", 2.5981),
    ],
)
def test_a_pyramid_has_the_area_of_the_standard(shape: str, factor: float) -> None:
    """A_p/h_c^2 from plane geometry (C), through a whole reduction. ISO 14577-1 prints the same,
    rounded (M)."""
    r = reduced(batch([power(2.0, 1e11)]), ideal_tip(shape), PLAIN)
    assert value(r, "A_p") / value(r, "h_c") ** 2 == pytest.approx(factor, rel=2e-5)


# ------------------------------------------------------------------ force over stiffness squared


def o_and_p_tip() -> Tip:
    from drypoint.tips.build import blunted_tip

    geometry = Geometry("modified Berkovich", radius=80e-9)
    return blunted_tip(geometry, E_i=DIAMOND[0], nu_i=DIAMOND[1])


def invariant(compliance: float, stated: float) -> Floats:
    """F/S^2 in 1/GPa on a uniform invented glass, at seven forces."""
    from drypoint.tips.tip import Frame

    truth = glass(
        tip=o_and_p_tip(), H=Law.constant(9.25e9), creep=Creep(0.0), compliance=compliance
    )
    forces = np.geomspace(2e-3, 200e-3, 7)
    b = simulate_batch([truth] * 7, [single(F, gap=0.0, drift_hold=0.0) for F in forces])
    names = tuple(b.tests)
    assert len(names) == 7
    r = reduced(b, truth.tip, PLAIN, frame=Frame(compliance=stated))
    assert not r.faults
    return r.tests["F_over_S2"].value * 1e9


def test_force_over_stiffness_squared_does_not_depend_on_depth() -> None:
    """Joslin & Oliver, J. Mater. Res. 5 (1990) 123 (C): fused silica, H 9.25, E_r 69.64, beta 1 ->
    1.4980e-3 /GPa at every depth, with the right frame compliance and no other."""
    np.testing.assert_allclose(invariant(0.3e-6, 0.3e-6), 1.4980e-3, rtol=3e-4)
    wrong = invariant(0.3e-6, 0.25e-6)
    assert wrong[-1] / wrong[0] - 1 > 0.02
