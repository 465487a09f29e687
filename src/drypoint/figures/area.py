"""The area function that was used, against the ideal shape."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from matplotlib.ticker import FuncFormatter
from numpy.typing import NDArray

from drypoint.figures.labels import number, plural
from drypoint.figures.picture import Picture
from drypoint.figures.style import colour, drawing, series_colour
from drypoint.run.result import StudyResult
from drypoint.tips import area as areas
from drypoint.tips.tip import AreaFunction, Tip
from drypoint.uncertainty.joint import join

Floats = NDArray[np.float64]


def area_function(result: StudyResult, tip: str) -> Picture:
    """Area of a tip over the contact depths of the study, with the band of ± 2 u.

    Above the area itself, below its ratio to the ideal shape; the range of contact depths of the
    tests is shaded.
    """
    groups = [g for g in result.groups if g.tip == tip]
    bench = groups[0].bench
    depth = contact_depths(result, tip)
    h = _axis(depth, bench.tip)
    A, u = area_and_u(bench.tip, h)
    ideal = ideal_area(bench.tip, h)
    picture = Picture(f"area-{tip}", 3.0, invented=result.invented)
    nm, um2 = h * 1e9, 1e12
    with drawing():
        above, below = picture.subplots(2, 1, sharex=True, height_ratios=(1.5, 1))
        above.loglog(nm, A * um2, color=series_colour(0), label="as used")
        above.fill_between(nm, np.maximum(A - 2 * u, A * 1e-3) * um2, (A + 2 * u) * um2,
                           color=series_colour(0), alpha=0.28, linewidth=0,
                           label="± 2u")  # fmt: skip
        above.loglog(nm, ideal * um2, color=series_colour(1), linestyle="--", label="ideal shape")
        below.fill_between(nm, (A - 2 * u) / ideal, (A + 2 * u) / ideal, color=series_colour(0),
                           alpha=0.28, linewidth=0)  # fmt: skip
        below.semilogx(nm, A / ideal, color=series_colour(0))
        below.axhline(1.0, color=series_colour(1), linestyle="--")
        if len(depth):
            for axes in (above, below):
                axes.axvspan(depth.min() * 1e9, depth.max() * 1e9, color=colour("ghost"),
                             alpha=0.16, linewidth=0,
                             label="depths of the tests" if axes is above else None)  # fmt: skip
        above.set_ylabel(r"Area $A_\mathrm{p}$ / µm²")
        below.set_ylabel("As used / ideal")
        below.set_xlabel(r"Contact depth $h_\mathrm{c}$ / nm")
        for axis in (below.xaxis, above.yaxis):
            axis.set_major_formatter(FuncFormatter(lambda v, _: f"{v:g}"))
        below.xaxis.set_minor_formatter(
            FuncFormatter(lambda v, _: f"{v:g}" if f"{v:e}"[0] in "25" else "")
        )
        below.tick_params(axis="x", which="minor", labelsize=6.8)
        above.legend(loc="upper left")
        picture.align_ylabels([above, below])
    ratio = A / ideal
    low = int(np.argmin(np.abs(h - depth.min()))) if len(depth) else 0
    high = int(np.argmin(np.abs(h - depth.max()))) if len(depth) else len(h) - 1
    picture.caption = f"Tip {tip}: area function as used, against the ideal shape."
    picture.alt = (
        f"Area function of tip {tip} ({bench.tip.area.kind}) over contact depths of "
        f"{number(nm[0])} to {number(nm[-1])} nm: {number(ratio[low])} times the ideal "
        f"{bench.tip.geometry.shape} area at {number(nm[low])} nm and {number(ratio[high])} times "
        f"at {number(nm[high])} nm; relative standard uncertainty "
        f"{number(100 * u[low] / A[low], 2)} % and {number(100 * u[high] / A[high], 2)} % there. "
        f"Contact depths of {plural(len(depth), 'unloading')} are shaded."
    )
    return picture


def contact_depths(result: StudyResult, tip: str) -> Floats:
    """Contact depths (m) of all unloadings made with a tip."""
    out = []
    for g in result.groups:
        if g.tip == tip:
            h = g.reduced.cycles["h_c"].value
            out.append(h[np.isfinite(h) & (h > 0)])
    return np.concatenate(out) if out else np.empty(0)


def area_and_u(tip: Tip, h: Floats) -> tuple[Floats, Floats]:
    """Area (m²) and its standard uncertainty from the joint distribution of the tip's inputs."""
    joint = join(areas.tip_joint(tip))
    base = np.asarray(areas.area(tip, {}, h), dtype=np.float64)
    slopes = np.zeros((len(h), len(joint.names)))
    for j, (name, sd) in enumerate(zip(joint.names, joint.sd, strict=True)):
        if sd > 0:
            low, high = (areas.area(tip, {name: joint[name] + s * sd}, h) for s in (-0.1, 0.1))
            slopes[:, j] = (high - low) / (0.2 * sd)
    var = np.einsum("ij,jk,ik->i", slopes, joint.cov, slopes)
    return base, np.sqrt(np.clip(var, 0.0, None))


def ideal_area(tip: Tip, h: Floats) -> Floats:
    """Area (m²) of the plain shape of a tip; for a pyramid without its rounding."""
    plain = replace(tip, area=AreaFunction("ideal", join([])))
    return np.asarray(areas.area(plain, {}, h), dtype=np.float64)


def _axis(depth: Floats, tip: Tip) -> Floats:
    if len(depth):
        low, high = 0.5 * float(depth.min()), 1.6 * float(depth.max())
    else:
        high = tip.area.h_max if np.isfinite(tip.area.h_max) else 1e-6
        low = max(tip.area.h_min, 0.01 * high)
    return np.asarray(np.geomspace(low, high, 200), dtype=np.float64)
