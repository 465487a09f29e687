"""A calibration: its area function, what the fit left over, and what it says of the references."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter
from numpy.typing import NDArray

from drypoint.calibration import Calibration
from drypoint.figures.area import ideal_area
from drypoint.figures.labels import as_words, axis_label, in_units, number, plural, span
from drypoint.figures.picture import Picture
from drypoint.figures.style import colour, drawing, series_colour
from drypoint.run.bench_result import BenchResult
from drypoint.run.columns import unit_text

Floats = NDArray[np.float64]

_H_C = r"Contact depth $h_\mathrm{c}$ / nm"
#: Marks of materials, in the order in which they are taken.
_MARKS = ("o", "s", "^", "D", "v", "P")
#: Rows this many standard uncertainties off the fit are named in the figure; so many at most.
_NAMED, _MOST_NAMED = 4.0, 5


def calibrated_area(result: BenchResult) -> Picture:
    """Area function with its band, and the area that each reference test alone implies.

    Above the area, below its ratio to the ideal tip, both against contact depth.
    """
    c = result.calibrated.calibration
    h = np.geomspace(0.93 * c.rows.h_c.min(), 1.07 * c.rows.h_c.max(), 200)
    A, u = c.area(h)
    ideal = ideal_area(c.tip, h)
    picture = Picture("calibration-area", 4.0, invented=result.invented)
    nm, um2 = h * 1e9, 1e12
    with drawing():
        above, below = picture.subplots(2, 1, sharex=True, height_ratios=(1, 1.15))
        above.fill_between(nm, (A - 2 * u) * um2, (A + 2 * u) * um2, color=series_colour(0),
                           alpha=0.28, linewidth=0)  # fmt: skip
        above.loglog(nm, A * um2, color=series_colour(0))
        above.loglog(nm, ideal * um2, color=colour("ink"), linestyle="--")
        below.fill_between(nm, (A - 2 * u) / ideal, (A + 2 * u) / ideal, color=series_colour(0),
                           alpha=0.28, linewidth=0, label="± 2u")  # fmt: skip
        below.semilogx(nm, A / ideal, color=series_colour(0), label="area function found")
        below.axhline(1.0, color=colour("ink"), linestyle="--",
                      label=f"ideal {c.tip.geometry.shape}")  # fmt: skip
        seen = c.rows.area_seen
        _by_material(above, c, seen * um2)
        _by_material(below, c, seen / ideal_area(c.tip, c.rows.h_c))
        above.set_ylabel(r"Area $A_\mathrm{p}$ / µm²")
        below.set_ylabel("Area / ideal area")
        above.yaxis.set_major_formatter(FuncFormatter(lambda v, _: f"{v:g}"))
        below.set_xlabel(_H_C)
        depth_axis(below)
        handles, texts = below.get_legend_handles_labels()
        picture.legend(handles, texts, loc="outside upper center", ncols=len(texts))
        picture.align_ylabels([above, below])
    low, high = _ends(c)
    picture.caption = (
        "Area function found, with its band of ± 2u (all sources), against the ideal tip. Points: "
        "the area that each reference test alone implies."
    )
    picture.alt = (
        f"Area function ({c.tip.area.kind}) from {plural(len(c.tests), 'unloading')}: "
        + "; ".join(
            f"{number(a * um2)} µm² at {number(x * 1e9)} nm, {number(a / i)} times the ideal area, "
            f"relative standard uncertainty {number(100 * s / a, 2)} %"
            for x, a, s, i in zip((low, high), *c.area([low, high]),
                                  ideal_area(c.tip, np.array([low, high])), strict=True)
        )
        + "."
    )  # fmt: skip
    return picture


def residuals(result: BenchResult) -> Picture:
    """What is left of the contact compliance, in percent and in standard uncertainties."""
    c = result.calibrated.calibration
    z, rel = c.rows.standardised, 100 * c.rows.residual / c.rows.predicted
    picture = Picture("calibration-residuals", 3.2, invented=result.invented)
    with drawing():
        above, below = picture.subplots(2, 1, sharex=True)
        for axes in (above, below):
            axes.axhline(0.0, color=colour("soft"), linewidth=0.8)
            axes.set_xscale("log")
        _by_material(above, c, rel)
        _by_material(below, c, z)
        for level in (-2, 2):
            below.axhline(level, color=colour("ink"), linestyle="--", linewidth=0.9,
                          label="± 2 standard uncertainties" if level < 0 else None)  # fmt: skip
        below.set_ylim(*_about_zero(z, 3.2))
        above.set_ylim(*_about_zero(rel, 0.0))
        _name_far(below, c)
        above.set_ylabel("Residual / %")
        below.set_ylabel("Residual / u")
        below.set_xlabel(_H_C)
        depth_axis(below)
        handles, texts = below.get_legend_handles_labels()
        picture.legend(handles, texts, loc="outside upper center", ncols=len(texts))
        picture.align_ylabels([above, below])
    out = int(np.sum(np.abs(z) > 2))
    picture.caption = (
        "Measured less fitted contact compliance of each reference test: in percent (above) and "
        "in its standard uncertainty, scatter included (below)."
    )
    picture.alt = (
        f"Residuals of {plural(len(z), 'unloading')}: {span(rel, '%', 2)}; {out} of them lie "
        f"more than two standard uncertainties off ({number(0.0455 * len(z), 2)} would by chance); "
        f"the largest is {number(float(np.abs(z).max()), 2)} standard uncertainties."
    )
    return picture


def reference_hardness(result: BenchResult) -> Picture:
    """Hardness and F/S² of the reference tests against contact depth."""
    c = result.calibrated.calibration
    picture = Picture("calibration-hardness", 3.0, invented=result.invented)
    shown = {"H_IT": c.rows.hardness, "F_over_S2": c.rows.force_over_stiffness_squared}
    words = []
    with drawing():
        panels = picture.subplots(2, 1, sharex=True)
        for axes, (symbol, values) in zip(panels, shown.items(), strict=True):
            axes.set_xscale("log")
            in_unit = in_units(symbol, values)
            for j in np.unique(c.tests.material):
                mine = in_unit[c.tests.material == j]
                axes.axhline(float(np.median(mine)), color=series_colour(int(j) + 1),
                             linewidth=0.9, alpha=0.7)  # fmt: skip
                name = c.tests.materials[j].name
                words.append(f"{symbol.replace('F_over_S2', 'F/S²')} of {name}: "
                             f"{span(mine, unit_text(symbol))}.")  # fmt: skip
            _by_material(axes, c, in_unit)
            axes.set_ylabel(axis_label(symbol, short=True))
            axes.margins(y=0.15)
            axes.ticklabel_format(axis="y", useOffset=False)
        panels[-1].set_xlabel(_H_C)
        depth_axis(panels[-1])
        handles, texts = panels[0].get_legend_handles_labels()
        picture.legend(handles, texts, loc="outside upper center", ncols=len(texts))
        picture.align_ylabels(list(panels))
    picture.caption = (
        "Hardness and F/S² of the reference tests with the tip and frame found; lines: medians. "
        "F/S² needs no area function: a wrong frame compliance bends it."
    )
    picture.alt = " ".join(words)
    return picture


def depth_axis(axes: Axes) -> None:
    """Plain numbers under a logarithmic depth axis, at 1, 2 and 5."""
    axes.xaxis.set_major_formatter(FuncFormatter(lambda v, _: f"{v:g}"))
    axes.xaxis.set_minor_formatter(
        FuncFormatter(lambda v, _: f"{v:g}" if f"{v:e}"[0] in "235" else "")
    )
    axes.tick_params(axis="x", which="minor", labelsize=6.8)


def _by_material(axes: Axes, c: Calibration, y: Floats) -> None:
    for i, j in enumerate(np.unique(c.tests.material)):
        rows = c.tests.material == j
        axes.plot(c.rows.h_c[rows] * 1e9, y[rows], _MARKS[i % len(_MARKS)], markersize=3.4,
                  color=series_colour(int(i) + 1), alpha=0.8, markeredgewidth=0,
                  label=as_words(c.tests.materials[j].name))  # fmt: skip


def _name_far(axes: Axes, c: Calibration) -> None:
    z = c.rows.standardised
    far = np.flatnonzero(np.abs(z) > _NAMED)
    for i in far[np.argsort(-np.abs(z[far]))][:_MOST_NAMED]:
        right = c.rows.h_c[i] < np.sqrt(c.rows.h_c.min() * c.rows.h_c.max())
        axes.annotate(as_words(c.tests.label(int(i))), (c.rows.h_c[i] * 1e9, z[i]),
                      xytext=(4 if right else -4, 0), textcoords="offset points",
                      ha="left" if right else "right", va="center", fontsize=6.5)  # fmt: skip


def _about_zero(values: Floats, least: float) -> tuple[float, float]:
    top = max(1.12 * float(np.abs(values).max()), least) or 1.0
    return -top, top


def _ends(c: Calibration) -> tuple[float, float]:
    return float(c.rows.h_c.min()), float(c.rows.h_c.max())
