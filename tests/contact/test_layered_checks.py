"""Exact layered contact against what others found: published kernel, tables, limits, closed forms.

Marks: S seen in the source; M from memory; C computed by an independent route from the formula.
"""

from __future__ import annotations

import numpy as np
import pytest

from drypoint.contact import closed_forms as cf
from drypoint.contact import layered as ly
from drypoint.contact import profiles as pr
from drypoint.contact import sphere_stress as ss
from drypoint.contact.layered_stress import field, interface, pressure
from drypoint.contact.layered_waves import surface_compliance

GPA = 1e9
PSI = np.radians(70.3)
HALF_SPACE = ly.Stack((), ly.Medium(91 * GPA, 0.3))
SAME = ly.film(91 * GPA, 0.3, 1e-6, 91 * GPA, 0.3)
SAME_IN_TWO = ly.Stack(
    (ly.Layer(91 * GPA, 0.3, 0.2e-6), ly.Layer(91 * GPA, 0.3, 1e-6)), ly.Medium(91 * GPA, 0.3)
)
HOMOGENEOUS = pytest.mark.parametrize("stack", [HALF_SPACE, SAME, SAME_IN_TWO])
RADII = np.array([1e-9, 0.3e-6, 1e-6, 50e-6])
E_STAR = 100 * GPA


@HOMOGENEOUS
def test_homogeneous_limit_is_hertz_sneddon_and_punch(stack: ly.Stack) -> None:
    """To 1e-6 and better: Hertz, Sneddon's cone and flat punch as in closed_forms."""
    found = ly.contact(stack, pr.cone(PSI), RADII)
    np.testing.assert_allclose(found.force, cf.cone_force(E_STAR, PSI, found.depth), rtol=1e-9)
    np.testing.assert_allclose(found.radius, cf.cone_contact_radius(PSI, found.depth), rtol=1e-9)
    np.testing.assert_allclose(found.stiffness, cf.cone_stiffness(E_STAR, PSI, found.depth))
    ball = ly.contact(stack, pr.paraboloid(1e-5), RADII)
    np.testing.assert_allclose(ball.force, cf.sphere_force(E_STAR, 1e-5, ball.depth), rtol=1e-9)
    np.testing.assert_allclose(ball.contact_depth, ball.depth / 2, rtol=1e-9)
    np.testing.assert_allclose(
        ly.punch_stiffness(stack, RADII), cf.punch_stiffness(E_STAR, RADII), rtol=1e-9
    )


@HOMOGENEOUS
def test_stresses_in_the_homogeneous_limit(stack: ly.Stack) -> None:
    """Johnson 1985: axis under a sphere, pressure under sphere and cone; C."""
    a = 0.5e-6
    p_0 = float(cf.sphere_peak_pressure(E_STAR, 1e-5, a * a / 1e-5))
    z = np.array([0.2, 0.48, 1.0, 2.0])
    f = field(stack, pr.paraboloid(1e-5), a, [0.0], z * a)
    radial, vertical = ss.axis_stress(z, 0.3)
    np.testing.assert_allclose(f.sigma_z[:, 0] / p_0, vertical, atol=1e-8)
    np.testing.assert_allclose(f.sigma_r[:, 0] / p_0, radial, atol=1e-8)
    np.testing.assert_allclose(f.sigma_theta[:, 0] / p_0, radial, atol=1e-8)
    r = np.array([0.0, 0.4, 0.99, 1.5])
    np.testing.assert_allclose(
        pressure(stack, pr.paraboloid(1e-5), a, r * a) / p_0,
        np.sqrt(np.maximum(1 - r * r, 0)),
        atol=1e-9,
    )
    r = np.array([0.01, 0.4, 0.99])
    np.testing.assert_allclose(
        pressure(stack, pr.cone(PSI), a, r * a) / cf.cone_mean_pressure(E_STAR, PSI),
        np.arccosh(1 / r),
        rtol=1e-9,
    )


