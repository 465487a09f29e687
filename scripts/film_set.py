"""Makes tests/films/data/fe_layers.csv and fe_layer_records.csv: finite-element tests on coated
solids, for the film room and for the size of pile-up.

    python scripts/film_set.py

Each solid is pressed by a rigid cone of 70.3 degrees (finite strain, ``drypoint.stress``). No
formula of the film analysis takes part. Five sets:

- ``bulk``: six homogeneous solids, for the factor that a tip's calibration takes up;
- ``film``: ten films on substrates, E_f/E_s from 0.2 to 5, at five thicknesses for a/t from about
  0.1 to 2; cases, thicknesses and limits were fixed before the first run
  (tests/films/test_films_fe.py);
- ``first`` and ``second``: sixteen other films, some of which harden, with which in view the bounds
  of ``drypoint.contact.pile_up`` and the error of the elastic solution were set;
- ``third``: ten more, made after both, and looked at once.
"""

from __future__ import annotations

import csv
import sys
from pathlib import Path

import numpy as np

from drypoint import stress

DATA = Path(__file__).resolve().parents[1] / "tests" / "films" / "data"
OUT, RECORDS = DATA / "fe_layers.csv", DATA / "fe_layer_records.csv"
ANGLE = float(np.radians(70.3))
DEPTH = 250e-9
#: Depth times tan of the angle, over thickness.
RATIOS, FEWER = (0.1, 0.25, 0.5, 1.0, 2.0), (0.15, 0.5, 1.0, 1.8)
#: Film, then substrate: E in GPa, nu, yield stress in GPa. They harden with an exponent of 0.02.
CASES = (
    ((34.0, 0.30, 0.4), (170.0, 0.22, 5.0)),
    ((70.0, 0.33, 0.5), (200.0, 0.30, 1.0)),
    ((72.0, 0.17, 3.0), (170.0, 0.22, 5.0)),
    ((120.0, 0.34, 1.0), (170.0, 0.22, 5.0)),
    ((150.0, 0.25, 4.0), (170.0, 0.22, 5.0)),
    ((240.0, 0.25, 8.0), (170.0, 0.22, 5.0)),
    ((300.0, 0.25, 10.0), (170.0, 0.22, 5.0)),
    ((400.0, 0.20, 12.0), (210.0, 0.30, 1.5)),
    ((300.0, 0.25, 8.0), (72.0, 0.17, 3.0)),
    ((360.0, 0.20, 10.0), (72.0, 0.33, 1.0)),
)
#: The same with the exponent of hardening.
FIRST = (
    ((70, 0.33, 0.2, 0.2), (170, 0.28, 6, 0.02)),
    ((120, 0.34, 0.4, 0.3), (70, 0.2, 3, 0.02)),
    ((80, 0.42, 0.25, 0.1), (170, 0.22, 5, 0.02)),
    ((200, 0.3, 2, 0.1), (200, 0.3, 1, 0.2)),
    ((450, 0.2, 15, 0.02), (200, 0.3, 0.8, 0.2)),
    ((250, 0.25, 6, 0.02), (110, 0.34, 0.8, 0.1)),
    ((150, 0.2, 6, 0.02), (70, 0.33, 0.15, 0.1)),
    ((100, 0.25, 3, 0.02), (400, 0.22, 12, 0.02)),
    ((5, 0.35, 0.15, 0.1), (72, 0.17, 3, 0.02)),
    ((600, 0.12, 25, 0.02), (210, 0.3, 1.2, 0.1)),
)
SECOND = (
    ((300, 0.2, 5, 0.1), (130, 0.28, 2, 0.1)),
    ((60, 0.3, 1, 0.02), (130, 0.28, 5, 0.1)),
    ((150, 0.3, 0.8, 0.4), (150, 0.3, 4, 0.02)),
    ((220, 0.22, 9, 0.05), (170, 0.22, 5, 0.02)),
    ((130, 0.3, 3, 0.2), (72, 0.17, 3, 0.02)),
    ((500, 0.15, 20, 0.1), (130, 0.33, 0.3, 0.2)),
)
THIRD = (
    ((45, 0.3, 0.6, 0.1), (170, 0.22, 5, 0.02)),
    ((90, 0.25, 2, 0.05), (210, 0.3, 1.5, 0.1)),
    ((110, 0.35, 0.3, 0.15), (72, 0.17, 3, 0.02)),
    ((140, 0.28, 5, 0.02), (140, 0.3, 2, 0.05)),
    ((180, 0.3, 3, 0.25), (72, 0.17, 3, 0.02)),
    ((260, 0.22, 7, 0.1), (170, 0.22, 5, 0.02)),
    ((330, 0.2, 11, 0.05), (200, 0.3, 1, 0.15)),
    ((420, 0.18, 14, 0.02), (120, 0.32, 1.2, 0.1)),
    ((220, 0.25, 1.2, 0.1), (400, 0.22, 12, 0.02)),
    ((60, 0.2, 2.5, 0.02), (70, 0.33, 0.25, 0.1)),
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
NUMBERS = ("F_N", "a_m", "S_N_per_m", "depth_ratio", "work_ratio", "loading_ratio", "area_ratio")
NAMES = ("kind", "case", "E_f_GPa", "nu_f", "Y_f_GPa", "n_f", "E_s_GPa", "nu_s", "Y_s_GPa", "n_s",
         "thickness_nm", *NUMBERS)  # fmt: skip


def solid(E: float, nu: float, Y: float, exponent: float = 0.02) -> stress.Material:
    """A solid by modulus (GPa), Poisson's ratio, yield stress (GPa) and hardening exponent."""
    return stress.Material(E=E * 1e9, nu=nu, yield_stress=Y * 1e9, exponent=exponent)


def tested(stack: stress.Stack, friction: float = 0.0) -> stress.Solution:
    """One test: pressed to the depth and withdrawn."""
    run = stress.solve(
        stack, stress.cone(ANGLE), stress.Protocol.to_depth(DEPTH),
        friction=friction, errors=False, fields=False,
    )  # fmt: skip
    if run.stopped:
        raise SystemExit(run.stopped)
    return run


def looked_at(run: stress.Solution) -> dict[str, float]:
    """Force (N), true contact radius (m) and stiffness (N/m) at the peak; h_p/h_max, W_elast over
    W_total, work of loading over F h, true over assumed projected area."""
    seen, top = stress.as_seen(run), run.peak + 1
    h, F = np.append(0.0, run.depth[:top]), np.append(0.0, run.force[:top])
    found = (
        F[-1], run.contact_radius[run.peak], seen.S, run.depth[-1] / h[-1],
        1 - run.plastic_work_ratio, np.trapezoid(F, h) / (F[-1] * h[-1]),
        seen.true_area / seen.area,
    )  # fmt: skip
    return dict(zip(NUMBERS, map(float, found), strict=True))


def main() -> int:
    """Write both tables; nothing is kept of a set that is not whole."""
    rows: list[tuple[object, ...]] = []
    records: list[tuple[object, ...]] = []

    def one(kind: str, k: int, film: tuple[float, ...], base: tuple[float, ...], t: float) -> None:
        layers = (stress.Layer(solid(*film), t),) if t else ()
        run = tested(stress.Stack(solid(*base), layers))
        stated = (*film, 0.02)[:4], (*base, 0.02)[:4]
        thick = f"{t * 1e9:.4f}" if t else ""
        found = (f"{v:.7g}" for v in looked_at(run).values())
        rows.append((kind, k, *stated[0], *stated[1], thick, *found))
        for j, (h, F) in enumerate(zip(run.depth, run.force, strict=True)):
            back = int(j > run.peak)
            records.append((kind, k, thick, back, f"{h * 1e9:.5f}", f"{F * 1e3:.7f}"))
        print(*rows[-1], flush=True)

    for k, bulk in enumerate(BULK):
        one("bulk", k + 1, bulk, bulk, 0.0)
    sets = (
        ("film", CASES, RATIOS),
        ("first", FIRST, FEWER),
        ("second", SECOND, FEWER),
        ("third", THIRD, FEWER),
    )
    for kind, cases, ratios in sets:
        for k, (film, base) in enumerate(cases):
            for ratio in ratios:
                one(kind, k + 1, film, base, DEPTH * float(np.tan(ANGLE)) / ratio)
    _write(OUT, rows, NAMES)
    _write(RECORDS, records, ("kind", "case", "thickness_nm", "unloading", "h_nm", "F_mN"))
    return 0


def _write(path: Path, rows: list[tuple[object, ...]], names: tuple[str, ...]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write("# Made by scripts/film_set.py: finite elements, rigid cone, see there.\n")
        table = csv.writer(file, lineterminator="\n")
        table.writerow(names)
        table.writerows(rows)


if __name__ == "__main__":
    sys.exit(main())
