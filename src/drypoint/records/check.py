"""Tests that were read without fault but cannot be a usable record: said in plain sentences."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drypoint.records.batch import Batch, Floats
from drypoint.records.layout import SetAside


@dataclass(frozen=True)
class Limits:
    """What :func:`check` tolerates.

    Parameters
    ----------
    min_samples : int
        Fewest samples of a test.
    min_unloading : float
        Share of the largest force by which the force must fall afterwards.
    min_run : int
        Fewest equal largest values that can be a saturated sensor.
    force_N, depth_m : tuple of float
        Largest force and range of depth that an indentation or scratch can have; outside, the
        unit is surely wrong.
    """

    min_samples: int = 20
    min_unloading: float = 0.3
    min_run: int = 10
    force_N: tuple[float, float] = (1e-9, 1e4)
    depth_m: tuple[float, float] = (1e-11, 1e-2)


def check(batch: Batch, limits: Limits | None = None) -> tuple[Batch, list[SetAside]]:
    """Part a batch into usable tests and those set aside, with the reason.

    Checked: number of samples, size and sign of force and depth, a saturated force or depth
    sensor, and that there is an unloading (not asked of scratches, known by their lateral force).
    A hold at constant force is no saturation: in a hold the depth all but stops, under a
    saturated sensor it goes on rising as it did during loading.
    """
    from drypoint.records.kernels import in_doubt

    limits = limits or Limits()
    good: list[int] = []
    aside: list[SetAside] = []
    doubtful = in_doubt(
        batch.force, batch.depth, batch.offsets, limits.min_samples, limits.min_unloading,
        limits.min_run, limits.force_N, limits.depth_m,
    )  # fmt: skip
    for i, test in enumerate(batch.tests):
        if not doubtful[i]:
            good.append(i)
            continue
        s = batch.span(i)
        lateral = batch.channels.get("lateral_force")
        scratch = lateral is not None and bool(np.isfinite(lateral[s]).any())
        fault = _fault(batch.time[s], batch.force[s], batch.depth[s], scratch, limits)
        if fault is None:
            good.append(i)
        else:
            aside.append(
                SetAside(
                    test.source.path,
                    test.name,
                    *fault,
                    line=test.source.first_line,
                    stage="checking",
                )
            )
    return (batch.take(good) if aside else batch), aside


def _fault(
    time: Floats, force: Floats, depth: Floats, scratch: bool, limits: Limits
) -> tuple[str, str] | None:
    """Reason and remedy, or ``None``."""
    n = len(force)
    if n < limits.min_samples:
        return (
            f"The test has {n} samples; {limits.min_samples} are the least.",
            "Export it with all its samples.",
        )
    top = int(np.argmax(force))
    most, span = float(force[top]), float(np.ptp(depth))
    if most <= 0:
        return (
            "The force is nowhere positive.",
            "If pressing counts as negative in this file, declare scale = -1 for the force.",
        )
    if not limits.force_N[0] <= most <= limits.force_N[1]:
        return (
            f"The largest force is {most:.3g} N, which no such test has: the unit is wrong.",
            "Declare the true unit of the force column.",
        )
    if not limits.depth_m[0] <= span <= limits.depth_m[1]:
        what = "never changes" if span == 0 else f"spans {span:.3g} m"
        return (
            f"The depth {what}, which no such test does: wrong column or unit.",
            "Declare the true column and unit of the depth.",
        )
    if not scratch and depth[top] < float(depth[0]) - 0.5 * span:
        return (
            "The depth falls while the force rises.",
            "If depth counts as negative in this file, declare scale = -1 for the depth.",
        )
    for name, sensor, other in (("force", force, depth), ("depth", depth, force)):
        run = _saturated(sensor, other, time, limits.min_run)
        if run is not None:
            return (
                f"The {name} is saturated: it stays at exactly its largest value for {run} samples "
                f"while the {'depth' if name == 'force' else 'force'} goes on rising as before.",
                "Repeat the test within the range of the sensor; values above its ceiling are "
                "lost.",
            )
    if not scratch:
        least = float(force[top:].min())
        if least > (1 - limits.min_unloading) * most:
            return (
                f"There is no unloading: after its largest value the force never falls below "
                f"{100 * least / most:.0f} % of it.",
                "The record was cut, or the unloading was not recorded; export it again.",
            )
    return None


def _saturated(sensor: Floats, other: Floats, time: Floats, min_run: int) -> int | None:
    """Length of a run at the ceiling of ``sensor`` while ``other`` rises as during loading.

    Looked at is the first half of the rise within the run. Under a saturated sensor it goes on
    at the rate of the loading and evenly; creep in a hold is slower, and slows down.
    """
    a = int(np.argmax(sensor))
    left = np.flatnonzero(sensor[a:] != sensor[a])
    b = a + (int(left[0]) if len(left) else len(sensor) - a)
    if b - a < min_run or a < min_run:
        return None
    if b - a < 3 * _longest_run(sensor[:a]):
        return None
    rise = other[a:b] - other[a]
    if rise.max() < 0.02 * np.ptp(other):
        return None
    half = a + int(np.argmax(rise >= 0.5 * rise.max()))
    if half - a < min_run // 2 or half - a > a:
        return None
    clock = time if np.isfinite(time).all() else np.arange(len(sensor), dtype=np.float64)
    third = max(2, (half - a + 1) // 3)
    before = _slope(clock[2 * a - half : a], other[2 * a - half : a])
    during = _slope(clock[a : half + 1], other[a : half + 1])
    early = _slope(clock[a : a + third + 1], other[a : a + third + 1])
    late = _slope(clock[half - third : half + 1], other[half - third : half + 1])
    return b - a if before > 0 and during > 0.6 * before and late > 0.7 * early else None


def _slope(t: NDArray[np.float64], y: NDArray[np.float64]) -> float:
    """Least-squares slope; zero where it cannot be found."""
    t = t - t.mean() if len(t) else t
    below = float(t @ t)
    return float(t @ y) / below if below > 0 else 0.0


def _longest_run(a: Floats) -> int:
    """Most equal values in a row."""
    changes = np.flatnonzero(np.diff(a))
    bounds = np.concatenate([[-1], changes, [len(a) - 1]])
    return int(np.diff(bounds).max()) if len(a) else 0
