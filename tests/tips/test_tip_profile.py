"""The equivalent body of revolution against the closed profiles of cone and sphere."""

from __future__ import annotations

import numpy as np
import pytest

from drypoint.contact import profiles as pr
from drypoint.errors import ContactError, TipError
from drypoint.tips.build import blunted_tip, ideal_tip
from drypoint.tips.geometry import Geometry
from drypoint.tips.profile import equivalent_profile

R = np.array([10e-9, 100e-9, 500e-9])


def test_a_pyramid_is_its_equivalent_cone() -> None:
    tip = ideal_tip("Berkovich")
    found = equivalent_profile(tip, 1e-6)
    cone = pr.cone(tip.geometry.equivalent_half_angle)
    np.testing.assert_allclose(found.height(R), cone.height(R), rtol=1e-6)
    np.testing.assert_allclose(found.transform(R), cone.transform(R), rtol=1e-6)


def test_a_sphere_is_a_sphere() -> None:
    found = equivalent_profile(ideal_tip("sphere", radius=2e-6), 1e-6)
    ball = pr.sphere(2e-6)
    np.testing.assert_allclose(found.height(R), ball.height(R), rtol=2e-3)
    np.testing.assert_allclose(found.transform(R), ball.transform(R), rtol=2e-3)


def test_a_worn_pyramid_is_a_blunted_cone() -> None:
    """Deep down the blunted cone of the same radius, but for its round end being a true sphere."""
    tip = blunted_tip(Geometry("Berkovich", radius=100e-9))
    found = equivalent_profile(tip, 1e-6)
    psi = tip.geometry.equivalent_half_angle
    like = pr.blunted_cone(psi, 100e-9)
    np.testing.assert_allclose(found.height(R[1:]), like.height(R[1:]), rtol=0.02)


def test_refusals() -> None:
    punch = ideal_tip("flat punch", radius=1e-6)
    with pytest.raises(TipError, match="no profile"):
        equivalent_profile(punch, 1e-6)
    with pytest.raises(TipError, match="positive depth"):
        equivalent_profile(ideal_tip("Berkovich"), 0.0)
    with pytest.raises(ContactError, match="grow with depth"):
        equivalent_profile(ideal_tip("sphere", radius=1e-7), 1e-6)
