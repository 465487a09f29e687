"""Control charts of a tip, and a correlation map: what they show is what was given."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from drypoint.calibration import Health, Point, tip_health
from drypoint.figures.benchnoise import correlation_map
from drypoint.figures.health import health_charts
from drypoint.uncertainty.joint import Joint


def checks(jump: float, n: int = 18) -> list[Point]:
    rng = np.random.default_rng(1)
    start = date(2025, 1, 6)
    return [
        Point(start + timedelta(days=21 * i),
              1.6e-12 * (1 + 0.006 * rng.standard_normal()) * (1 + (jump if i >= 12 else 0)),
              0.008e-12)
        for i in range(n)
    ]  # fmt: skip


def test_day_of_change_is_in_words_and_in_the_figure() -> None:
    health = tip_health(checks(0.03))
    p = health_charts(health, what="Area at 200 nm", unit="µm²", factor=1e12)
    assert health.between == (date(2025, 8, 25), date(2025, 9, 15))
    assert "2025-08-25 and 2025-09-15" in p.alt and "centre 1.60 µm²" in p.alt
    above, below = p.axes
    labels = [t.get_text() for t in p.legends[0].get_texts()]
    assert {"rule broken", "after the change", "the change lies here"} <= set(labels)
    after = next(x for x in above.lines if x.get_label() == "after the change")
    assert len(after.get_xdata()) == len(health.after) == 6
    average = next(x for x in below.lines if x.get_label() == "weighted average")
    np.testing.assert_allclose(average.get_ydata(), health.ewma.value * 1e12)
    again = health_charts(tip_health(checks(0.03)), what="Area at 200 nm", unit="µm²", factor=1e12)
    assert p.svg() == again.svg()


@pytest.mark.parametrize("health", [tip_health(checks(0.0)), tip_health(checks(0.0, 3))])
def test_steady_tip_has_no_change(health: Health) -> None:
    p = health_charts(health, what="Area", unit="m²")
    assert health.between is None and "The change" not in p.alt
    assert f"State: {health.state}" in p.alt
    assert "<svg" in p.svg()


def test_correlations_are_shown_in_two_figures_and_exact_inputs_left_out() -> None:
    sd = np.array([2.0, 0.0, 0.5])
    r = np.array([[1.0, 0.0, -0.87], [0.0, 1.0, 0.0], [-0.87, 0.0, 1.0]])
    joint = Joint(("frame.C_f", "beta", "tip.C0"), np.ones(3), r * np.outer(sd, sd), ("",) * 3)
    p = correlation_map(joint)
    assert [t.get_text() for t in p.axes[0].texts] == ["−0.87"]
    assert "2 inputs" in p.alt and "frame.C_f and tip.C0 −0.87" in p.alt
