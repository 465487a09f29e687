"""Tip health: chart constants against published tables, rules, the day of change."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from drypoint.calibration import (
    CalibrationError,
    Point,
    change_point,
    chart_constants,
    ewma,
    individuals,
    tip_health,
    used_since,
)
from drypoint.calibration.charts import c4, d2, d3

#: Table of factors for control charts as printed in textbooks (for example Pyzdek & Keller 2012,
#: appendix; Walpole et al., table A.22; the same numbers as ASTM's) [seen]:
#: n: A2, A3, c4, B3, B4, d2, d3, D3, D4.
PUBLISHED = {
    2: (1.880, 2.659, 0.7979, 0.0, 3.267, 1.128, 0.853, 0.0, 3.267),
    3: (1.023, 1.954, 0.8862, 0.0, 2.568, 1.693, 0.888, 0.0, 2.574),
    4: (0.729, 1.628, 0.9213, 0.0, 2.266, 2.059, 0.880, 0.0, 2.282),
    5: (0.577, 1.427, 0.9400, 0.0, 2.089, 2.326, 0.864, 0.0, 2.114),
    6: (0.483, 1.287, 0.9515, 0.030, 1.970, 2.534, 0.848, 0.0, 2.004),
    7: (0.419, 1.182, 0.9594, 0.118, 1.882, 2.704, 0.833, 0.076, 1.924),
    8: (0.373, 1.099, 0.9650, 0.185, 1.815, 2.847, 0.820, 0.136, 1.864),
    9: (0.337, 1.032, 0.9693, 0.239, 1.761, 2.970, 0.808, 0.184, 1.816),
    10: (0.308, 0.975, 0.9727, 0.284, 1.716, 3.078, 0.797, 0.223, 1.777),
    15: (0.223, 0.789, 0.9823, 0.428, 1.572, 3.472, 0.756, 0.347, 1.653),
    20: (0.180, 0.680, 0.9869, 0.510, 1.490, 3.735, 0.729, 0.415, 1.585),
}
NAMES = ("A2", "A3", "c4", "B3", "B4", "d2", "d3", "D3", "D4")


@pytest.mark.parametrize("n", PUBLISHED)
def test_constants_of_the_published_table(n: int) -> None:
    found = chart_constants(n)
    for name, value in zip(NAMES, PUBLISHED[n], strict=True):
        # The table's last figure may stem from rounded d2, d3: one unit more is allowed there.
        unit = 1e-4 if name == "c4" else 1e-3
        assert found[name] == pytest.approx(value, abs=1.05 * unit), name


def test_constants_in_closed_form() -> None:
    """n = 2: d2 = 2/sqrt(pi), d3 = sqrt(2 - 4/pi), c4 = sqrt(2/pi); n = 3: d2 = 3/sqrt(pi)."""
    assert d2(2) == pytest.approx(2 / np.sqrt(np.pi), rel=1e-9)
    assert d3(2) == pytest.approx(np.sqrt(2 - 4 / np.pi), rel=1e-5)
    assert c4(2) == pytest.approx(np.sqrt(2 / np.pi), rel=1e-12)
    assert d2(3) == pytest.approx(3 / np.sqrt(np.pi), rel=1e-9)
    assert chart_constants(2)["E2"] == pytest.approx(2.660, abs=2e-3)


def test_weighted_average_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.4: weight 0.3, centre 50, s = 2.0539 (M-hi; means by hand)."""
    x = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5,
         49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]  # fmt: skip
    printed = [50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
               50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99]  # fmt: skip
    chart = ewma(x, 0.3, centre=50.0, sigma=2.0539)
    assert chart.value == pytest.approx(printed, abs=0.006)
    assert chart.upper[-1] == pytest.approx(52.5884, abs=2e-3)
    assert chart.lower[-1] == pytest.approx(47.4115, abs=2e-3)
    assert chart.signals == ()