# E_eff*/E_s* of a flat punch on one bonded film, nu 0.3: an independent solution of the published
# Fredholm equation on a fixed mesh, four decimals; C.
A_OVER_T = [0.05, 0.1, 0.2, 0.5, 1, 2, 5]
TABLE = {
    0.1: [0.1040, 0.1084, 0.1179, 0.1517, 0.2135, 0.3195, 0.5114],
    0.2: [0.2070, 0.2145, 0.2306, 0.2853, 0.3758, 0.5074, 0.6905],
    0.5: [0.5104, 0.5211, 0.5434, 0.6103, 0.6993, 0.7949, 0.8885],
    2: [1.9313, 1.8675, 1.7543, 1.5124, 1.3138, 1.1799, 1.0883],
    5: [4.4572, 4.0227, 3.3764, 2.3525, 1.7361, 1.3968, 1.1891],
    10: [8.0972, 6.8072, 5.1801, 3.1185, 2.0880, 1.5687, 1.2655],
}


@pytest.mark.parametrize("ratio", TABLE)
def test_table_of_effective_moduli(ratio: float) -> None:
    stack = ly.film(ratio, 0.3, 1.0, 1.0, 0.3)
    found = ly.effective_modulus(stack, A_OVER_T) * (1 - 0.09)
    np.testing.assert_allclose(found, TABLE[ratio], rtol=1e-3, atol=0)
    np.testing.assert_allclose(found, TABLE[ratio], atol=0.6e-4 + 3e-5 * ratio)


@pytest.mark.parametrize("ratio", [1e-3, 0.1, 1.0, 10.0, 1e3])
@pytest.mark.parametrize(("nu_f", "nu_s"), [(0.3, 0.2), (0.5, 0.3), (0.1, 0.5)])
def test_kernel_of_one_film(ratio: float, nu_f: float, nu_s: float) -> None:
    """Closed form of the bonded film's kernel (Li & Chou 1997; Perriot & Barthel 2004; M+C)."""
    stack = ly.film(ratio, nu_f, 1.0, 1.0, nu_s)
    k = np.logspace(-3, 1.3, 25)
    m = stack.layers[0].mu / stack.media[1].mu
    lam = 1 - 4 * (1 - nu_f) / (1 + m * (3 - 4 * nu_s))
    kap = (m - 1) / (m + 3 - 4 * nu_f)
    th = np.exp(-2 * k)
    H = (1 + 4 * k * kap * th - lam * kap * th**2) / (
        1 - (lam + kap + 4 * kap * k * k) * th + lam * kap * th**2
    )
    np.testing.assert_allclose(surface_compliance(stack, k), H, rtol=1e-8)


def burmister(stack: ly.Stack, k: float) -> float:
    """Surface sinking under a unit transformed pressure, all layers' constants in one system.

    Stress and displacement coefficients as printed in Huang, Pavement Analysis and Design,
    appendix B (Burmister's solution); M-hi. z is scaled per layer from its own top.
    """
    n = len(stack.media)
    rows = np.zeros((4 * n - 2, 4 * n - 2))
    rhs = np.zeros(4 * n - 2)

    def coefficients(i: int, z: float) -> np.ndarray:
        """Rows sigma_z, tau, w, u; columns A, B, C, D (A and C fall off from the bottom up)."""
        m, nu = stack.media[i], stack.media[i].nu
        x = k * z
        t = stack.layers[i].thickness if i < len(stack.layers) else 0.0
        up, down = np.exp(-k * (t - z)), np.exp(-x)
        c = (1 + nu) / m.E
        return np.array(
            [
                [-up, -down, (1 - 2 * nu - x) * up, -(1 - 2 * nu + x) * down],
                [up, -down, (2 * nu + x) * up, (2 * nu - x) * down],
                [-c * up, c * down, c * (2 - 4 * nu - x) * up, c * (2 - 4 * nu + x) * down],
                [c * up, c * down, c * (1 + x) * up, -c * (1 - x) * down],
            ]
        )

    def columns(i: int) -> list[int]:
        return [4 * i, 4 * i + 1, 4 * i + 2, 4 * i + 3] if i + 1 < n else [4 * i, 4 * i + 1]

    def keep(i: int, c: np.ndarray) -> np.ndarray:
        return c if i + 1 < n else c[:, [1, 3]]

    rows[0:2, columns(0)] = keep(0, coefficients(0, 0.0))[:2]
    rhs[0] = -1.0
    for i, layer in enumerate(stack.layers):
        at = slice(2 + 4 * i, 6 + 4 * i)
        here, under = coefficients(i, layer.thickness), keep(i + 1, coefficients(i + 1, 0.0))
        if layer.slips:  # no shear on either side in place of equal shear and equal u
            zero, none = np.zeros_like(here[1]), np.zeros_like(under[1])
            rows[at, columns(i)] = [here[0], here[1], here[2], zero]
            rows[at, columns(i + 1)] = [-under[0], none, -under[2], under[1]]
        else:
            rows[at, columns(i)] = here
            rows[at, columns(i + 1)] = -under
    x = np.linalg.solve(rows, rhs)
    w = keep(0, coefficients(0, 0.0))[2] @ x[columns(0)]
    return float(w * stack.top.E_star / 2)


