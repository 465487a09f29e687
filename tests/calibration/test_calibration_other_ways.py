"""Other ways in: microscopy, cube corner, sphere, sphero-cone, stylus."""

from __future__ import annotations

import calibration_cases as cases
import numpy as np
import pytest

from drypoint.calibration import (
    CalibrationError,
    Form,
    KnownCompliance,
    Reference,
    ReferenceTests,
    areas_from_heights,
    calibrate,
    radius_course,
    rows_from_arrays,
    stylus,
    tip_from_areas,
)
from drypoint.contact import unloading as un
from drypoint.errors import TipError
from drypoint.reduction.options import AnalysisOptions, Options
from drypoint.tips.area import area, surface_area
from drypoint.tips.build import ideal_tip
from drypoint.tips.geometry import Geometry
from drypoint.tips.tip import Bench, Tip


def reference_rows(
    tip: Tip, depths: np.ndarray, C_f: float, noise: float = 0.002
) -> ReferenceTests:
    """Rows at contact depths under any tip: the equations themselves."""
    rng = np.random.default_rng(4)
    A = np.asarray(area(tip, {}, depths))
    S = un.contact_stiffness(un.combined_modulus(72e9, 0.17, tip.E_i, tip.nu_i), A)
    F = 6e9 * A
    C = 1 / S * (1 + 0.002 * rng.standard_normal(len(depths)))
    h = depths + un.epsilon(1.4) * F / S
    ref = Reference("fused silica", 72e9, 0.17)
    return rows_from_arrays(F, h + C_f * F, C + C_f, 1.4, ref, u_h=0.1e-9)


OPTIONS = Options(analysis=AnalysisOptions())


