"""What is pressed: solids that yield, layers of them, a substrate."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drypoint.errors import StressError
from drypoint.stress import flow

Floats = NDArray[np.float64]

#: Poisson's ratio that stands for an incompressible solid.
NEARLY_HALF = 0.4999


@dataclass(frozen=True)
class Material:
    """An isotropic solid: E (Pa), nu, and how it yields (true stress against plastic strain, Pa).

    Without ``yield_stress`` and ``table`` it is elastic. ``exponent`` n gives
    Y (1 + E eps_p / Y)^n, ``slope`` H gives Y + H eps_p, neither gives Y. ``table`` holds
    (plastic strain, stress) pairs, straight between them, level after the last.
    ``incompressible`` says that nu = 0.5 is meant; the mesh then works with 0.4999.
    """

    E: float
    nu: float
    yield_stress: float | None = None
    exponent: float = 0.0
    slope: float = 0.0
    table: tuple[tuple[float, float], ...] = ()
    name: str = ""
    incompressible: bool = False

    def __post_init__(self) -> None:
        whose = f"Material “{self.name}”" if self.name else "The material"
        if not (np.isfinite(self.E) and self.E > 0):
            raise StressError(
                f"{whose} has a Young's modulus of {self.E:.4g} Pa.",
                remedy="Give a modulus above zero, in Pa.",
            )
        most = 0.5 if self.incompressible else 0.499
        if not -0.9 <= self.nu <= most:
            raise StressError(
                f"{whose} has a Poisson's ratio of {self.nu:.4g}.",
                remedy="Give a value from -0.9 to 0.499; for a solid that keeps its volume say so "
                "with incompressible=True.",
            )
        self._check_yield(whose)

    def _check_yield(self, whose: str) -> None:
        if self.table:
            strain, stress = np.array(self.table, dtype=np.float64).T
            rising = strain[0] == 0 and np.all(np.diff(strain) > 0)
            if not (rising and np.all(stress > 0) and np.all(np.isfinite(stress))):
                raise StressError(
                    f"{whose} has a yield table that does not start at zero strain, does not rise "
                    "in strain, or holds a stress that is not above zero.",
                    remedy="Give pairs of plastic strain and true stress, sorted by strain.",
                )
            if self.yield_stress is not None or self.exponent or self.slope:
                raise StressError(
                    f"{whose} has a yield table and a yield law.", remedy="Give one of the two."
                )
            return
        if self.yield_stress is None:
            if self.exponent or self.slope:
                raise StressError(
                    f"{whose} hardens but has no yield stress.", remedy="Give yield_stress in Pa."
                )
            return
        if not (np.isfinite(self.yield_stress) and self.yield_stress > 0):
            raise StressError(
                f"{whose} has a yield stress of {self.yield_stress:.4g} Pa.",
                remedy="Give a stress above zero, or leave it out for an elastic solid.",
            )
        if not (0 <= self.exponent < 1 and self.slope >= 0) or (self.exponent and self.slope):
            raise StressError(
                f"{whose} has a hardening exponent of {self.exponent:.4g} and a slope of "
                f"{self.slope:.4g} Pa.",
                remedy="Give an exponent from 0 to below 1, or a slope of zero or above, not both.",
            )

    @property
    def first_yield(self) -> float:
        """Yield stress without plastic strain, Pa; infinite for an elastic solid."""
        if self.table:
            return self.table[0][1]
        return np.inf if self.yield_stress is None else self.yield_stress

    @property
    def nu_used(self) -> float:
        """Poisson's ratio the mesh works with."""
        return min(self.nu, NEARLY_HALF)

    @property
    def plane_strain_modulus(self) -> float:
        """E/(1 - nu^2), Pa."""
        return self.E / (1 - self.nu_used**2)

    def flow_stress(self, strain: float) -> float:
        """Yield stress at a plastic strain, Pa."""
        rows, table = rows_of([self])
        return float(flow.yield_stress(strain, 0, rows, table)[0])


def rows_of(materials: list[Material]) -> tuple[Floats, Floats]:
    """Materials as the kernels want them: rows (n, 8) and the tables behind one another (m, 2)."""
    rows, tables, used = [], [], 0
    for m in materials:
        G, K = m.E / (2 * (1 + m.nu_used)), m.E / (3 * (1 - 2 * m.nu_used))
        kind, number = flow.ELASTIC, 0.0
        if m.table:
            kind = flow.TABLE
            tables.append(np.array(m.table, dtype=np.float64))
        elif m.yield_stress is not None:
            kind = flow.POWER if m.exponent else flow.LINEAR
            number = m.exponent or m.slope
        last = used + len(m.table)
        Y = m.first_yield if kind != flow.ELASTIC else 0.0
        rows.append([G, K, kind, Y, number, m.E, used, last])
        used = last
    return np.array(rows), np.concatenate(tables) if tables else np.zeros((1, 2))


@dataclass(frozen=True)
class Layer:
    """A bonded layer: solid, thickness (m), equi-biaxial stress in it before the test (Pa)."""

    material: Material
    thickness: float
    residual_stress: float = 0.0

    def __post_init__(self) -> None:
        if not (np.isfinite(self.thickness) and self.thickness > 0):
            raise StressError(
                f"A layer has a thickness of {self.thickness:.4g} m.",
                remedy="Give a thickness above zero, in m, or leave the layer out.",
            )


@dataclass(frozen=True)
class Stack:
    """Layers, uppermost first, on a substrate without end."""

    substrate: Material
    layers: tuple[Layer, ...] = ()
    residual_stress: float = 0.0

    def __post_init__(self) -> None:
        for m, stress in zip(self.materials, self.stresses, strict=True):
            if not abs(stress) < m.first_yield:
                raise StressError(
                    f"A residual stress of {stress:.4g} Pa does not stay below the yield stress "
                    f"of its solid, {m.first_yield:.4g} Pa.",
                    remedy="Give a smaller stress, or the hardened solid's yield stress.",
                )

    @property
    def materials(self) -> list[Material]:
        """Solids from the surface downwards, the substrate last."""
        return [layer.material for layer in self.layers] + [self.substrate]

    @property
    def stresses(self) -> list[float]:
        """Residual stresses from the surface downwards, Pa."""
        return [layer.residual_stress for layer in self.layers] + [self.residual_stress]

    @property
    def interfaces(self) -> Floats:
        """Depths of the interfaces, m, from the surface downwards."""
        return np.cumsum([layer.thickness for layer in self.layers])

    def start(self, finite: bool) -> Floats:
        """Plastic part that carries the residual stress, one row a solid (rr, rz, zz, hoop).

        C_p^-1 for large strains, minus the elastic strain for small ones: with an in-plane stress
        s, eps_r = (1 - nu) s/E and eps_z = -2 nu s/E.
        """
        out = np.zeros((len(self.materials), 4))
        for row, m, s in zip(out, self.materials, self.stresses, strict=True):
            r, z = (1 - m.nu_used) * s / m.E, -2 * m.nu_used * s / m.E
            row[:] = (np.exp(2 * r), 0, np.exp(2 * z), np.exp(2 * r)) if finite else (-r, 0, -z, -r)
        return out
