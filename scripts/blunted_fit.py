"""Joins and smooths the finite-element runs of blunted_table.py into coefficients of B-splines."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from blunted_table import (
    ELEMENTS,
    FINE_ELEMENTS,
    FINE_STEPS,
    N_NODES,
    NU,
    NU_NODES,
    STEPS,
    Y_NODES,
    Solid,
    fine_mesh,
)
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline, interp1d

Floats = NDArray[np.float64]

#: Start and step of ln f of the elastic part; start, step and count of q; shear of q.
LN_F, D_LN_F, COUNT_F = -11.0, 0.5, 29
Q, D_Q, COUNT_Q = -14.0, 0.25, 92
SHEAR = 1.0
GREATEST = 1.5 * (1 + 1e-9)
NUS = (0.10, 0.17, 0.25, 0.33, 0.42, 0.47)
#: Fewest columns of elements in contact for a point to count, and times that for full weight.
COLUMNS = 14.0
#: Penalties on the third differences of coefficients, in units of the scatter of a point.
STIFF_ELASTIC, STIFF = 0.3, 3.0
#: Penalty on ripples of the corrections of steps and mesh.
RIPPLES = (100.0, 1000.0)


def kappa(nu: float) -> float:
    return (1 - 2 * nu) / (1 - nu)


def hertz(ln_f: Floats) -> Floats:
    """ln(h/R) of Hertz's sphere."""
    return 2 / 3 * (ln_f + np.log(0.75))


def points(folder: Path, solid: Solid) -> Floats:
    """Columns ln f, v = ln(X/X_H) and columns in contact, of all runs."""
    runs = np.load(folder / f"{solid.name}.npz")
    parts = []
    for key in runs.files:
        x, f, a = runs[key].T
        columns = 3 * solid.elements * a / a[-1]
        keep = (f > 0) & (columns > COLUMNS * solid.elements / 14)
        ln_f = np.log(f[keep])
        parts.append(
            np.column_stack([ln_f, np.log(x[keep]) - 2 / 3 * (ln_f + np.log(0.75)), columns[keep]])
        )
    return np.concatenate(parts)


def design(x: Floats, count: int) -> Floats:
    """Uniform cubic B-splines (columns) at x in steps from the first knot."""
    i = np.clip(np.floor(x).astype(int), 0, count - 4)
    t = x - i
    u = 1 - t
    B = np.zeros((len(x), count))
    rows = np.arange(len(x))
    B[rows, i] = u**3 / 6
    B[rows, i + 1] = (4 - 6 * t**2 + 3 * t**3) / 6
    B[rows, i + 2] = (4 - 6 * u**2 + 3 * u**3) / 6
    B[rows, i + 3] = t**3 / 6
    return B


def elastic(folder: Path) -> Floats:
    """Coefficients (3, COUNT_F) of g = v/s over ln f, a polynomial of second degree in kappa."""
    rows, right, stiff = [], [], []
    for nu in NUS:
        p = points(folder, Solid(np.inf, 0.0, nu))
        s = np.exp((p[:, 0] + np.log(0.75)) / 3)
        use = s > 5e-3
        B = design(np.maximum((p[use, 0] - LN_F) / D_LN_F, 0), COUNT_F)
        scale = s[use, None] / 1e-3
        k = kappa(nu)
        rows.append(np.hstack([B, k * B, k * k * B]) * scale)
        right.append(p[use, 1] / s[use] * scale[:, 0])
    D = np.diff(np.eye(COUNT_F), 3, axis=0)
    D = np.vstack([D * STIFF_ELASTIC / 1e-3, 1e6 * np.diff(np.eye(COUNT_F), axis=0)[:3]])
    stiff = np.kron(np.eye(3), D)
    A = np.vstack([*rows, stiff])
    c = np.linalg.lstsq(A, np.concatenate([*right, np.zeros(len(stiff))]), rcond=None)[0]
    return c.reshape(3, COUNT_F)


