"""Laws of the layered contact that hold for all values, refusals, speed, convergence."""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drypoint.contact import layered as ly
from drypoint.contact import profiles as pr
from drypoint.contact.layered_stress import field, interface, pressure
from drypoint.errors import ContactError

moduli = st.floats(-3, 3).map(lambda x: 10.0**x)
thick = st.floats(-1.5, 1.5).map(lambda x: 10.0**x)
poisson = st.floats(0.0, 0.5)
radii = st.floats(-2, 2).map(lambda x: 10.0**x)
few = settings(max_examples=25, deadline=None)


@st.composite
def stacks(draw: st.DrawFn) -> ly.Stack:
    layers = draw(
        st.lists(st.builds(ly.Layer, moduli, poisson, thick, st.booleans()), min_size=1, max_size=3)
    )
    return ly.Stack(tuple(layers), draw(st.builds(ly.Medium, moduli, poisson)))


@few
@given(stacks(), radii, st.floats(1e-9, 1e3), st.floats(1e-3, 1e12))
def test_scaling(stack: ly.Stack, a: float, length: float, modulus: float) -> None:
    """Depth scales with length, force with modulus times length squared, E_eff with modulus."""
    one = ly.contact(stack, pr.cone(1.2), [a])
    other = ly.Stack(
        tuple(ly.Layer(x.E * modulus, x.nu, x.thickness * length, x.slips) for x in stack.layers),
        ly.Medium(stack.media[-1].E * modulus, stack.media[-1].nu),
    )
    two = ly.contact(other, pr.cone(1.2), [a * length])
    assert two.depth[0] == pytest.approx(one.depth[0] * length, rel=1e-6)
    assert two.force[0] == pytest.approx(one.force[0] * modulus * length**2, rel=1e-6)
    assert two.E_eff[0] == pytest.approx(one.E_eff[0] * modulus, rel=1e-6)


@few
@given(stacks(), radii)
def test_stiffness_is_the_slope_of_force(stack: ly.Stack, a: float) -> None:
    """S = dP/dh along the contact, and both grow with the radius."""
    c = ly.contact(stack, pr.blunted_cone(1.2, 0.5), a * np.array([1 - 1e-3, 1.0, 1 + 1e-3]))
    slope = (c.force[2] - c.force[0]) / (c.depth[2] - c.depth[0])
    assert slope == pytest.approx(c.stiffness[1], rel=2e-4)
    assert np.all(np.diff(c.force) > 0) and np.all(np.diff(c.depth) > 0)


@few
@given(stacks(), radii, st.integers(0, 3))
def test_a_stiffer_part_makes_a_stiffer_contact(stack: ly.Stack, a: float, which: int) -> None:
    """Energy: raising one modulus never lowers the stiffness, and bonding never does either."""
    layers = list(stack.layers)
    base = stack.media[-1]
    i = which % len(stack.media)
    if i < len(layers):
        x = layers[i]
        layers[i] = ly.Layer(1.3 * x.E, x.nu, x.thickness, x.slips)
    else:
        base = ly.Medium(1.3 * base.E, base.nu)
    before = ly.effective_modulus(stack, [a])[0]
    assert ly.effective_modulus(ly.Stack(tuple(layers), base), [a])[0] >= before * (1 - 1e-7)
    bonded = tuple(ly.Layer(x.E, x.nu, x.thickness) for x in stack.layers)
    tied = ly.effective_modulus(ly.Stack(bonded, stack.media[-1]), [a])[0]
    assert tied >= before * (1 - 1e-7)


@few
@given(moduli, moduli, thick, radii, poisson)
def test_one_film_lies_between_film_and_substrate(
    E_f: float, E_s: float, t: float, a: float, nu: float
) -> None:
    E_eff = ly.effective_modulus(ly.film(E_f, nu, t, E_s, nu), [a])[0] * (1 - nu**2)
    assert min(E_f, E_s) * (1 - 1e-7) <= E_eff <= max(E_f, E_s) * (1 + 1e-7)


@few
@given(st.integers(1, 4), radii)
def test_cutting_a_layer_in_slices_changes_nothing(n: int, a: float) -> None:
    cut = ly.Stack((ly.Layer(7.0, 0.2, 1.0 / n),) * n, ly.Medium(1.0, 0.4))
    whole = ly.film(7.0, 0.2, 1.0, 1.0, 0.4)
    assert ly.contact(cut, pr.cone(1.2), [a]).force[0] == pytest.approx(
        ly.contact(whole, pr.cone(1.2), [a]).force[0], rel=1e-7
    )


PROFILES: list[Callable[[], pr.Profile]] = [
    lambda: pr.cone(1.2),
    lambda: pr.paraboloid(30.0),
    lambda: pr.sphere(30.0),
    lambda: pr.power(3.0, 10.0),
    lambda: pr.blunted_cone(1.2, 0.3),
    lambda: pr.truncated_cone(1.2, 0.3),
]


@pytest.mark.parametrize("make", PROFILES)
def test_inversion(make: Callable[[], pr.Profile]) -> None:
    stack = ly.film(5.0, 0.3, 1.0, 1.0, 0.2)
    a = np.array([0.4, 1.0, 6.0])
    c = ly.contact(stack, make(), a)
    np.testing.assert_allclose(ly.at_depth(stack, make(), c.depth).radius, a, rtol=1e-9)
    np.testing.assert_allclose(ly.at_force(stack, make(), c.force).radius, a, rtol=1e-9)


