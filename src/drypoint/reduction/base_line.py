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

from drypoint.uncertainty.noise import Quiet, line_fits

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


@njit(cache=True, nogil=True)
def in_air(force: Floats, depth: Floats, offsets: Ints, stop: Ints) -> Ints:
    """How many samples of each test lie before contact; 0 where its record begins in contact.

    A line through what was seen so far tells what comes next; contact begins with the first of
    five readings in a row that are four standard deviations above it.
    """
    n = len(offsets) - 1
    out = np.zeros(n, np.int64)
    for t in range(n):
        a, b = offsets[t], stop[t]
        if b - a < LEAST + _ROW:
            continue
        k = sx = sy = sxx = sxy = syy = 0.0
        above = 0
        for i in range(a, b):
            x, y = depth[i] - depth[a], force[i] - force[a]
            if k >= LEAST:
                cxx, cxy, cyy = sxx - sx * sx / k, sxy - sx * sy / k, syy - sy * sy / k
                slope = cxy / cxx if cxx > 0.0 else 0.0
                if k == LEAST and abs(slope) > _SPRING:
                    break
                var = max(cyy - slope * cxy, 0.0) / (k - 2.0)
                far = x - sx / k
                spread = np.sqrt(var * (1.0 + 1.0 / k + (far * far / cxx if cxx > 0.0 else 0.0)))
                above = above + 1 if y - sy / k - slope * far > _ABOVE * spread + 1e-15 else 0
                if above == _ROW:
                    out[t] = i - a + 1 - _ROW
                    break
            j = i - _ROW
            if j >= a:
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


@njit(cache=True, nogil=True)
def level(force: Floats, depth: Floats, offsets: Ints, spring: Floats, at: Floats) -> Floats:
    """The force of every test without the slope of its base line."""
    out = np.empty(len(force))
    for t in range(len(spring)):
        for i in range(offsets[t], offsets[t + 1]):
            out[i] = force[i] - spring[t] * (depth[i] - at[t])
    return out


__all__ = ["LEAST", "BaseLine", "base_lines", "in_air", "level", "stretch"]
