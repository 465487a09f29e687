"""Film modulus from finite-element tests that no formula of the analysis made (data/fe_films.csv).

The elastic solution is for a flat film; a test unloads from a dent at finite slope. On homogeneous
solids the same kind of simulation gives a modulus 1.12 to 1.19 times too high with the true contact
radius (mean 1.145), which a tip's calibration would take up. It is divided out here; the 3 % by
which it differs from solid to solid is the model's own uncertainty in films.infer. 2 % stand for
each contact radius.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from drypoint import films

DATA = np.genfromtxt(
    Path(__file__).parent / "data" / "fe_films.csv", delimiter=",", names=True, skip_header=4
)
FACTOR = 1.145
#: Soft film (72 GPa) on a stiff base (400 GPa) whose dent is mostly elastic: found 31 % too high.
#: The film under the tip is thinner and the strains are large; neither is in the elastic solution.
MISSES = {8}


def analysed(case: int) -> tuple[films.FilmResult, float]:
    """The result for one case and the film's true modulus; records are scaled to one film of 1 um.

    A cone on a film is self-similar: depth, radius and thickness times k leave moduli alone.
    """
    rows = DATA[DATA["case"] == case]
    k = 1000 / rows["thickness_nm"]
    a = rows["contact_radius_nm"] * k * 1e-9
    E = rows["stiffness_N_per_m"] / (2 * rows["contact_radius_nm"] * 1e-9) / FACTOR
    tests = films.FilmTests(a, E, 0.02 * E)
    one = rows[0]
    structure = films.one_film(
        films.sought(100e9),
        films.known(one["nu_f"]),
        films.known(1e-6),
        films.known(one["E_s_GPa"] * 1e9),
        films.known(one["nu_s"]),
    )
    return films.infer(tests, structure), float(one["E_f_GPa"]) * 1e9


def test_nine_of_ten_films_come_back() -> None:
    """Within 5 % or within its 95 % interval, and no other misses than the one named."""
    lost, close = set(), 0
    for case in range(1, 11):
        found, true = analysed(case)
        low, high = found.interval("film.E")
        off = float(found.best[0]) / true - 1
        close += abs(off) < 0.09
        if abs(off) > 0.05 and not low <= true <= high:
            lost.add(case)
    assert lost == MISSES
    assert close >= 8
