"""A coated specimen as a law of the modulus against contact depth, by exact layered contact."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from drypoint.contact import layered
from drypoint.simulation.truth import SimulationError
from drypoint.tips.area import area as projected_area
from drypoint.tips.tip import Tip

Floats = NDArray[np.float64]

#: Contact depths (m) between which the law is laid down; beyond them it stays level.
_SHALLOWEST, _DEEPEST, _NODES = 0.05e-9, 2e-6, 48


@dataclass(frozen=True)
class OnLayers:
    """Modulus of one film on a substrate as a tip feels it at each contact depth.

    ``E_film``, ``E_substrate`` in Pa, ``thickness`` in m; ``log_depth`` and ``log_E`` are the law's
    own nodes. Build it with :func:`on_layers`.
    """

    E_film: float
    nu_film: float
    thickness: float
    E_substrate: float
    nu_substrate: float
    log_depth: tuple[float, ...]
    log_E: tuple[float, ...]

    def at(self, h_c: Floats | float) -> Floats:
        """Young's modulus (Pa) at contact depth (m) of a homogeneous solid with the film's
        Poisson's ratio on which the contact would be as stiff."""
        x = np.clip(
            np.log(np.asarray(h_c, dtype=np.float64)), self.log_depth[0], self.log_depth[-1]
        )
        return np.asarray(np.exp(CubicSpline(self.log_depth, self.log_E)(x)), dtype=np.float64)


def on_layers(
    E_film: float, nu_film: float, thickness: float, E_substrate: float, nu_substrate: float,
    tip: Tip,
) -> OnLayers:  # fmt: skip
    """The law for a tip, from the stiffness of a flat contact of radius sqrt(A_p(h_c)/pi) on the
    layered half-space (:mod:`drypoint.contact.layered`).

    Raises
    ------
    SimulationError
        When a modulus or the thickness is not positive.
    """
    if not min(E_film, thickness, E_substrate) > 0:
        raise SimulationError(
            "A modulus or the thickness of an invented film is not positive.",
            remedy="Give positive values.",
        )
    h = np.geomspace(_SHALLOWEST, _DEEPEST, _NODES)
    a = np.sqrt(projected_area(tip, {}, h) / np.pi)
    stack = layered.film(E_film, nu_film, thickness, E_substrate, nu_substrate)
    E = layered.effective_modulus(stack, a) * (1 - nu_film**2)
    return OnLayers(
        E_film, nu_film, thickness, E_substrate, nu_substrate,
        tuple(np.log(h).tolist()), tuple(np.log(E).tolist()),
    )  # fmt: skip
