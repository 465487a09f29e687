"""Monotone interpolation of a table of areas, complex-safe in depth and in the areas.

The cubic of [fritsch1984] (PCHIP) through the points (ln h_k, ln A_k). In logarithms a cone
(A ~ h^2) and a sphere (A ~ h) are straight lines, so few knots serve, the area stays positive, and
beyond the first and last knot it goes on as the power law that joins with equal slope.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]


def knot_slopes(x: Array, y: Array) -> Array:
    """Slopes of the monotone cubic at its knots; ``y`` has the knots on its last axis.

    Inside, the weighted harmonic mean of the two neighbouring secants, (w1 + w2)/(w1/d1 + w2/d2)
    with w1 = 2 h2 + h1, w2 = h2 + 2 h1, or zero where they differ in sign. At the ends the
    three-point formula, held to the sign of the secant and to three times its size [fritsch1984].
    """
    step = np.diff(x)
    secant = np.diff(y, axis=-1) / step
    if len(x) == 2:
        return np.concatenate([secant, secant], axis=-1)
    a, b = secant[..., :-1], secant[..., 1:]
    same = a.real * b.real > 0
    w1, w2 = 2 * step[1:] + step[:-1], step[1:] + 2 * step[:-1]
    harmonic = (w1 + w2) / (w1 / np.where(same, a, 1.0) + w2 / np.where(same, b, 1.0))
    inner = np.where(same, harmonic, 0.0)
    first = _end(step[0], step[1], secant[..., 0], secant[..., 1])
    last = _end(step[-1], step[-2], secant[..., -1], secant[..., -2])
    return np.concatenate([first[..., None], inner, last[..., None]], axis=-1)


def _end(h0: float, h1: float, d0: Array, d1: Array) -> Array:
    slope = ((2 * h0 + h1) * d0 - h0 * d1) / (h0 + h1)
    wrong = np.sign(slope.real) != np.sign(d0.real)
    steep = (np.sign(d0.real) != np.sign(d1.real)) & (np.abs(slope.real) > 3 * np.abs(d0.real))
    return np.where(wrong, 0.0, np.where(steep, 3 * d0, slope))


def table(h: Array, knots: Sequence[float], areas: Sequence[Array]) -> tuple[Array, Array]:
    """Area and slope at h from areas A_k (m^2) at fixed contact depths ``knots`` (m).

    Each A_k may be an array that broadcasts with h (one value per draw, say). Zero at h = 0.
    """
    x = np.log(np.asarray(knots, dtype=np.float64))
    y = np.log(np.stack(np.broadcast_arrays(*areas), axis=-1))
    d = knot_slopes(x, y)
    zero = h.real == 0
    hs = np.where(zero, 1.0, h)
    u = np.log(hs)
    i = np.clip(np.searchsorted(x, u.real, side="right") - 1, 0, len(x) - 2)
    shape = np.broadcast_shapes(h.shape, y.shape[:-1])

    def at(values: Array, j: NDArray[np.intp]) -> Array:
        whole = np.broadcast_to(values, (*shape, values.shape[-1]))
        picked = np.take_along_axis(whole, np.broadcast_to(j, shape)[..., None], axis=-1)
        return np.asarray(picked[..., 0])

    width = x[i + 1] - x[i]
    t = (u - x[i]) / width
    y0, y1, d0, d1 = at(y, i), at(y, i + 1), at(d, i) * width, at(d, i + 1) * width
    rise = y1 - y0
    c2, c3 = 3 * rise - 2 * d0 - d1, d0 + d1 - 2 * rise
    log_area = y0 + t * (d0 + t * (c2 + t * c3))
    growth = (d0 + t * (2 * c2 + 3 * t * c3)) / width
    below, above = t.real < 0, t.real > 1
    log_area = np.where(below, y0 + d0 * t, np.where(above, y1 + d1 * (t - 1), log_area))
    growth = np.where(below, d0 / width, np.where(above, d1 / width, growth))
    value = np.exp(log_area)
    return np.where(zero, 0.0, value), np.where(zero, np.nan, growth * value / hs)
