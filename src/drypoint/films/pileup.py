"""Signs of pile-up and sink-in on a coated specimen, in words."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: h_p/h_max above which an area from the contact depth is too small [bolshakov1998].
PILE_UP = 0.7


def elastic_share(ratio: Floats, exponent: float = 1.35) -> Floats:
    """W_elast/W_total that goes with h_p/h_max: 3 (1 - h_p/h_max)/(m + 1).

    Plane algebra: loading F ~ h^2, unloading F ~ (h - h_p)^m.
    """
    return np.asarray(3 * (1 - np.asarray(ratio)) / (exponent + 1))


def pile_up_remarks(
    depth_ratio: Floats, work_ratio: Floats | None = None, film_softer: bool | None = None
) -> tuple[str, ...]:
    """Sentences on pile-up and sink-in; empty when nothing points to either.

    Parameters
    ----------
    depth_ratio : array, shape (n,)
        h_p/h_max; NaN where not known.
    work_ratio : array, shape (n,), optional
        W_elast/W_total (a ratio, not percent).
    film_softer : bool, optional
        Whether the film is softer than its substrate.
    """
    d = np.asarray(depth_ratio, dtype=float)
    out = []
    many = int(np.sum(d > PILE_UP))
    if many:
        out.append(
            f"In {many} of {len(d)} tests h_p/h_max is above {PILE_UP:g}: if the film hardens "
            "little it piles up, the area is then too small and modulus and hardness too high."
        )
        if film_softer:
            out.append(
                "A softer film squeezed against a harder substrate piles up more the deeper the "
                "tip goes: trust the shallow tests more, or measure the areas on the impressions."
            )
    if film_softer is False:
        out.append(
            "A harder film on softer ground bends with it and sinks in: contact depths are then "
            "smaller than the rule of the unloading curve says, and the modulus falls early."
        )
    if work_ratio is not None:
        w = np.asarray(work_ratio, dtype=float)
        odd = int(np.sum((d > PILE_UP) & (w > 1.5 * elastic_share(d))))
        if odd:
            out.append(
                f"In {odd} tests h_p/h_max and the work ratio do not fit together: check zero "
                "point and drift before reading anything into either."
            )
    return tuple(out)
