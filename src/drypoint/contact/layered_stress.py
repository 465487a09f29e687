"""Pressure under the tip and stresses inside a layered half-space. Tension is positive.

The pressure comes from the solution's Abel transform, the stresses from Hankel integrals whose
integrands fall off as e^(-kz) at depth z. Lengths in m, stresses in Pa.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import j0, j1

from drypoint.contact.layered import solution
from drypoint.contact.layered_solve import Solution
from drypoint.contact.layered_stack import Layer, Stack
from drypoint.contact.layered_waves import Amplitudes, Waves, decay
from drypoint.contact.profiles import Profile, check_radius
from drypoint.errors import ContactError

Floats = NDArray[np.float64]

#: e^-36 is below rounding: the Hankel integrals at depth z end at k = 36/z.
_LAST = 36.0
#: Shallowest depth, as a part of the contact radius, for which the integrals are taken.
SHALLOWEST = 1e-3
_CHUNK = 4096


@dataclass(frozen=True)
class Field:
    """Displacements (m) and stresses (Pa) at depths z and radii r; arrays of shape (nz, nr)."""

    u_r: Floats
    u_z: Floats
    sigma_r: Floats
    sigma_theta: Floats
    sigma_z: Floats
    tau_rz: Floats


def pressure(stack: Stack, profile: Profile, radius: float, r: ArrayLike) -> Floats:
    """Contact pressure at radii r (m) for contact radius ``radius``, Pa; zero outside.

    Radii below 1e-9 a count as 1e-9 a: under a sharp tip the pressure on the axis is infinite.
    """
    a = float(check_radius(profile, radius)[0])
    one, unit = _solved(stack, profile, a)
    x = np.abs(np.atleast_1d(np.asarray(r, dtype=float))) / unit
    end = one.edges[-1]
    slopes = np.asarray(np.polynomial.legendre.legder(one.series(one.depth), axis=1), np.float64)
    out = np.zeros_like(x)
    for i, at in enumerate(np.maximum(x, 1e-9 * end)):
        if at < end:
            out[i] = -_abel(one.edges, slopes, float(at))
    return out * stack.top.E_star / np.pi


def _abel(edges: Floats, slopes: Floats, r: float) -> float:
    """Integral from r to a of y'(s)/sqrt(s^2 - r^2), with s = r cosh(theta)."""
    steps = r * 2.0 ** np.arange(1, np.ceil(np.log2(edges[-1] / r)) + 1)
    cuts = np.unique(np.concatenate([[r], steps[steps < edges[-1]], edges[edges > r]]))
    theta = np.arccosh(np.maximum(cuts / r, 1.0))
    x, w = np.polynomial.legendre.leggauss(12)
    half, mid = np.diff(theta) / 2, (theta[1:] + theta[:-1]) / 2
    s = r * np.cosh(mid[:, None] + half[:, None] * x)
    panel = np.clip(
        np.searchsorted(edges, (cuts[1:] + cuts[:-1]) / 2, side="right") - 1, 0, len(slopes) - 1
    )
    lo, hi = edges[panel][:, None], edges[panel + 1][:, None]
    t = (2 * s - lo - hi) / (hi - lo)
    powers = np.polynomial.legendre.legvander(t, slopes.shape[1] - 1)
    y = np.einsum("ijn,in->ij", powers, slopes[panel]) * 2 / (hi - lo)
    return float(np.sum(half * (y @ w)))


def _solved(stack: Stack, profile: Profile, a: float) -> tuple[Solution, float]:
    return solution(stack, profile, a), stack.unit if stack.layers else a


def _wavenumbers(a: float, r_max: float, scale: float, k_max: float) -> tuple[Floats, Floats]:
    """Gauss nodes and weights: panels that double from near zero up to the width of a wave."""
    width = 4.0 / (a + r_max)
    first = 1e-6 / max(a + r_max, scale)
    edges = [0.0, *first * 2.0 ** np.arange(0, np.ceil(np.log2(width / first)))]
    many = int(np.ceil(max(k_max - edges[-1], width) / width))
    grid = np.concatenate([edges, edges[-1] + width * np.arange(1, many + 1)])
    x, w = np.polynomial.legendre.leggauss(8)
    half, mid = np.diff(grid) / 2, (grid[1:] + grid[:-1]) / 2
    return (mid[:, None] + half[:, None] * x).ravel(), (half[:, None] * w).ravel()