@pytest.mark.parametrize(
    ("z", "rule"),
    [
        ([0, 0, 0, 3.1], "beyond 3 sigma"),
        ([0, 2.1, 0, 2.2], "two of three"),
        ([0, 1.1, 1.2, 0.1, 1.3, 1.4], "four of five"),
        ([0.1, 0.2, 0.3, 0.1, 0.2, 0.1, 0.3, 0.2], "eight in a row"),
        ([-0.5, -0.3, -0.1, 0.1, 0.3, 0.5], "six in a row rising"),
    ],
)
def test_each_rule_speaks(z: list[float], rule: str) -> None:
    x = np.r_[np.tile([-1.0, 1.0], 10) * 0.5, z]
    chart = individuals(x, base=20, sigma=1.0)
    assert any(rule in s.rule and s.at >= 20 for s in chart.signals)


def test_false_alarms_of_the_first_rule_are_as_rare_as_they_should_be() -> None:
    """0.27 % of normal points with known sigma."""
    x = np.random.default_rng(1).standard_normal(6000)
    chart = individuals(x, sigma=1.0)
    alarms = sum("beyond 3 sigma" in s.rule for s in chart.signals)
    assert alarms == pytest.approx(16.2, abs=3 * np.sqrt(16.2))


def days(n: int) -> list[date]:
    return [date(2024, 1, 8) + timedelta(days=7 * i) for i in range(n)]


def test_the_day_of_change() -> None:
    """Area 2 % larger from the 16th check on, scatter 0.5 %."""
    hits, states = [], []
    for seed in range(20):
        rng = np.random.default_rng(seed)
        v = 1.0 + 0.005 * rng.standard_normal(24)
        v[15:] += 0.02
        h = tip_health([Point(d, x) for d, x in zip(days(24), v, strict=True)], base=10)
        states.append(h.state)
        assert h.between is not None and h.doubtful_since is not None
        hits.append(h.after[0])
        assert h.doubtful_since <= days(24)[15]
    assert states == ["changed"] * 20
    assert np.mean(np.abs(np.array(hits) - 15) <= 1) >= 0.9


def test_a_steady_tip_stays_steady() -> None:
    steady = 0
    for seed in range(60):
        v = 1 + 0.005 * np.random.default_rng(seed).standard_normal(20)
        points = [Point(d, x, 0.005) for d, x in zip(days(20), v, strict=True)]
        steady += tip_health(points).state == "steady"
    assert steady >= 55


def test_which_studies_used_it_since() -> None:
    v = np.r_[np.full(12, 1.0), np.full(8, 1.03)] + 0.002 * np.tile([1, -1], 10)
    h = tip_health([Point(d, x) for d, x in zip(days(20), v, strict=True)])
    assert h.between == (days(20)[11], days(20)[12]) and h.after == tuple(range(12, 20))
    studies = [(days(20)[5], "early"), (days(20)[11] + timedelta(days=3), "between"),
               (days(20)[18], "late")]  # fmt: skip
    assert used_since(h, studies) == ("between", "late")


def test_checks_out_of_order_are_sorted_and_said() -> None:
    points = [Point(d, 1.0 + 0.001 * (-1) ** i) for i, d in enumerate(days(10))]
    h = tip_health(points[::-1])
    assert [p.day for p in h.points] == days(10)
    assert [f.code for f in h.findings] == ["checks out of order"]


def test_too_few_checks() -> None:
    with pytest.raises(CalibrationError, match="no course in time"):
        tip_health([Point(date(2024, 1, 1), 1.0)] * 2)
    points = [Point(d, 1.0 + 0.001 * i) for i, d in enumerate(days(4))]
    assert tip_health(points).state == "too few checks"


def test_change_point_by_hand() -> None:
    c = change_point([1.0, 1.1, 0.9, 1.0, 3.0, 3.1, 2.9, 3.0])
    assert c is not None and c.first_after == 4 and c.size == pytest.approx(2.0)
    assert (c.lowest, c.highest) == (4, 4) and c.p < 0.05
    assert change_point([1.0, 2.0]) is None


def test_change_point_is_the_same_in_every_unit() -> None:
    """Areas stand in m²: a change of 1e-13 is no less a change."""
    v = np.array([1.0, 1.1, 0.9, 1.0, 3.0, 3.1, 2.9, 3.0])
    one, small = change_point(v), change_point(1e-13 * v)
    assert one is not None and small is not None
    assert (small.first_after, small.p) == (one.first_after, one.p)
    assert (small.lowest, small.highest) == (one.lowest, one.highest)
