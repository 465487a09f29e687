"""Makes the law of first contact of a blunted tip from our own finite elements.

    python scripts/blunted_table.py FOLDER base|nu|steps|mesh|check|shape   (minutes each; resumes)
    python scripts/blunted_write.py FOLDER      (seconds; writes the npz)

Presses a rigid sphero-cone of 70.3 degrees into solids that yield by von Mises and harden
as Y (1 + E eps_p/Y)^n, in several runs per solid, each with a mesh made for its depth; every run
spans a factor of 12 in depth and overlaps the next by a factor of 2 or more. ``blunted_fit.py``
joins and smooths the runs. See docs/explanation/blunted-tip.md.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

import drypoint.stress as stress
from drypoint.stress import touch
from drypoint.stress.protocol import Leg

PSI = float(np.radians(70.3))
R, E = 1e-5, 100e9
#: h/R of the deepest run; ratio of depths from run to run, on the cone and on the ball.
DEEPEST, RATIOS, KNEE = 1.7, (2.5, 6.0), 0.2
#: First depth of a run over its last, legs to there, steps per leg.
SPAN, LEGS = 0.08, 6
#: Steps per leg: of most runs, and of those that measure the error of the steps.
STEPS, FINE_STEPS = 8, 40
#: Elements over the contact, likewise, and how many of the deepest runs of the latter.
ELEMENTS, FINE_ELEMENTS, FINE_RUNS = 14, 26, 4
#: Poisson's ratio of the whole grid, and of parts of it.
NU, NU_NODES = 0.25, (0.42, 0.10)
Y_NODES = np.geomspace(3e-4, 0.3, 16)
N_NODES = (0.0, 0.25, 0.5, 0.125, 0.375)  # the ones that a coarse table needs first


@dataclass(frozen=True)
class Solid:
    """Y/E*, exponent, Poisson's ratio, fineness of the mesh, kind of hardening, modulus of the tip
    over that of the solid, steps per leg, shape of the tip's end."""

    y: float
    n: float
    nu: float = NU
    elements: int = ELEMENTS
    hardening: str = "power"
    tip: float = np.inf
    steps: int = STEPS
    cap: str = "ball"

    @property
    def name(self) -> str:
        out = f"{self.hardening}_y{self.y:.6f}_n{self.n:.4f}_nu{self.nu:.3f}_m{self.elements}"
        out = out if self.steps == STEPS else f"{out}_s{self.steps}"
        out = out if self.cap == "ball" else f"{out}_{self.cap}"
        return out if np.isinf(self.tip) else f"{out}_t{self.tip:.1f}"

    def material(self) -> stress.Material:
        E_star = E / (1 - self.nu**2)
        if not np.isfinite(self.y):
            return stress.Material(E=E, nu=self.nu)
        Y = self.y * E_star
        if self.hardening == "linear":  # a slope of n times E*
            return stress.Material(E=E, nu=self.nu, yield_stress=Y, slope=self.n * E_star)
        if self.hardening == "voce":  # saturates at (1 + n) Y with a rate of 20
            strain = np.concatenate([[0.0], np.geomspace(1e-4, 2.0, 60)])
            flow = Y * (1 + self.n * (1 - np.exp(-20 * strain)))
            return stress.Material(E=E, nu=self.nu, table=tuple(zip(strain, flow, strict=True)))
        return stress.Material(E=E, nu=self.nu, yield_stress=Y, exponent=self.n)

    @property
    def first_yield(self) -> float:
        """h/R at which a Hertzian contact yields, with p_0 = 1.6 Y [johnson1985]."""
        return (np.pi * 1.6 * self.y / 2) ** 2 if np.isfinite(self.y) else 1e-4

    def depths(self) -> list[float]:
        """h/R of the deepest point of each run."""
        out = [DEEPEST]
        while SPAN * out[-1] > 0.7 * min(self.first_yield, 0.03):  # the ball ends at 0.06
            out.append(out[-1] / RATIOS[0 if out[-1] > KNEE else 1])
        return out[:FINE_RUNS] if self.elements == FINE_ELEMENTS else out


def hyperboloid() -> stress.Profile:
    """A hyperbola with the same radius at its end and the same cone far from it."""
    r = R * np.linspace(0, 40**0.5, 800) ** 2
    slope, c = 1 / np.tan(PSI), R / np.tan(PSI) ** 2
    root = np.sqrt(c**2 + (slope * r) ** 2)
    curve = np.ascontiguousarray(np.column_stack([r, root - c, slope**2 * r / root]))
    top = float(curve[-1, 1])
    return stress.Profile("hyperboloid", touch.CURVE, (0.0,) * 4, curve, h_limit=top)


