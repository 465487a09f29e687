"""Tails against SciPy and against draws."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from drypoint.uncertainty.propagation import coverage_factor
from drypoint.uncertainty.tails import Sum, dof_of_factor, range_factor, range_sf


@given(st.floats(1, 200), st.floats(0.5, 0.999))
def test_one_part_is_student(dof: float, level: float) -> None:
    assert Sum(2.0, dof).factor(level) == pytest.approx(coverage_factor(dof, level))
    assert dof_of_factor(coverage_factor(dof, level), level) == pytest.approx(dof, rel=1e-5)
    assert Sum(3.0, np.inf, 4.0).factor(level) == pytest.approx(coverage_factor(np.inf, level))


@pytest.mark.parametrize(
    ("ua", "na", "ub", "nb"), [(1, 1, 1, np.inf), (1, 2, 3, 5), (2, 4, 1, np.inf)]
)
def test_two_parts_against_draws(ua: float, na: float, ub: float, nb: float) -> None:
    rng = np.random.default_rng(0)
    n = 400_000
    b = rng.standard_normal(n) if np.isinf(nb) else rng.standard_t(nb, n)
    draws = np.abs(ua * rng.standard_t(na, n) + ub * b)
    total = Sum(ua, na, ub, nb)
    assert np.mean(draws <= total.factor(0.95) * total.u) == pytest.approx(0.95, abs=0.002)
    assert 2 * total.sf(2.0) == pytest.approx(np.mean(draws > 2.0), abs=0.004)


@pytest.mark.parametrize(("groups", "dof"), [(2, 3.0), (3, 2.0), (3, 10.0), (6, 20.5), (4, np.inf)])
def test_studentized_range(groups: int, dof: float) -> None:
    """Against scipy.stats.studentized_range (C); q(0.95; 3, 10) = 3.877 in tables (M-hi)."""
    q = range_factor(0.95, groups, dof)
    assert stats.studentized_range.sf(q, groups, min(dof, 1e5)) == pytest.approx(0.05, abs=1e-4)
    assert range_sf(q, groups, dof) == pytest.approx(0.05, abs=1e-8)
    if (groups, dof) == (3, 10.0):
        assert q == pytest.approx(3.877, abs=1e-3)
