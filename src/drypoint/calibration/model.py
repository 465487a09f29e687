"""The equations of a calibration, and their derivatives.

For row i on material j, with frame compliance C_f and area function A_p (both unknown):

    C_c  = C0 - C_f                                        contact compliance,
    h_c  = h0 - C_f F - eps(m) F C_c                       contact depth [oliver1992],
    r1   = C_c - sqrt(pi) / (2 beta gamma_j E_r,j sqrt(A_p(h_c)))     = 0 [oliver1992],
    r2   = ln F - ln A_p(h_c) - ln H_j                     = 0 where hardness is constant.

h0 and C0 are depth and 1/S at frame compliance zero; gamma_j is the radial factor [hay1999]. All is
complex-safe, so that every derivative is exact to rounding [squire1998].
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drypoint.calibration.rows import OWN, ReferenceTests
from drypoint.contact import unloading as un
from drypoint.tips.area import area, area_slope
from drypoint.tips.tip import Tip

Array = NDArray[Any]
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Problem:
    """One fit: what is unknown, what is given, and which rows say what.

    ``template`` is a tip that only carries kind and knots of the area function; ``unknown`` and
    ``given`` are names of inputs with ``scale`` (a size for each of ``unknown``) and ``values``
    (best values of ``given``). ``r2_rows`` are the rows on which hardness is held constant.
    """

    tests: ReferenceTests
    template: Tip
    radial: bool
    half_angle: float
    fixed_epsilon: bool
    unknown: tuple[str, ...]
    scale: Floats
    given: tuple[str, ...]
    values: Floats
    r2_rows: NDArray[np.int64]

    def theta(self, x: Floats) -> dict[str, Any]:
        """All inputs by name at scaled unknowns ``x``."""
        return dict(zip(self.unknown + self.given, np.r_[x * self.scale, self.values], strict=True))


@dataclass(frozen=True)
class Seen:
    """What the equations give at one point: arrays over rows, SI."""

    h_c: Array
    C_c: Array
    A_p: Array
    predicted: Array
    r1: Array
    r2: Array


def _local(t: ReferenceTests) -> dict[str, Array]:
    return {"F_max": t.F, "h_max": t.h, "C_t": t.C, "m": t.m}


def evaluate(p: Problem, theta: Mapping[str, Any], local: Mapping[str, Array]) -> Seen:
    """The module's equations. Inputs may be arrays of shape (k, 1) against rows (n,)."""
    t = p.tests
    f = theta["force_scale"] / t.force_scale
    d = theta["depth_scale"] / t.depth_scale
    C_f, F0 = theta["frame.C_f"], local["F_max"]
    F = f * F0
    C_c = d * local["C_t"] / f - C_f
    eps = theta["epsilon"] if p.fixed_epsilon else un.epsilon(local["m"])
    moved: Any = t.per_exponent * (theta["zero.exponent"] - t.zero_exponent)
    for j, name in enumerate(t.laws):
        moved = moved + np.where(t.law == j, t.per_law, 0.0) * theta[name]
    h_c = d * local["h_max"] - C_f * F - moved - eps * F * C_c
    A_p = area(p.template, theta, h_c)
    constant: Any = 0.0
    for j, ref in enumerate(t.materials):
        E, nu = theta[f"ref.{ref.name}.E"], theta[f"ref.{ref.name}.nu"]
        E_r = un.combined_modulus(E, nu, theta["tip.E_i"], theta["tip.nu_i"])
        gamma = un.radial_factor(nu, p.half_angle) if p.radial else 1.0
        k = np.sqrt(np.pi) / (2 * theta["beta"] * gamma * E_r)
        constant = constant + np.where(t.material == j, k, 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        predicted = constant / np.sqrt(A_p)
        r2 = _hardness_residual(p, theta, F, A_p)
    return Seen(h_c, C_c, A_p, predicted, C_c - predicted, r2)


def _hardness_residual(p: Problem, theta: Mapping[str, Any], F: Array, A_p: Array) -> Array:
    if not len(p.r2_rows):
        return np.zeros((*np.shape(A_p)[:-1], 0))
    H: Any = 0.0
    for j, ref in enumerate(p.tests.materials):
        name = f"lnH.{ref.name}"
        if name in theta:
            H = H + np.where(p.tests.material == j, theta[name], 0.0)
    return np.asarray(np.log(F) - np.log(A_p) - H)[..., p.r2_rows]


def stacked(s: Seen) -> Array:
    """Residuals of both kinds behind one another, on the last axis."""
    lead = np.broadcast_shapes(s.r1.shape[:-1], s.r2.shape[:-1])
    parts = [np.broadcast_to(r, (*lead, r.shape[-1])) for r in (s.r1, s.r2)]
    return np.concatenate(parts, axis=-1)


def at(p: Problem, x: Floats) -> Seen:
    """The equations at scaled unknowns ``x``."""
    return evaluate(p, p.theta(x), _local(p.tests))


def by_inputs(p: Problem, x: Floats) -> tuple[Floats, Floats]:
    """Derivatives of the residuals by the scaled unknowns (N, p) and by the given inputs (N, q)."""
    theta = p.theta(x)
    names = p.unknown + p.given
    value = np.array([theta[n] for n in names], dtype=complex)
    size = np.r_[p.scale, np.where(p.values != 0, np.abs(p.values), 1.0)]
    stack = np.repeat(value[:, None], len(names), axis=1)  # one row an input, one column a step
    stack[np.diag_indices(len(names))] += 1j * 1e-30 * size
    moved = {n: stack[i][:, None] for i, n in enumerate(names)}
    local = {k: v.astype(complex) for k, v in _local(p.tests).items()}
    jac = (stacked(evaluate(p, moved, local)).imag / (1e-30 * size)[:, None]).T
    k = len(p.unknown)
    return jac[:, :k] * p.scale, jac[:, k:]


def by_local(p: Problem, x: Floats) -> tuple[Floats, Floats]:
    """Derivatives of r1 (n, 4) and r2 (len(r2_rows), 4) by a row's own local inputs."""
    theta = {k: complex(v) for k, v in p.theta(x).items()}
    base = {k: v.astype(complex) for k, v in _local(p.tests).items()}
    one, two = [], []
    for name in OWN:
        size = 1e-30 * float(np.abs(base[name]).max())
        s = evaluate(p, theta, {**base, name: base[name] + 1j * size})
        one.append(s.r1.imag / size)
        two.append(np.broadcast_to(s.r2, (len(p.r2_rows),)).imag / size)
    return np.stack(one, axis=-1), np.stack(two, axis=-1)


def slope_at(p: Problem, theta: Mapping[str, Any], h: Floats) -> Floats:
    """dA_p/dh_c of the problem's area function."""
    return np.asarray(area_slope(p.template, theta, h), dtype=np.float64)