def test_microscopy_of_a_pyramid() -> None:
    """A height map of an ideal three-sided pyramid gives its own area function."""
    n, pixel = 601, 5e-9
    x, y = np.meshgrid(*[(np.arange(n) - n // 2) * pixel] * 2)
    a = np.radians(65.27)
    faces = [x * np.cos(t) + y * np.sin(t) for t in (np.pi / 2, np.pi * 7 / 6, np.pi * 11 / 6)]
    z = np.max(faces, axis=0) / np.tan(a)
    depths = np.linspace(60e-9, 250e-9, 8)
    A, cov = areas_from_heights(z, pixel, depths, u_pixel_rel=0.01, u_z=1e-9)
    ideal = 3 * np.sqrt(3) * np.tan(a) ** 2 * depths**2
    assert pytest.approx(ideal, rel=0.02) == A
    assert np.sqrt(cov[-1, -1]) / A[-1] == pytest.approx(np.hypot(0.02, 2 / 250), rel=0.1)
    tip = tip_from_areas(Geometry("modified Berkovich"), depths, A, covariance=cov, name="M")
    assert float(area(tip, {}, 150e-9)) == pytest.approx(24.494 * 150e-9**2, rel=0.02)
    with pytest.raises(CalibrationError, match="runs out of the map"):
        areas_from_heights(z, pixel, [1e-6])


def test_areas_that_do_not_rise_are_refused() -> None:
    with pytest.raises(TipError, match="does not grow"):
        tip_from_areas(Geometry("Vickers"), [1e-7, 2e-7, 3e-7], [1e-13, 3e-13, 2e-13])
    with pytest.raises(CalibrationError, match="do not make a table"):
        tip_from_areas(Geometry("Vickers"), [1e-7, 2e-7], [1e-13])


def test_common_scale_of_a_table_is_shared() -> None:
    tip = tip_from_areas(
        Geometry("Vickers"), [1e-7, 2e-7], [2.5e-13, 1e-12], u_areas=[0.0, 0.0], u_common_rel=0.03
    )
    cov = tip.area.parameters.cov
    assert cov[0, 1] / np.sqrt(cov[0, 0] * cov[1, 1]) == pytest.approx(1.0)


def test_cube_corner() -> None:
    true = ideal_tip("cube corner")
    bench = Bench(ideal_tip("cube corner"))
    options = Options(analysis=AnalysisOptions(radial_correction=False))
    t = reference_rows(true, np.repeat(np.geomspace(80e-9, 900e-9, 8), 3), 0.2e-6)
    c = calibrate(t, bench, options, KnownCompliance(0.2e-6), Form("ideal"))
    assert np.degrees(c.tip.area.parameters["tip.angle"]) == pytest.approx(35.264, abs=0.1)
    assert c.area(500e-9)[0] / 500e-9**2 == pytest.approx(2.5981, rel=0.01)


def test_sphere_and_its_effective_radius() -> None:
    true = ideal_tip("sphere", radius=5.2e-6)
    bench = Bench(ideal_tip("sphere", radius=5e-6))
    t = reference_rows(true, np.repeat(np.geomspace(20e-9, 800e-9, 9), 3), 0.1e-6)
    c = calibrate(t, bench, OPTIONS, KnownCompliance(0.1e-6), Form("ideal"))
    R = c.tip.area.parameters["tip.radius"]
    assert pytest.approx(5.2e-6, rel=0.005) == R
    course = radius_course(c, tolerance=0.02)
    assert pytest.approx(R, rel=1e-9) == course.R
    assert course.rows_R == pytest.approx(5.2e-6, rel=0.03)
    assert course.findings[0].code == "not the declared radius"
    free = calibrate(t, bench, OPTIONS, KnownCompliance(0.1e-6), Form("table", 4))
    assert pytest.approx(5.2e-6, rel=0.03) == radius_course(free).R


def test_sphere_becomes_a_cone() -> None:
    """Sphero-cone 10 um, 60 deg: effective radius flat, then in proportion to depth."""
    true = ideal_tip("sphero-cone", angle=np.radians(60.0), radius=10e-6)
    bench = Bench(ideal_tip("sphero-cone", angle=np.radians(60.0), radius=9e-6))
    t = reference_rows(true, np.repeat(np.geomspace(50e-9, 8e-6, 14), 3), 0.05e-6)
    c = calibrate(t, bench, OPTIONS, KnownCompliance(0.05e-6), Form("ideal"))
    found = c.tip.area.parameters
    assert found["tip.radius"] == pytest.approx(10e-6, rel=0.01)
    assert np.degrees(found["tip.angle"]) == pytest.approx(60.0, abs=0.3)
    course = radius_course(c)
    assert course.R[0] == pytest.approx(10e-6, rel=0.01) and course.R[-1] > 13e-6


def test_stylus_geometry() -> None:
    """120 deg, 200 um: the sphere goes over into the cone at R (1 - sin 60) = 26.8 um."""
    tip = stylus(u_radius=5e-6, u_full_angle=np.radians(1.0))
    assert tip.geometry.angle == pytest.approx(np.radians(60.0))
    assert tip.geometry.u_angle == pytest.approx(np.radians(0.5))
    h = 1e-6
    assert float(area(tip, {}, h)) == pytest.approx(np.pi * (2 * 200e-6 * h - h * h))
    assert float(surface_area(tip, {}, h)) == pytest.approx(2 * np.pi * 200e-6 * h)
    join = 200e-6 * (1 - np.sin(np.radians(60.0)))
    assert float(area(tip, {}, join)) == pytest.approx(np.pi * (200e-6 * np.cos(np.pi / 3)) ** 2)


def test_what_does_not_go() -> None:
    t = cases.rows(cases.World(), cases.GLASS, np.random.default_rng(0))
    known = KnownCompliance(0.25e-6)
    punch = Bench(ideal_tip("flat punch", radius=1e-6))
    with pytest.raises(CalibrationError, match="one area"):
        calibrate(t, punch, OPTIONS, known, Form("ideal"))
    ball = Bench(ideal_tip("sphere", radius=5e-6))
    with pytest.raises(CalibrationError, match="blunted pyramid"):
        calibrate(t, ball, OPTIONS, known, Form("blunted"))
    radial = Options(analysis=AnalysisOptions(radial_correction=True))
    with pytest.raises(CalibrationError, match="half angle of a cone"):
        calibrate(t, ball, radial, known, Form("table"))
