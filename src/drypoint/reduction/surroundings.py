"""Flags that need to know more than the record: film, roughness, thickness, neighbours, edges.

The diameter of an impression is that of the smallest circle that encloses it (the wording of
ISO 14577-1), here of the ideal figure with the contact area A_p: equilateral triangle, square or
circle by the number of faces. Corner cracks are not seen in a record; where there are some, ask
for more with ``flags.spacing_diameters``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drypoint.reduction.grounds import raise_flag
from drypoint.reduction.options import FlagLimits
from drypoint.reduction.result import Flag

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Number of faces -> diameter of the enclosing circle over the square root of the area: triangle
#: 2 sqrt(4 / (3 sqrt 3)), square sqrt 2, circle 2 / sqrt(pi) (plane geometry).
CIRCLE: dict[int, float] = {
    3: 2.0 * float(np.sqrt(4.0 / (3.0 * np.sqrt(3.0)))),
    4: float(np.sqrt(2.0)),
    0: 2.0 / float(np.sqrt(np.pi)),
}
#: Class of material -> least spacing in diameters (ISO 14577-1).
SPACING: dict[str, float] = {"ceramic": 5.0, "iron alloy": 5.0, "other": 10.0}


@dataclass(frozen=True)
class Declared:
    """What is declared of a specimen, SI; ``None`` where it is not. ``edges`` are straight lines
    (x1, y1, x2, y2) in the coordinates of the positions; ``material`` is a key of
    :data:`SPACING`."""

    film: float | None = None
    roughness: float | None = None
    thickness: float | None = None
    material: str | None = None
    edges: tuple[tuple[float, float, float, float], ...] = ()


@dataclass(frozen=True)
class Impressions:
    """Impressions on one specimen: ``name``, position (m), shape (n, 2), and diameter (m), NaN
    where it is not known; ``site`` tells systems of coordinates apart."""

    name: Sequence[str]
    place: Floats
    diameter: Floats
    site: Sequence[str]


def diameter_of(area: Floats, sides: int) -> Floats:
    """Diameter (m) of the circle that encloses impressions of an area (m^2), shape kept."""
    with np.errstate(invalid="ignore"):
        out: Floats = CIRCLE[sides] * np.sqrt(area)
    return out


def depth_flags(
    h_max: Floats, area: Floats, sides: int, declared: Declared, limits: FlagLimits
) -> list[list[Flag]]:
    """Roughness, film and thickness of the specimen, for rows of one specimen.

    Parameters
    ----------
    h_max, area : array, shape (n,)
        m and m^2.
    sides : int
        Faces of the tip, see :data:`CIRCLE`.
    """
    out: list[list[Flag]] = [[] for _ in h_max]
    nm, d = 1e9, diameter_of(area, sides)
    rough, film, thick = declared.roughness, declared.film, declared.thickness
    if not rough and film is None and thick is None:
        return out
    for i, h in enumerate(h_max):
        if rough and h < limits.roughness_ratio * rough:
            out[i].append(
                raise_flag(
                    "roughness",
                    f"h_max = {h * nm:.0f} nm is {h / rough:.1f} times the roughness Ra of "
                    f"{rough * nm:.3g} nm; at least {limits.roughness_ratio:g} times are asked "
                    "for.",
                )
            )
        if film is not None and h > limits.film_depth_share * film:
            out[i].append(
                raise_flag(
                    "film depth",
                    f"h_max = {h * nm:.0f} nm is {100 * h / film:.0f} % of the film's thickness "
                    f"of {film * nm:.0f} nm (limit {100 * limits.film_depth_share:g} %); the "
                    "hardness may hold some of the substrate's.",
                )
            )
        a = float(np.sqrt(area[i] / np.pi)) if area[i] > 0 else np.nan
        if film is not None and a > limits.film_radius_ratio * film:
            out[i].append(
                raise_flag(
                    "film radius",
                    f"The contact radius is {a / film:.2f} times the film's thickness (limit "
                    f"{limits.film_radius_ratio:g}); the modulus is largely that of the "
                    "substrate.",
                )
            )
        least = max(limits.thickness_depths * h, np.nan_to_num(limits.thickness_diameters * d[i]))
        if thick is not None and thick < least:
            out[i].append(
                raise_flag(
                    "thin specimen",
                    f"The specimen is {thick * 1e6:.3g} µm thick; at least {least * 1e6:.3g} µm "
                    "are asked for at this depth.",
                )
            )
    return out


def spacing_of(declared: Declared, limits: FlagLimits) -> float:
    """Least distance of impressions, in diameters of the larger one."""
    if limits.spacing_diameters is not None:
        return limits.spacing_diameters
    return SPACING[declared.material or "other"]


def near_flags(them: Impressions, declared: Declared, limits: FlagLimits) -> list[list[Flag]]:
    """Neighbours and edges too near, for every impression on one specimen."""
    out: list[list[Flag]] = [[] for _ in them.name]
    k = spacing_of(declared, limits)
    nearest = _nearest(them, k)
    edge = _edge_distance(them.place, declared.edges)
    for i, j in enumerate(nearest):
        if j >= 0:
            away = float(np.hypot(*(them.place[i] - them.place[j])))
            d = float(np.fmax(them.diameter[i], them.diameter[j]))
            out[i].append(
                raise_flag(
                    "neighbour near",
                    f"The impression of {them.name[j]} lies {away * 1e6:.2f} µm away, "
                    f"{away / d:.1f} diameters of {d * 1e6:.2f} µm; at least {k:g} are asked for.",
                )
            )
        d = float(them.diameter[i])
        if edge[i] < limits.edge_diameters * d:
            out[i].append(
                raise_flag(
                    "edge near",
                    f"An edge lies {edge[i] * 1e6:.2f} µm away, {edge[i] / d:.1f} diameters of "
                    f"{d * 1e6:.2f} µm; at least {limits.edge_diameters:g} are asked for.",
                )
            )
    return out


def _nearest(them: Impressions, k: float) -> Ints:
    """For each impression the neighbour that lies nearest in diameters of the larger of the two
    and nearer than ``k``; -1 where none does."""
    n = len(them.name)
    from scipy.spatial import cKDTree  # slow to load, and only studies with places need it

    best, which = np.full(n, np.inf), np.full(n, -1, dtype=np.int64)
    sites = np.array(them.site, dtype=object)
    placed = np.isfinite(them.place).all(axis=1)
    for site in sorted(set(them.site)):
        rows = np.flatnonzero(placed & (sites == site))
        d = them.diameter[rows]
        if len(rows) < 2 or not np.any(d > 0):
            continue
        pairs = cKDTree(them.place[rows]).query_pairs(
            k * float(np.nanmax(d)), output_type="ndarray"
        )
        i, j = rows[pairs[:, 0]], rows[pairs[:, 1]]
        larger = np.fmax(them.diameter[i], them.diameter[j])
        ratio = np.hypot(*(them.place[i] - them.place[j]).T) / larger
        # A last bit of a pitch that is just enough is no fault.
        near = np.flatnonzero(ratio < k * (1 - 1e-9))
        for p in near[np.argsort(ratio[near], kind="stable")]:
            for a, b in ((i[p], j[p]), (j[p], i[p])):
                if ratio[p] < best[a]:
                    best[a], which[a] = ratio[p], b
    return which


def _edge_distance(place: Floats, edges: Sequence[tuple[float, float, float, float]]) -> Floats:
    """Distance (m) of each place from the nearest of the straight edges; infinite without one."""
    out = np.full(len(place), np.inf)
    for x1, y1, x2, y2 in edges:
        start, along = np.array([x1, y1]), np.array([x2 - x1, y2 - y1])
        share = np.clip((place - start) @ along / max(float(along @ along), 1e-300), 0.0, 1.0)
        away = place - (start + share[:, None] * along)
        out = np.fmin(out, np.hypot(away[:, 0], away[:, 1]))
    return out
