"""Noise and drift of a bench, so that limits and flags have grounds.

Allan deviation of a reading x over averaging time tau = m dt, overlapping [riley2008]:
sigma^2(tau) = 1/(2 m^2 (N - 2m + 1)) sum_j [sum_{i=j}^{j+m-1} (x_{i+m} - x_i)]^2. White noise falls
as tau^(-1/2), a random walk grows as tau^(1/2), steady drift D as D tau / sqrt(2); the smallest
value says how long averaging helps.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from drypoint.calibration.problems import CalibrationError
from drypoint.records.batch import Batch
from drypoint.records.segments import Kind, Segments

Floats = NDArray[np.float64]

_FEWEST = 16


def allan_deviation(x: ArrayLike, m: ArrayLike) -> Floats:
    """Overlapping Allan deviation of equally spaced readings for each number ``m`` averaged.

    NaN where fewer than 2 m readings stand.
    """
    values = np.asarray(x, dtype=np.float64)
    total = np.concatenate([[0.0], np.cumsum(values - values.mean())])
    out = []
    for k in np.atleast_1d(np.asarray(m, dtype=np.int64)):
        if k < 1 or len(values) < 2 * k:
            out.append(np.nan)
            continue
        step = total[2 * k :] - 2 * total[k:-k] + total[: -2 * k]
        out.append(float(np.sqrt(np.mean(step * step) / 2) / k))
    return np.array(out)


@dataclass(frozen=True)
class Stretch:
    """A quiet piece of a record at equal intervals ``dt`` (s): force (N) and depth (m).

    ``in_contact`` is False on the approach: depth moves there by intent, and only the force is
    judged.
    """

    dt: float
    force: Floats
    depth: Floats
    in_contact: bool = True


@dataclass(frozen=True)
class NoiseStudy:
    """Noise and drift of a bench.

    ``noise_force`` (N) and ``noise_depth`` (m) are standard deviations of single readings about a
    straight line; ``tau`` (s) with ``allan_depth`` and ``allan_force``; ``best_tau`` is the
    averaging time at the least Allan deviation of depth, ``floor_depth`` that least value.
    ``drift_rate`` (m/s) is each stretch's, ``drift_spread`` the standard deviation of a rate from
    stretch to stretch, ``drift_limit`` a limit for the flag: the rate that 95 % of such stretches
    stay under. NaN where nothing was there to judge by. ``invented``: the records are.
    """

    noise_force: float
    noise_depth: float
    tau: Floats
    allan_force: Floats
    allan_depth: Floats
    best_tau: float
    floor_depth: float
    drift_rate: Floats
    drift_spread: float
    drift_limit: float
    sentences: tuple[str, ...]
    invented: bool = False


def quiet_stretches(batch: Batch, segments: Segments, *, settle: float = 0.3) -> list[Stretch]:
    """Approaches and drift holds of a batch; the first ``settle`` share of holds left out.

    Only where no test has a drift hold are the holds at force taken in their place: the specimen
    creeps in them, which would pass for drift. Stretches shorter than 16 samples, or without
    time, give nothing.
    """
    out = []
    drift = bool(np.any(segments.kind == int(Kind.DRIFT_HOLD)))
    wanted = (int(Kind.APPROACH), int(Kind.DRIFT_HOLD if drift else Kind.HOLD))
    for kind, a, b in zip(segments.kind, segments.start, segments.stop, strict=True):
        if int(kind) not in wanted:
            continue
        contact = int(kind) != int(Kind.APPROACH)
        first = int(a + (settle * (b - a) if contact else 0))
        span = slice(first, int(b))
        t = batch.time[span]
        if len(t) < _FEWEST or not np.all(np.isfinite(t)):
            continue
        dt = float(np.median(np.diff(t)))
        if dt > 0 and np.all(np.isfinite(batch.force[span] + batch.depth[span])):
            out.append(Stretch(dt, batch.force[span], batch.depth[span], contact))
    return out


def noise_study(stretches: Sequence[Stretch]) -> NoiseStudy:
    """Noise floor, drift and Allan deviation from quiet stretches.

    Raises
    ------
    CalibrationError
        When there is no quiet stretch.
    """
    if not stretches:
        raise CalibrationError(
            "No hold and no approach is long enough to judge the noise.",
            remedy="Record a hold of 60 s or more at low force, and an approach of 5 s or more.",
        )
    dt = float(np.median([s.dt for s in stretches]))
    held = [s for s in stretches if s.in_contact]
    longest = max(len(s.depth) for s in stretches)
    m = np.unique(np.geomspace(1, max(longest // 3, 1), 24).astype(np.int64))
    tau = np.asarray(m * dt, dtype=np.float64)
    force = _pooled((s.force for s in stretches), m)
    depth = _pooled((s.depth for s in held), m)
    rates = np.array([_line(s.depth, s.dt)[0] for s in held])
    noise_F = _rms(_line(s.force, s.dt)[1] for s in stretches)
    noise_h = _rms(_line(s.depth, s.dt)[1] for s in held)
    good = np.isfinite(depth)
    best = int(np.nanargmin(depth)) if np.any(good) else -1
    best_tau = float(m[best] * dt) if best >= 0 else np.nan
    floor = float(depth[best]) if best >= 0 else np.nan
    spread = float(np.std(rates, ddof=1)) if len(rates) > 1 else np.nan
    limit = float(np.quantile(np.abs(rates), 0.95)) if len(rates) else np.nan
    return NoiseStudy(
        noise_F, noise_h, tau, force, depth, best_tau, floor, rates, spread, limit,
        _words(noise_F, noise_h, best_tau, floor, float(tau[-1]), rates, limit),
    )  # fmt: skip


def _line(x: Floats, dt: float) -> tuple[float, float]:
    """Slope, and standard deviation about the line."""
    t = np.arange(len(x)) * dt
    slope, cut = np.polyfit(t - t.mean(), x, 1)
    rest = x - cut - slope * (t - t.mean())
    return float(slope), float(np.sqrt(rest @ rest / max(len(x) - 2, 1)))


def _rms(values: Iterable[float]) -> float:
    v = np.array(list(values))
    return float(np.sqrt(np.mean(v * v))) if len(v) else float("nan")


def _pooled(series: Iterable[Floats], m: NDArray[np.int64]) -> Floats:
    """Allan variance averaged over stretches, weighted by how many pairs each holds."""
    total, weight = np.zeros(len(m)), np.zeros(len(m))
    for x in series:
        a = allan_deviation(x, m)
        pairs = np.where(np.isfinite(a), np.maximum(len(x) - 2 * m + 1, 0), 0)
        total += np.where(pairs > 0, np.nan_to_num(a) ** 2 * pairs, 0.0)
        weight += pairs
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(weight > 0, np.sqrt(total / weight), np.nan)


def _words(
    noise_F: float,
    noise_h: float,
    tau: float,
    floor: float,
    last: float,
    rates: Floats,
    limit: float,
) -> tuple[str, ...]:
    said = [f"A single force reading scatters by {noise_F * 1e6:.2g} µN."]
    if np.isfinite(noise_h):
        said.append(f"A single depth reading scatters by {noise_h * 1e9:.2g} nm.")
    if np.isfinite(tau):
        end = (
            " that is the longest time these records show; longer holds would say more."
            if tau >= 0.99 * last
            else " longer, drift outweighs what averaging gains."
        )
        said.append(
            f"Averaging depth helps up to {tau:.2g} s, where {floor * 1e9:.2g} nm are left;" + end
        )
    if len(rates):
        said.append(
            f"Drift over {len(rates)} holds: median {np.median(np.abs(rates)) * 1e9:.2g} nm/s, "
            f"95 % below {limit * 1e9:.2g} nm/s."
        )
    return tuple(said)
