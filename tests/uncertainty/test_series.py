"""Series and bins: no double counting, honest small numbers, coverage."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drypoint.errors import UncertaintyError
from drypoint.uncertainty.bins import binned
from drypoint.uncertainty.joint import Joint, join, single
from drypoint.uncertainty.nested import mean_variance
from drypoint.uncertainty.propagation import coverage_factor
from drypoint.uncertainty.series import series

JOINT = join([single("tip.C0", 24.5, 0.2), single("nu", 0.3, 0.02)])
NONE = Joint((), np.empty(0), np.empty((0, 0)))


def flat(n: int) -> np.ndarray:
    return np.tile([0.5, 2.0], (n, 1))


def plain(x: np.ndarray, ur: float = 0.0, **kw: object) -> object:
    return series(x, np.full(x.size, ur), np.zeros((x.size, 0)), NONE, **kw)


def test_a_series_by_hand() -> None:
    x = np.array([9.0, 10.0, 11.0, 10.0])
    r = series(x, np.full(4, 0.5), flat(4), JOINT)
    assert r.mean == 10 and r.s == pytest.approx(np.sqrt(2 / 3))
    assert r.u_type_a == pytest.approx(np.sqrt(2 / 3) / 2) and r.dof_type_a == 3
    assert r.u_systematic == pytest.approx(np.hypot(0.5 * 0.2, 2 * 0.02))
    assert r.u == pytest.approx(np.hypot(r.u_type_a, r.u_systematic))
    assert r.own == pytest.approx(np.sqrt(2 / 3 - 0.25))
    assert r.dof == pytest.approx(3 * (r.u / r.u_type_a) ** 4, rel=0.15)  # Welch-Satterthwaite
    assert coverage_factor(r.dof) == pytest.approx(r.k)


@given(st.integers(0, 999), st.floats(1e-9, 1e9))
def test_units_and_order(seed: int, scale: float) -> None:
    rng = np.random.default_rng(seed)
    n = int(rng.integers(2, 30))
    x, ur, j = rng.normal(5, 1, n), rng.uniform(0, 1, n), rng.normal(size=(n, 2))
    day = rng.integers(0, 3, n)
    a = series(x, ur, j, JOINT, day=day)
    o = rng.permutation(n)
    b = series(x[o] * scale, ur[o] * scale, j[o] * scale, JOINT, day=day[o])
    for name in ("mean", "s", "u", "own", "expanded", "u_systematic"):
        assert getattr(b, name) == pytest.approx(getattr(a, name) * scale, rel=1e-9, abs=1e-12)
    assert b.dof == pytest.approx(a.dof)


@given(st.floats(0.1, 10))
def test_the_systematic_part_does_not_shrink(u_sys: float) -> None:
    joint = single("beta", 1.0, u_sys)
    rng = np.random.default_rng(0)
    for n in (10, 1000, 100_000):
        r = series(rng.normal(0, 1, n), np.zeros(n), np.ones((n, 1)), joint)
        assert r.u >= u_sys
    assert r.u == pytest.approx(u_sys, rel=1e-2) and r.k == pytest.approx(1.96, abs=0.01)


def test_one_and_two_tests() -> None:
    one = plain(np.array([5.0]), 0.3)
    assert one.u == pytest.approx(0.3) and np.isnan(one.s) and "One test only" in one.notes[0]
    two = plain(np.array([5.0, 5.1]), 0.3)
    assert two.k == pytest.approx(12.706, abs=1e-3)
    assert any("one degree of freedom" in n for n in two.notes)
    assert any("spread less" in n for n in two.notes) and not two.own_resolved and two.own == 0


def test_missing_values_are_counted_and_strays_kept() -> None:
    x = np.array([1.0, 1.1, np.nan, 0.9, 1.05, 0.95, 9.0])
    r = plain(x)
    assert (r.n, r.missing, r.strays) == (6, 1, (6,))
    assert r.mean == pytest.approx(np.nanmean(x))
    for method in ("huber", "median"):
        assert plain(x, method=method).mean == pytest.approx(1.02, abs=0.05)


def test_what_excludes_itself_is_refused() -> None:
    x = np.arange(4.0)
    for kw in (
        {"method": "huber", "day": [0, 0, 1, 1]},
        {"weights": np.ones(4), "group": [0, 0, 1, 1]},
        {"method": "mode"},
        {"group": [0, 1]},
        {"weights": np.array([-1.0, 1, 1, 1])},
    ):
        with pytest.raises(UncertaintyError):
            plain(x, **kw)
    with pytest.raises(UncertaintyError, match="No test"):
        plain(np.full(3, np.nan))


def test_between_day_is_the_analysis_of_variance_of_gum_h5() -> None:
    """JCGM 100 H.5: means of 5 tests on 10 days; u = s_a/sqrt(K), F test there 2.25 (M-med)."""
    rng = np.random.default_rng(1)
    day = np.repeat(np.arange(10), 5)
    x = rng.normal(0, 1, 50) + np.repeat(rng.normal(0, 2, 10), 5)
    means = x.reshape(10, 5).mean(axis=1)
    r = plain(x, day=day)
    assert r.u_type_a == pytest.approx(means.std(ddof=1) / np.sqrt(10)) and r.dof_type_a == 9
    within = np.mean(x.reshape(10, 5).var(axis=1, ddof=1))
    assert r.components["day"] ** 2 == pytest.approx(means.var(ddof=1) - within / 5)
    assert r.carrier == "day" and any("days differ" in n for n in r.notes)


def test_positions_nested_in_days() -> None:
    rng = np.random.default_rng(4)
    position = np.repeat(np.tile([0, 1, 2], 2), 6)
    day = np.repeat([0, 1], 18)
    per_position = np.repeat(rng.normal(0, 3, 6), 6)
    v = mean_variance(per_position + rng.normal(0, 0.1, 36), position, day)
    assert v.level in ("day", "position") and v.variance > 0.2
    assert v.components["test"] == pytest.approx(0.1, rel=0.4)


@pytest.mark.parametrize(("n", "size"), [(2, 1.0), (2, 10.0), (3, 5.0), (5, 1.0), (20, 2.0)])
def test_series_covers(n: int, size: float) -> None:
    """1000 seeds, systematic inputs redrawn; four binomial deviations are 0.0275.

    Few tests beside a systematic part of like size: not below; above by four points at most.
    """
    rng = np.random.default_rng(n)
    reps, own, ur = 1000, 1.0, 0.6
    sens = size * flat(n)
    shift = (JOINT.draw(rng, reps) - JOINT.mean) @ sens[0]
    x = shift[:, None] + own * rng.normal(size=(reps, n)) + ur * rng.normal(size=(reps, n))
    hit = own_hit = 0
    for row in x:
        r = series(row, np.full(n, ur), sens, JOINT)
        hit += abs(r.mean) < r.expanded
        own_hit += r.own_interval[0] <= own <= r.own_interval[1]
    assert 0.95 - 0.0275 < hit / reps < 0.99
    assert abs(own_hit / reps - 0.95) < 0.0275


def test_a_position_for_every_test_is_no_level() -> None:
    x = np.array([1.0, 2.0, 4.0])
    r = plain(x, group=["a", "b", "c"])
    assert r.carrier == "test" and r.components == {"test": pytest.approx(x.std(ddof=1))}
    assert r.u_type_a == pytest.approx(x.std(ddof=1) / np.sqrt(3))


def test_clustered_series_covers() -> None:
    """600 seeds, 6 positions of 4; sized for the between-position part to be there or not."""
    rng = np.random.default_rng(7)
    position = np.repeat(np.arange(6), 4)
    for between in (0.0, 1.0):
        x = rng.normal(size=(600, 24)) + between * np.repeat(rng.normal(size=(600, 6)), 4, axis=1)
        hit = [abs(r.mean) < r.expanded for r in (plain(row, group=position) for row in x)]
        assert 0.925 < np.mean(hit) < 0.985


def test_robust_intervals_cover_and_have_the_efficiency_stated() -> None:
    x = np.random.default_rng(3).normal(size=(700, 25))
    spread = {}
    for method in ("mean", "huber", "median"):
        got = [plain(row, method=method) for row in x]
        spread[method] = np.var([r.mean for r in got])
        assert 0.91 < np.mean([abs(r.mean) < r.expanded for r in got]) < 0.975
    assert spread["mean"] / spread["huber"] == pytest.approx(0.95, abs=0.04)
    assert spread["mean"] / spread["median"] == pytest.approx(0.64, abs=0.06)


def test_bins_count_tests_not_rows() -> None:
    rng = np.random.default_rng(0)
    test = np.repeat(np.arange(4), 10)
    depth = np.tile(np.linspace(10, 100, 10), 4) * 1e-9
    x = np.repeat(rng.normal(5, 1, 4), 10)
    out = binned(
        depth,
        x,
        np.full(40, 0.1),
        np.zeros((40, 0)),
        NONE,
        np.array([0, 50, 100, 200]) * 1e-9,
        test=test,
    )
    assert [b.result.n if b.result else 0 for b in out] == [4, 4, 4]
    assert out[0].result and out[0].result.mean == pytest.approx(x[::10].mean())
    assert out[0].depth == pytest.approx(25e-9) and out[2].depth == pytest.approx(100e-9)
    empty = binned(
        depth, x, np.full(40, 0.1), np.zeros((40, 0)), NONE, np.array([0, 1, 200]) * 1e-9
    )
    assert empty[0].result is None and empty[1].result and empty[1].result.n == 40
    with pytest.raises(UncertaintyError):
        binned(depth, x, x, np.zeros((40, 0)), NONE, np.array([1.0, 0.0]))
