"""A half section under the tip, coloured by a value of each element."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from numpy.typing import NDArray

from drypoint.figures.style import COLOUR_MAP, colour
from drypoint.run.stressing import StressResult
from drypoint.stress import Field, Solution

Floats = NDArray[np.float64]


def solution_of(run: Solution | StressResult) -> tuple[Solution, bool]:
    """The fields of a run, and whether it is of a study whose data are invented."""
    return (run.run, run.invented) if isinstance(run, StressResult) else (run, False)


def places_nm(run: Solution, k: int) -> Floats:
    """Where the nodes are at a step, nm, (n, 2)."""
    return np.asarray((run.mesh.X + run.displacement[k]) * 1e9)


def half_section(
    axes: Axes,
    run: Solution,
    k: int,
    values: Floats,
    size: tuple[float, float],
    *,
    cmap: str = COLOUR_MAP,
    limits: tuple[float, float] | None = None,
) -> PolyCollection:
    """Draw step ``k``: elements by ``values`` (elements,), interfaces, tip.

    ``size`` is how far to the side and downwards, m.
    """
    place = places_nm(run, k)
    corners = place[run.mesh.quads]
    side, down = size[0] * 1e9, size[1] * 1e9
    near = (corners[..., 0].min(axis=1) < side) & (corners[..., 1].max(axis=1) > -down)
    shown = PolyCollection(corners[near], array=values[near], cmap=cmap, edgecolors="face",
                           linewidths=0.2)  # fmt: skip
    if limits is not None:
        shown.set_clim(*limits)
    axes.add_collection(shown)
    nz = run.mesh.shape[1]
    for depth in run.stack.interfaces:
        row = int(np.argmin(np.abs(run.mesh.X[:nz, 1] + depth)))
        line = place[np.arange(run.mesh.shape[0]) * nz + row]
        axes.plot(*line.T, color=colour("ink"), linewidth=0.8)
    if run.force[k] > 0:
        r = np.linspace(0, 1.3 * float(run.contact_radius.max()), 120)
        tip = run.profile.height(r) - run.tip_depth[k]
        axes.plot(r * 1e9, tip * 1e9, color=colour("ink"), linewidth=1.2)
    axes.set_xlim(0, side)
    axes.set_ylim(-down, 0.35 * side)
    axes.set_aspect("equal")
    axes.set_xlabel("Radius $r$ / nm")
    axes.set_ylabel("Height $z$ / nm")
    return shown


def yielded_zone(axes: Axes, run: Solution, k: int, f: Field, level: float) -> None:
    """Outline where the plastic strain passes ``level``, where it does in part."""
    strain = f.plastic_strain.mean(axis=1)
    side, down = axes.get_xlim()[1], -axes.get_ylim()[0]
    middle = places_nm(run, k)[run.mesh.quads].mean(axis=1)
    near = (middle[:, 0] < 1.2 * side) & (middle[:, 1] > -1.2 * down)
    if strain[near].max() > level > strain[near].min():
        axes.tricontour(
            middle[near, 0], middle[near, 1], strain[near], levels=[level],
            colors=colour("paper"), linewidths=1.0,
        )  # fmt: skip
