"""A tip as a rigid body of revolution: the one with the same projected area at each depth."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from drypoint.contact import profiles
from drypoint.errors import TipError
from drypoint.tips.area import area, area_slope
from drypoint.tips.tip import Tip

#: Depths of the table, geometric, and how far it goes up from the deepest.
POINTS, RANGE = 400, 1e-6


def equivalent_profile(
    tip: Tip, deepest: float, theta: Mapping[str, Any] | None = None
) -> profiles.Profile:
    """Profile of the body of revolution with the tip's area function, down to ``deepest`` (m).

    ``theta`` may hold values of the tip's inputs other than the best ones (real numbers).

    Raises
    ------
    TipError
        When the tip is a flat punch (it has no profile) or the depth is not positive.
    ContactError
        When the area function is not that of a convex body.
    """
    if tip.geometry.shape == "flat punch":
        raise TipError(
            "A flat punch has no profile.", remedy="Use the stiffness of a punch at its radius."
        )
    if not 0 < deepest < np.inf:
        raise TipError(
            "The deepest point of a profile is a positive depth.", remedy="Give it in m."
        )
    h = np.geomspace(RANGE * deepest, deepest, POINTS)
    at = theta or {}
    return profiles.from_area(h, area(tip, at, h), area_slope(tip, at, h))
