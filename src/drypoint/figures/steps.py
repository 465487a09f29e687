"""One test step by step: raw, zeroed, corrected; segments; unloading fit and its residual."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.gridspec import GridSpec

from drypoint.figures.labels import listed, number, plural, span
from drypoint.figures.load_depth import thinned
from drypoint.figures.picture import Picture
from drypoint.figures.style import colour, drawing, series_colour
from drypoint.run.result import Curve, StudyResult

_POINTS = 1500
#: Kind of segment -> role of the band behind it.
_BANDS = {
    "approach": "ghost",
    "loading": "blue",
    "hold": "orange",
    "unloading": "teal",
    "drift hold": "plum",
}


def steps(result: StudyResult, test: str) -> Picture:
    """One test step by step.

    Left: force and depth as recorded, with the segments that were found. Right: load-depth as
    recorded, with its zero, and with all corrections, with the unloading fit; below it the
    residual of the fit over its window.
    """
    curve = result.curve(test)
    picture = Picture(f"steps-{test}", 4.3, invented=result.invented)
    with drawing():
        grid = GridSpec(2, 2, figure=picture, height_ratios=(2, 1), width_ratios=(1, 1.25))
        left = grid[:, 0].subgridspec(2, 1)
        force = picture.add_subplot(left[0])
        depth = picture.add_subplot(left[1], sharex=force)
        plane = picture.add_subplot(grid[0, 1])
        rest = picture.add_subplot(grid[1, 1])
        _traces(curve, force, depth)
        _plane(curve, plane)
        _residual(curve, rest)
        picture.align_ylabels([force, depth])
        picture.align_ylabels([plane, rest])
    kinds = [f"{k}" for k, *_ in curve.segments]
    picture.caption = (
        f"Test {test} step by step: as recorded, with zero, drift-corrected; segments, unloading "
        "fit and its residual."
    )
    cycles = len(curve.fits)
    residual = [float(np.sqrt(np.mean(r**2))) * 1e6 for *_, r in curve.fits if len(r)]
    picture.alt = (
        f"Test {test}: {plural(len(curve.time), 'sample')}, segments {listed(kinds)}. Zero at "
        f"{number(curve.zero_depth * 1e9)} nm of compliance-corrected depth, standard uncertainty "
        f"{number(curve.u_zero_depth * 1e9, 2)} nm; drift {number(curve.drift_rate * 1e9)} nm/s. "
        f"{plural(cycles, 'unloading')} fitted; root mean square of the residual "
        f"{span(residual, 'µN', 2)}."
    )
    return picture


def _time(curve: Curve) -> tuple[np.ndarray, str]:
    if np.isfinite(curve.time).all():
        return curve.time, "Time $t$ / s"
    return np.arange(len(curve.force), dtype=np.float64), "Sample"


def _traces(curve: Curve, force: Axes, depth: Axes) -> None:
    t, label = _time(curve)
    pick = thinned(len(t), _POINTS)
    for axes, y, name in (
        (force, curve.raw_force * 1e3, "Force $F$ / mN"),
        (depth, curve.raw_depth * 1e9, "Depth $h$ / nm"),
    ):
        axes.plot(t[pick], y[pick], color=colour("ink"), linewidth=0.9)
        axes.set_ylabel(name)
        axes.grid(False)
        for kind, start, stop, _ in curve.segments:
            axes.axvspan(
                t[start],
                t[min(stop, len(t) - 1)],
                color=colour(_BANDS.get(kind, "ghost")),
                alpha=0.16,
                linewidth=0,
            )
    force.set_title("As recorded, with segments")
    force.tick_params(labelbottom=False)
    depth.set_xlabel(label)
    kinds = list(dict.fromkeys(k for k, *_ in curve.segments))
    handles = [
        force.fill_between([], [], [], color=colour(_BANDS.get(k, "ghost")), alpha=0.3, label=k)
        for k in kinds
    ]
    top = float(np.nanmax(curve.raw_force)) * 1e3
    force.set_ylim(top=top * (1.12 + 0.14 * ((len(kinds) + 1) // 2)))
    force.legend(handles=handles, ncols=2, loc="upper center", fontsize=6.8,
                 handlelength=1.2, columnspacing=1.2, borderaxespad=0.2)  # fmt: skip


def contact_of(curve: Curve) -> int:
    """The sample nearest to the zero of depth, before the largest force."""
    top = int(np.argmax(curve.force))
    return int(np.argmin(np.abs(curve.zeroed_depth[: top + 1])))


def _plane(curve: Curve, axes: Axes) -> None:
    pick = thinned(len(curve.force), _POINTS)
    f = curve.force[pick] * 1e3
    contact = contact_of(curve)
    raw = (curve.raw_depth - curve.raw_depth[contact]) * 1e9
    axes.plot(raw[pick], curve.raw_force[pick] * 1e3, color=colour("ghost"), linewidth=1.0,
              label="recorded, moved to zero")  # fmt: skip
    axes.plot(curve.zeroed_depth[pick] * 1e9, f, color=series_colour(4), linewidth=2.2,
              label="with scales, frame, zero")  # fmt: skip
    axes.plot(curve.depth[pick] * 1e9, f, color=series_colour(0), linewidth=0.9,
              label="drift-corrected")  # fmt: skip
    for i, (_, h, model, _) in enumerate(curve.fits):
        axes.plot(h * 1e9, model * 1e3, color=series_colour(1), linewidth=1.6,
                  label="unloading fit" if i == 0 else None)  # fmt: skip
    axes.set_title("Load–depth")
    axes.set_xlabel("Depth $h$ / nm")
    axes.set_ylabel("Force $F$ / mN")
    deep = float(np.nanmax(curve.depth)) * 1e9
    axes.set_xlim(-0.06 * deep, 1.08 * max(deep, float(np.nanmax(raw))))
    axes.legend(loc="upper left", fontsize=6.8, handlelength=1.4, borderaxespad=0.6)


def _residual(curve: Curve, axes: Axes) -> None:
    axes.axhline(0.0, color=colour("soft"), linewidth=0.7)
    many = len(curve.fits) > 3
    for i, (cycle, h, _, rest) in enumerate(curve.fits):
        pick = thinned(len(h), _POINTS // 3)
        axes.plot(
            h[pick] * 1e9,
            rest[pick] * 1e6,
            ".",
            markersize=2.2,
            color=colour("blue") if many else series_colour(i),
            alpha=0.7,
            label=f"unloading {cycle}",
        )
    if 1 < len(curve.fits) <= 3:
        axes.legend(loc="best", fontsize=6.8)
    axes.set_title("Residual of the fit")
    axes.set_xlabel("Depth $h$ / nm")
    axes.set_ylabel("Residual / µN")
