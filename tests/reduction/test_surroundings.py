"""Flags of film, roughness, thickness, neighbours, edges, and of values far from their series.

Limits are those of ISO 14577-1 and -4 as known second-hand or from memory, or common practice of
the trade; the grounds beside each flag say which.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from drypoint.reduction.grounds import GROUNDS
from drypoint.reduction.options import FlagLimits
from drypoint.reduction.result import Flag
from drypoint.reduction.strays import distances, levels, outlier_flags
from drypoint.reduction.surroundings import (
    Declared,
    Impressions,
    depth_flags,
    diameter_of,
    near_flags,
)

LIMITS = FlagLimits()
#: An impression of a sharp modified Berkovich pyramid 200 nm deep: A_p = 24.4943 h_c^2.
AREA = 24.4943 * (200e-9) ** 2


def codes(flags: list[list[Flag]]) -> list[list[str]]:
    for row in flags:
        for f in row:
            assert f.grounds == GROUNDS[f.code]
            assert f.sentence.endswith(".")
            assert "nan" not in f.sentence
    return [[f.code for f in row] for row in flags]


# --------------------------------------------------------------------------------------- diameter


def test_the_enclosing_circle_against_the_corners() -> None:
    """Corners of the ideal impressions by plane geometry: a three-sided pyramid of face angle t
    has its corners at 2 h tan t from the axis, a four-sided one at sqrt(2) h tan t."""
    for sides, angle, factor, corner in (
        (3, np.radians(65.27), 3 * np.sqrt(3), 2.0),
        (4, np.radians(68.0), 4.0, np.sqrt(2.0)),
        (0, np.radians(70.3), np.pi, 1.0),
    ):
        h = 200e-9
        area = np.array([factor * np.tan(angle) ** 2 * h * h])
        want = 2 * corner * h * np.tan(angle)
        assert diameter_of(area, sides)[0] == pytest.approx(want, rel=1e-12)


# ------------------------------------------------------------------------------- depth and specimen


def at_depth(h: float, declared: Declared, limits: FlagLimits = LIMITS) -> list[str]:
    area = np.array([24.4943 * h * h])
    return codes(depth_flags(np.array([h]), area, 3, declared, limits))[0]


def test_roughness() -> None:
    """h >= 20 Ra: Ra at most 5 % of the depth, ISO 14577-1 (M-hi)."""
    rough = Declared(roughness=10e-9)
    assert at_depth(199e-9, rough) == ["roughness"]
    assert at_depth(201e-9, rough) == []
    assert at_depth(199e-9, Declared(roughness=0.0)) == []
    assert at_depth(199e-9, rough, replace(LIMITS, roughness_ratio=19.0)) == []


def test_film() -> None:
    """h <= 0.1 t for the hardness; a/t <= 1.5 for what is extrapolated to the film's modulus."""
    film = Declared(film=400e-9)
    assert at_depth(39e-9, film) == []
    assert at_depth(41e-9, film) == ["film depth"]
    # a = h sqrt(24.4943 / pi) = 2.7923 h; a / t = 1.5 at h = 214.9 nm.
    assert at_depth(214e-9, film) == ["film depth"]
    assert at_depth(216e-9, film) == ["film depth", "film radius"]
    assert at_depth(216e-9, film, replace(LIMITS, film_radius_ratio=2.0)) == ["film depth"]


def test_thickness_of_the_specimen() -> None:
    """At least 10 h and 3 diameters, whichever is greater: for this shape 3 d = 26.06 h."""
    three_d = 3 * diameter_of(np.array([24.4943]), 3)[0]
    assert three_d == pytest.approx(26.06, abs=0.01)
    h = 1e-6
    assert at_depth(h, Declared(thickness=26.0e-6)) == ["thin specimen"]
    assert at_depth(h, Declared(thickness=26.2e-6)) == []


def test_nothing_declared_nothing_flagged() -> None:
    assert at_depth(1e-9, Declared()) == []


def test_rows_without_an_area_are_judged_by_their_depth() -> None:
    declared = Declared(film=400e-9, thickness=1e-6)
    found = codes(depth_flags(np.array([200e-9]), np.array([np.nan]), 3, declared, LIMITS))
    assert found == [["film depth", "thin specimen"]]


# ----------------------------------------------------------------------------- neighbours and edges


def grid(pitch: float, n: int = 3, area: float = AREA) -> Impressions:
    xy = np.array([(i * pitch, j * pitch) for i in range(n) for j in range(n)])
    d = np.full(n * n, diameter_of(np.array([area]), 3)[0])
    return Impressions([f"T{i}" for i in range(n * n)], xy, d, [""] * (n * n))


@pytest.mark.parametrize(("material", "k"), [("ceramic", 5), ("iron alloy", 5), ("other", 10)])
def test_spacing_by_class_of_material(material: str, k: float) -> None:
    """5 diameters in ceramics, iron and its alloys, 10 in others: ISO 14577-1
    (S, its published preview)."""
    d = diameter_of(np.array([AREA]), 3)[0]
    declared = Declared(material=material)
    assert all(codes(near_flags(grid(0.999 * k * d), declared, LIMITS)))
    assert not any(codes(near_flags(grid(k * d), declared, LIMITS)))


def test_spacing_where_no_class_is_stated_or_a_limit_is_given() -> None:
    d = diameter_of(np.array([AREA]), 3)[0]
    assert all(codes(near_flags(grid(9.9 * d), Declared(), LIMITS)))
    own = replace(LIMITS, spacing_diameters=3.0)
    assert not any(codes(near_flags(grid(3.01 * d), Declared(), own)))


