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
        faults = _faults(batch.time[s], batch.force[s], batch.depth[s], scratch, limits)
        if not faults:
            good.append(i)
            continue
        first, last = test.source.first_line, test.source.last_line
        at = faults[0].sample
        whole = first is not None and last is not None and last - first + 1 == s.stop - s.start
        aside.append(
            SetAside(
                test.source.path,
                test.name,
                " ".join(f.what for f in faults),
                " ".join(dict.fromkeys(f.remedy for f in faults)),
                line=first + at if first is not None and whole else first,
                stage="checking",
            )
        )
    return (batch.take(good) if aside else batch), aside


@dataclass(frozen=True)
class _Fault:
    """What is wrong, what to do, and the sample (from 0) at which it is seen."""

    what: str
    remedy: str
    sample: int = 0


def _faults(
    time: Floats, force: Floats, depth: Floats, scratch: bool, limits: Limits
) -> list[_Fault]:
    """All that is wrong with a test. What is said of its course follows only where the sizes of
    force and depth are possible."""
    n = len(force)
    if n < limits.min_samples:
        return [
            _Fault(
                f"The test has {n} samples; {limits.min_samples} are the least.",
                "Export it with all its samples.",
            )
        ]
    top = int(np.argmax(force))
    return _sizes(force, depth, top, limits) or _course(time, force, depth, top, scratch, limits)


def _sizes(force: Floats, depth: Floats, top: int, limits: Limits) -> list[_Fault]:
    """Sign and size of force and depth."""
    most, span = float(force[top]), float(np.ptp(depth))
    out = []
    if most <= 0:
        out.append(
            _Fault(
                "The force is nowhere positive.",
                "If pressing counts as negative in this file, declare scale = -1 for the force.",
            )
        )
    elif not limits.force_N[0] <= most <= limits.force_N[1]:
        out.append(
            _Fault(
                f"The largest force is {most:.3g} N, which no such test has: the unit is wrong.",
                "Declare the true unit of the force column.",
                top,
            )
        )
    if not limits.depth_m[0] <= span <= limits.depth_m[1]:
        what = "never changes" if span == 0 else f"spans {span:.3g} m"
        out.append(
            _Fault(
                f"The depth {what}, which no such test does: wrong column or unit.",
                "Declare the true column and unit of the depth.",
            )
        )
    return out


def _course(
    time: Floats, force: Floats, depth: Floats, top: int, scratch: bool, limits: Limits
) -> list[_Fault]:
    """Direction of the depth, saturated sensors, and an unloading."""
    most, span = float(force[top]), float(np.ptp(depth))
    out = []
    if not scratch and depth[top] < float(depth[0]) - 0.5 * span:
        out.append(
            _Fault(
                "The depth falls while the force rises.",
                "If depth counts as negative in this file, declare scale = -1 for the depth.",
            )
        )
    for name, sensor, other in (("force", force, depth), ("depth", depth, force)):
        run = _saturated(sensor, other, time, limits.min_run)
        if run is not None:
            out.append(
                _Fault(
                    f"The {name} is saturated: it stays at exactly its largest value for {run} "
                    f"samples while the {'depth' if name == 'force' else 'force'} goes on rising "
                    "as before.",
                    "Repeat the test within the range of the sensor; values above its ceiling are "
                    "lost.",
                    int(np.argmax(sensor)),
                )
            )
    least = float(force[top:].min())
    if not scratch and least > (1 - limits.min_unloading) * most:
        out.append(
            _Fault(
                f"There is no unloading: after its largest value, {most:.4g} N in row {top + 1} "
                f"of {len(force)}, the force never falls below {100 * least / most:.0f} % of it.",
                "The record was cut, or the unloading was not recorded; export it again.",
                top,
            )
        )
    return out


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
