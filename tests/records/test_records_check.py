"""Records that are read without fault but cannot be used; and those that look like it but can."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest
from numpy.typing import NDArray

from drypoint.records import Batch, Source, TestInfo, check, join

Floats = NDArray[np.float64]


def batch(force: Floats, depth: Floats, channels: Mapping[str, Floats] | None = None) -> Batch:
    n = len(force)
    return Batch(
        (TestInfo("t", "s", Source("t.txt", "0" * 64, 2, n + 1)),),
        np.array([0, n]),
        np.arange(n) * 0.05,
        force,
        depth,
        np.full(n, -1, dtype=np.int16),
        channels=channels or {},
    )


def course(hold: int = 40, creep: float = 0.02, n: int = 200) -> tuple[Floats, Floats]:
    """Invented: quadratic loading, exactly constant hold with creep, unloading."""
    u, v = np.linspace(0, 1, n), np.linspace(1, 0.05, n)
    h = 1 + creep * np.log1p(np.arange(hold) / 5.0)
    force = np.concatenate([u**2, np.ones(hold), v**1.5]) * 1e-2
    top = h[-1] if hold else 1.0
    depth = np.concatenate([u, h, top - 0.2 * (1 - v)]) * 400e-9
    return force, depth


def reason(b: Batch) -> str:
    good, aside = check(b)
    assert len(good) + len(aside) == len(b)
    if not aside:
        return ""
    assert aside[0].remedy and aside[0].stage == "checking"
    assert aside[0].line is not None and 2 <= aside[0].line <= len(b.force) + 1
    return aside[0].reason


@pytest.mark.parametrize("hold", [0, 5, 12, 40, 400])
@pytest.mark.parametrize("creep", [0.0, 0.005, 0.02, 0.05])
def test_a_noise_free_hold_is_no_saturation(hold: int, creep: float) -> None:
    if (hold, creep) == (12, 0.05):
        pytest.xfail("a dozen samples of creep as fast as the loading look like a clipped force")
    assert reason(batch(*course(hold, creep))) == ""


@pytest.mark.parametrize("ceiling", [0.3, 0.6, 0.9])
@pytest.mark.parametrize("hold", [0, 40])
def test_a_clipped_force_is_found(ceiling: float, hold: int) -> None:
    force, depth = course(hold)
    assert "force is saturated" in reason(batch(np.minimum(force, ceiling * 1e-2), depth))


def test_a_clipped_depth_is_found_and_a_depth_hold_is_not() -> None:
    force, depth = course()
    assert "depth is saturated" in reason(batch(force, np.minimum(depth, 250e-9)))
    relaxing = force.copy()
    relaxing[200:240] = 1e-2 * (1 - 0.03 * np.log1p(np.arange(40)))
    relaxing[240:] *= relaxing[239] / relaxing[240]
    held = depth.copy()
    held[200:240] = depth[199]
    held[240:] -= held[240] - held[239]
    assert reason(batch(relaxing, held)) == ""


def test_coarse_steps_of_the_force_are_no_saturation() -> None:
    force, depth = course()
    assert reason(batch(np.round(force / 2e-4) * 2e-4, depth)) == ""


def test_no_unloading_few_samples_signs_and_units() -> None:
    force, depth = course()
    assert "no unloading" in reason(batch(force[:240], depth[:240]))
    assert "no unloading" in reason(batch(force[:250], depth[:250]))
    assert "10 samples" in reason(batch(force[:10], depth[:10]))
    assert "nowhere positive" in reason(batch(-force, depth))
    assert "depth falls" in reason(batch(force, -depth))
    assert "unit is wrong" in reason(batch(force * 1e9, depth))
    assert "wrong column or unit" in reason(batch(force, depth * 1e9))
    assert "never changes" in reason(batch(force, depth * 0))
    assert "unit" in reason(batch(force * 1e-9, depth))


def test_the_line_is_that_of_the_fault_and_all_are_told() -> None:
    force, depth = course()
    (aside,) = check(batch(force[:240], depth[:240]))[1]
    assert aside.line == 2 + int(np.argmax(force[:240]))
    (aside,) = check(batch(force * 1e9, depth * 1e9))[1]
    assert "The largest force is" in aside.reason and "The depth spans" in aside.reason
    (aside,) = check(batch(np.minimum(force, 6e-3)[:240], depth[:240]))[1]
    assert "force is saturated" in aside.reason and "no unloading" in aside.reason
    assert aside.line == 2 + int(np.argmax(np.minimum(force, 6e-3)))


def test_a_scratch_needs_no_unloading() -> None:
    force, depth = course()
    assert reason(batch(force[:240], depth[:240], {"lateral_force": force[:240] * 0.1})) == ""


def test_the_good_ones_stay_in_order() -> None:
    force, depth = course()
    many = join([batch(force * k, depth) if k != 3 else batch(-force, depth) for k in (1, 2, 3, 4)])
    good, aside = check(many)
    assert len(good) == 3 and len(aside) == 1
    assert [good.force[good.span(i)].max() for i in range(3)] == pytest.approx([0.01, 0.02, 0.04])
    assert check(good)[0] is good
