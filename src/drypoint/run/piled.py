"""Size of pile-up and sink-in of the unloadings of a coated specimen, from its records."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drypoint.contact.pile_up import loading_ratio
from drypoint.films import AreaSize, area_size
from drypoint.recipe.to_films import Coating
from drypoint.run.result import StudyResult
from drypoint.tips.area import area

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]

#: What is said where pile-up cannot be counted.
NO_SIZE = (
    "The size of pile-up and sink-in is known for pyramids and cones of about 70 degrees only: it "
    "is not counted here."
)
TWO_TIPS = "The size of pile-up and sink-in is not counted: the tests were made with several tips."


@dataclass(frozen=True)
class Piled:
    """Pile-up of some unloadings; arrays of shape (n,).

    h_p/h_max, W_elast/W_total and the work of loading over F h less that of one solid under the
    same tip, all without creep; the range of the true areas, where it is known for the tip, and a
    sentence for where it is not; E_r in Pa.
    """

    depth_ratio: Floats
    work_ratio: Floats
    excess: Floats
    size: AreaSize | None
    E_r: Floats
    why: str = NO_SIZE


def piled_of(result: StudyResult, rows: Rows, coating: Coating) -> Piled:
    """Ratios of the records, without what creep at the peak adds, and the size of pile-up."""
    c = {
        k: result.cycles[k].value[rows]
        for k in (
            "F_max",
            "h_max",
            "h_p",
            "h_c",
            "C_IT",
            "W_total",
            "W_elast",
            "A_p",
            "E_r",
        )
    }
    creep = np.nan_to_num(np.clip(c["C_IT"], 0.0, None)) / 100.0
    crept = c["h_max"] * creep / (1.0 + creep)
    h, work = c["h_max"] - crept, c["W_total"] - c["F_max"] * crept
    depth = (c["h_p"] - crept) / h
    tests = set(result.cycles.test[rows].tolist())
    tips = {
        g.tip: g.bench.tip
        for g in result.groups
        if tests & {int(t) for i, t in enumerate(g.where) if i not in g.superseded}
    }
    excess: Floats = np.full(len(rows), np.nan)
    size = None
    if len(tips) == 1:
        (tip,) = tips.values()
        excess = work / (c["F_max"] * h) - loading_ratio(lambda x: area(tip, {}, x), c["h_c"])
        t = coating.structure.layers[0].t.value
        size = area_size(
            depth, excess, np.sqrt(c["A_p"] / np.pi) / t, tip.geometry.equivalent_half_angle
        )
        if size is not None:
            size = size.without(_measured(result, rows))
    why = NO_SIZE if len(tips) == 1 else TWO_TIPS
    return Piled(depth, c["W_elast"] / work, excess, size, c["E_r"], why)


def _measured(result: StudyResult, rows: Rows) -> NDArray[np.bool_]:
    """Whether the area of an unloading was measured on the impression."""
    part = result.cycles["A_p"].random_parts.get("measured area")
    return np.zeros(len(rows), dtype=bool) if part is None else np.asarray(part[rows] > 0)
