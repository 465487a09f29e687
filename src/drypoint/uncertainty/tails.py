"""Tails: the sum of two Student-t errors, and the studentized range."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special

from drypoint.errors import UncertaintyError

Floats = NDArray[np.float64]

_NORMAL = 1e7  # degrees of freedom above which Student's t is taken as normal


@lru_cache
def _nodes(count: int) -> tuple[Floats, Floats]:
    x, w = np.polynomial.legendre.leggauss(count)
    return x, w


@lru_cache(maxsize=512)
def _scales(dof: float, nodes: int) -> tuple[Floats, Floats]:
    """Values and weights of ``chi2_dof / dof`` by Gauss-Legendre on its probability."""
    if dof > _NORMAL:
        return np.ones(1), np.ones(1)
    x, w = _nodes(nodes)
    return special.chdtri(dof, 0.5 * (1 - x)) / dof, 0.5 * w


@dataclass(frozen=True)
class Sum:
    """``u_a T(nu_a) + u_b T(nu_b)``, independent Student-t errors with standard scales u.

    The distribution that GUM Supplement 1 (6.4.9) gives a sum of two estimated parts. Given the
    two chi-squares the sum is normal, so ``P(sum <= x)`` is the mean of
    ``Phi(x / sqrt(u_a^2/w_a + u_b^2/w_b))``, ``w = chi2/nu``. Unlike the Welch-Satterthwaite
    formula it holds at one degree of freedom beside a large known part [gum-s1-2008].
    """

    u_a: float
    nu_a: float
    u_b: float = 0.0
    nu_b: float = np.inf

    @property
    def u(self) -> float:
        """``hypot(u_a, u_b)``."""
        return float(np.hypot(self.u_a, self.u_b))

    def sf(self, x: float) -> float:
        """Probability above ``x``."""
        one = self._one()
        if one is not None:
            return float(
                special.ndtr(-x / self.u) if one > _NORMAL else special.stdtr(one, -x / self.u)
            )
        wa, pa = _scales(self.nu_a, 64)
        wb, pb = _scales(self.nu_b, 64)
        sd = np.sqrt((self.u_a**2 / wa)[:, None] + self.u_b**2 / wb)
        return float(pa @ special.ndtr(-x / sd) @ pb)

    def factor(self, level: float) -> float:
        """``k`` with ``P(|sum| <= k u) = level``."""
        top = coverage(
            min(self.nu_a if self.u_a else np.inf, self.nu_b if self.u_b else np.inf), level
        )
        one = self._one()
        if one is not None:
            return coverage(one, level)
        low = coverage(np.inf, level)

        def excess(k: float) -> float:
            return 2 * self.sf(k * self.u) - (1 - level)

        if excess(0.9 * low) < 0 or excess(1.05 * top) > 0:
            return top
        return float(optimize.brentq(excess, 0.9 * low, 1.05 * top, xtol=1e-10))

    def _one(self) -> float | None:
        """Degrees of freedom when only one part counts, or both are normal."""
        if self.u == 0.0 or self.u_b <= 1e-9 * self.u_a:
            return self.nu_a
        if self.u_a <= 1e-9 * self.u_b:
            return self.nu_b
        return np.inf if min(self.nu_a, self.nu_b) > _NORMAL else None


def coverage(dof: float, level: float) -> float:
    """Two-sided factor of Student's t; normal for infinite degrees of freedom."""
    p = 0.5 + level / 2
    return float(special.ndtri(p) if dof > _NORMAL else special.stdtrit(dof, p))


def dof_of_factor(k: float, level: float) -> float:
    """Degrees of freedom whose Student t gives the factor ``k`` at this level; inf if normal."""
    if k <= coverage(0.9 * _NORMAL, level):
        return np.inf
    if k >= coverage(0.5, level):
        return 0.5
    inverse = optimize.brentq(lambda v: coverage(1 / v, level) - k, 1.05 / _NORMAL, 2.0, xtol=1e-12)
    return float(1 / inverse)


def _range_cdf(q: float, groups: int, dof: float) -> float:
    x, wz = _nodes(96)
    z = 8.5 * x
    w, p = _scales(dof, 64)
    width = q * np.sqrt(w)[:, None]
    inner = (special.ndtr(z + width) - special.ndtr(z)) ** (groups - 1)
    density = groups * np.exp(-z * z / 2) / np.sqrt(2 * np.pi) * 8.5 * wz
    return float(min(p @ (inner @ density), 1.0))


def range_sf(q: float, groups: int, dof: float) -> float:
    """Probability that the studentized range of ``groups`` means exceeds ``q``.

    ``1 - E_s[ g int phi(z) (Phi(z + q s) - Phi(z))^(g-1) dz ]``, ``s^2 = chi2/dof``; good to 1e-5.
    """
    if groups < 2:
        raise UncertaintyError("A range needs two means or more.")
    return max(0.0, 1.0 - _range_cdf(q, groups, dof)) if np.isfinite(q) else 0.0


def range_factor(level: float, groups: int, dof: float) -> float:
    """``q`` with ``P(range <= q) = level``."""
    top = 4.0
    while range_sf(top, groups, dof) > 1 - level and top < 1e4:
        top *= 2
    return float(
        optimize.brentq(lambda q: range_sf(q, groups, dof) - (1 - level), 0.1, top, xtol=1e-8)
    )
