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


def base_lines(
    force: Floats, depth: Floats, begin: Ints, approach: Ints, quiet: Quiet
) -> BaseLine:
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


__all__ = ["LEAST", "BaseLine", "base_lines", "level", "stretch"]