def elastic_value(c: Floats, ln_f: Floats, nu: float) -> Floats:
    k = kappa(nu)
    B = design(np.maximum((ln_f - LN_F) / D_LN_F, 0), COUNT_F)
    return np.exp((ln_f + np.log(0.75)) / 3) * (B @ (c[0] + k * (c[1] + k * c[2])))


def line(folder: Path, solid: Solid, c_el: Floats) -> tuple[Floats, float]:
    """Coefficients of w over q of one solid, and the scatter of its points about them.

    The force scatters as the contact edge passes from element to element, more so where the contact
    is plastic: the weights follow from a first fit.
    """
    p = points(folder, solid)
    w = p[:, 1] - elastic_value(c_el, p[:, 0], solid.nu)
    shift = SHEAR * np.log(solid.y) + Q
    q = (p[:, 0] - shift) / D_Q
    onset = (np.log(4 / 3 * solid.first_yield**1.5) - shift) / D_Q
    free = np.arange(COUNT_Q) > onset + 2  # the others are zero: nothing has yielded
    D = np.diff(np.eye(COUNT_Q), 3, axis=0)
    straight = np.diff(np.eye(COUNT_Q), 2, axis=0)[np.arange(COUNT_Q - 2) > q.max()] * 1e5
    B, c, sigma = design(q, COUNT_Q), np.zeros(COUNT_Q), np.full(len(q), 0.003)
    fine = np.minimum(p[:, 2] / 42, 1.0)
    for _ in range(2):
        local = np.interp(np.arange(COUNT_Q - 3) + 0.5, np.sort(q), sigma[np.argsort(q)])
        stiff = np.where(np.arange(COUNT_Q - 3) > q.max(), 0.1, STIFF)
        A = np.vstack([B * (fine / sigma)[:, None], D * (stiff / local)[:, None], straight])[
            :, free
        ]
        right = np.concatenate([w * fine / sigma, np.zeros(len(D) + len(straight))])
        c[free] = np.linalg.lstsq(A, right, rcond=None)[0]
        sigma = 0.0005 + 0.0045 * np.clip((B @ c) / 0.7, 0, 1)
    return c, float(np.sqrt(np.mean((B @ c - w) ** 2)))


def to_splines(values: Floats, axis: int) -> Floats:
    """Coefficients of uniform cubic B-splines through values at the knots; at the ends the third
    derivative is continuous over the second knot ("not a knot")."""
    m = values.shape[axis]
    A = np.zeros((m + 2, m + 2))
    for i in range(m):
        A[i, i : i + 3] = (1 / 6, 4 / 6, 1 / 6)
    A[m, :5] = A[m + 1, -5:] = (1, -4, 6, -4, 1)
    v = np.moveaxis(values, axis, 0)
    right = np.concatenate([v, np.zeros((2, *v.shape[1:]))])
    return np.moveaxis(np.linalg.solve(A, right.reshape(m + 2, -1)).reshape(right.shape), 0, axis)


def grids(folder: Path, c_el: Floats) -> Floats:
    """w (3, q, ln y, n): coefficients over q and powers of kappa - kappa(NU), values over ln y, n.

    The powers are known on part of the grid, smooth, and interpolated to the rest.
    """
    ns = sorted(N_NODES)
    W = np.array([[line(folder, Solid(y, n), c_el)[0] for n in ns] for y in Y_NODES])
    W = np.moveaxis(W, 2, 0)
    few = (0.0, 0.25, 0.5)
    at = np.array([kappa(nu) - kappa(NU) for nu in NU_NODES])
    other = np.array(
        [
            [[line(folder, Solid(y, n, nu), c_el)[0] for n in few] for y in Y_NODES[::3]]
            for nu in NU_NODES
        ]
    )
    change = np.moveaxis(other, 3, 1) - W[:, ::3][:, :, [ns.index(n) for n in few]]
    powers = np.linalg.solve(np.column_stack([at, at**2]), change.reshape(2, -1))
    return np.array([W, *(spread(p) for p in powers.reshape(change.shape))])


