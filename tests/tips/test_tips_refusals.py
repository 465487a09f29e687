"""What a tip refuses, with place and remedy in the message."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from drypoint.errors import TipError
from drypoint.tips.area import area, parameter_names, series_from_nm
from drypoint.tips.build import blunted_tip, check_tip, ideal_tip, series_tip, table_tip
from drypoint.tips.build import table_parameters as areas
from drypoint.tips.geometry import Geometry
from drypoint.tips.tip import AreaFunction, Frame, Tip
from drypoint.uncertainty.joint import Joint, single

B = Geometry("Berkovich")
NOTHING = Joint((), np.empty(0), np.empty((0, 0)))

REFUSALS: list[tuple[str, Callable[[], Any], str]] = [
    ("unknown shape", lambda: Geometry("star"), "no shape"),
    ("sphere with an angle", lambda: Geometry("sphere", angle=1.0, radius=1e-6), "has no angle"),
    ("sphere without radius", lambda: ideal_tip("sphere"), "needs its radius"),
    ("cone without angle", lambda: ideal_tip("cone"), "needs its half angle"),
    ("angle in degrees", lambda: ideal_tip("cone", angle=60.0), "between 0 and 90"),
    ("negative radius", lambda: ideal_tip("sphere", radius=-1e-6), "positive length"),
    ("negative uncertainty", lambda: ideal_tip("Vickers", u_angle=-0.1), "from zero up"),
    ("sphere past its equator", lambda: ideal_tip("sphere", radius=1e-6, h_max=2e-6), "equator"),
    ("empty range", lambda: ideal_tip("Vickers", h_min=2e-6, h_max=1e-6), "is empty"),
    ("stiff as nothing", lambda: ideal_tip("Vickers", E_i=0.0), "cannot have E_i"),
    ("rigid", lambda: ideal_tip("Vickers", E_i=np.inf), "cannot have E_i"),
    ("nu above one half", lambda: ideal_tip("Vickers", nu_i=0.6), "cannot have E_i"),
    ("negative u_E_i", lambda: ideal_tip("Vickers", u_E_i=-1.0), "from zero up"),
    ("blunted sphere", lambda: blunted_tip(Geometry("sphere", radius=1e-6)), "cannot be blunted"),
    ("blunted without radius", lambda: blunted_tip(B), "radius of its end"),
    (
        "impossible blunted radius",
        lambda: blunted_tip(
            B, Joint(("tip.radius", "tip.angle"), np.array([-1e-7, 1.1]), np.zeros((2, 2)))
        ),
        "positive length",
    ),
    (
        "series without range",
        lambda: series_tip(B, series_from_nm([24.5]), h_min=0.0, h_max=np.inf),
        "no greatest",
    ),
    ("too many terms", lambda: series_from_nm([1.0] * 10), "cannot have 10"),
    ("covariance of another size", lambda: series_from_nm([1.0, 2.0], np.eye(3)), "2 x 2"),
    (
        "foreign parameters",
        lambda: series_tip(B, single("tip.R", 1.0, 0.0), h_min=1e-9, h_max=1e-6),
        "needs tip.C0",
    ),
    ("knots not rising", lambda: table_tip(B, (2e-8, 1e-8), areas([1e-14, 2e-14])), "rising"),
    ("knot at zero", lambda: table_tip(B, (0.0, 1e-8), areas([0.0, 2e-14])), "above zero"),
    (
        "fewer areas than knots",
        lambda: table_tip(B, (1e-8, 2e-8, 3e-8), areas([1e-14, 2e-14])),
        "needs tip.A1",
    ),
    ("falling table", lambda: table_tip(B, (1e-8, 2e-8), areas([2e-14, 1e-14])), "does not grow"),
    ("negative table", lambda: table_tip(B, (1e-8, 2e-8), areas([-2e-14, 1e-14])), "not positive"),
    ("unknown kind", lambda: AreaFunction("spline", NOTHING), "no area function"),
    ("unknown kind's names", lambda: parameter_names("spline", 3), "no area function"),
    ("frame scale zero", lambda: Frame(force_scale=0.0), "not above zero"),
    ("frame uncertainty", lambda: Frame(u_compliance=-1e-10), "from zero up"),
]


@pytest.mark.parametrize(("make", "words"), [r[1:] for r in REFUSALS], ids=[r[0] for r in REFUSALS])
@pytest.mark.filterwarnings("ignore:invalid value encountered in log")
def test_refused(make: Callable[[], Any], words: str) -> None:
    with pytest.raises(TipError, match=words) as caught:
        make()
    assert caught.value.remedy


def test_a_falling_series_names_the_depth() -> None:
    # dA/dh = 2 * 24.5 h - 2450 is zero at 50 nm; A = 24.5 h (h - 100) is negative below 100 nm.
    falling = series_from_nm([24.5, -2450.0])
    with pytest.raises(TipError, match=r"not positive at a contact depth of 10 nm") as caught:
        series_tip(B, falling, h_min=10e-9, h_max=1e-6, name="worn")
    assert "“worn”" in caught.value.what and "narrow its range" in caught.value.remedy
    series_tip(B, falling, h_min=101e-9, h_max=1e-6)
    # Positive everywhere, but falling around 15 nm: 49 * 15 - 1600 + 3000 / sqrt(15) = -90.
    dip = series_from_nm([24.5, -1600.0, 6000.0])
    with pytest.raises(TipError, match="does not grow with depth at a contact depth of"):
        series_tip(B, dip, h_min=1e-9, h_max=1e-6)


def test_a_hand_made_tip_falls_back_on_its_geometry() -> None:
    tip = Tip("plain", Geometry("Berkovich"), AreaFunction("ideal", NOTHING))
    assert area(tip, {}, 1e-6) == pytest.approx(23.9621e-12, rel=1e-5)
    with pytest.raises(TipError, match=r"needs tip\.angle"):
        check_tip(tip)
    bare = Tip("bare", Geometry("Berkovich"), AreaFunction("blunted", NOTHING))
    with pytest.raises(TipError, match="has no radius"):
        area(bare, {}, 1e-6)
