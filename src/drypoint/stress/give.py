"""How an elastic tip gives way under its own contact pressure.

The tip is a half-space of modulus E_i* with the tip's shape, as in [hertz1881] and in every reduced
modulus. What its surface gives, u(r), is added to its shape; the mean that the pressure feels is
split off and added to the depth.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ellipe, ellipk

Floats = NDArray[np.float64]


def disc(r: Floats, b: Floats) -> Floats:
    """Displacement at radius r under unit pressure on a disc of radius b > 0, times E*.

    (4 b/pi) E(r^2/b^2) inside, (4 r/pi) [E(b^2/r^2) - (1 - b^2/r^2) K(b^2/r^2)] outside, complete
    elliptic integrals of the parameter [johnson1985].
    """
    inside = r <= b
    m = np.where(inside, (r / b) ** 2, (b / np.where(inside, 1.0, r)) ** 2)
    out = np.where(inside, 0.0, (1 - m) * ellipk(np.minimum(m, 1 - 1e-15)))
    return 4 / np.pi * np.where(inside, b * ellipe(m), r * (ellipe(m) - out))


def give(r: Floats, forces: Floats, E_star: float) -> tuple[Floats, float]:
    """What a tip gives under forces (N) on rings at radii r (m) of its surface.

    Each force is spread over the ring between the middles to its neighbours. Returns the give less
    its mean at every radius, and the mean weighted by force, m.
    """
    edges = np.concatenate([[0.0], 0.5 * (r[1:] + r[:-1]), [r[-1]]])
    last = int(np.max(np.flatnonzero(forces), initial=-1)) + 1
    if last == 0:
        return np.zeros_like(r), 0.0
    pressure = forces[:last] / (np.pi * np.diff(edges[: last + 1] ** 2))
    discs = disc(r[:, None], edges[None, 1 : last + 1])
    rings = discs.copy()
    rings[:, 1:] -= discs[:, :-1]
    u = rings @ pressure / E_star
    mean = float(forces @ u / forces.sum())
    return u - mean, mean
