"""The equations of a whole mesh, contact and far field included: tangent against differences."""

from __future__ import annotations

import numpy as np
import pytest

import drypoint.stress as stress
from drypoint.stress.mesh import rows_through, steps, tensor_mesh
from drypoint.stress.stack import rows_of
from drypoint.stress.system import Place, System


def system(tip: stress.Profile, friction: float, finite: bool) -> System:
    solid = stress.Material(200.0, 0.3, 2.0, slope=10.0)
    r = steps(0.25, 1.5, 15.0, 1.4)
    net = tensor_mesh(r, r.copy(), np.zeros(0), 0.25)
    rows, table = rows_of([solid])
    start = stress.Stack(solid).start(finite)
    return System(net, rows, table, tip.kernel, start, finite, 2000.0, 0.3, friction)


def moved(s: System, seed: int) -> Place:
    """A place with part of the surface in contact, off balance."""
    rng = np.random.default_rng(seed)
    return s.place(0.01 * rng.normal(size=len(s.free)), 0.3, 0.3)


def full(s: System) -> np.ndarray:
    """The tangent of the free displacements as a matrix, friction's share included."""
    n, w = len(s.f), s.width - 1
    K = np.zeros((n, n))
    for d in range(s.width):
        i = np.arange(n - d)
        K[i + d, i] = K[i, i + d] = s.band[d, : n - d]
    if s.mu:
        for j in range(n):
            for i in range(max(0, j - w), min(n, j + w + 1)):
                K[i, j] += s.extra[2 * w + i - j, j]
    return K


TIPS = {"cone": stress.cone(1.2), "ball": stress.sphere(3.0), "round": stress.cone(1.2, 0.5)}


@pytest.mark.parametrize("finite", [True, False])
@pytest.mark.parametrize("friction", [0.0, 0.2])
@pytest.mark.parametrize("tip", ["cone", "ball", "round"])
def test_the_tangent_is_the_derivative(tip: str, friction: float, finite: bool) -> None:
    """Displacements, far amplitude and depth at once.

    Friction leaves out how a curved side turns and how the edge travels where it sticks: 3 %.
    """
    s = system(TIPS[tip], friction, finite)
    at = moved(s, 2)
    assert s.evaluate(at)
    assert s.force > 0
    K, border, column, row = full(s), s.border.copy(), s.column.copy(), s.row.copy()
    stiff, F_h = float(s.ends[1]), float(s.contact[1])
    rng = np.random.default_rng(5)
    du, dq, dh = rng.normal(size=len(s.free)), 0.7, 0.4
    step = 1e-7
    out = []
    for sign in (1, -1):
        d = s.place(du, dq, dh)
        assert s.evaluate(at.plus(d, sign * step), with_K=False)
        out.append((s.f.copy(), float(s.ends[0]), s.force))
    f, q, F = ((a - b) / (2 * step) for a, b in zip(*out, strict=True))
    exact = friction == 0
    near = (1e-5 if exact else 0.03) * np.abs(f).max()
    assert K @ du + border * dq + column * dh == pytest.approx(f, abs=near)
    assert border @ du + stiff * dq == pytest.approx(q, rel=1e-5)
    assert row @ du + F_h * dh == pytest.approx(F, rel=1e-5 if exact else 0.03)


def test_forces_are_in_balance_at_rest() -> None:
    """Nothing presses: no force anywhere, far edge included, whatever the residual stress."""
    solid = stress.Material(200.0, 0.3, 2.0)
    r = steps(0.25, 1.5, 15.0, 1.4)
    net = tensor_mesh(r, r.copy(), np.zeros(0), 0.25)
    rows, table = rows_of([solid])
    start = stress.Stack(solid, residual_stress=-1.5).start(True)
    s = System(net, rows, table, stress.cone(1.2).kernel, start, True, 2000.0, 0.3)
    assert s.evaluate(Place(np.zeros(2 * len(net.X)), 0.0, -1.0))
    assert np.abs(s.f).max() < 1e-11 * 1.5 * 15.0**2
    assert abs(s.ends[0]) < 1e-12
    assert s.sigma[..., 0] == pytest.approx(-1.5, rel=1e-12)


def test_rows_meet_every_interface() -> None:
    """Each interface has its row, no layer fewer than four, and rows stay in order."""
    points = steps(0.1, 0.6, 10.0, 1.2)
    for interfaces in ([0.03], [0.05, 0.5, 0.52], [3.3], [0.2, 7.7]):
        rows = rows_through(points, np.array(interfaces))
        assert np.all(np.diff(rows) > 0)
        assert rows[0] == 0.0
        assert rows[-1] == pytest.approx(10.0)
        edges = [0.0, *interfaces]
        for low, high in zip(edges, interfaces, strict=False):
            assert np.any(np.abs(rows - high) < 1e-12)
            assert np.sum((rows > low + 1e-12) & (rows <= high + 1e-12)) >= 4