def field(
    stack: Stack,
    profile: Profile,
    radius: float,
    r: ArrayLike,
    z: ArrayLike,
    *,
    below: bool = False,
) -> Field:
    """Displacements and stresses inside, for contact radius ``radius`` (m).

    Parameters
    ----------
    r, z : array_like, shapes (nr,) and (nz,)
        Radii from zero up and depths below the surface, m.
    below : bool
        On which side to take a depth that lies on an interface.

    Raises
    ------
    ContactError
        When a depth is shallower than a/1000 (use :func:`pressure`) or under a rigid base.
    """
    a = float(check_radius(profile, radius)[0])
    rr = np.atleast_1d(np.asarray(r, dtype=float))
    zz = np.atleast_1d(np.asarray(z, dtype=float))
    if rr.ndim != 1 or zz.ndim != 1 or not np.all(np.isfinite(rr)) or np.any(rr < 0):
        raise ContactError("Radii are numbers from zero up.", remedy="Check the points asked for.")
    if not np.all(zz >= SHALLOWEST * a) or not np.all(np.isfinite(zz)):
        raise ContactError(
            f"Stresses are computed from a depth of {SHALLOWEST * a:.3g} m down, a thousandth of "
            "the contact radius.",
            remedy="Use the pressure for the surface.",
        )
    out = np.zeros((6, len(zz), len(rr)))
    one, unit = _solved(stack, profile, a)
    total = sum(layer.thickness for layer in stack.layers)
    for i, depth in enumerate(zz):
        k, w = _wavenumbers(a, float(rr.max()), total, _LAST / depth)
        for start in range(0, len(k), _CHUNK):
            part = slice(start, start + _CHUNK)
            p = one.transform(one.depth, k[part] * unit) * unit * unit
            p *= stack.top.E_star / np.pi * w[part]
            out[:, i] += _at_depth(stack, k[part], p, rr, float(depth), below)
    return Field(*out)


def _medium_at(stack: Stack, z: float, below: bool) -> tuple[int, float]:
    """Index of the medium at depth z and the depth of its top."""
    top = 0.0
    for i, medium in enumerate(stack.media):
        if not isinstance(medium, Layer):
            return i, top
        bottom = top + medium.thickness
        edge = abs(z - bottom) <= 1e-12 * bottom
        last = i + 1 == len(stack.media)
        if (edge and (last or not below)) or (z < bottom and not edge):
            return i, top
        top = bottom
    raise ContactError("A depth lies inside the rigid base.", remedy="Stay within the layers.")


def _at_depth(stack: Stack, k: Floats, p: Floats, r: Floats, z: float, below: bool) -> Floats:
    """Sums over the wavenumbers k of the transformed pressure p (weights included)."""
    i, top = _medium_at(stack, z, below)
    waves = Waves(stack, k)
    d, u = _local(stack, waves.amplitudes(), k, i, z - top)
    state = d @ waves.q[i][:, :2].T + u @ waves.q[i][:, 2:].T
    ratio = stack.media[i].mu / stack.top.mu
    spread = -2 * stack.media[i].nu * ratio * (d[:, 1] + u[:, 1])
    x = np.outer(k, r)
    J0, J1 = j0(x), j1(x)
    ring = np.where(x > 1e-8, J1 / np.where(x > 1e-8, x, 1.0), 0.5)
    by_mu = p / (2 * stack.top.mu)
    bend = ratio * state[:, 0] * p * k
    return np.stack(
        [
            (by_mu * state[:, 0]) @ J1,
            (by_mu * state[:, 1]) @ J0,
            (p * k * spread) @ J0 + bend @ (J0 - ring),
            (p * k * spread) @ J0 + bend @ ring,
            (p * k * state[:, 3]) @ J0,
            (p * k * state[:, 2]) @ J1,
        ]
    )


def _local(
    stack: Stack, amplitudes: Amplitudes, k: Floats, i: int, z: float
) -> tuple[Floats, Floats]:
    """Amplitudes of both pairs at the depth z below the top of medium i, shape (n, 2)."""
    d = np.einsum("nij,nj->ni", decay(k * z), amplitudes.down[i])
    medium = stack.media[i]
    if not isinstance(medium, Layer):
        return d, np.zeros_like(d)
    up = np.einsum("nij,nj->ni", decay(k * max(medium.thickness - z, 0.0)), amplitudes.up[i])
    return d, up


def interface(stack: Stack, profile: Profile, radius: float, r: ArrayLike) -> tuple[Field, Field]:
    """Fields just above and just below every interface, arrays of shape (interfaces, nr).

    Normal and shear stress agree on both sides; the radial and hoop stresses jump. On a rigid base
    the side below is left out of the second.
    """
    depths = np.cumsum([layer.thickness for layer in stack.layers])
    if not len(depths):
        raise ContactError(
            "A homogeneous half-space has no interface.", remedy="Ask for the field at a depth."
        )
    inner = depths if stack.substrate is not None else depths[:-1]
    above = field(stack, profile, radius, r, depths)
    if not len(inner):
        empty = np.zeros((0, np.size(r)))
        return above, Field(*[empty] * 6)
    return above, field(stack, profile, radius, r, inner, below=True)
