"""Fields of a stress run at its peak and after it, and what acts on interfaces and surface."""

from __future__ import annotations

import numpy as np
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from drypoint.figures.half_section import half_section, solution_of, yielded_zone
from drypoint.figures.labels import number
from drypoint.figures.picture import Picture, nothing_to_show
from drypoint.figures.style import colour, drawing, series_colour
from drypoint.run.stressing import StressResult
from drypoint.stress import Solution, field, interface

Floats = NDArray[np.float64]

#: Colour map of values with a sign (part of Matplotlib); plastic strain that counts as yielded.
_SIGNED, _YIELDED = "RdBu_r", 0.002
#: Contact radii shown to the side and downwards.
_SIDE, _DOWN = 2.4, 2.2


def stress_maps(run: Solution | StressResult) -> Picture:
    """Largest principal stress and plastic strain at the peak, largest principal stress at the end.

    Raises
    ------
    StressError
        Where the run kept no fields.
    """
    run, invented = solution_of(run)
    a = float(run.contact_radius.max())
    size = (_SIDE * a, _DOWN * a)
    top, last = field(run, run.peak), field(run, -1)
    tension = [f.principal[..., 0].mean(axis=1) / 1e9 for f in (top, last)]
    picture = Picture("stress-maps", 2.9, invented=invented, computed=True)
    most = max(float(_near(run, t, size).max()) for t in tension) or 1.0
    with drawing():
        left, middle, right = picture.subplots(1, 3, sharey=True)
        first = half_section(left, run, run.peak, tension[0], size, cmap=_SIGNED,
                             limits=(-most, most))  # fmt: skip
        left.set_title("At the peak")
        half_section(middle, run, len(run.force) - 1, tension[1], size, cmap=_SIGNED,
                     limits=(-most, most))  # fmt: skip
        middle.set_title("At the end")
        strain = half_section(right, run, run.peak, top.plastic_strain.mean(axis=1), size)
        yielded_zone(right, run, run.peak, top, _YIELDED)
        right.set_title("At the peak")
        for axes in (middle, right):
            axes.set_ylabel("")
        bar = picture.colorbar(first, ax=[left, middle], location="bottom", shrink=0.7, pad=0.03,
                               extend="min", ticks=MaxNLocator(5))  # fmt: skip
        bar.set_label("Largest principal stress / GPa")
        other = picture.colorbar(strain, ax=right, location="bottom", shrink=0.9, pad=0.03,
                                 ticks=MaxNLocator(4))  # fmt: skip
        other.set_label("Plastic strain")
    picture.caption = (
        "Largest principal stress (red: tension, which opens cracks) at the peak and at the end of "
        "the run, and plastic strain at the peak (white line: 0.2 %)."
    )
    picture.alt = " ".join(
        (
            _tension_words("At the peak", run, run.peak),
            _tension_words("At the end", run, len(run.force) - 1),
            f"The plastic strain reaches {number(float(top.plastic_strain.mean(axis=1).max()))}.",
        )
    )
    return picture


def _near(run: Solution, values: Floats, size: tuple[float, float]) -> Floats:
    middle = run.mesh.X[run.mesh.quads].mean(axis=1)
    return values[(middle[:, 0] < size[0]) & (middle[:, 1] > -size[1])]


def _tension_words(when: str, run: Solution, k: int) -> str:
    value, r, z = largest_tension(run, k)
    return (
        f"{when} the largest tension is {number(value / 1e9)} GPa, {number(r * 1e9)} nm off the "
        f"axis at a height of {number(z * 1e9)} nm."
    )


def largest_tension(run: Solution, k: int) -> tuple[float, float, float]:
    """Largest principal stress of an element's mean (Pa) at a step, and its place (r, z), m."""
    f = field(run, k)
    mean = f.principal[..., 0].mean(axis=1)
    i = int(np.argmax(mean))
    return float(mean[i]), float(f.r[i].mean()), float(f.z[i].mean())


def interface_stress(run: Solution | StressResult) -> Picture:
    """Stress across and along every interface, at the peak and at the end.

    Raises
    ------
    StressError
        Where the run kept no fields.
    """
    run, invented = solution_of(run)
    count = len(run.stack.layers)
    height = 2.3 if count else 1.0
    picture = Picture("interface-stress", height, invented=invented, computed=True)
    if count == 0:
        return nothing_to_show(picture, "There is no interface.")
    a = float(run.contact_radius.max())
    words = []
    with drawing():
        across, along = picture.subplots(1, 2)
        for axes, label in ((across, "Stress across / GPa"), (along, "Shear stress along / GPa")):
            axes.axhline(0.0, color=colour("rule"), linewidth=0.8)
            axes.set_xlabel("Radius over largest contact radius")
            axes.set_ylabel(label)
            axes.set_xlim(0, 4)
        for n in range(count):
            for step, style, when in ((run.peak, "-", "peak"), (-1, "--", "end")):
                one = interface(run, step, n)
                near = one.r < 4.2 * a
                name = f"{n + 1}, {when}" if count > 1 else when
                for axes, values in ((across, one.normal), (along, one.shear)):
                    axes.plot(one.r[near] / a, values[near] / 1e9, style, label=name,
                              color=series_colour(n), linewidth=1.1)  # fmt: skip
                words.append(_extremes(name, one.normal[near], one.shear[near]))
        across.legend(title="Interface" if count > 1 else None)
    picture.caption = (
        "Stress across the interface (tension positive, which opens it) and shear along it, at the "
        "peak (line) and at the end (dashed)."
    )
    picture.alt = " ".join(words)
    return picture


def _extremes(name: str, normal: Floats, shear: Floats) -> str:
    side = max(shear.max(), -shear.min())
    return (
        f"Interface {name}: across from {number(float(normal.min()) / 1e9)} to "
        f"{number(float(normal.max()) / 1e9)} GPa, shear up to {number(float(side) / 1e9)} GPa."
    )


def impression(run: Solution | StressResult) -> Picture:
    """The surface at the peak and at the end, and the pressure under the tip."""
    run, invented = solution_of(run)
    picture = Picture("impression", 2.3, invented=invented, computed=True)
    a = float(run.contact_radius.max())
    top, last = run.surfaces[run.peak], run.surfaces[-1]
    with drawing():
        shape, load = picture.subplots(1, 2)
        for s, name, i in ((top, "at the peak", 0), (last, "at the end", 1)):
            near = s.r < 4 * a
            shape.plot(s.r[near] * 1e9, s.z[near] * 1e9, label=name, color=series_colour(i))
        shape.axhline(0.0, color=colour("rule"), linewidth=0.8)
        shape.set_xlabel("Radius $r$ / nm")
        shape.set_ylabel("Height of the surface / nm")
        shape.legend()
        inside = (top.r <= 1.05 * a) & (top.r > 0)
        load.plot(top.r[inside] / a, top.pressure[inside] / 1e9, color=series_colour(0))
        load.set_xlabel("Radius over contact radius")
        load.set_ylabel("Pressure / GPa")
        load.set_ylim(bottom=0)
    rise = "up" if run.pile_up > 0 else "down"
    picture.caption = "The surface at the peak and at the end, and the pressure at the peak."
    picture.alt = (
        f"At the peak the surface lies {number(abs(run.pile_up) * 1e9)} nm {rise} at the edge of "
        f"the contact, which has a radius of {number(a * 1e9)} nm. At the end the impression is "
        f"{number(-float(last.z.min()) * 1e9)} nm deep, and its rim {number(last.pile_up * 1e9)} "
        f"nm high."
    )
    return picture
