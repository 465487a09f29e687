from __future__ import annotations

import pytest

from drypoint.simulation import Creep, Law, Truth
from drypoint.tips.build import blunted_tip
from drypoint.tips.geometry import Geometry


@pytest.fixture
def truth() -> Truth:
    """An invented glass under a blunted tip, without any disturbance."""
    tip = blunted_tip(Geometry("modified Berkovich", radius=80e-9), name="B1")
    return Truth(
        tip=tip,
        E=Law.constant(72e9),
        H=Law.constant(9.2e9),
        nu=0.17,
        m=1.3,
        creep=Creep(0.004),
    )
