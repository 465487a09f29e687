"""Laws of first contact, each as depth against force: h = h_0 + (what the force makes).

A law has numbers that all tests of a specimen share, with what is known of them beforehand, and
numbers of each test alone, in which it is linear (``columns``): the zero, and for the power law
its scale. :mod:`drypoint.reduction.contact_fit` fits both.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from drypoint.contact import blunted

Floats = NDArray[np.float64]

#: Smooth errors of the tabulated law that are fitted along, as many as tell them apart.
_MODES = 4
#: Error of the tabulated law that no smooth mode describes, relative to the depth: steps of the
#: mesh, other hardening, a pyramid for a cone (our own choice: one percent).
_LOOSE = 0.01
#: A tip's end is no perfect sphere: standard deviation of its share of the way to a hyperboloid
#: with the same radius and cone (our own choice).
_CAP = 0.2
#: Exponents of a sphere (Hertz) and of a cone (Sneddon), the ends of the power law's range.
SPHERE, CONE = 1.5, 2.0


@dataclass(frozen=True)
class At:
    """A law at given forces: ``depth`` (n,) made by the shared numbers alone, ``by_shared`` (n, p)
    its derivatives, ``columns`` (n, q) those with respect to the numbers of each test, and
    ``by_force`` (n,) the slope dh/dF (m/N) of ``depth``; columns after the first are scaled by
    numbers of the test, and so are ``columns_by_shared`` (n, q, p) and ``columns_by_force``."""

    depth: Floats
    by_shared: Floats
    columns: Floats
    by_force: Floats
    columns_by_shared: Floats
    columns_by_force: Floats


class Law(Protocol):
    """What a fit needs to know of a law."""

    @property
    def mean(self) -> Floats:
        """The shared numbers beforehand, shape (p,)."""
        ...

    @property
    def cov(self) -> Floats:
        """Their covariance, shape (p, p)."""
        ...

    @property
    def low(self) -> Floats:
        """Smallest values that the law allows."""
        ...

    @property
    def high(self) -> Floats:
        """Largest values that the law allows."""
        ...

    @property
    def loose(self) -> float:
        """Error of the law that its shared numbers do not describe, relative to the depth."""
        ...

    def at(self, force: Floats, shared: Floats) -> At:
        """The law at forces (N), all above zero."""
        ...


@dataclass(frozen=True)
class PowerLaw:
    """h = h_0 + c F^(1/k): sphere at k = 3/2 (Hertz), cone at k = 2 (Sneddon); a blunted tip lies
    between. Beforehand every k of ``range`` is as likely (``sd`` of a rectangle)."""

    range: tuple[float, float] = (SPHERE, CONE)
    scale: float = 1.0

    @property
    def mean(self) -> Floats:
        """The shared numbers beforehand."""
        return np.array([0.5 * (self.range[0] + self.range[1])])

    @property
    def cov(self) -> Floats:
        """Their covariance."""
        return np.array([[(self.range[1] - self.range[0]) ** 2 / 12.0]])

    @property
    def low(self) -> Floats:
        """Smallest values that the law allows."""
        return np.array([self.range[0] - 0.2])

    @property
    def high(self) -> Floats:
        """Largest values that the law allows."""
        return np.array([self.range[1] + 0.2])

    @property
    def loose(self) -> float:
        """Error that the shared numbers do not describe, relative to the depth."""
        return 0.0

    def at(self, force: Floats, shared: Floats) -> At:
        """The law at forces (N), all above zero."""
        k = float(shared[0])
        f = force / self.scale
        g = f ** (1.0 / k)
        n, one = len(f), np.ones(len(f))
        by = np.zeros((n, 2, 1))
        by[:, 1, 0] = -g * np.log(f) / k**2
        return At(
            np.zeros(n), np.zeros((n, 1)), np.stack([one, g], axis=1), np.zeros(n), by,
            np.stack([np.zeros(n), g / (k * force)], axis=1),
        )  # fmt: skip


@cache
def _error_modes() -> tuple[Floats, Floats]:
    """ln(h/R), and the principal smooth errors of the table there (relative), shape (k, m), each
    with its standard deviation inside."""
    known = blunted.law()
    cap = _CAP * known.shape_errors / np.sqrt(len(known.shape_errors))
    _, s, v = np.linalg.svd(np.concatenate([known.errors, cap]), full_matrices=False)
    return known.error_at, s[:_MODES, None] * v[:_MODES]


def _count() -> int:
    return len(_error_modes()[1])


@dataclass(frozen=True)
class BluntedLaw:
    """h = h_0 + R X(F/(E* R^2), Y/E*, n, nu), the law of :mod:`drypoint.contact.blunted`.

    Shared numbers: ln R (m), ln E* (Pa), ln(Y/E*), n, nu, and the sizes of the table's own smooth
    errors, each 0 with standard deviation 1 beforehand. ``prior`` and ``u_prior`` hold the first
    five with their standard uncertainties.
    """

    prior: tuple[float, float, float, float, float]
    u_prior: tuple[float, float, float, float, float]

    @property
    def mean(self) -> Floats:
        """The shared numbers beforehand."""
        return np.array([*self.prior, *[0.0] * _count()])

    @property
    def cov(self) -> Floats:
        """Their covariance."""
        return np.diag(np.square([*self.u_prior, *[1.0] * _count()]))

    @property
    def low(self) -> Floats:
        """Smallest values that the law allows."""
        y, n, nu = np.log(blunted.Y_RANGE[0]), blunted.N_RANGE[0], blunted.NU_RANGE[0]
        return np.array([-np.inf, -np.inf, y, n, nu, *[-3.0] * _count()])

    @property
    def high(self) -> Floats:
        """Largest values that the law allows."""
        y, n, nu = np.log(blunted.Y_RANGE[1]), blunted.N_RANGE[1], blunted.NU_RANGE[1]
        return np.array([np.inf, np.inf, y, n, nu, *[3.0] * _count()])

    @property
    def loose(self) -> float:
        """Error that the shared numbers do not describe, relative to the depth."""
        return _LOOSE

    def at(self, force: Floats, shared: Floats) -> At:
        """The law at forces (N), all above zero."""
        R = np.exp(shared[0])
        x = blunted.depth(np.log(force) - shared[1] - 2.0 * shared[0], *shared[2:5])
        at, modes = _error_modes()
        ln_x = np.log(np.maximum(x.value, 1e-300))
        m = np.array([np.interp(ln_x, at, row) for row in modes]).reshape(-1, len(ln_x)).T
        extra = 1.0 + np.sum(m * shared[5:], axis=1)
        depth = R * x.value * extra
        # The errors move slowly with the depth: their own slope is left out of the derivatives.
        by = (
            R
            * extra[:, None]
            * np.stack(
                [x.value - 2.0 * x.by_first, -x.by_first, x.by_ln_y, x.by_n, x.by_nu], axis=1
            )
        )
        one = np.ones((len(force), 1))
        p = len(shared)
        return At(
            depth, np.concatenate([by, R * x.value[:, None] * m], axis=1), one,
            R * extra * x.by_first / force, np.zeros((len(force), 1, p)), np.zeros_like(one),
        )  # fmt: skip


__all__ = ["CONE", "SPHERE", "At", "BluntedLaw", "Law", "PowerLaw"]
