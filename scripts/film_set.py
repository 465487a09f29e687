"""Makes tests/films/data/fe_layers.csv: finite-element tests on coated solids, for the film room.

    python scripts/film_set.py

Ten films on substrates, stiffness contrast E_f/E_s from 0.2 to 5, each pressed by a rigid cone of
70.3 degrees at five thicknesses for a/t from about 0.1 to 2, and six homogeneous solids for the
factor that a tip's calibration takes up. Elastic-plastic, finite strain (``drypoint.stress``). No
formula of the film analysis takes part. The cases, thicknesses and limits were fixed before the
first run; tests/films/test_films_fe.py holds the limits.
"""

from __future__ import annotations

import csv
import sys
from pathlib import Path

import numpy as np

from drypoint import stress

OUT = Path(__file__).resolve().parents[1] / "tests" / "films" / "data" / "fe_layers.csv"
ANGLE = float(np.radians(70.3))
DEPTH = 250e-9
RATIOS = (0.1, 0.25, 0.5, 1.0, 2.0)
#: E_f, nu_f, Y_f, E_s, nu_s, Y_s in GPa.
CASES = (
    (34.0, 0.30, 0.4, 170.0, 0.22, 5.0),
    (70.0, 0.33, 0.5, 200.0, 0.30, 1.0),
    (72.0, 0.17, 3.0, 170.0, 0.22, 5.0),
    (120.0, 0.34, 1.0, 170.0, 0.22, 5.0),
    (150.0, 0.25, 4.0, 170.0, 0.22, 5.0),
    (240.0, 0.25, 8.0, 170.0, 0.22, 5.0),
    (300.0, 0.25, 10.0, 170.0, 0.22, 5.0),
    (400.0, 0.20, 12.0, 210.0, 0.30, 1.5),
    (300.0, 0.25, 8.0, 72.0, 0.17, 3.0),
    (360.0, 0.20, 10.0, 72.0, 0.33, 1.0),
)
#: Solids that stand for a calibration: glass-like, and metals and ceramics of Y/E 0.002 to 0.04.
BULK = (
    (72.0, 0.17, 3.0),
    (170.0, 0.22, 5.0),
    (210.0, 0.30, 1.0),
    (70.0, 0.33, 0.3),
    (400.0, 0.22, 12.0),
    (120.0, 0.34, 0.5),
)


def pressed(stack: stress.Stack) -> tuple[float, float, float]:
    """Force (N), true contact radius (m) and stiffness (N/m) at the peak."""
    run = stress.solve(
        stack, stress.cone(ANGLE), stress.Protocol.to_depth(DEPTH), errors=False, fields=False
    )
    assert not run.stopped, run.stopped
    seen = stress.as_seen(run)
    return float(run.force[run.peak]), float(run.contact_radius[run.peak]), seen.S


def solid(E: float, nu: float, Y: float) -> stress.Material:
    """A solid that hardens very little."""
    return stress.Material(E=E * 1e9, nu=nu, yield_stress=Y * 1e9, exponent=0.02)


def main() -> int:
    """Write the table; nothing is kept of a set that is not whole."""
    rows = []
    for k, (E, nu, Y) in enumerate(BULK):
        rows.append(
            ("bulk", k + 1, E, nu, Y, E, nu, Y, "", *pressed(stress.Stack(solid(E, nu, Y))))
        )
    for k, (E_f, nu_f, Y_f, E_s, nu_s, Y_s) in enumerate(CASES):
        for ratio in RATIOS:
            t = DEPTH * np.tan(ANGLE) / ratio
            film = stress.Layer(solid(E_f, nu_f, Y_f), t)
            found = pressed(stress.Stack(solid(E_s, nu_s, Y_s), (film,)))
            rows.append(("film", k + 1, E_f, nu_f, Y_f, E_s, nu_s, Y_s, f"{t * 1e9:.4f}", *found))
            print(rows[-1], flush=True)
    with OUT.open("w", encoding="utf-8", newline="") as file:
        file.write("# Made by scripts/film_set.py: finite elements, rigid cone, see there.\n")
        table = csv.writer(file, lineterminator="\n")
        table.writerow(("kind", "case", "E_f_GPa", "nu_f", "Y_f_GPa", "E_s_GPa", "nu_s", "Y_s_GPa",
                        "thickness_nm", "F_N", "a_m", "S_N_per_m"))  # fmt: skip
        table.writerows([*r[:9], *(f"{v:.9g}" for v in r[9:])] for r in rows)
    return 0


if __name__ == "__main__":
    sys.exit(main())
