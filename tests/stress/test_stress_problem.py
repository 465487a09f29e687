"""Yield stress from hardness."""

from __future__ import annotations

import numpy as np
import pytest

import drypoint.stress as stress
from drypoint.errors import StressError

PSI = float(np.radians(70.3))


@pytest.mark.parametrize(("E", "H"), [(72e9, 9.2e9), (200e9, 2.6e9)])
def test_the_yield_stress_gives_the_hardness_back(E: float, H: float) -> None:
    """A glass-like and a steel-like solid, pressed: within 3 % of the hardness asked for."""
    Y = stress.yield_from_hardness(H, E, 0.2)
    run = stress.solve(
        stress.Stack(stress.Material(E, 0.2, Y)), stress.cone(PSI),
        stress.Protocol.to_depth(1e-7, unload=False), fields=False, errors=False,
    )  # fmt: skip
    assert run.hardness == pytest.approx(H, rel=0.03)


def test_metals_by_the_rule_of_thumb_and_glasses_below_it() -> None:
    """Tabor: H is near 2.6 to 3 Y for metals (common practice); far less where E/Y is small."""
    assert 2.5 < 1e9 / stress.yield_from_hardness(1e9, 200e9, 0.3) < 3.0
    ratios = [H / stress.yield_from_hardness(H, 200e9, 0.3) for H in np.geomspace(1e9, 34e9, 20)]
    assert ratios[-1] < 1.7
    yields = [stress.yield_from_hardness(H, 200e9, 0.3) for H in np.geomspace(1e7, 34e9, 50)]
    assert np.all(np.diff(yields) > 0)


def test_a_hardness_that_no_solid_has() -> None:
    with pytest.raises(StressError, match="hardly"):
        stress.yield_from_hardness(50e9, 200e9, 0.3)
