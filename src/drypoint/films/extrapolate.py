"""The straight line of E* against a/t, taken back to a/t = 0.

What ISO 14577-4 describes for the modulus of a coating [iso14577-4-2016] [jennett2001], in our
words and from memory: tests over a range of contact radii, a straight line, its intercept. Used
for a/t up to 2 where the film is stiffer than its substrate and up to 1.5 where it is softer.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drypoint.films.given import FilmTests, Structure
from drypoint.films.problems import ONE_FILM, FilmError
from drypoint.uncertainty.propagation import coverage_factor

Floats = NDArray[np.float64]

#: Largest a/t for a film stiffer, or softer, than its substrate (from memory).
STIFF, SOFT = 2.0, 1.5
FEWEST = 5


@dataclass(frozen=True)
class Extrapolated:
    """Intercept as a plane-strain modulus (Pa) and as Young's modulus, with uncertainties.

    ``curved`` is true where a parabola fits better than chance allows: then the intercept of the
    line is biased towards the substrate.
    """

    E_star: float
    E: float
    u_random: float
    u_systematic: float
    slope: float
    used: NDArray[np.bool_]
    curved: bool

    @property
    def u(self) -> float:
        """Combined standard uncertainty of E, Pa."""
        return float(np.hypot(self.u_random, self.u_systematic))


def extrapolate(tests: FilmTests, structure: Structure) -> Extrapolated:
    """Film modulus from the line through E* against a/t.

    Raises
    ------
    FilmError
        With fewer than five tests in the range, or when there is more than one layer.
    """
    if len(structure.layers) != 1:
        raise FilmError(f"The extrapolation {ONE_FILM}", remedy="Use the exact model.")
    layer, base = structure.layers[0], structure.substrate
    x = tests.radius / layer.t.value
    stiff = tests.shallow > base.E.value / (1 - base.nu.value**2)
    used = x <= (STIFF if stiff else SOFT)
    if used.sum() < FEWEST:
        raise FilmError(
            f"{int(used.sum())} tests have a/t of {STIFF if stiff else SOFT:g} or less; the "
            f"extrapolation needs {FEWEST}.",
            remedy="Test shallower.",
        )
    xs, y, s = x[used], tests.E_star[used], tests.u_random[used]
    line, cov, chi2 = _polynomial(xs, y, s, 1)
    dof = len(xs) - 2
    widen = max(1.0, chi2 / dof)
    curved = False
    if dof > 1:
        bent, cov_2, chi2_2 = _polynomial(xs, y, s, 2)
        u = np.sqrt(cov_2[2, 2] * max(1.0, chi2_2 / (dof - 1)))
        curved = bool(abs(bent[2]) > coverage_factor(dof - 1) * u)
    weight = cov @ (np.vander(xs, 2, increasing=True).T / s**2)
    jac = weight[0] @ tests.jac_E[used] - line[1] / layer.t.value * (
        weight[0] @ tests.jac_radius[used]
    )
    systematic = float(jac @ tests.inputs.cov @ jac) if jac.size else 0.0
    nu = layer.nu
    factor = 1 - nu.value**2
    by_nu = 2 * nu.value * nu.u * line[0]
    return Extrapolated(
        float(line[0]),
        float(line[0] * factor),
        float(factor * np.sqrt(cov[0, 0] * widen)),
        float(np.hypot(factor * np.sqrt(max(systematic, 0.0)), by_nu)),
        float(line[1]),
        used,
        curved,
    )


def _polynomial(x: Floats, y: Floats, s: Floats, degree: int) -> tuple[Floats, Floats, float]:
    """Weighted coefficients, their covariance, and the sum of squares."""
    powers = np.vander(x, degree + 1, increasing=True)
    H = (powers.T / s**2) @ powers
    cov = np.asarray(np.linalg.inv(H), dtype=np.float64)
    c = cov @ (powers.T @ (y / s**2))
    return c, cov, float(np.sum(((y - powers @ c) / s) ** 2))