def test_the_larger_impression_counts_and_the_nearest_is_named() -> None:
    d = np.array([1e-6, 4e-6, 1e-6, np.nan])
    xy = np.array([[0.0, 0.0], [15e-6, 0.0], [-6e-6, 0.0], [100e-6, 0.0]])
    them = Impressions(["a", "b", "c", "gone"], xy, d, [""] * 4)
    found = near_flags(them, Declared(material="ceramic"), LIMITS)
    assert codes(found) == [["neighbour near"], ["neighbour near"], [], []]
    assert "impression of b lies 15.00 µm away, 3.8 diameters of 4.00 µm" in found[0][0].sentence
    # One that left an impression of unknown size is a neighbour all the same.
    near = replace_place(them, 3, (18e-6, 0.0))
    assert codes(near_flags(near, Declared(material="ceramic"), LIMITS))[3] == ["neighbour near"]


def replace_place(them: Impressions, i: int, place: tuple[float, float]) -> Impressions:
    xy = them.place.copy()
    xy[i] = place
    return replace(them, place=xy)


def test_other_sites_are_no_neighbours() -> None:
    them = Impressions(["a", "b"], np.zeros((2, 2)), np.array([1e-6, 1e-6]), ["A", "B"])
    assert codes(near_flags(them, Declared(), LIMITS)) == [[], []]
    same = replace(them, site=["A", "A"])
    assert codes(near_flags(same, Declared(), LIMITS)) == [["neighbour near"]] * 2


def test_edges() -> None:
    """At least 3 diameters from an edge, ISO 14577-1 (S, its published preview); beyond its ends an
    edge is as far as its end."""
    edge = Declared(edges=((0.0, 0.0, 10e-6, 0.0),))
    xy = np.array([[5e-6, 2.9e-6], [5e-6, 3.1e-6], [12e-6, 2e-6], [13.1e-6, 0.0]])
    them = Impressions(list("abcd"), xy, np.full(4, 1e-6), ["1", "2", "3", "4"])
    assert codes(near_flags(them, edge, LIMITS)) == [["edge near"], [], ["edge near"], []]


# ---------------------------------------------------------------------------------------- outlier


def judged(x: np.ndarray, u: np.ndarray | None = None, limits: FlagLimits = LIMITS) -> list[int]:
    u = np.zeros(len(x)) if u is None else u
    return np.flatnonzero(distances(x, u, np.ones(len(x), dtype=bool), limits)).tolist()


def series(n: int, seed: int = 1) -> np.ndarray:
    return 9e9 * (1 + 0.01 * np.random.default_rng(seed).standard_normal(n))


def test_a_stray_is_found() -> None:
    x = series(20)
    x[7] *= 1.2
    assert judged(x) == [7]
    assert judged(x, limits=replace(LIMITS, outlier_sigma=50.0)) == []


def test_a_test_that_knows_its_uncertainty_is_judged_by_it() -> None:
    x, u = series(20), np.full(20, 20e6)
    x[7] *= 1.1
    assert judged(x, u) == [7]
    u[7] = 400e6
    assert judged(x, u) == []


def test_few_tests_say_nothing() -> None:
    x = np.r_[series(6), 20e9]
    assert judged(x) == []
    assert judged(x, limits=replace(LIMITS, outlier_tests=7)) == [6]


@pytest.mark.parametrize("share", [0.2, 0.4, 0.5])
def test_two_phases_are_no_outliers(share: float) -> None:
    x = series(40)
    x[: int(40 * share)] *= 2.3
    assert judged(x) == []


def test_equal_values_are_no_outliers() -> None:
    assert judged(np.full(20, 9e9)) == []


def test_false_alarms_of_a_normal_series() -> None:
    """Below one in a hundred tests at every number of tests, by simulation."""
    for n in (8, 12, 20, 50):
        tries = 4000 // n
        hits = sum(len(judged(series(n, seed))) for seed in range(tries))
        assert hits / (n * tries) < 0.01


def test_an_excluded_test_is_judged_but_judges_no_other() -> None:
    x, counted = series(20), np.ones(20, dtype=bool)
    x[:6] = 20e9
    counted[:6] = False
    z = distances(x, np.zeros(20), counted, LIMITS)
    assert np.flatnonzero(z).tolist() == [0, 1, 2, 3, 4, 5]


def test_levels_of_force() -> None:
    F = np.array([3.0, 7.01, 15.0, 3.01, 6.99, 15.1, 2.99]) * 1e-3
    assert levels(F).tolist() == [0, 1, 2, 0, 1, 2, 0]
    assert levels(np.empty(0)).tolist() == []


def test_each_level_is_a_series_and_the_sentence_has_the_numbers() -> None:
    H = np.r_[series(12), 1.5 * series(12, 2)]
    H[5] *= 1.2
    level = np.repeat([0, 1], 12)
    args = ({"H_IT": (1e9, "GPa")}, level, np.ones(24, dtype=bool))
    found = outlier_flags({"H_IT": (H, np.zeros(24))}, *args, LIMITS)
    assert [i for i, c in enumerate(codes(found)) if c] == [5]
    assert "series of 12 tests, taken as one population" in found[5][0].sentence
    assert "robust standard deviations from the median of 9" in found[5][0].sentence
    off = outlier_flags({"H_IT": (H, np.zeros(24))}, *args, replace(LIMITS, outlier=False))
    assert not any(off)
