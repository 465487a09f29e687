"""From an unloading curve to contact depth, reduced modulus and indentation modulus.

Symbols: S = dF/dh at F_max in N/m, A_p projected contact area in m^2, E_r reduced modulus in Pa,
m exponent of the unloading power law F = alpha (h - h_p)^m. All functions broadcast and accept
complex numbers (complex-step derivatives [squire1998]); branches look at the real part.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import loggamma

Array = NDArray[Any]

# ln[Gamma(x + 1/2) / Gamma(x)] - (1/2) ln x = sum c_k x^(1 - 2k),
# c_k = -(1 - 4^-k) B_2k / (k (2k - 1)); from the series of ln Gamma [olver2010].
_SERIES = (-1 / 8, 1 / 192, -1 / 640, 17 / 14336, -31 / 18432, 691 / 180224)
_SERIES_FROM = 15.0


def epsilon(m: ArrayLike) -> Array:
    """Contact-depth factor epsilon from the unloading exponent m, dimensionless.

    eps = m [1 - (2 (m-1)/sqrt(pi)) Gamma(m/(2(m-1))) / Gamma(1/(2(m-1)))] [pharr2002]
    [woirgard1997]; 1 at m = 1 (flat punch), 3/4 at 1.5 (paraboloid), 2 (1 - 2/pi) at 2 (cone).
    NaN below m = 1, where the formula has no meaning. Near m = 1 (x = 1/(2(m-1)) above 15) the
    ratio of the two Gamma functions comes from its asymptotic series. At exactly m = 1 the value
    is the limit, and an imaginary part is dropped: the true slope there is minus infinity.
    """
    n = np.asarray(m)
    n = n if np.iscomplexobj(n) else n.astype(np.float64)
    over = n.real > 1
    x = 1 / (2 * (np.where(over, n, 2.0) - 1))
    far = x.real > _SERIES_FROM
    near = np.where(far, 1.0, x)
    w = 1 / np.where(far, x, 1.0)
    tail = sum(c * w ** (2 * k + 1) for k, c in enumerate(_SERIES))
    ratio = np.where(
        far, np.exp(tail) / np.sqrt(x), np.exp(loggamma(near + 0.5) - loggamma(near)) / x
    )
    value = np.where(over, n * (1 - ratio / np.sqrt(np.pi)), 1.0)
    nothing = complex(np.nan, np.nan) if np.iscomplexobj(value) else np.nan
    return np.where(n.real >= 1, value, nothing)


def contact_depth(h_max: ArrayLike, force: ArrayLike, S: ArrayLike, eps: ArrayLike) -> Array:
    """Contact depth, h_c = h_max - eps F_max / S, m [oliver1992] [iso14577-1-2015]."""
    return np.asarray(h_max) - np.asarray(eps) * np.asarray(force) / np.asarray(S)


def radial_factor(nu: ArrayLike, half_angle: ArrayLike) -> Array:
    """Factor gamma for the inward movement of the surface under a rigid cone [hay1999].

    gamma = pi [pi/4 + 0.15483073 q] / [pi/2 - 0.83119312 q]^2,
    q = cot(psi) (1 - 2 nu) / (4 (1 - nu)); psi half angle of the (equivalent) cone in rad.
    It multiplies beta; 1 at nu = 1/2.
    """
    v = np.asarray(nu)
    q = (1 - 2 * v) / (4 * (1 - v) * np.tan(half_angle))
    low = np.pi / 2 - 0.83119312 * q
    return np.asarray(np.pi * (np.pi / 4 + 0.15483073 * q) / (low * low))


def reduced_modulus(S: ArrayLike, area: ArrayLike, beta: ArrayLike = 1.0) -> Array:
    """Reduced modulus, E_r = sqrt(pi) S / (2 beta sqrt(A_p)), Pa [oliver1992]."""
    return np.asarray(np.asarray(S) / (2 * np.asarray(beta)) * np.sqrt(np.pi / np.asarray(area)))


def contact_stiffness(E_r: ArrayLike, area: ArrayLike, beta: ArrayLike = 1.0) -> Array:
    """Contact stiffness, S = beta (2/sqrt(pi)) E_r sqrt(A_p), N/m [oliver1992] [king1987]."""
    return np.asarray(2 * np.asarray(beta) * np.asarray(E_r) * np.sqrt(np.asarray(area) / np.pi))


def contact_area(S: ArrayLike, E_r: ArrayLike, beta: ArrayLike = 1.0) -> Array:
    """Projected contact area that S and E_r imply, A_p = (pi/4) (S / (beta E_r))^2, m^2.

    The relation of [oliver1992] solved for the area: how a tip is calibrated.
    """
    x = np.asarray(S) / (np.asarray(beta) * np.asarray(E_r))
    return np.asarray(np.pi / 4 * x * x)


def plane_strain_modulus(E: ArrayLike, nu: ArrayLike) -> Array:
    """Plane-strain modulus, E* = E / (1 - nu^2), Pa [johnson1985]."""
    v = np.asarray(nu)
    return np.asarray(np.asarray(E) / (1 - v * v))


def _give(E: ArrayLike, nu: ArrayLike) -> Array:
    """(1 - nu^2)/E in 1/Pa; 0 for a rigid body (E infinite)."""
    e, v = np.asarray(E), np.asarray(nu)
    rigid = np.isposinf(e.real)
    return np.where(rigid, 0.0, (1 - v * v) / np.where(rigid, 1.0, e))


def combined_modulus(E: ArrayLike, nu: ArrayLike, E_i: ArrayLike, nu_i: ArrayLike) -> Array:
    """Reduced modulus of specimen and indenter, Pa [oliver1992].

    1/E_r = (1 - nu^2)/E + (1 - nu_i^2)/E_i. An infinite E_i is a rigid indenter.
    """
    return np.asarray(1 / (_give(E, nu) + _give(E_i, nu_i)))


def indentation_modulus(E_r: ArrayLike, nu: ArrayLike, E_i: ArrayLike, nu_i: ArrayLike) -> Array:
    """Indentation modulus, Pa [iso14577-1-2015].

    E_IT = (1 - nu^2) / (1/E_r - (1 - nu_i^2)/E_i). NaN where E_r is not below the indenter's own
    plane-strain modulus: no specimen can give that.
    """
    v = np.asarray(nu)
    left = 1 / np.asarray(E_r) - _give(E_i, nu_i)
    value = (1 - v * v) / np.where(left.real > 0, left, 1.0)
    nothing = complex(np.nan, np.nan) if np.iscomplexobj(value) else np.nan
    return np.where(left.real > 0, value, nothing)


def force_over_stiffness_squared(H: ArrayLike, E_r: ArrayLike, beta: ArrayLike = 1.0) -> Array:
    """F/S^2 = pi H / (4 beta^2 E_r^2), 1/Pa; free of the contact area [joslin1990].

    The same at every depth of a uniform material, so it tests the frame compliance.
    """
    x = np.asarray(beta) * np.asarray(E_r)
    return np.asarray(np.pi / 4 * np.asarray(H) / (x * x))
