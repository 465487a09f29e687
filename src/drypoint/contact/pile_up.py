"""How far the true contact area may lie from the one of the contact depth: pile-up and sink-in.

The rule of the unloading curve knows elastic sink-in only. A solid that yields early and hardens
little flows up beside the tip, and its true area is then larger than A_p(h_c), by up to 60 %
[bolshakov1998]; one that hardens strongly sinks in. What a record shows of it is h_p/h_max and
W_elast/W_total, and both tell nearly the same (the yield stress over the modulus) and nothing of
hardening. So the size is a range: from hardening with an exponent of 0.5 to none, without
friction (friction lessens pile-up and stays within).

The tables are our own finite elements of a rigid cone of 70.3 degrees on homogeneous solids
(scripts/pile_up_set.py). The bounds for films were drawn around fifty finite-element tests on
coated solids and changed twice after others had been seen; 151 of the 154 lie within them or 0.03
beside (tests/contact/test_pile_up.py). Good for pyramids and cones of about 70 degrees.
Dimensionless; everything broadcasts.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

#: h_p/h_max, W_elast/W_total, true over assumed area; yield stress over modulus falling.
PERFECT = np.array([
    (0.239, 0.917, 0.961), (0.442, 0.720, 0.992), (0.580, 0.557, 1.005), (0.671, 0.440, 1.035),
    (0.757, 0.326, 1.081), (0.830, 0.227, 1.164), (0.892, 0.139, 1.305), (0.938, 0.076, 1.464),
    (0.966, 0.040, 1.528), (0.982, 0.021, 1.580), (0.991, 0.010, 1.612), (0.996, 0.004, 1.642),
])  # fmt: skip
#: The same for hardening with an exponent of 0.5.
HARDENING = np.array([
    (0.180, 0.943, 0.952), (0.336, 0.803, 0.967), (0.446, 0.685, 0.971), (0.525, 0.596, 0.961),
    (0.605, 0.502, 0.951), (0.679, 0.414, 0.939), (0.753, 0.321, 0.917), (0.817, 0.241, 0.892),
    (0.865, 0.178, 0.872), (0.901, 0.130, 0.857), (0.928, 0.095, 0.845), (0.967, 0.044, 0.834),
    (0.985, 0.020, 0.832),
])  # fmt: skip
#: Half angles (rad) of cones, or of the cones with a pyramid's area, for which the tables stand.
ANGLES = (np.radians(68.0), np.radians(73.0))
#: A base that yields under the film lets it sink in: the area is smaller by at most this times
#: what the work of loading lies above that of a homogeneous solid, of which the first 0.01 proves
#: nothing.
SINK, SMALL = 5.0, 0.01
#: A film that is pressed against its base piles up more: the area is larger by this times
#: (a/t)^2, at most, up to this a/t.
PRESSED, PRESSED_TO = 0.04, 2.5


def elastic_share(depth_ratio: ArrayLike) -> Floats:
    """W_elast/W_total that goes with h_p/h_max on a homogeneous solid, hardening or not."""
    x = np.asarray(depth_ratio, dtype=float)
    both = [np.interp(x, [0.0, *t[:, 0], 1.0], [1.0, *t[:, 1], 0.0]) for t in (PERFECT, HARDENING)]
    return np.asarray((both[0] + both[1]) / 2)


def area_ratio(depth_ratio: ArrayLike) -> tuple[Floats, Floats]:
    """Lowest and highest true over assumed area that h_p/h_max allows on a homogeneous solid."""
    x = np.asarray(depth_ratio, dtype=float)
    return (
        np.asarray(np.interp(x, HARDENING[:, 0], HARDENING[:, 2])),
        np.asarray(np.interp(x, PERFECT[:, 0], PERFECT[:, 2])),
    )


def loading_ratio(area: Callable[[Floats], Floats], depth: ArrayLike) -> Floats:
    """Work of loading over F h of a homogeneous solid of constant hardness under a given tip.

    1/3 for a sharp tip (F ~ h^2), more where it is blunt: the integral of A(h) to the contact
    depth over A(h_c) h_c.

    Parameters
    ----------
    area : callable
        Area function, m^2, of contact depths of any shape (m).
    depth : array_like, shape (n,)
        Contact depths h_c, m.
    """
    h = np.asarray(depth, dtype=float)[..., None]
    x, w = np.polynomial.legendre.leggauss(24)
    inner = area(h * (x + 1) / 2)
    return np.asarray((inner @ w) / 2 / area(h)[..., 0])


def area_ratio_film(
    depth_ratio: ArrayLike, excess: ArrayLike, a_over_t: ArrayLike
) -> tuple[Floats, Floats]:
    """The same for a film on a base.

    Parameters
    ----------
    depth_ratio : array_like
        h_p/h_max, without what creep at the peak adds.
    excess : array_like
        Work of loading (without creep) over F h, less :func:`loading_ratio`.
    a_over_t : array_like
        Contact radius over film thickness.
    """
    low, high = area_ratio(depth_ratio)
    over = np.clip(np.asarray(excess, dtype=float) - SMALL, 0.0, 0.16)
    x = np.minimum(np.asarray(a_over_t, dtype=float), PRESSED_TO)
    return low * (1 - SINK * over), high * (1 + PRESSED * x * x)
