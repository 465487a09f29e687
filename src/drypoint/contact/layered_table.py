"""The kernel G(u) = integral over k of (H(k) - 1) cos(ku), tabulated once for a stack.

H - 1 falls off as exp(-2 k t_1) under a top layer of thickness t_1, and varies on the scale of k
itself further down. So k is cut into panels [k, 2k] with a Legendre series in each, whose cosine
integral is a sum of spherical Bessel functions [olver2010]: exact however fast the cosine runs.
G in turn is smooth on the scale of max(2 t_1, |u|): panels [u, 2u] with a Chebyshev series in each.
All lengths here are in units of the thickness of the top layer.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numba import njit
from numpy.typing import NDArray

from drypoint.contact.layered_stack import Stack
from drypoint.contact.layered_waves import surface_compliance

Floats = NDArray[np.float64]

#: Terms of the Legendre and Chebyshev series of a panel.
TERMS = 20
#: Beyond this k (in 1/t_1) what is left of H - 1 is below rounding.
K_MAX = 24.0
#: First panel in k, times the thickness of all layers. Softer or stiffer layers shift what happens
#: to k of the order of a power of their ratio; 1e-9 leaves room for any.
K_MIN = 1e-9
#: First panel in u; G has its nearest singularity at u = 2i.
U_MIN = 2.0


@dataclass(frozen=True)
class Table:
    """Chebyshev series of G in dyadic panels: [0, 2], [2, 4], [4, 8] ... times t_1.

    Parameters
    ----------
    coefficients : array, shape (panels, terms)
    unit : float
        t_1 in m.
    """

    coefficients: Floats
    unit: float

    def __call__(self, u: Floats) -> Floats:
        """G t_1 at u (in t_1); zero beyond the last panel."""
        x = np.abs(np.asarray(u, dtype=float))
        return np.asarray(_many(self.coefficients, x.ravel()).reshape(x.shape))


@njit(cache=True)
def kernel(coefficients: Floats, u: float) -> float:
    """G at one u >= 0 by Clenshaw's rule."""
    panel, lo, hi = 0, 0.0, U_MIN
    while u > hi:
        panel += 1
        lo, hi = hi, 2 * hi
    if panel >= coefficients.shape[0]:
        return 0.0
    x = (2 * u - lo - hi) / (hi - lo)
    b1 = b2 = 0.0
    for n in range(coefficients.shape[1] - 1, 0, -1):
        b1, b2 = 2 * x * b1 - b2 + coefficients[panel, n], b1
    return x * b1 - b2 + coefficients[panel, 0]


@njit(cache=True)
def _many(coefficients: Floats, u: Floats) -> Floats:
    out = np.empty_like(u)
    for i in range(len(u)):
        out[i] = kernel(coefficients, u[i])
    return out


@njit(cache=True)
def _spherical_bessel(x: float, out: Floats) -> None:
    """j_0 ... j_(n-1) at x >= 0: upwards where that is stable, otherwise Miller's way down."""
    n = len(out)
    if x < 1e-7:
        for i in range(n):
            out[i] = 0.0
        out[0], out[1] = 1.0, x / 3
        return
    j0 = np.sin(x) / x
    j1 = j0 / x - np.cos(x) / x
    if x > n:
        out[0], out[1] = j0, j1
        for i in range(2, n):
            out[i] = (2 * i - 1) / x * out[i - 1] - out[i - 2]
        return
    f2, f1 = 0.0, 1e-290
    for i in range(n + 24, 0, -1):
        f2, f1 = f1, (2 * i + 1) / x * f1 - f2
        if i - 1 < n:
            out[i - 1] = f1
        if abs(f1) > 1e250:
            f1, f2 = f1 * 1e-250, f2 * 1e-250
            for j in range(i - 1, n):
                out[j] *= 1e-250
    scale = j0 / out[0] if abs(j0) > abs(j1) else j1 / out[1]
    for i in range(n):
        out[i] *= scale


@njit(cache=True)
def cosine_integral(low: Floats, high: Floats, series: Floats, u: Floats) -> Floats:
    """Sum over panels of the integral of a Legendre series times cos(ku)."""
    total = np.empty(len(u))
    n = series.shape[1]
    bessel = np.empty(n)
    for i in range(len(u)):
        total[i] = 0.0
        for p in range(len(low)):
            half, mid = (high[p] - low[p]) / 2, (high[p] + low[p]) / 2
            _spherical_bessel(half * u[i], bessel)
            c, s = np.cos(mid * u[i]), np.sin(mid * u[i])
            even = odd = 0.0
            for m in range(n):  # Re(i^m e^(i mid u)): cos, -sin, -cos, sin
                sign = -1.0 if (m // 2) % 2 else 1.0
                if m % 2:
                    odd += sign * series[p, m] * bessel[m]
                else:
                    even += sign * series[p, m] * bessel[m]
            total[i] += 2 * half * (c * even - s * odd)
    return total


def _legendre_fit(n: int) -> tuple[Floats, Floats]:
    """Gauss nodes in [-1, 1], and the matrix from values there to Legendre coefficients."""
    x, w = np.polynomial.legendre.leggauss(n)
    powers = np.polynomial.legendre.legvander(x, n - 1)
    return x, (np.arange(n) + 0.5)[:, None] * powers.T * w


_NODES, _TO_LEGENDRE = _legendre_fit(TERMS)
_ANGLES = (np.arange(TERMS) + 0.5) * np.pi / TERMS
_TO_CHEBYSHEV = 2 / TERMS * np.cos(np.outer(np.arange(TERMS), _ANGLES))
_TO_CHEBYSHEV[0] /= 2


def _k_panels(stack: Stack) -> tuple[Floats, Floats]:
    total = sum(layer.thickness for layer in stack.layers) / stack.unit
    start = K_MIN / total
    halvings = np.arange(np.ceil(np.log2(K_MAX / start)), -1, -1, dtype=np.float64)
    edges = K_MAX * 2.0**-halvings
    edges[0] = 0.0
    return edges[:-1], edges[1:]


@lru_cache(maxsize=64)
def tabulate(stack: Stack, panels: int) -> Table:
    """G of a stack for |u| up to 2^panels t_1.

    Parameters
    ----------
    stack : Stack
    panels : int
        Number of dyadic panels in u, 1 or more.
    """
    if not stack.layers:
        return Table(np.zeros((1, TERMS)), stack.unit)
    low, high = _k_panels(stack)
    k = (low + high)[:, None] / 2 + (high - low)[:, None] / 2 * _NODES
    H = surface_compliance(stack, k.ravel() / stack.unit).reshape(k.shape)
    series = (H - 1) @ _TO_LEGENDRE.T
    top = U_MIN * 2.0 ** np.arange(panels)
    bottom = np.concatenate([[0.0], top[:-1]])
    u = (top + bottom)[:, None] / 2 + (top - bottom)[:, None] / 2 * np.cos(_ANGLES)
    G = cosine_integral(low, high, series, u.ravel()).reshape(u.shape)
    return Table(G @ _TO_CHEBYSHEV.T, stack.unit)


def panels_for(stack: Stack, radius: float) -> int:
    """How many panels reach 2a, the largest distance that a contact radius a (m) needs."""
    return max(1, int(np.ceil(np.log2(max(2 * radius / stack.unit / U_MIN, 1.0)))) + 1)
