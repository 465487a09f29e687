"""Pile-up and sink-in on films: the size in numbers, counted, and in words."""

from __future__ import annotations

import numpy as np
import pytest

from drypoint import films
from drypoint.films.pileup import AREA, AreaSize

GPA, UM = 1e9, 1e-6
A = np.geomspace(0.1, 2, 12) * UM
PSI = float(np.radians(70.3))


def some(n: int = 12) -> films.FilmTests:
    return films.FilmTests(A[:n], np.full(n, 200 * GPA), np.full(n, 2 * GPA), A[:n] / 3)


def test_size_is_known_for_pyramids_only() -> None:
    d = np.full(12, 0.9)
    assert films.area_size(d, 0 * d, A / UM, np.nan) is None
    assert films.area_size(d, 0 * d, A / UM, np.radians(42.3)) is None
    size = films.area_size(d, 0 * d, A / UM, PSI)
    assert size is not None and np.all(size.known)
    assert np.all(size.low < 1) and np.all(size.high > 1.3)
    assert size.high[-1] > size.high[0]  # pressed against the base


def test_scatter_of_single_tests_is_smoothed() -> None:
    """160 tests, one wild: the range does not move; what is not known counts as no pile-up."""
    rng = np.random.default_rng(1)
    x = np.sort(rng.uniform(0.1, 2, 160))
    excess = np.where(x > 1, 0.08, 0.0)
    calm = films.area_size(np.full(160, 0.7), excess, x, PSI)
    wild = excess.copy()
    wild[40] = 0.4
    seen = films.area_size(np.full(160, 0.7), wild, x, PSI)
    assert calm is not None and seen is not None
    np.testing.assert_allclose(calm.low, seen.low)
    assert calm.low[-1] < 0.7 < 0.9 < calm.low[0]
    gap = films.area_size(np.array([0.9, np.nan]), np.zeros(2), np.ones(2), PSI)
    assert gap is not None and gap.known.tolist() == [True, False]
    assert gap.low[1] == gap.high[1] == 1


def test_areas_put_in_place() -> None:
    """E_r goes with one over the root of the area [oliver1992]; of an elastic tip only E_r does."""
    t = some()
    ratio = np.full(12, 1.21)
    rigid = films.with_areas(t, ratio)
    np.testing.assert_allclose(rigid.E_star, t.E_star / 1.1)
    np.testing.assert_allclose(rigid.radius, t.radius * 1.1)
    assert rigid.depth is not None and t.depth is not None
    np.testing.assert_allclose(rigid.depth, t.depth * 1.1)
    tip = 1 / (1146 * GPA)
    E_r = 1 / (1 / t.E_star + tip)
    elastic = films.with_areas(t, ratio, E_r)
    np.testing.assert_allclose(1 / elastic.E_star + tip, 1.1 / E_r)
    back = films.with_areas(elastic, 1 / ratio, E_r / 1.1)
    np.testing.assert_allclose(back.E_star, t.E_star)
    with pytest.raises(films.FilmError, match="above the indenter's own"):
        films.with_areas(t, np.full(12, 1e-3), E_r)


def test_counted_as_a_shared_input() -> None:
    """Middle of the range, and the range as one rectangular input (GUM 4.3.7) of all tests."""
    t = some()
    size = AreaSize(np.full(12, 0.9), np.full(12, 1.4), np.ones(12, dtype=bool))
    counted = films.count_areas(t, size)
    np.testing.assert_allclose(counted.E_star, t.E_star / np.sqrt(size.middle))
    i = counted.inputs.index(AREA)
    assert counted.inputs.sd[i] == pytest.approx(1 / np.sqrt(3))
    u = counted.jac_E[:, i] * counted.inputs.sd[i] / counted.E_star
    np.testing.assert_allclose(np.abs(u), np.log(1.4 / 0.9) / 4 / np.sqrt(3), rtol=0.01)
    np.testing.assert_allclose(counted.u_random / counted.E_star, t.u_random / t.E_star)
    hard = films.HardnessTests(A / UM, np.full(12, 5 * GPA), np.full(12, 0.1 * GPA))
    after = films.count_areas_hardness(hard, size)
    np.testing.assert_allclose(after.H, 5 * GPA / size.middle)
    np.testing.assert_allclose(after.jac[:, -1], -after.H * size.half)


def test_pile_up_is_a_part_of_the_result() -> None:
    t = some()
    s = films.one_film(
        films.sought(100 * GPA), films.known(0.25), films.known(UM), films.known(170 * GPA),
        films.known(0.2),
    )  # fmt: skip
    size = AreaSize(np.full(12, 0.8), np.full(12, 1.4), np.ones(12, dtype=bool))
    without, with_it = films.infer(t, s), films.infer(films.count_areas(t, size), s)
    assert with_it.u[0] > without.u[0]
    assert AREA in with_it.inputs.names


def test_words() -> None:
    few = np.array([0.5, 0.6])
    assert films.pile_up_remarks(few) == ()
    soft = films.pile_up_remarks(np.array([0.8, 0.6]), np.array([0.25, 0.5]), None, True)
    assert len(soft) == 2 and "1 of 2" in soft[0] and "harder substrate" in soft[1]
    assert len(films.pile_up_remarks(np.array([0.8]), np.array([0.9]))) == 2
    sunk = films.pile_up_remarks(few, None, np.array([0.0, 0.08]), False)
    assert "sinks in" in sunk[0] and "1 of 2" in sunk[0]
    size = AreaSize(np.array([0.9]), np.array([1.44]), np.array([True]))
    assert "0.90 to 1.44 times" in films.size_words(size)
    assert "\N{MINUS SIGN}31 % to +11 %" in films.size_words(size)
