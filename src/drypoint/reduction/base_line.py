"""Force before contact: a line against depth, subtracted before and after contact.

A head hangs on springs; what is left of them in air (the residual spring, N/m) changes the force
along the whole travel, after contact too. The line is fitted to the approach, by least squares
with noise of unknown colour.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from drypoint.uncertainty.noise import Quiet, line_fits, line_slopes

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Fewest samples of an approach from which a slope is taken.
LEAST = 20
#: The travel must be so many times the noise of the depth; less shows no slope (our own choice).
_TRAVEL = 50.0


#: Stiffest spring (N/m) that a head can have left in air; a contact is stiffer from its first
#: nanometre (2 E* a).
_SPRING = 300.0
#: Readings in a row above the line that are a contact, and how many standard deviations above.
_ROW, _ABOVE = 5, 4.0
#: How far ahead the stiffness of a contact is looked for, m.
_AHEAD = 20e-9


@njit(cache=True, nogil=True)
def _stiff(force: Floats, depth: Floats, i: int, stop: int, slope: float) -> bool:
    """Whether the force rises from sample ``i`` as no spring in air does: over the next
    :data:`_AHEAD` of depth, from the first third of its samples to the last."""
    last = i
    while last < stop - 1 and depth[last] - depth[i] < _AHEAD:
        last += 1
    third = (last + 1 - i) // 3
    if third < 1:
        return True
    f0 = h0 = f1 = h1 = 0.0
    for j in range(third):
        f0 += force[i + j]
        h0 += depth[i + j]
        f1 += force[last - j]
        h1 += depth[last - j]
    return f1 - f0 - slope * (h1 - h0) > _SPRING * (h1 - h0)


@njit(cache=True, nogil=True)
def in_air(force: Floats, depth: Floats, offsets: Ints, stop: Ints) -> Ints:
    """How many samples of each test lie before contact; 0 where its record begins in contact.

    A line through two thirds of what was seen so far tells what comes next; contact begins with
    the first of five readings in a row that are four standard deviations above it, where the force
    then rises as no spring does: slow noise does not.
    """
    n = len(offsets) - 1
    out = np.zeros(n, np.int64)
    for t in range(n):
        a, b = offsets[t], stop[t]
        if b - a < LEAST + _ROW:
            continue
        k = sx = sy = sxx = sxy = syy = 0.0
        above, after, j, looked = 0, a, a - 1, False
        for i in range(a, b):
            x, y = depth[i] - depth[a], force[i] - force[a]
            if k >= LEAST:
                cxx, cxy, cyy = sxx - sx * sx / k, sxy - sx * sy / k, syy - sy * sy / k
                slope = cxy / cxx if cxx > 0.0 else 0.0
                var = max(cyy - slope * cxy, 0.0) / (k - 2.0)
                if not looked and abs(slope) > _SPRING + 5.0 * np.sqrt(var / max(cxx, 1e-300)):
                    break
                looked = True
                far = x - sx / k
                spread = np.sqrt(var * (1.0 + 1.0 / k + (far * far / cxx if cxx > 0.0 else 0.0)))
                above = above + 1 if y - sy / k - slope * far > _ABOVE * spread + 1e-15 else 0
                if above >= _ROW and i >= after:
                    if _stiff(force, depth, i + 1 - _ROW, b, slope):
                        out[t] = i - a + 1 - _ROW
                        break
                    # Slow noise: look again.
                    above, after = 0, i + 2 * _ROW
            # The line lags behind, so that it does not learn a slow rise of the contact.
            while j < i - _ROW - (i - a) // 3:
                j += 1
                u, v = depth[j] - depth[a], force[j] - force[a]
                k += 1.0
                sx, sy = sx + u, sy + v
                sxx, sxy, syy = sxx + u * u, sxy + u * v, syy + v * v
    return out


@dataclass(frozen=True)
class BaseLine:
    """Base line of each test, shape (n_tests,).

    ``spring`` (N/m) is its slope, 0 where the approach shows none; ``u_spring`` its standard
    uncertainty, 0 likewise. ``at`` (m) is the depth to which the force is kept as it was, the
    middle of the stretch that was fitted; ``u_force`` (N) is the uncertainty of the line there.
    ``found`` marks the tests with a line.
    """

    spring: Floats
    u_spring: Floats
    at: Floats
    u_force: Floats
    found: NDArray[np.bool_]


def stretch(approach: Ints) -> tuple[Ints, Ints]:
    """First and last sample (after it) of the approach that tells: without its first quarter,
    where the head still starts, and its last eighth, where contact may have begun."""
    return approach // 4, approach - approach // 8


def base_lines(force: Floats, depth: Floats, begin: Ints, approach: Ints, quiet: Quiet) -> BaseLine:
    """Fit the force of each approach against its depth.

    Parameters
    ----------
    force, depth : array, shape (n_samples,)
        N and m, as recorded (scales applied, frame not yet taken off).
    begin, approach : array, shape (n_tests,)
        First sample of each test, and how many samples of approach follow.
    quiet : Quiet
        A hold of each test that shows the colour of the noise in force.

    Returns
    -------
    BaseLine
    """
    n = len(begin)
    first, last = stretch(approach)
    out = [np.zeros(n) for _ in range(4)]
    found = np.zeros(n, dtype=bool)
    has = np.flatnonzero(last - first >= LEAST)
    if len(has):
        lengths = (last - first)[has]
        offsets = np.concatenate([[0], np.cumsum(lengths)]).astype(np.int64)
        at = np.arange(offsets[-1]) + np.repeat((begin + first)[has] - offsets[:-1], lengths)
        x, y = depth[at], force[at]
        middle = np.add.reduceat(x, offsets[:-1]) / lengths
        _, slope, u_value, u_slope = line_fits(x, y, offsets, middle, quiet.of(has))
        travel = np.maximum.reduceat(x, offsets[:-1]) - np.minimum.reduceat(x, offsets[:-1])
        jitter = np.empty(len(x))
        jitter[1:], jitter[0] = np.diff(x), 0.0
        jitter[offsets[:-1]] = 0.0
        step = travel / lengths
        noise = np.sqrt(np.add.reduceat((jitter - np.repeat(step, lengths)) ** 2, offsets[:-1]))
        noise = noise / np.sqrt(2.0 * lengths)
        good = np.isfinite(slope) & np.isfinite(u_slope) & (travel > _TRAVEL * noise)
        for a, v in zip(out, (slope, u_slope, middle, u_value), strict=True):
            a[has[good]] = v[good]
        found[has[good]] = True
    return BaseLine(out[0], out[1], out[2], out[3], found)


def peaks(force: Floats, offsets: Ints) -> Ints:
    """The sample of the largest force of each test."""
    lengths = np.diff(offsets)
    top = np.maximum.reduceat(force, offsets[:-1]) if len(lengths) else np.empty(0)
    at = np.flatnonzero(force == np.repeat(top, lengths))
    test = np.searchsorted(offsets, at, side="right") - 1
    _, first = np.unique(test, return_index=True)
    return np.asarray(at[first], dtype=np.int64)


def level_roughly(force: Floats, depth: Floats, offsets: Ints) -> Floats:
    """The force without the slope that it has in air, for finding segments: a head's spring looks
    like a loading. Any units."""
    finite = np.isfinite(force).all() and np.isfinite(depth).all()
    if not finite or np.any(np.diff(offsets) == 0):
        return force
    begin = offsets[:-1]
    approach = in_air(force, depth, offsets, peaks(force, offsets))
    first, last = stretch(approach)
    has = np.flatnonzero(last - first >= LEAST)
    slope = np.zeros(len(begin))
    if len(has):
        lengths = (last - first)[has]
        inner = np.concatenate([[0], np.cumsum(lengths)]).astype(np.int64)
        at = np.arange(inner[-1]) + np.repeat((begin + first)[has] - inner[:-1], lengths)
        slope[has] = line_slopes(depth[at], force[at], inner)
    return np.asarray(level(force, depth, offsets, slope, depth[begin]))


@njit(cache=True, nogil=True)
def level(force: Floats, depth: Floats, offsets: Ints, spring: Floats, at: Floats) -> Floats:
    """The force of every test without the slope of its base line."""
    out = np.empty(len(force))
    for t in range(len(spring)):
        for i in range(offsets[t], offsets[t + 1]):
            out[i] = force[i] - spring[t] * (depth[i] - at[t])
    return out


__all__ = [
    "LEAST",
    "BaseLine",
    "base_lines",
    "in_air",
    "level",
    "level_roughly",
    "peaks",
    "stretch",
]