def press(solid: Solid, deepest: float) -> np.ndarray:
    """Columns h/R, F/(E* R^2), a/R of one loading; E* is the reduced modulus."""
    E_star = E / (1 - solid.nu**2)
    tip = stress.cone(PSI, radius=R) if solid.cap == "ball" else hyperboloid()
    if np.isfinite(solid.tip):  # diamond's Poisson's ratio
        tip = tip.elastic(solid.tip * E, 0.07)
        E_star = 1 / (1 / E_star + 1 / tip.E_star_tip)
    legs = tuple(Leg(depth=float(x * R)) for x in np.geomspace(SPAN, 1, LEGS) * deepest)
    run = stress.solve(
        stress.Stack(solid.material()), tip, stress.Protocol(legs),
        mesh=stress.Effort(solid.elements, solid.steps, 5), errors=False, fields=False,
    )  # fmt: skip
    if run.stopped:
        print("  stopped:", solid.name, deepest, run.stopped)
    return np.column_stack([run.depth / R, run.force / (E_star * R**2), run.contact_radius / R])


def base() -> list[Solid]:
    """The grid; coarse parts of it first."""
    out = [Solid(np.inf, 0.0)]
    for n in N_NODES:
        out += [Solid(y, n) for y in Y_NODES]
    return out


def other_nu() -> list[Solid]:
    """The elastic end and part of the grid with another Poisson's ratio."""
    out = [Solid(np.inf, 0.0, nu) for nu in (0.10, 0.17, 0.33, 0.42, 0.47)]
    for nu in NU_NODES:
        for n in (0.0, 0.25, 0.5):
            out += [Solid(y, n, nu) for y in Y_NODES[::3]]
    return out


def finer() -> list[Solid]:
    """Part of the grid in smaller steps, whose error is of first order."""
    return [Solid(y, n, steps=FINE_STEPS) for n in (0.0, 0.25, 0.5) for y in Y_NODES[::-3]]


def fine_mesh() -> list[Solid]:
    """Part of the grid on a finer mesh; only the larger depths depend on it. The last two show the
    dependence on n. Softer solids take minutes."""
    out = [(y, 0.0) for y in Y_NODES[3:13:3]] + [(Y_NODES[6], 0.25), (Y_NODES[6], 0.5)]
    return [Solid(y, n, elements=FINE_ELEMENTS) for y, n in out]


def check() -> list[Solid]:
    """Off the grid: other n, nu, Y/E* and kinds of hardening; tips that give way."""
    return [
        Solid(0.0020, 0.05), Solid(0.0100, 0.18), Solid(0.0400, 0.30), Solid(0.0008, 0.42),
        Solid(0.0055, 0.0, 0.17), Solid(0.0700, 0.0, 0.17), Solid(0.0150, 0.10, 0.20),
        Solid(0.0050, 0.25, 0.45), Solid(0.0011, 0.10, 0.35), Solid(0.0300, 0.0, 0.45),
        Solid(0.0028, 0.15, 0.30), Solid(0.0090, 0.0, 0.28), Solid(0.0200, 0.45, 0.33),
        Solid(0.0050, 0.01, 0.30, hardening="linear"),
        Solid(0.0200, 0.05, 0.20, hardening="linear"),
        Solid(0.0030, 0.5, 0.30, hardening="voce"), Solid(0.0150, 1.0, 0.25, hardening="voce"),
        Solid(0.0310, 0.0, 0.23, tip=2.8), Solid(0.0030, 0.05, 0.28, tip=2.8),
        Solid(0.0100, 0.10, 0.30, tip=5.4),
    ]  # fmt: skip


def shapes() -> list[Solid]:
    """Another shape of the end, on solids that yield early enough for it to matter."""
    solids = ((0.03, 0.05, 0.23), (0.01, 0.0, 0.3), (0.006, 0.1, 0.3), (0.002, 0.2, 0.33))
    return [Solid(y, n, nu, cap="hyperboloid") for y, n, nu in solids]


def solve_all(folder: Path, which: str) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for solid in {
        "base": base,
        "nu": other_nu,
        "steps": finer,
        "mesh": fine_mesh,
        "check": check,
        "shape": shapes,
    }[which]():
        path = folder / f"{solid.name}.npz"
        lock = path.with_suffix(".begun")
        if path.exists():
            continue
        try:
            lock.touch(exist_ok=False)  # another process may share the work
        except FileExistsError:
            print(f"{solid.name}: left to another process; if none runs, remove {lock}")
            continue
        began = time.time()
        runs = [press(solid, x) for x in solid.depths()]
        np.savez(path, *runs)
        lock.unlink()
        print(f"{solid.name}: {len(runs)} runs, {time.time() - began:.1f} s", flush=True)


if __name__ == "__main__":
    solve_all(Path(sys.argv[1]), sys.argv[2])