@pytest.mark.parametrize("make", PROFILES)
def test_transform_is_the_integral(make: Callable[[], pr.Profile]) -> None:
    """g(x) = x times the integral of f'(x sin t) over t from 0 to pi/2, by brute force."""
    profile = make()
    t = (np.arange(200_000) + 0.5) * np.pi / 400_000
    for x in (0.05, 0.31, 2.0):
        r = x * np.sin(t)
        slope = (profile.height(r + 1e-6 * x) - profile.height(r - 1e-6 * x)) / (2e-6 * x)
        brute = x * float(np.mean(slope)) * np.pi / 2
        assert float(profile.transform(np.array([x]))[0]) == pytest.approx(brute, rel=1e-4)


def test_tabulated_profile_meets_the_closed_form() -> None:
    r = np.linspace(0, 5, 60)
    table = pr.from_slope(np.array([0.0, 0.4, 5.0]), np.array([0.0, 0.04, 0.04]))
    closed = pr.blunted_cone(np.arctan(1 / 0.04), 10.0)
    np.testing.assert_allclose(table.height(r), closed.height(r), atol=1e-12)
    np.testing.assert_allclose(table.transform(r), closed.transform(r), atol=1e-12)
    h = np.linspace(1e-3, 1, 200)
    area = pr.from_area(h, np.pi * (h * h + 0.2 * h), np.pi * (2 * h + 0.2))
    # r^2 = h^2 + 0.2 h is a hyperboloid, h = sqrt(r^2 + 0.01) - 0.1
    at = np.array([0.1, 0.5, 1.0])
    np.testing.assert_allclose(area.height(at), np.sqrt(at * at + 0.01) - 0.1, atol=2e-4)


REFUSED: list[tuple[Callable[[], object], str]] = [
    (lambda: ly.Medium(-1.0, 0.3), "modulus"),
    (lambda: ly.Medium(np.inf, 0.3), "rigid base"),
    (lambda: ly.Medium(1.0, 0.51), "Poisson"),
    (lambda: ly.Layer(1.0, 0.3), "thickness"),
    (lambda: ly.Layer(1.0, 0.3, 0.0), "thickness"),
    (lambda: ly.Stack((), None), "nothing to press on"),
    (lambda: pr.cone(1.6), "half angle"),
    (lambda: pr.sphere(-1.0), "radius"),
    (lambda: pr.power(0.5, 1.0), "convex"),
    (lambda: pr.from_slope([0.0, 1.0], [1.0, 0.5]), "not convex"),
    (lambda: pr.from_slope([1.0, 0.5], [1.0, 1.5]), "do not increase"),
    (lambda: pr.from_slope([0.0], [1.0]), "two or more"),
    (lambda: pr.from_area([1.0, 2.0], [1.0, 2.0], [1.0, 0.0]), "grow with depth"),
    (lambda: ly.contact(ly.film(1, 0.3, 1, 1, 0.3), pr.cone(1.0), [0.0]), "positive length"),
    (lambda: ly.contact(ly.film(1, 0.3, 1, 1, 0.3), pr.sphere(1.0), [2.0]), "beyond the sphere"),
    (lambda: ly.at_depth(ly.film(1, 0.3, 1, 1, 0.3), pr.cone(1.0), [-1.0]), "positive number"),
    (lambda: ly.at_depth(ly.film(1, 0.3, 1, 1, 0.3), pr.sphere(1.0), [1e3]), "beyond the sphere"),
    (lambda: interface(ly.Stack((), ly.Medium(1, 0.3)), pr.cone(1.0), 1.0, [0.0]), "no interface"),
    (lambda: field(ly.film(1, 0.3, 1, 1, 0.3), pr.cone(1.0), 1.0, [0.0], [0.0]), "thousandth"),
    (lambda: field(ly.film(1, 0.3, 1, 1, 0.3), pr.cone(1.0), 1.0, [-1.0], [1.0]), "from zero up"),
    (
        lambda: field(ly.Stack((ly.Layer(1, 0.3, 1),), None), pr.cone(1.0), 1.0, [0.0], [2.0]),
        "inside the rigid base",
    ),
]


@pytest.mark.parametrize(("make", "words"), REFUSED, ids=[w for _, w in REFUSED])
def test_refusals(make: Callable[[], object], words: str) -> None:
    with pytest.raises(ContactError, match=words):
        make()


def test_no_layer_and_flat_pressure_outside() -> None:
    stack = ly.Stack((), ly.Medium(1.0, 0.3))
    assert np.all(pressure(stack, pr.cone(1.2), 1.0, [1.0, 2.0]) == 0)


def test_contact_is_pure() -> None:
    stack = ly.film(5.0, 0.3, 1.0, 1.0, 0.2)
    a = np.array([0.3, 2.0, 40.0])
    one, two = (ly.contact(stack, pr.cone(1.2), a).force for _ in range(2))
    single = np.concatenate([ly.contact(stack, pr.cone(1.2), [x]).force for x in a])
    assert np.array_equal(one, two)
    np.testing.assert_allclose(single, one, rtol=1e-9)


def test_a_load_point_takes_milliseconds() -> None:
    """Goal: under 5 ms a load point after the first; here only a guard, 50 times that."""
    stack = ly.film(200.0, 0.3, 1.0, 100.0, 0.2)
    a = np.geomspace(0.02, 100, 40)
    ly.contact(stack, pr.cone(1.2), a)
    start = time.process_time()
    ly.contact(stack, pr.cone(1.2), a)
    assert (time.process_time() - start) / len(a) < 0.25
