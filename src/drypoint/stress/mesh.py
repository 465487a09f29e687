"""The mesh: fine and even where the contact is, coarser outwards and downwards.

Columns and rows of quadrilaterals; the rows meet every interface between layers.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Mesh:
    """Nodes (n, 2) as (r, z), quadrilaterals (m, 4) counter-clockwise, the layer of each (m,).

    ``top`` holds the nodes of the surface from the axis outwards, ``axis`` those on the axis,
    ``far`` those on the outer edge. ``edge`` is the length of an element under the contact, m;
    ``reach`` the size of the whole, m.
    """

    X: Floats
    quads: Ints
    layer: Ints
    top: Ints
    axis: Ints
    far: Ints
    edge: float
    reach: float
    shape: tuple[int, int]


def steps(edge: float, even: float, reach: float, growth: float) -> Floats:
    """Points from 0 to ``reach``: even steps of ``edge`` up to ``even``, then growing ones."""
    n = max(1, round(even / edge))
    first = np.arange(n + 1) * (even / n)
    size = even / n
    m = max(1, int(np.ceil(np.log1p((reach - even) / size * (growth - 1)) / np.log(growth))))
    grown = size * np.cumsum(growth ** np.arange(1, m + 1))
    return np.concatenate([first, even + grown * (reach - even) / grown[-1]])


def rows_through(points: Floats, interfaces: Floats) -> Floats:
    """Points moved, or added, so that every interface has one; none closer than it was."""
    out = points
    last = 0.0
    for t in interfaces:
        inside = int(np.sum((out > last + 1e-12 * t) & (out < t * (1 - 1e-12))))
        need = max(inside, _FEWEST - 1)
        new = np.linspace(last, t, need + 2) if inside < need else None
        if new is None:
            k = int(np.argmin(np.abs(out - t)))
            a, b = out[out <= last][-1], out[k]
            new = np.concatenate([[last], out[(out > last) & (out < b)], [b]])
            new = last + (new - a) * (t - last) / (b - a)
        rest = out[out > t]
        gap = new[-1] - new[-2]
        rest = rest[rest > t + 0.5 * gap]
        out = np.concatenate([out[out < last], new, rest])
        last = float(t)
    return out


_FEWEST = 4


def tensor_mesh(r: Floats, depth: Floats, interfaces: Floats, edge: float) -> Mesh:
    """Columns at ``r``, rows at ``depth`` (both from zero), layers cut at ``interfaces``."""
    nr, nz = len(r), len(depth)
    z = -depth[::-1]
    R, Z = np.meshgrid(r, z, indexing="ij")
    idx = np.arange(nr * nz).reshape(nr, nz)
    corners = (idx[:-1, :-1], idx[1:, :-1], idx[1:, 1:], idx[:-1, 1:])
    quads = np.stack(corners, axis=-1).reshape(-1, 4)
    X = np.column_stack([R.ravel(), Z.ravel()])
    middle = -X[quads, 1].mean(axis=1)
    layer = np.searchsorted(interfaces, middle).astype(np.int64)
    far = np.concatenate([idx[-1, :], idx[:-1, 0]])
    return Mesh(
        X=X,
        quads=np.ascontiguousarray(quads),
        layer=layer,
        top=np.ascontiguousarray(idx[:, -1]),
        axis=idx[0, :],
        far=far,
        edge=edge,
        reach=float(r[-1]),
        shape=(nr, nz),
    )
