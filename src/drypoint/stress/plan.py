"""Before a run: how large the contact will be, which mesh that needs, what it will cost."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from drypoint.errors import StressError
from drypoint.stress.mesh import Mesh, rows_through, steps, tensor_mesh
from drypoint.stress.profile import Profile
from drypoint.stress.protocol import Protocol
from drypoint.stress.stack import Stack

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Effort:
    """How fine: elements over the contact radius (down; three times as many outwards), steps of a
    loading and of an unloading."""

    elements: int
    steps: int
    back_steps: int

    def __post_init__(self) -> None:
        if not (self.elements >= 3 and self.steps >= 2 and self.back_steps >= 2):
            raise StressError(
                f"A mesh of {self.elements} elements over the contact, {self.steps} steps of "
                f"loading and {self.back_steps} of unloading is too coarse to mean anything.",
                remedy="Give 3 elements, 2 steps and 2 steps of unloading or more.",
            )

    def halved(self, elements: bool, steps: bool) -> Effort:
        """Half as fine in mesh, in steps, or both."""
        return Effort(
            max(3, self.elements // 2) if elements else self.elements,
            max(2, self.steps // 2) if steps else self.steps,
            self.back_steps,
        )


#: By name: a look and a run to be quoted.
EFFORTS = {"quick": Effort(8, 40, 15), "fine": Effort(14, 80, 25)}

#: Growth of element sizes outwards and downwards; reach of the mesh in contact radii; even zones
#: likewise. Chosen by how well force, field and surface of a ball come out for the same time.
GROWTH_R, GROWTH_Z, REACH, EVEN_R, EVEN_Z = 1.13, 1.25, 15.0, 1.4, 0.3
#: Width of a column and height of a row at the surface over the contact radius over ``elements``.
#: The force ripples as the contact edge jumps from column to column.
COLUMN, ROW = 1 / 3, 0.65
#: Flat punch: size of the elements at its edge, likewise, and their growth outwards.
PUNCH, GROWTH_P = 0.08, 1.25
#: Times the layers' whole thickness that the mesh reaches at least.
REACH_LAYERS = 20.0
#: Share of a soft layer's thickness that a tip may press in before its elements are crushed.
CRUSHED = 0.8


@dataclass(frozen=True)
class Estimate:
    """Cost of one run: elements, unknowns, memory (bytes), time (s, on a quiet machine)."""

    elements: int
    unknowns: int
    memory: float
    seconds: float

    def words(self) -> str:
        """One line."""
        return (
            f"{self.elements} elements, {self.unknowns} unknowns, {self.memory / 1e6:.0f} MB, "
            f"about {self.seconds:.1f} s"
        )


def hardness_guess(stack: Stack, profile: Profile, h: float) -> float:
    """Mean pressure to be expected at a depth, Pa: elastic and plastic limits in series.

    Elastic: E* h/(2 r(h)), Sneddon's cone [sneddon1965]; plastic: 3 Y at 3 % strain (Tabor's rule
    of thumb, common practice). For a layered stack the solid that lies at three depths.
    """
    k = int(np.searchsorted(stack.interfaces, 3 * h))
    m = stack.materials[k]
    elastic = m.plane_strain_modulus * h / (2 * max(profile.radius(h), 1e-30))
    Y = m.flow_stress(0.03)
    return float(elastic if not np.isfinite(Y) else 1 / (1 / elastic + 1 / (3 * Y)))


def radius_guess(stack: Stack, profile: Profile, h: float) -> float:
    """Contact radius to be expected at a depth, m: between a cone's elastic one, (2/pi) r(h), and
    1.13 r(h), what a pile-up gives on solids that yield early."""
    r = profile.radius(h)
    if np.isfinite(profile.r_limit):
        return r
    elastic = stack.materials[0].plane_strain_modulus * h / (2 * max(r, 1e-30))
    share = hardness_guess(stack, profile, h) / elastic
    return float(r * (1.13 - 0.45 * np.clip(share, 0, 1)))


def depth_guess(stack: Stack, profile: Profile, protocol: Protocol) -> float:
    """Depth to be expected, m."""
    if protocol.force == 0:
        return protocol.depth

    def miss(log_h: float) -> float:
        h = float(np.exp(log_h))
        area = 0.7 * profile.area(h)
        return float(np.log(area * hardness_guess(stack, profile, h) / protocol.force))

    low, high = np.log(1e-12), np.log(min(profile.h_limit, 1e-2))
    if miss(high) < 0:
        top = profile.h_limit
        raise StressError(
            f"A force of {protocol.force:.4g} N presses tip “{profile.name}” deeper than "
            f"{top * 1e9:.4g} nm, up to which it is known.",
            remedy="Give a smaller force or a larger tip.",
        )
    if miss(low) > 0:
        return max(1e-12, protocol.depth)
    return max(float(np.exp(brentq(miss, low, high, xtol=1e-3))), protocol.depth)


def check(stack: Stack, profile: Profile, h: float) -> None:
    """Refuse what the tip or the mesh cannot hold at a depth."""
    profile.check(h)
    if not stack.layers:
        return
    layer, below = stack.layers[0], stack.materials[1]
    soft = layer.material.first_yield < 0.7 * below.first_yield
    if soft and h > CRUSHED * layer.thickness:
        raise StressError(
            f"A depth of {h * 1e9:.4g} nm squeezes the soft layer of "
            f"{layer.thickness * 1e9:.4g} nm to nothing; the mesh cannot hold that.",
            remedy=f"Stay above {CRUSHED * layer.thickness * 1e9:.4g} nm.",
        )


def make_mesh(stack: Stack, a: float, effort: Effort, flat: bool) -> Mesh:
    """Mesh for a contact radius ``a`` (m); a flat punch gets a column line at its edge."""
    edge = a / effort.elements
    ends = stack.interfaces
    reach = max(REACH * a, REACH_LAYERS * float(ends[-1]) if len(ends) else 0.0)
    if flat:
        fine = PUNCH * edge
        r = _both_sides(a, fine, reach)
        down = rows_through(steps(fine, 2 * fine, reach, GROWTH_Z), ends)
    else:
        r = steps(COLUMN * edge, EVEN_R * a, reach, GROWTH_R)
        down = rows_through(steps(ROW * edge, EVEN_Z * a, reach, GROWTH_Z), ends)
    return tensor_mesh(r, down, ends, edge)


def _both_sides(a: float, fine: float, reach: float) -> Floats:
    """Columns that are finest at the edge of a punch."""
    inner = steps(fine, 2 * fine, a, GROWTH_P)
    outer = steps(fine, 2 * fine, reach - a, GROWTH_P)
    return np.unique(np.concatenate([a - inner[inner < a * (1 - 1e-9)], [0.0], a + outer]))


#: Times longer: with the two coarse runs for the errors, and with a tip that gives way.
WITH_ERRORS, ELASTIC_TIP = 1.6, 1.4


def estimate(
    mesh: Mesh, effort: Effort, protocol: Protocol, keep: bool, times: float = 1.0
) -> Estimate:
    """Cost of a run on a mesh, ``times`` as long. Times per element and per flop as measured
    (bench_stress.py)."""
    n, m = 2 * len(mesh.X), len(mesh.quads)
    width = 2 * (mesh.shape[1] + 2)
    up = sum(1 for leg in protocol.legs if not leg.hold)
    rows = effort.steps * (up + 1) // 2 + effort.back_steps * (up // 2)
    memory = n * width * 16.0 + m * 1500.0 + rows * (n * 8.0 + (m * 80.0 if keep else 0.0))
    iterations = 5.5 * effort.steps * ((up + 1) // 2) + 3.5 * effort.back_steps * (up // 2)
    seconds = times * iterations * (m * 3e-6 + n * width**2 / 7e9 + 2e-4)
    return Estimate(m, n, memory, seconds)
