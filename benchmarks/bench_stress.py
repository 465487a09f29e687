"""Accuracy and time of the finite elements, as a table.

    python benchmarks/bench_stress.py            closed forms and one plastic cone, quick and fine
    python benchmarks/bench_stress.py --cones    the 50 published cones as well (some minutes)

Times are processor seconds, kernels compiled before. Open data are read from ../shared/data.
"""

from __future__ import annotations

import argparse
import csv
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

import drypoint.stress as stress
from drypoint.contact import closed_forms

E, NU = 200e9, 0.3
E_STAR = E / (1 - NU**2)
PSI = float(np.radians(70.3))
CONES = Path(__file__).resolve().parents[2] / "shared" / "data" / "fe_cones"


def timed(work: Callable[[], stress.Solution]) -> tuple[stress.Solution, float]:
    """A run and its processor time, s."""
    start = time.process_time()
    return work(), time.process_time() - start


def elastic(mesh: str) -> Iterator[tuple[str, float, float, stress.Solution]]:
    """Name, force over the closed form's, seconds, run."""
    stack, h = stress.Stack(stress.Material(E, NU)), 100e-9
    cases = (
        ("ball", stress.paraboloid(10e-6), closed_forms.sphere_force(E_STAR, 10e-6, h)),
        ("cone", stress.cone(PSI), closed_forms.cone_force(E_STAR, PSI, h)),
        ("punch", stress.flat_punch(1e-6), closed_forms.punch_force(E_STAR, 1e-6, h)),
    )
    protocol = stress.Protocol.to_depth(h, unload=False)
    few = stress.Effort(stress.EFFORTS[mesh].elements, 6, 4)
    for name, tip, force in cases:
        run, seconds = timed(
            lambda tip=tip: stress.solve(
                stack, tip, protocol, mesh=few, small_strain=True, errors=False
            )
        )
        yield f"elastic {name}, {mesh}", run.force[-1] / float(force), seconds, run


def plastic(mesh: str) -> tuple[stress.Solution, float]:
    """A cone on a solid that yields at E/200, loading and unloading, errors included."""
    stack = stress.Stack(stress.Material(E, NU, 1e9))
    protocol = stress.Protocol.to_depth(200e-9)
    return timed(lambda: stress.solve(stack, stress.cone(PSI), protocol, mesh=mesh))


def published() -> Iterator[tuple[str, float, float, float]]:
    """Case, curvature over the published, the same without the steps' error, seconds."""
    with (CONES / "cone_70p3deg.csv").open() as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        solid = stress.Material(
            float(row["E_GPa"]) * 1e9, NU, float(row["yield_GPa"]) * 1e9, float(row["n"])
        )
        protocol = stress.Protocol.to_depth(200e-9, unload=False)
        run, seconds = timed(
            lambda solid=solid, protocol=protocol: stress.solve(
                stress.Stack(solid), stress.cone(PSI), protocol, fields=False
            )
        )
        ratio = run.curvature / 1e9 / float(row["curvature_GPa"])
        assert run.errors is not None
        yield row["case"], ratio, ratio / (1 + run.errors.steps), seconds


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cones", action="store_true", help="run the 50 published cones too")
    wanted = parser.parse_args()
    list(elastic("quick"))  # compile
    print(f"{'case':28}{'ratio':>9}{'s':>7}{'unknowns':>10}{'iterations':>12}")
    for mesh in ("quick", "fine"):
        for name, ratio, seconds, run in elastic(mesh):
            n = run.estimate.unknowns
            print(f"{name:28}{ratio:9.4f}{seconds:7.2f}{n:10d}{run.iterations:12d}")
    for mesh in ("quick", "fine"):
        run, seconds = plastic(mesh)
        n, C = run.estimate.unknowns, run.curvature / 83.4e9
        print(f"{'plastic cone, ' + mesh:28}{C:9.4f}{seconds:7.2f}{n:10d}{run.iterations:12d}")
        print(f"    {run.errors.words() if run.errors else ''}; {run.estimate.words()}")
    if not wanted.cones:
        return
    if not CONES.exists():
        print("The open data are not beside the project.")
        return
    rows = []
    for case, ratio, corrected, seconds in published():
        rows.append((ratio, corrected))
        print(f"cone {case:23}{ratio:9.4f}{seconds:7.2f}   without steps' error {corrected:.4f}")
    for name, column in zip(("as run", "without steps' error"), np.array(rows).T, strict=True):
        print(f"{name}: mean {column.mean():.4f}, {column.min():.4f} to {column.max():.4f}")


if __name__ == "__main__":
    main()
