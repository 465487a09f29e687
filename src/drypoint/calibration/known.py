"""How well a calibration knows its compliance and its area, and where the uncertainty comes from.

For y = g' x over all unknowns and given inputs x, u^2 = g' V g [gum2008]. The part of the tests is
g' V_stat g; that of a given input j, independent of the others, cov(y, x_j)^2 / u_j^2; what is left
is the spread between numbers of terms. Degrees of freedom after [welch1947], the tests' N - p.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drypoint.calibration.result import Calibration, area_jacobian
from drypoint.tips.area import area
from drypoint.uncertainty.propagation import coverage_factor

Floats = NDArray[np.float64]

#: Names of the shares that are no inputs.
TESTS, TERMS = "reference tests", "choice of the number of terms"


@dataclass(frozen=True)
class Known:
    """A value of a calibration, SI: standard uncertainty, ``k``, degrees of freedom, and shares.

    ``shares`` maps a source to its share of the variance; they add up to 1 (all zero where ``u``
    is).
    """

    value: float
    u: float
    k: float
    dof: float
    shares: Mapping[str, float]

    @property
    def U(self) -> float:
        """Expanded uncertainty, k u."""
        return self.k * self.u


def known_compliance(c: Calibration, level: float = 0.95) -> Known:
    """The frame compliance, m/N, for a level of confidence."""
    g = np.zeros(len(c.full.names))
    g[c.full.index("frame.C_f")] = 1.0
    return _known(c, c.frame.compliance, g, level)


def known_area(c: Calibration, h_c: float, level: float = 0.95) -> Known:
    """The projected area at a contact depth (m), m^2, for a level of confidence."""
    h = np.array([h_c])
    return _known(c, float(area(c.tip, {}, h)[0]), area_jacobian(c.tip, c.full, h)[0], level)


def _known(c: Calibration, value: float, g: Floats, level: float) -> Known:
    with_all = c.full.cov @ g
    variance = max(float(g @ with_all), 0.0)
    tests = float(g @ c.statistical @ g)
    given = {
        name: float(with_all[i] ** 2 / c.full.sd[i] ** 2)
        for i, name in enumerate(c.full.names)
        if c.full.sd[i] > 0 and not c.statistical[i, i] > 0  # those with a part of the tests: found
    }
    whole = variance or 1.0
    rest = variance - tests - sum(given.values())
    parts = {TESTS: tests, **given, TERMS: rest if rest > 1e-9 * variance else 0.0}
    own = tests / whole
    dof = float(max(c.dof, 1) / own**2) if own > 0 else np.inf
    return Known(
        value, float(np.sqrt(variance)), coverage_factor(dof, level), dof,
        {name: part / whole for name, part in parts.items()},
    )  # fmt: skip