FIVE = ly.Stack(
    (
        ly.Layer(300.0, 0.2, 0.3),
        ly.Layer(2.0, 0.49, 0.1),
        ly.Layer(80.0, 0.3, 0.5),
        ly.Layer(5.0, 0.4, 1.0),
    ),
    ly.Medium(130.0, 0.28),
)
SLIDING = ly.Stack(
    (ly.Layer(3.0, 0.2, 0.3, slips=True), ly.Layer(0.5, 0.35, 0.6), ly.Layer(2.0, 0.1, 0.2, True)),
    ly.Medium(1.0, 0.25),
)


@pytest.mark.parametrize("stack", [FIVE, SLIDING], ids=["bonded", "sliding"])
def test_kernel_of_several_layers(stack: ly.Stack) -> None:
    k = np.array([0.05, 0.3, 1.0, 2.5, 6.0])
    direct = [burmister(stack, x) for x in k]
    np.testing.assert_allclose(surface_compliance(stack, k), direct, rtol=1e-7)


def test_thick_and_thin_films() -> None:
    """Far from the substrate it is the film, far past the film the substrate."""
    for ratio in (1e-3, 0.1, 10.0, 1e3):
        stack = ly.film(ratio, 0.25, 1.0, 1.0, 0.35)
        film, base = stack.layers[0].E_star, stack.media[1].E_star
        thick = ly.effective_modulus(stack, [1e-7])[0]
        assert thick == pytest.approx(film, rel=2e-5 * max(1.0, ratio / 1e3))
        for a, tolerance in ((1e3, 0.05), (1e6, 3e-3)):
            thin = ly.effective_modulus(stack, [a])[0]
            bound = tolerance if ratio > 1e-2 else min(1.0, 10 * tolerance)
            assert thin == pytest.approx(base, rel=bound)


# kappa in P = 4 mu a h kappa / (1 - nu), flat punch on a layer bonded to a rigid base.
# Hayes, Keer, Herrmann & Mockros, J. Biomech. 5 (1972) 541, table 1; M, confirmed by this solution.
HAYES = [
    (0.3, 0.2, 1.207),
    (0.3, 0.4, 1.472),
    (0.3, 0.6, 1.784),
    (0.3, 0.8, 2.124),
    (0.3, 1.0, 2.480),
    (0.5, 0.2, 1.281),
    (0.5, 0.4, 1.683),
    (0.5, 0.6, 2.211),
    (0.5, 0.8, 2.855),
    (0.5, 1.0, 3.609),
]


@pytest.mark.parametrize(("nu", "ratio", "kappa"), HAYES)
def test_layer_on_a_rigid_base(nu: float, ratio: float, kappa: float) -> None:
    stack = ly.Stack((ly.Layer(1.0, nu, 1.0),), None)
    found = ly.punch_stiffness(stack, [ratio])[0] * (1 - nu) / (4 * stack.top.mu * ratio)
    assert found == pytest.approx(kappa, rel=3e-3)


# Surface displacement under a unit cosine pressure, E = 1, layer of thickness 1 bonded to a rigid
# base: the general library ContactMechanics 1.8.3 (PeriodicFFTElasticHalfSpace with a thickness,
# after Carbone & Mangialardi 2008), run once; it is no dependency. nu -> values at kt below; S.
WAVES = np.array([0.05, 0.1, 0.3, 1.0, 2.0, 4.0])
LIBRARY = {
    0.0: [0.999999688, 0.999995035, 0.999619521, 0.971267212, 0.820331829, 0.495009246],
    0.2: [0.899937459, 0.899749346, 0.897698206, 0.869895112, 0.757714585, 0.473783309],
    0.3: [0.742989295, 0.743379809, 0.747040729, 0.756668273, 0.692720534, 0.447946265],
    0.45: [0.26506864, 0.269297693, 0.308886398, 0.485066316, 0.545999443, 0.38972778],
}


