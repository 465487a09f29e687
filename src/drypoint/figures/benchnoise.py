"""Noise of a bench, and how the inputs of its calibration hang together."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle
from matplotlib.ticker import FuncFormatter
from numpy.typing import NDArray

from drypoint.calibration import NoiseStudy
from drypoint.figures.labels import number, plural
from drypoint.figures.picture import Picture
from drypoint.figures.style import colour, drawing, series_colour
from drypoint.uncertainty.joint import Joint

Floats = NDArray[np.float64]

_SHORT = {
    "frame.C_f": r"$C_\mathrm{f}$",
    "tip.angle": "face angle",
    "tip.radius": "tip radius",
    "tip.E_i": r"$E_\mathrm{i}$",
    "tip.nu_i": r"$\nu_\mathrm{i}$",
    "beta": r"$\beta$",
    "epsilon": r"$\varepsilon$",
    "force_scale": "force scale",
    "depth_scale": "depth scale",
    "zero.exponent": "exponent of zero",
}


def allan(study: NoiseStudy) -> Picture:
    """Allan deviation of depth and force against averaging time, with the best time for depth."""
    picture = Picture("calibration-noise", 2.45, invented=study.invented)
    with drawing():
        left, right = picture.subplots(1, 2)
        _course(left, study.tau, study.allan_depth * 1e9, 0, "Depth: Allan deviation / nm")
        _course(right, study.tau, study.allan_force * 1e6, 1, "Force: Allan deviation / µN")
        if np.isfinite(study.best_tau):
            left.axvline(study.best_tau, color=colour("ink"), linestyle="--", linewidth=0.9)
            left.plot([study.best_tau], [study.floor_depth * 1e9], "o", markersize=5,
                      color=series_colour(0))  # fmt: skip
            left.annotate(f"{number(study.best_tau, 2)} s: {number(study.floor_depth * 1e9, 2)} nm",
                          (study.best_tau, 0.94), xycoords=("data", "axes fraction"),
                          xytext=(4, 0), textcoords="offset points", va="top",
                          fontsize=7.5)  # fmt: skip
    picture.caption = (
        "Allan deviation against averaging time, from the quiet stretches of these records. "
        "Dashed: the time beyond which averaging depth no longer helps. Dotted: white noise."
    )
    picture.alt = " ".join(study.sentences)
    return picture


def _course(axes: Axes, tau: Floats, y: Floats, series: int, label: str) -> None:
    good = np.isfinite(y) & (y > 0)
    if good.any():
        t, v = tau[good], y[good]
        axes.loglog(t, v, "o-", markersize=2.6, color=series_colour(series))
        axes.loglog(t, v[0] * np.sqrt(t[0] / t), ":", color=colour("soft"), linewidth=1.0)
        axes.set_ylim(v.min() / 2, v.max() * 1.6)
    axes.set_xlabel("Averaging time / s")
    axes.set_ylabel(label)
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_formatter(FuncFormatter(lambda v, _: f"{v:g}"))
        axis.set_minor_formatter(FuncFormatter(lambda v, _: ""))
    axes.yaxis.set_minor_formatter(
        FuncFormatter(lambda v, _: f"{v:g}" if f"{v:e}"[0] in "25" else "")
    )
    axes.tick_params(axis="y", which="minor", labelsize=6.8)


def correlated(joint: Joint) -> Joint:
    """The inputs that have an uncertainty."""
    return joint.pick([n for n, sd in zip(joint.names, joint.sd, strict=True) if sd > 0])


def correlations(joint: Joint) -> Floats:
    """Correlation matrix of inputs that all have an uncertainty, shape (k, k)."""
    return np.asarray(joint.cov / np.outer(joint.sd, joint.sd))


def correlation_map(joint: Joint, *, invented: bool = False) -> Picture:
    """Correlation of the inputs that a calibration carries into every result.

    With ``invented`` the footer says that the calibration is from invented data.
    """
    inputs = correlated(joint)
    r, n = correlations(inputs), len(inputs.names)
    picture = Picture("calibration-correlation", 0.9 + 0.24 * n, invented=invented)
    with drawing():
        axes = picture.add_subplot()
        for i in range(1, n):
            for j in range(i):
                size = min(abs(float(r[i, j])), 1.0)
                shade = series_colour(0 if r[i, j] >= 0 else 1)
                axes.add_patch(
                    Rectangle((j - 0.48, i - 0.46), 0.96, 0.92, linewidth=0,
                              alpha=0.08 + 0.5 * size,
                              color=shade if size >= 0.005 else colour("ghost"))
                )  # fmt: skip
                axes.text(j, i, _two(float(r[i, j])), ha="center", va="center", fontsize=7.0)
        names = [_SHORT.get(name, _coefficient(name)) for name in inputs.names]
        axes.set_xlim(-0.55, n - 1.45)
        axes.set_ylim(n - 0.45, 0.55)
        axes.set_xticks(range(n - 1), names[:-1], rotation=30, ha="right")
        axes.set_yticks(range(1, n), names[1:])
        axes.grid(visible=False)
        axes.tick_params(length=0)
        for side in axes.spines.values():
            side.set_visible(False)
    picture.caption = (
        "Correlation of the inputs that the calibration carries into every result. "
        "Blue: together; orange: against each other. Inputs without uncertainty are left out."
    )
    pairs = sorted(
        ((abs(r[i, j]), r[i, j], i, j) for i in range(n) for j in range(i)), reverse=True
    )
    strongest = "; ".join(
        f"{inputs.names[j]} and {inputs.names[i]} {_two(float(v))}" for _, v, i, j in pairs[:5]
    )
    picture.alt = f"Correlation of {plural(n, 'input')}; the strongest: {strongest}."
    return picture


def _coefficient(name: str) -> str:
    if name.startswith(("tip.C", "tip.A")):
        return rf"${name[4]}_{{{name[5:]}}}$"
    return name


def _two(r: float) -> str:
    return f"{r:.2f}".replace("-0.00", "0.00").replace("-", "−")
