"""Film modulus from finite-element tests that no formula of the analysis made.

scripts/film_set.py made them.

Fixed before the set was computed: the cases and thicknesses, 2 % for each contact radius, the
factor of a calibration as the median of the homogeneous solids, and the limit: within 5 % or
within the stated 95 % interval for nine of the ten films.
"""

from __future__ import annotations

import csv
import sys
from pathlib import Path

import numpy as np
import pytest

from drypoint import films

DATA = Path(__file__).parent / "data" / "fe_layers.csv"
SCRIPTS = Path(__file__).parents[2] / "scripts"


def rows(kind: str) -> list[dict[str, float]]:
    with DATA.open(encoding="utf-8", newline="") as file:
        table = csv.DictReader(line for line in file if not line.startswith("#"))
        return [
            {k: float(v) for k, v in row.items() if k != "kind" and v}
            for row in table
            if row["kind"] == kind
        ]


def bulk_factors() -> np.ndarray:
    """S/(2 a E*) of the homogeneous solids: 1 for a flat contact."""
    return np.array(
        [
            r["S_N_per_m"] / (2 * r["a_m"]) * (1 - r["nu_f"] ** 2) / (r["E_f_GPa"] * 1e9)
            for r in rows("bulk")
        ]
    )


def analysed(case: int) -> tuple[films.FilmResult, float]:
    """The result for one film and its true modulus (Pa); records are scaled to a film of 1 um.

    A cone on a film is self-similar: depth, radius and thickness times k leave moduli alone.
    """
    mine = [r for r in rows("film") if r["case"] == case]
    one, factor = mine[0], float(np.median(bulk_factors()))
    a = np.array([r["a_m"] * 1e-6 / (r["thickness_nm"] * 1e-9) for r in mine])
    E = np.array([r["S_N_per_m"] / (2 * r["a_m"]) for r in mine]) / factor
    structure = films.one_film(
        films.sought(100e9),
        films.known(one["nu_f"]),
        films.known(1e-6),
        films.known(one["E_s_GPa"] * 1e9),
        films.known(one["nu_s"]),
    )
    return films.infer(films.FilmTests(a, E, 0.02 * E), structure), one["E_f_GPa"] * 1e9


def test_nine_of_ten_films_come_back() -> None:
    lost = []
    for case in range(1, 11):
        found, true = analysed(case)
        low, high = found.interval("film.E")
        off = float(found.best[0]) / true - 1
        if abs(off) > 0.05 and not low <= true <= high:
            lost.append((case, round(100 * off, 1)))
    assert len(lost) <= 1, lost


def test_the_set_covers_what_it_says() -> None:
    """Contrast 0.2 to 5, a/t 0.1 to 2."""
    made = rows("film")
    contrast = [r["E_f_GPa"] / r["E_s_GPa"] for r in made]
    reach = [r["a_m"] / (r["thickness_nm"] * 1e-9) for r in made]
    assert min(contrast) <= 0.2 and max(contrast) >= 5
    assert min(reach) <= 0.12 and max(reach) >= 1.7


def test_the_set_is_what_the_finite_elements_give() -> None:
    """One film of the set computed again."""
    sys.path.insert(0, str(SCRIPTS))
    try:
        import film_set
    finally:
        sys.path.remove(str(SCRIPTS))
    from drypoint import stress

    row = next(r for r in rows("film") if r["case"] == 6 and r["thickness_nm"] < 1500)
    film = film_set.solid(row["E_f_GPa"], row["nu_f"], row["Y_f_GPa"])
    base = film_set.solid(row["E_s_GPa"], row["nu_s"], row["Y_s_GPa"])
    stack = stress.Stack(base, (stress.Layer(film, row["thickness_nm"] * 1e-9),))
    for name, value in film_set.looked_at(film_set.tested(stack)).items():
        assert value == pytest.approx(row[name], rel=0.01), name