def smooth(values: Floats, stiff: float) -> Floats:
    """Coefficients over q (first axis) without ripples: a penalty on second differences."""
    D = np.diff(np.eye(len(values)), 2, axis=0)
    A = np.eye(len(values)) + stiff * D.T @ D
    return np.linalg.solve(A, values.reshape(len(values), -1)).reshape(values.shape)


def discretisation(folder: Path, c_el: Floats) -> tuple[Floats, Floats]:
    """What steps and mesh lack in w on the part of the grid that was done more finely too.

    Both errors are of first order in the size of a step and of an element, so that the difference
    of two runs gives the limit. Returns the correction of the steps (q, 6, 3) over every third
    ln y and n = 0, 1/4, 1/2, and that of the mesh over the same values, where its dependence on n
    is a factor.
    """
    few = (0.0, 0.25, 0.5)

    def change(solid: Solid, factor: float) -> Floats:
        fine = line(folder, solid, c_el)[0]
        base = line(folder, Solid(solid.y, solid.n), c_el)[0]
        q = (points(folder, solid)[:, 0] - SHEAR * np.log(solid.y) - Q) / D_Q
        out = np.where(np.arange(COUNT_Q) > q.min() + 2, factor * (fine - base), 0)
        last = min(int(q.max()), COUNT_Q - 1)
        out[last:] = np.mean(out[last - 8 : last])  # constant beyond the deepest points
        return out

    ys = Y_NODES[::3]
    part = 1 / (1 - STEPS / FINE_STEPS)
    by_steps = [[change(Solid(y, n, steps=FINE_STEPS), part) for n in few] for y in ys]
    part = 1 / (1 - ELEMENTS / FINE_ELEMENTS)
    found = {(s.y, s.n): smooth(change(s, part), RIPPLES[1]) for s in fine_mesh()}
    flat = np.zeros(COUNT_Q)  # next to none at the elastic end
    softest = min(found)  # its correction serves for softer ones at the same q
    by_mesh = np.array([found.get((max(y, softest[0]), 0.0), flat) for y in ys])
    like = found[Y_NODES[6], 0.0]
    shares = [float(found[Y_NODES[6], n] @ like / (like @ like)) for n in few]
    by_mesh = by_mesh[:, None, :] * np.array(shares)[:, None]
    return smooth(np.moveaxis(np.array(by_steps), 2, 0), RIPPLES[0]), np.moveaxis(by_mesh, 2, 0)


def spread(part: Floats) -> Floats:
    """From every third ln y and three n to the whole grid: (q, 6, 3) to (q, 16, 5)."""
    over_y = CubicSpline(np.log(Y_NODES[::3]), part, axis=1)(np.log(Y_NODES))
    return interp1d((0.0, 0.25, 0.5), over_y, kind="quadratic", axis=2)(sorted(N_NODES))


def coefficients(folder: Path, corrected: bool) -> dict[str, Floats]:
    """All that the evaluator needs (``blunted_kernels``); with or without the correction of the
    discretisation."""
    c_el = elastic(folder)
    W_all = grids(folder, c_el)
    if corrected:
        W_all[0] += spread(sum(discretisation(folder, c_el)))
    w = np.array([to_splines(to_splines(W, 1), 2) for W in W_all])
    ns = sorted(N_NODES)
    ln_y = np.log(Y_NODES)
    numbers = [
        LN_F, D_LN_F, Q, D_Q, ln_y[0], ln_y[1] - ln_y[0], ns[0], ns[1] - ns[0],
        SHEAR, kappa(NU), GREATEST,
    ]  # fmt: skip
    return {
        "elastic": c_el.astype(np.float32),
        "yielding": w.astype(np.float32),
        "numbers": np.array(numbers),
    }
