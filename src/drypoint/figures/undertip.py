"""Stress under the tip, beside the record that belongs to it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from drypoint.figures.half_section import half_section, solution_of, yielded_zone
from drypoint.figures.labels import number
from drypoint.figures.picture import Picture
from drypoint.figures.style import drawing, series_colour
from drypoint.run.stressing import StressResult
from drypoint.stress import Field, Solution, field

Floats = NDArray[np.float64]

#: Contact radii shown to the side and downwards; plastic strain that counts as yielded.
_SIDE, _DOWN, _YIELDED = 2.6, 2.4, 0.002


def under_the_tip(run: Solution | StressResult, step: int | None = None) -> Picture:
    """Von Mises stress in a half section, with the yielded zone, and the record up to there.

    ``step`` counts from 0, or from -1 at the end; without it, the step of greatest force.

    Raises
    ------
    StressError
        Where the run kept no fields.
    """
    run, invented = solution_of(run)
    k = range(len(run.force))[run.peak if step is None else step]
    f = field(run, k)
    a = float(run.contact_radius.max())
    picture = Picture("under-the-tip", 3.1, invented=invented, computed=True)
    with drawing():
        section, record = picture.subplots(1, 2, width_ratios=(1.7, 1))
        shown = half_section(
            section, run, k, f.von_mises.mean(axis=1) / 1e9, (_SIDE * a, _DOWN * a)
        )
        yielded_zone(section, run, k, f, _YIELDED)
        bar = picture.colorbar(shown, ax=section, shrink=0.92, pad=0.02)
        bar.set_label("Von Mises stress / GPa")
        record.plot(run.depth * 1e9, run.force * 1e3, color=series_colour(0))
        record.plot(run.depth[k] * 1e9, run.force[k] * 1e3, "o", color=series_colour(1))
        record.set_xlabel("Depth $h$ / nm")
        record.set_ylabel("Force $F$ / mN")
    stress = f.von_mises.mean(axis=1)
    top = int(np.argmax(stress))
    deepest = _deepest(f)
    picture.caption = (
        f"Von Mises stress under {run.profile.name} at {number(run.force[k] * 1e3)} mN, and the "
        "record it belongs to."
    )
    yielded = (
        f"The yielded zone (plastic strain above 0.2 %) reaches {number(deepest * 1e9)} nm down"
        if deepest > 0
        else "Nothing has yielded"
    )
    picture.alt = (
        f"Half section under {run.profile.name} at a depth of {number(run.depth[k] * 1e9)} nm and "
        f"{number(run.force[k] * 1e3)} mN, contact radius "
        f"{number(run.contact_radius[k] * 1e9)} nm: von Mises stress up to "
        f"{number(stress[top] / 1e9)} GPa, {number(max(-f.z[top].mean(), 0.0) * 1e9)} nm below the "
        f"first surface and {number(f.r[top].mean() * 1e9)} nm off the axis. {yielded}. Beside it "
        f"force over depth, up to {number(run.force.max() * 1e3)} mN."
    )
    return picture


def _deepest(f: Field) -> float:
    over = f.plastic_strain.mean(axis=1) > _YIELDED
    return float(-f.z.mean(axis=1)[over].min()) if np.any(over) else 0.0
