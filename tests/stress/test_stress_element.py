"""The element and the return to the yield surface against closed forms and finite differences."""

from __future__ import annotations

import numpy as np
import pytest

from drypoint.stress import element
from drypoint.stress.stack import Material, rows_of


class Patch:
    """A few elements with every freedom free, called straight through the kernel."""

    def __init__(self, X: np.ndarray, quads: np.ndarray, material: Material, finite: bool) -> None:
        self.X, self.quads, self.finite = X, quads, finite
        self.solids, self.table = rows_of([material])
        self.geo, self.N = element.geometry(X, quads), element.shape_functions()
        m = len(quads)
        start = [1.0, 0.0, 1.0, 1.0] if finite else [0.0] * 4
        self.old, self.strain, self.J = np.tile(start, (m, 4, 1)), np.zeros((m, 4)), np.ones(m)
        self.new, self.new_strain = self.old.copy(), self.strain.copy()
        self.sigma = np.zeros((m, 4, 4))

    def forces(self, U: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Nodal forces (2 n,) and the full tangent."""
        n = 2 * len(self.X)
        f, band, border, ends = np.zeros(n), np.zeros((n, n)), np.zeros(n), np.zeros(4)
        state = (self.old, self.strain, self.J, self.new, self.new_strain, self.sigma)
        bad = element.assemble(
            (self.geo, self.N, self.quads, np.zeros(len(self.quads), np.int64)), U, self.finite,
            self.solids, self.table, state, (np.arange(n), np.zeros(n)), True, f, band, border,
            ends, np.zeros(1),
        )  # fmt: skip
        assert bad == -1
        K = np.zeros((n, n))
        for d in range(n):
            i = np.arange(n - d)
            K[i + d, i] = K[i, i + d] = band[d, : n - d]
        return f, K

    def accept(self) -> None:
        self.old, self.new = self.new.copy(), self.new
        self.strain = self.new_strain.copy()


def skewed(r0: float = 0.0, seed: int = 3) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A 3 x 3 mesh with its inner nodes moved; the numbers of those."""
    x = np.arange(4.0)
    X = np.array([[r0 + a, -b] for a in x for b in x[::-1]])
    inner = np.array([5, 6, 9, 10])
    X[inner] += np.random.default_rng(seed).uniform(-0.25, 0.25, (4, 2))
    i = np.arange(16).reshape(4, 4)
    corners = (i[:-1, :-1], i[1:, :-1], i[1:, 1:], i[:-1, 1:])
    return X, np.stack(corners, -1).reshape(-1, 4), inner


ELASTIC = Material(E=200.0, nu=0.3)


@pytest.mark.parametrize("finite", [False, True])
def test_a_patch_of_skewed_elements_carries_a_constant_stress(finite: bool) -> None:
    """Patch test (Irons): a linear field gives the same stress everywhere and no force inside."""
    X, quads, inner = skewed(1.0)
    patch = Patch(X, quads, ELASTIC, finite)
    a, b = 0.02, -0.03
    U = np.column_stack([a * X[:, 0], b * X[:, 1]]).ravel()
    f, _ = patch.forces(U)
    assert np.abs(f.reshape(-1, 2)[inner]).max() < 1e-11 * np.abs(f).max()
    r, z = (np.log1p(a), np.log1p(b)) if finite else (a, b)
    J = np.exp(2 * r + z) if finite else 1.0
    lam, G = 200 * 0.3 / (1.3 * 0.4), 200 / 2.6
    expected = [lam * (2 * r + z) + 2 * G * e for e in (r, 0.0, z, r)]
    expected[1] = 0.0
    assert patch.sigma.reshape(-1, 4) == pytest.approx(np.tile(expected, (36, 1)) / J, abs=1e-10)


@pytest.mark.parametrize("finite", [False, True])
def test_a_shift_along_the_axis_costs_nothing(finite: bool) -> None:
    X, quads, _ = skewed()
    patch = Patch(X, quads, ELASTIC, finite)
    f, _ = patch.forces(np.tile([0.0, 0.7], len(X)))
    assert np.abs(f).max() < 1e-11 * 200


def test_a_quarter_turn_far_from_the_axis_costs_nothing() -> None:
    """At r = 1e9 the hoop strain of a turn of size 3 is 3e-9: nothing else may be left."""
    X, quads, _ = skewed(1e9)
    patch = Patch(X, quads, ELASTIC, True)
    x = X - [1e9, 0.0]
    U = (np.column_stack([-x[:, 1], x[:, 0]]) - x).ravel()
    patch.forces(U)
    assert np.abs(patch.sigma).max() < 1e-6 * 200


MATERIALS = {
    "elastic": ELASTIC,
    "perfect": Material(200.0, 0.3, 1.0),
    "linear": Material(200.0, 0.3, 1.0, slope=5.0),
    "power": Material(200.0, 0.3, 0.5, exponent=0.2),
    "table": Material(200.0, 0.3, table=((0.0, 1.0), (0.02, 1.5), (0.3, 2.0))),
    "soft bulk": Material(200.0, -0.2, 1.0, slope=5.0),
}


@pytest.mark.parametrize("finite", [False, True])
@pytest.mark.parametrize("name", MATERIALS)
def test_the_tangent_is_the_derivative_of_the_forces(name: str, finite: bool) -> None:
    X, quads, _ = skewed(0.0)
    patch = Patch(X, quads, MATERIALS[name], finite)
    rng = np.random.default_rng(1)
    U = 0.03 * rng.normal(size=2 * len(X))
    U[0:8:2] = 0.0
    patch.forces(0.6 * U)
    patch.accept()
    _, K = patch.forces(U)
    d = rng.normal(size=len(U))
    step = 1e-6
    change = (patch.forces(U + step * d)[0] - patch.forces(U - step * d)[0]) / (2 * step)
    assert K @ d == pytest.approx(change, abs=2e-6 * np.abs(change).max())


@pytest.mark.parametrize("stretch", [1.001, 1.2, 2.0, 0.5])
def test_one_element_stretched_without_change_of_volume(stretch: float) -> None:
    """Closed form: q = 3 G ln(stretch) up to Y, then Y + H a with a = (3 G ln - Y)/(3 G + H)."""
    Y, H, G = 1.0, 8.0, 200 / 2.6
    X, quads, _ = skewed(0.0)
    patch = Patch(X, quads, Material(200.0, 0.3, Y, slope=H), True)
    U = np.column_stack([X[:, 0] * (stretch**-0.5 - 1), X[:, 1] * (stretch - 1)]).ravel()
    for share in (0.3, 1.0):
        lam = stretch**share
        U = np.column_stack([X[:, 0] * (lam**-0.5 - 1), X[:, 1] * (lam - 1)]).ravel()
        patch.forces(U)
        patch.accept()
    trial = 3 * G * abs(np.log(stretch))
    alpha = max(0.0, (trial - Y) / (3 * G + H))
    q = np.sign(stretch - 1) * (trial - 3 * G * alpha)
    assert patch.sigma[..., 2] - patch.sigma[..., 0] == pytest.approx(q, rel=1e-9)
    assert patch.strain == pytest.approx(alpha, rel=1e-9, abs=1e-15)


def test_power_law_and_table_give_the_stress_they_say() -> None:
    """Reduced to the table's own words: Y (1 + E a/Y)^n and straight lines between pairs."""
    power = MATERIALS["power"]
    assert power.flow_stress(0.033) == pytest.approx(0.5 * (1 + 200 * 0.033 / 0.5) ** 0.2)
    table = MATERIALS["table"]
    assert [table.flow_stress(x) for x in (0.0, 0.01, 0.16, 9.0)] == pytest.approx(
        [1.0, 1.25, 1.75, 2.0]
    )