@pytest.mark.parametrize("nu", LIBRARY)
def test_layer_on_a_rigid_base_by_a_library(nu: float) -> None:
    stack = ly.Stack((ly.Layer(1.0, nu, 1.0),), None)
    found = surface_compliance(stack, WAVES) * 2 * (1 - nu**2) / WAVES
    np.testing.assert_allclose(found, LIBRARY[nu], rtol=1e-8)


def test_thin_layers_on_a_rigid_base() -> None:
    """Closed limits for a >> t, corrections of order t/a (Johnson 1985, 5.8).

    Bonded: column in uniaxial strain; sliding: E* in place; incompressible and bonded:
    p = 3 mu h (a^2 - r^2)/(4 t^3), so P = 3 pi mu h a^4/(8 t^3); elementary integrals, C.
    """
    a = np.array([200.0, 400.0])
    nu = 0.3
    bonded = ly.punch_stiffness(ly.Stack((ly.Layer(1.0, nu, 1.0),), None), a)
    sliding = ly.punch_stiffness(ly.Stack((ly.Layer(1.0, nu, 1.0, True),), None), a)
    stiff = ly.punch_stiffness(ly.Stack((ly.Layer(3.0, 0.5, 1.0),), None), a)

    def limit(x: np.ndarray) -> float:
        return float(2 * x[1] - x[0])

    column = np.pi * a**2 * (1 - nu) / ((1 + nu) * (1 - 2 * nu))
    assert limit(bonded / column) == pytest.approx(1.0, abs=2e-4)
    assert limit(sliding / (np.pi * a**2 / (1 - nu**2))) == pytest.approx(1.0, abs=2e-4)
    assert limit(stiff / (3 * np.pi * a**4 / 8)) == pytest.approx(1.0, abs=2e-3)


def test_interfaces_carry_the_load() -> None:
    """Tractions agree on both sides, displacements too where bonded, and balance the force."""
    a, tip = 0.5, pr.blunted_cone(PSI, 0.3)
    r = np.linspace(0, 2, 9)
    above, below = interface(FIVE, tip, a, r)
    size = np.max(np.abs(above.sigma_z))
    np.testing.assert_allclose(above.sigma_z, below.sigma_z, atol=1e-10 * size)
    np.testing.assert_allclose(above.tau_rz, below.tau_rz, atol=1e-10 * size)
    np.testing.assert_allclose(above.u_z, below.u_z, rtol=1e-9)
    np.testing.assert_allclose(above.u_r, below.u_r, atol=1e-9 * np.max(np.abs(above.u_r)))
    assert np.max(np.abs(above.sigma_r - below.sigma_r)) > 0.1 * size
    up, low = interface(SLIDING, tip, a, r)
    for i, layer in enumerate(SLIDING.layers):
        free = np.max(np.abs(up.tau_rz[i])) < 1e-10 * np.max(np.abs(up.sigma_z))
        assert free == layer.slips
    np.testing.assert_allclose(up.u_z, low.u_z, rtol=1e-9)
    x, w = np.polynomial.legendre.leggauss(40)
    q = 1e-2 * a * 1e4 ** ((x + 1) / 2)
    weight = w / 2 * np.log(1e4) * q
    for stack in (FIVE, SLIDING):
        down = field(stack, tip, a, q, [stack.layers[0].thickness])
        push = down.sigma_z[0] * 2 * np.pi * q @ weight
        assert -push == pytest.approx(ly.contact(stack, tip, [a]).force[0], rel=3e-3)


def test_pressure_balances_the_force_and_meets_the_field() -> None:
    a, tip = 3.0, pr.blunted_cone(PSI, 0.3)
    x, w = np.polynomial.legendre.leggauss(200)
    angle = (x + 1) * np.pi / 4
    r = a * np.sin(angle)
    p = pressure(FIVE, tip, a, r)
    total = (p * 2 * np.pi * r * a * np.cos(angle)) @ w * np.pi / 4
    assert total == pytest.approx(ly.contact(FIVE, tip, [a]).force[0], rel=1e-4)
    near = field(FIVE, tip, a, [0.5 * a], [2e-3 * a])
    assert -near.sigma_z[0, 0] == pytest.approx(pressure(FIVE, tip, a, [0.5 * a])[0], rel=2e-3)
    assert abs(near.tau_rz[0, 0]) < 3e-2 * abs(near.sigma_z[0, 0])
