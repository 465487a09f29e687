"""How blunt a tip is: the radius of its end, from its shape or from its area function."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drypoint.tips import area as areas
from drypoint.tips.tip import Tip

Array = NDArray[Any]

#: Contact depth (m) at which an area function tells the radius: deep enough that the cone is
#: reached, shallow enough that the end still matters (our own choice).
_AT = 40e-9
#: Relative uncertainty of a radius read off an area function: a calibrated function is smooth
#: where a real tip's end is not quite a sphere (our own choice).
U_SHAPE = 0.25


def end_radius(tip: Tip, theta: Mapping[str, Any]) -> Array | None:
    """Radius (m) of the sphere that ends the tip; ``None`` where shape and area do not tell.

    Given for sphere, sphero-cone and blunted pyramid. From a series or a table: the sphere of the
    sphero-cone that has the same A_p at a contact depth of 40 nm, or at the middle of the range
    where that is deeper or shallower: sqrt(A_p / pi) = tan(psi) (h_c + d), d = R (1/sin(psi) - 1).

    ``theta`` may be complex, or hold arrays.
    """
    shape, kind = tip.geometry.shape, tip.area.kind
    if kind == "blunted" or (kind == "ideal" and shape in ("sphere", "sphero-cone")):
        return np.asarray(areas.value_of(tip, theta, "tip.radius"))
    if kind not in ("series", "table") or not np.isfinite(tip.geometry.equivalent_half_angle):
        return None
    psi = tip.geometry.equivalent_half_angle
    at = float(np.clip(_AT, tip.area.h_min, tip.area.h_max))
    d = np.sqrt(areas.area(tip, theta, at) / np.pi) / np.tan(psi) - at
    return np.asarray(d / (1.0 / np.sin(psi) - 1.0))


def is_read_off(tip: Tip) -> bool:
    """Whether the radius comes from an area function rather than from a stated radius."""
    return tip.area.kind in ("series", "table")


__all__ = ["U_SHAPE", "end_radius", "is_read_off"]
