"""Stresses and strains of a run as arrays: invariants, principal values, interfaces."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drypoint.errors import StressError
from drypoint.stress.element import shape_functions
from drypoint.stress.solution import Solution

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Field:
    """One step at the Gauss points, arrays of shape (elements, 4) unless said otherwise.

    ``r``, ``z``: where the points are now, m; ``sigma`` (elements, 4, 4): rr, rz, zz, hoop;
    ``von_mises``, ``hydrostatic`` (mean stress): Pa; ``principal`` (elements, 4, 3), largest first,
    Pa; ``plastic_strain``: equivalent.
    """

    r: Floats
    z: Floats
    sigma: Floats
    von_mises: Floats
    hydrostatic: Floats
    principal: Floats
    plastic_strain: Floats


def von_mises(sigma: Floats) -> Floats:
    """Equivalent stress of (..., 4) stresses rr, rz, zz, hoop; same unit."""
    rr, rz, zz, tt = np.moveaxis(sigma, -1, 0)
    return np.asarray(np.sqrt(0.5 * ((rr - zz) ** 2 + (zz - tt) ** 2 + (tt - rr) ** 2) + 3 * rz**2))


def principal(sigma: Floats) -> Floats:
    """Principal stresses of (..., 4) stresses, largest first; same unit."""
    rr, rz, zz, tt = np.moveaxis(sigma, -1, 0)
    half, radius = 0.5 * (rr + zz), np.hypot(0.5 * (rr - zz), rz)
    return np.sort(np.stack([half + radius, half - radius, tt], axis=-1), axis=-1)[..., ::-1]


def _kept(run: Solution) -> None:
    if run.sigma.shape[-3] == 0:
        raise StressError(
            "The run kept no fields.", remedy="Solve again with fields=True (more memory)."
        )


def places(run: Solution, step: int) -> Floats:
    """Where the nodes are for the equations, (n, 2), m: now; for small strains, at the start."""
    return run.mesh.X if run.small_strain else run.mesh.X + run.displacement[step]


def field(run: Solution, step: int) -> Field:
    """Fields of one step; -1 is the last, ``run.peak`` the one of greatest force.

    Raises
    ------
    StressError
        Where the run did not keep fields.
    """
    _kept(run)
    points = np.einsum("ga,eak->egk", shape_functions(), places(run, step)[run.mesh.quads])
    sigma = run.sigma[step].astype(np.float64)
    return Field(
        r=points[..., 0],
        z=points[..., 1],
        sigma=sigma,
        von_mises=von_mises(sigma),
        hydrostatic=(sigma[..., 0] + sigma[..., 2] + sigma[..., 3]) / 3,
        principal=principal(sigma),
        plastic_strain=run.plastic_strain[step].astype(np.float64),
    )


@dataclass(frozen=True)
class Interface:
    """An interface at a step: radius and height now (m), stress across it (tension positive) and
    shear along it (Pa), arrays of shape (columns,)."""

    r: Floats
    z: Floats
    normal: Floats
    shear: Floats


def interface(run: Solution, step: int, number: int = 0) -> Interface:
    """Stress on the lower face of layer ``number`` (0 is the uppermost).

    The traction t = sigma n with n the interface's present normal, from the points nearest to it
    above and below, whose tractions must agree and are averaged.

    Raises
    ------
    StressError
        Where there is no such interface, or no fields were kept.
    """
    _kept(run)
    depths = run.stack.interfaces
    if not 0 <= number < len(depths):
        raise StressError(
            f"There is no interface {number}; the stack has {len(depths)}.",
            remedy="Count from 0, the uppermost.",
        )
    nz = run.mesh.shape[1]
    row = int(np.argmin(np.abs(run.mesh.X[:nz, 1] + depths[number])))
    columns = np.arange(run.mesh.shape[0] - 1) * (nz - 1)
    sigma = run.sigma[step].astype(np.float64)
    above = sigma[columns + row][:, [0, 1]].mean(axis=1)
    below = sigma[columns + row - 1][:, [2, 3]].mean(axis=1)
    rr, rz, zz, _ = (0.5 * (above + below)).T
    nodes = places(run, step)[np.arange(run.mesh.shape[0]) * nz + row]
    along = np.diff(nodes, axis=0)
    along /= np.hypot(*along.T)[:, None]
    n_r, n_z = -along[:, 1], along[:, 0]
    t_r, t_z = rr * n_r + rz * n_z, rz * n_r + zz * n_z
    middle = 0.5 * (nodes[1:] + nodes[:-1])
    return Interface(
        r=middle[:, 0],
        z=middle[:, 1],
        normal=t_r * n_r + t_z * n_z,
        shear=t_r * along[:, 0] + t_z * along[:, 1],
    )
