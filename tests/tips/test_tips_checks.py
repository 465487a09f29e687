"""Geometry constants of the usual indenters, one table: source and mark beside each value."""

from __future__ import annotations

import numpy as np
import pytest

from drypoint.tips.area import area, area_slope, effective_radius, series_from_nm, surface_area
from drypoint.tips.build import ideal_tip, series_tip
from drypoint.tips.geometry import PYRAMIDS, Geometry

SOURCE = "plane geometry; rounded numbers agree with ISO 14577-1 from memory"
# name, shape, angle in degrees (None: nominal), A_p/h^2, A_s/h^2, equivalent half angle, mark
ROWS = [
    ("Vickers", "Vickers", None, 24.5042, 26.4287, 70.300, "C"),
    ("Berkovich", "Berkovich", None, 23.9621, 26.4328, 70.095, "C"),
    ("modified Berkovich", "modified Berkovich", None, 24.4943, 26.9676, 70.296, "C"),
    ("textbook Berkovich", "Berkovich", 65.3, 24.5620, 27.0355, 70.321, "C"),
    ("cube corner", "cube corner", None, 2.5981, 4.5000, 42.283, "C"),
]


@pytest.mark.parametrize(
    ("shape", "angle", "projected", "surface", "cone", "mark"),
    [r[1:] for r in ROWS],
    ids=[r[0] for r in ROWS],
)
def test_geometry_constants(
    shape: str, angle: float | None, projected: float, surface: float, cone: float, mark: str
) -> None:
    tip = ideal_tip(shape, angle=None if angle is None else float(np.radians(angle)))
    h = 250e-9
    where = (SOURCE, mark)
    assert area(tip, {}, h) / h**2 == pytest.approx(projected, abs=6e-5), where
    assert surface_area(tip, {}, h) / h**2 == pytest.approx(surface, abs=6e-5), where
    assert np.degrees(tip.geometry.equivalent_half_angle) == pytest.approx(cone, abs=6e-4), where
    assert area_slope(tip, {}, h) == pytest.approx(2 * projected * h, rel=1e-5), where
    # The types' own constants say the same as the area functions.
    assert tip.geometry.projected_coefficient == pytest.approx(projected, abs=6e-5)
    assert tip.geometry.surface_ratio * projected == pytest.approx(surface, abs=3e-4)


def test_surface_against_the_closed_formulas() -> None:
    h = 1e-6
    for shape, (sides, degrees) in PYRAMIDS.items():
        a = np.radians(degrees)
        exact = {
            3: 3 * np.sqrt(3) * np.tan(a) / np.cos(a) * h * h,
            4: 4 * np.sin(a) / np.cos(a) ** 2 * h * h,
        }[sides]
        assert surface_area(ideal_tip(shape), {}, h) == pytest.approx(exact, rel=1e-13)


def test_exact_shapes() -> None:
    R = 5e-6
    ball = ideal_tip("sphere", radius=R)
    assert ball.area.h_max == R
    assert area(ball, {}, R) == pytest.approx(np.pi * R * R, rel=1e-14)
    assert surface_area(ball, {}, R) == pytest.approx(2 * np.pi * R * R, rel=1e-14)
    assert np.isnan(area(ball, {}, 1.01 * R))
    punch = ideal_tip("flat punch", radius=R)
    np.testing.assert_allclose(area(punch, {}, [0.0, 1e-6]), np.pi * R * R)
    np.testing.assert_allclose(surface_area(punch, {}, [0.0, 1e-6]), np.pi * R * R)
    np.testing.assert_array_equal(area_slope(punch, {}, [0.0, 1e-6]), 0)
    cone = ideal_tip("cone", angle=float(np.pi / 4))
    assert area(cone, {}, 1e-6) == pytest.approx(np.pi * 1e-12, rel=1e-14)
    assert surface_area(cone, {}, 1e-6) == pytest.approx(np.pi * np.sqrt(2) * 1e-12, rel=1e-14)


def test_sphero_cone_by_solid_of_revolution() -> None:
    """Both areas against numbers from the profile r(z) itself."""
    R, psi, h = 2e-6, float(np.radians(60)), 3e-6
    tip = ideal_tip("sphero-cone", radius=R, angle=psi)
    h_t = R * (1 - np.sin(psi))
    z = np.concatenate([h_t * np.linspace(0, 1, 4000) ** 2, np.linspace(h_t, h, 4000)[1:]])
    r = np.where(z <= h_t, np.sqrt((2 * R - z) * z), R * np.cos(psi) + (z - h_t) * np.tan(psi))
    band = np.pi * (r[1:] + r[:-1]) * np.hypot(np.diff(r), np.diff(z))
    assert area(tip, {}, h) == pytest.approx(np.pi * r[-1] ** 2, rel=1e-12)
    assert surface_area(tip, {}, h) == pytest.approx(band.sum(), rel=1e-6)
    assert effective_radius(tip, {}, h_t / 2) == pytest.approx(R, rel=1e-13)


def test_area_function_of_1992_in_nanometres() -> None:
    """A = 24.5 h^2 + C1 h + ... (Oliver & Pharr 1992, M-hi): nm in, SI out, and worked by hand."""
    c = [24.5, 800.0, 3000.0, 100.0]
    tip = series_tip(Geometry("Berkovich"), series_from_nm(c), h_min=1e-9, h_max=1e-6)
    by_hand = 24.5 * 256.0**2 + 800.0 * 256 + 3000.0 * 16 + 100.0 * 4
    assert area(tip, {}, 256e-9) == pytest.approx(by_hand * 1e-18, rel=1e-14)
    face = np.sin(np.radians(65.03))
    assert surface_area(tip, {}, 256e-9) == pytest.approx(by_hand * 1e-18 / face, rel=1e-14)
