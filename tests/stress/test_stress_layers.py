"""Layers, friction, limit loads and residual stress against exact and published results."""

from __future__ import annotations

import numpy as np
import pytest

import drypoint.stress as stress
from drypoint.contact import layered, layered_stack, profiles

R, H = 10e-6, 40e-9
COARSE = stress.Effort(8, 25, 12)
PSI = float(np.radians(70.3))


def quiet(
    stack: stress.Stack, tip: stress.Profile, h: float, effort: stress.Effort, **options: object
) -> stress.Solution:
    protocol = stress.Protocol.to_depth(h, unload=False)
    return stress.solve(stack, tip, protocol, mesh=effort, errors=False, **options)


@pytest.mark.parametrize(
    ("E_film", "thickness"), [(20e9, 200e-9), (1000e9, 200e-9), (1000e9, 30e-9)]
)
def test_elastic_film_against_the_exact_half_space(E_film: float, thickness: float) -> None:
    """Force within 0.6 %, contact radius within 1.5 % of the layered half-space's exact answer."""
    film = stress.Layer(stress.Material(E_film, 0.25), thickness)
    stack = stress.Stack(stress.Material(100e9, 0.3), (film,))
    run = quiet(stack, stress.paraboloid(R), H, stress.Effort(10, 5, 4), small_strain=True)
    exact = layered.at_depth(
        layered_stack.Stack(
            (layered_stack.Layer(E_film, 0.25, thickness),), layered_stack.Medium(100e9, 0.3)
        ),
        profiles.paraboloid(R),
        [H],
    )
    assert run.force[-1] == pytest.approx(exact.force[0], rel=0.006)
    assert run.contact_radius[-1] == pytest.approx(exact.radius[0], rel=0.015)


def test_a_sticking_punch_is_stiffer() -> None:
    """ln(3 - 4 nu) (1 - nu)/(1 - 2 nu) times the frictionless force, ln 3 for nu = 0.

    Full stick (Spence, Proc. R. Soc. A 305 (1968) 55; also in Johnson 1985), from memory. With
    mu = 1 the surface slides a little near the edge, so the force lies just below.
    """
    stack, punch = stress.Stack(stress.Material(100e9, 0.0)), stress.flat_punch(1e-6)
    effort = stress.Effort(10, 4, 4)
    free = quiet(stack, punch, 1e-8, effort, small_strain=True)
    stuck = quiet(stack, punch, 1e-8, effort, small_strain=True, friction=1.0)
    assert 0.99 * np.log(3) < stuck.force[-1] / free.force[-1] < np.log(3)


def test_limit_load_of_a_punch() -> None:
    """Smooth circular punch: 5.69 k on a Tresca solid (Shield, Proc. R. Soc. A 233
    (1955) 267, from memory).

    The von Mises cylinder lies between the Tresca prisms inside and around it, k = Y/2 and
    Y/sqrt(3), so its limit lies between 2.845 Y and 3.285 Y.
    """
    stack = stress.Stack(stress.Material(200e9, 0.3, 1e9))
    run = quiet(stack, stress.flat_punch(1e-6), 1e-7, stress.Effort(8, 12, 4), small_strain=True)
    p = run.force / (np.pi * 1e-12)
    assert 2.845e9 < p[-1] < 3.285e9
    assert p[-1] / p[-3] < 1.02


def test_residual_stress_moves_the_force_but_not_the_hardness() -> None:
    """Hardness by the true area hardly feels a residual stress, the curve does [tsui1996]."""
    C, H_true, pile = [], [], []
    for s in (-0.5e9, 0.5e9):
        stack = stress.Stack(stress.Material(200e9, 0.3, 1e9), residual_stress=s)
        run = quiet(stack, stress.cone(PSI), 1e-7, COARSE, fields=False)
        C.append(run.curvature)
        H_true.append(run.hardness)
        pile.append(run.pile_up)
    assert C[0] > 1.15 * C[1]
    assert pile[0] > pile[1]
    assert H_true[0] == pytest.approx(H_true[1], rel=0.05)


def test_a_stressed_layer_is_at_rest_before_the_test() -> None:
    """A film's equi-biaxial stress is in balance by itself: without a tip nothing moves."""
    film = stress.Layer(stress.Material(100e9, 0.3), 100e-9, residual_stress=-2e9)
    stack = stress.Stack(stress.Material(70e9, 0.2), (film,))
    run = quiet(stack, stress.paraboloid(R), 1e-9, stress.Effort(6, 2, 2))
    f = stress.field(run, 0)
    away = f.r.min(axis=1) > 10 * run.contact_radius[0]
    film_away, below = away & (run.mesh.layer == 0), away & (run.mesh.layer == 1)
    assert f.sigma[film_away][..., 0] == pytest.approx(-2e9, rel=1e-3)
    assert f.sigma[film_away][..., 2] == pytest.approx(0.0, abs=2e6)
    assert f.sigma[below] == pytest.approx(0.0, abs=2e6)


def test_stress_at_an_interface_balances_the_force() -> None:
    """The normal stress over the whole interface carries the whole force (equilibrium)."""
    film = stress.Layer(stress.Material(200e9, 0.25), 200e-9)
    stack = stress.Stack(stress.Material(100e9, 0.3), (film,))
    run = quiet(stack, stress.paraboloid(R), H, stress.Effort(10, 5, 4), small_strain=True)
    face = stress.interface(run, -1)
    edges = run.mesh.X[run.mesh.top, 0]
    carried = -np.sum(face.normal * np.pi * np.diff(edges**2))
    assert carried == pytest.approx(run.force[-1], rel=0.05)
    assert np.abs(face.shear).max() > 0.05 * np.abs(face.normal).max()


def test_friction_holds_the_pile_up_down() -> None:
    runs = [
        quiet(
            stress.Stack(stress.Material(200e9, 0.3, 1e9)), stress.cone(PSI), 1e-7, COARSE,
            friction=mu, fields=False,
        )
        for mu in (0.0, 0.1)
    ]  # fmt: skip
    assert runs[1].stopped == ""
    assert runs[1].pile_up < 0.8 * runs[0].pile_up
    assert runs[1].curvature == pytest.approx(runs[0].curvature, rel=0.03)
