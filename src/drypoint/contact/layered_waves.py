"""Hankel transform of the elastic field in a stack, by reflection matrices.

In each medium u_r = U(z) J1(kr) and u_z = W(z) J0(kr) with z downwards. With zeta = kz the general
solution is a pair that decays downwards and a pair that decays upwards [johnson1985]:

    down:  U = (a + b zeta) e^-zeta,  W = (a + kappa b + b zeta) e^-zeta,  kappa = 3 - 4 nu,
    up:    the mirror image (U and sigma_z even in z, W and tau_rz odd).

Over a thickness the amplitudes (a, b) of either pair change by e^-kt [[1, kt], [0, 1]]. A 2x2
reflection matrix R says up = R down. It is built from below: across an interface from what is
continuous there, across a layer by R <- P R P with that decaying factor. Nothing grows, nothing is
divided by kt, and nu = 1/2 is as good as any other value. (The idea is that of layered optics and
seismology; the matrices here are our own derivation.)

Tractions are divided by 2k and by the shear modulus of the top medium, so all numbers are of the
order of one. Arrays over wavenumbers come first: shape (n, 2, 2).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from drypoint.contact.layered_stack import Layer, Stack

Floats = NDArray[np.float64]

U, W, TAU, SIGMA = range(4)


class Amplitudes(NamedTuple):
    """Amplitudes under a unit pressure at the top of each medium (down) and at its bottom (up).

    Each is a list over media of arrays of shape (n, 2); the half-space has no upward pair.
    """

    down: list[Floats]
    up: list[Floats]


def state_matrix(mu: float, nu: float) -> Floats:
    """Rows U, W, tau/(2k), sigma_z/(2k); columns a and b going down, a and b going up."""
    kappa, s, p = 3 - 4 * nu, 1 - 2 * nu, 2 - 2 * nu
    return np.array(
        [
            [1.0, 0.0, 1.0, 0.0],
            [1.0, kappa, -1.0, -kappa],
            [-mu, -mu * s, mu, mu * s],
            [-mu, -mu * p, -mu, -mu * p],
        ]
    )


def decay(x: Floats) -> Floats:
    """e^-x [[1, x], [0, 1]], shape (n, 2, 2)."""
    e = np.exp(-x)
    out = np.zeros((*x.shape, 2, 2))
    out[..., 0, 0] = out[..., 1, 1] = e
    out[..., 0, 1] = x * e
    return out


def _inverse(m: Floats) -> Floats:
    det = m[..., 0, 0] * m[..., 1, 1] - m[..., 0, 1] * m[..., 1, 0]
    out = np.empty_like(m)
    out[..., 0, 0], out[..., 1, 1] = m[..., 1, 1], m[..., 0, 0]
    out[..., 0, 1], out[..., 1, 0] = -m[..., 0, 1], -m[..., 1, 0]
    return out / det[..., None, None]


def _rigid(nu: float, slips: bool) -> Floats:
    """Reflection at a rigid base: u = 0, or u_z = 0 and tau = 0."""
    return np.eye(2) if slips else np.array([[-1.0, 0.0], [2 / (3 - 4 * nu), 1.0]])


def _fields(q: Floats, R: Floats) -> Floats:
    """The two independent fields below an interface, shape (n, 4, 2)."""
    return q[:, :2] + q[:, 2:] @ R


def _free_of_shear(fields: Floats) -> Floats:
    """The mixture of the two fields that has no shear stress, shape (n, 2)."""
    return np.stack([fields[:, TAU, 1], -fields[:, TAU, 0]], axis=1)


def _cross(q_up: Floats, q_low: Floats, R: Floats, slips: bool) -> Floats:
    """Reflection above an interface from the one below it."""
    y = _fields(q_low, R)
    if not slips:
        both = np.linalg.inv(q_up) @ y
        return both[:, 2:] @ _inverse(both[:, :2])
    alone = np.einsum("nij,nj->ni", y, _free_of_shear(y))
    w, s = alone[:, W, None], alone[:, SIGMA, None]
    rows = np.stack(
        [np.broadcast_to(q_up[TAU], (len(R), 4)), q_up[W] * s - q_up[SIGMA] * w], axis=1
    )
    return -_inverse(rows[:, :, 2:]) @ rows[:, :, :2]


class Waves:
    """Reflections of one stack for given wavenumbers k (1/m), shape (n,)."""

    def __init__(self, stack: Stack, k: Floats) -> None:
        self.stack, self.k = stack, np.asarray(k, dtype=float)
        mu = stack.top.mu
        self.q = [state_matrix(m.mu / mu, m.nu) for m in stack.media]
        n = len(self.k)
        last = len(stack.media) - 1
        #: Reflection at the bottom and seen from the top of each medium, shape (n, 2, 2).
        self.bottom: list[Floats] = [np.zeros((n, 2, 2))] * len(stack.media)
        self.top = list(self.bottom)
        for i in range(last, -1, -1):
            medium = stack.media[i]
            if not isinstance(medium, Layer):
                continue
            if i == last:
                self.bottom[i] = np.broadcast_to(_rigid(medium.nu, medium.slips), (n, 2, 2))
            else:
                self.bottom[i] = _cross(self.q[i], self.q[i + 1], self.top[i + 1], medium.slips)
            p = decay(self.k * medium.thickness)
            self.top[i] = p @ self.bottom[i] @ p

    def _pressed(self, i: int, sigma: Floats) -> Floats:
        """Downward amplitudes at the top of medium i under sigma_z/(2k) and no shear stress."""
        y = _fields(self.q[i], self.top[i])
        c = _free_of_shear(y)
        return c * (sigma / np.einsum("nj,nj->n", y[:, SIGMA], c))[:, None]

    def compliance(self) -> Floats:
        """H(k) = E*_1 k/2 times surface sinking over pressure; 1 for a homogeneous half-space."""
        d = self._pressed(0, -np.ones(len(self.k)))
        w = np.einsum("nj,nj->n", _fields(self.q[0], self.top[0])[:, W], d)
        return np.asarray(w / (2 * (1 - self.stack.top.nu)))

    def amplitudes(self) -> Amplitudes:
        """The field in every medium under p = 2k times the top medium's shear modulus."""
        down = [self._pressed(0, -np.ones(len(self.k)))]
        up: list[Floats] = []
        for i, medium in enumerate(self.stack.media):
            if not isinstance(medium, Layer):
                up.append(np.zeros_like(down[i]))
                break
            d = np.einsum("nij,nj->ni", decay(self.k * medium.thickness), down[i])
            up.append(np.einsum("nij,nj->ni", self.bottom[i], d))
            if i + 1 == len(self.stack.media):
                break
            if medium.slips:
                y = d @ self.q[i][:, :2].T + up[i] @ self.q[i][:, 2:].T
                down.append(self._pressed(i + 1, y[:, SIGMA]))
            else:
                both = np.linalg.inv(self.q[i]) @ _fields(self.q[i + 1], self.top[i + 1])
                down.append(np.einsum("nij,nj->ni", _inverse(both[:, :2]), d))
        return Amplitudes(down, up)


def surface_compliance(stack: Stack, k: Floats) -> Floats:
    """H(k) for wavenumbers k > 0 in 1/m: w = 2 H p / (E*_1 k) in the transformed plane."""
    return Waves(stack, k).compliance()
