"""Flags that need the whole study: surroundings of each impression, and its series."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from drypoint.recipe import Study
from drypoint.records.batch import Batch
from drypoint.records.segments import DEPTH
from drypoint.reduction.events import Jumps
from drypoint.reduction.result import Flag, Reduction
from drypoint.reduction.strays import levels, outlier_flags
from drypoint.reduction.surroundings import Impressions, depth_flags, diameter_of, near_flags
from drypoint.run.columns import COLUMNS, factor_of
from drypoint.run.result import Group
from drypoint.run.series import rows_of

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

#: Properties whose stray values are flagged.
JUDGED = ("H_IT", "E_IT")


@dataclass(frozen=True)
class Facts:
    """What the groups know of each test of the whole batch: faces of its tip, whether depth was
    controlled, whether it touched; and the columns of its events, in lab units."""

    sides: NDArray[np.int64]
    by_depth: Bools
    touched: Bools
    events: Mapping[str, NDArray[np.float64] | NDArray[np.int64]]


def facts_of(groups: Sequence[Group], n: int) -> Facts:
    """Facts of the ``n`` tests of the whole batch; a later group replaces an earlier one."""
    sides = np.zeros(n, dtype=np.int64)
    by_depth, touched = np.zeros(n, dtype=bool), np.zeros(n, dtype=bool)
    events: dict[str, NDArray[np.float64] | NDArray[np.int64]] = {}
    for g in groups:
        r = g.reduced
        sides[g.where] = g.bench.tip.geometry.sides
        by_depth[g.where] = r.segments.control == DEPTH
        touched[g.where] = r.corrected.zero.how != -1
        e = r.events
        for name, jumps in (
            ("pop_in", e.pop_in),
            ("pop_out", e.pop_out),
            ("step_back", e.step_back),
        ):
            for column, values in _columns(name, jumps).items():
                whole = np.issubdtype(values.dtype, np.integer)
                empty = np.zeros(n, dtype=np.int64) if whole else np.full(n, np.nan)
                events.setdefault(column, empty)[g.where] = values
    return Facts(sides, by_depth, touched, events)


def _columns(name: str, jumps: Jumps) -> dict[str, NDArray[np.float64] | NDArray[np.int64]]:
    out: dict[str, NDArray[np.float64] | NDArray[np.int64]] = {
        f"{name}s": jumps.count,
        f"{name}_F_mN": jumps.force * 1e3,
        f"{name}_h_nm": jumps.depth * 1e9,
        f"{name}_size_nm": jumps.size * 1e9,
    }
    if name != "step_back":  # found under force control only
        out[f"{name}_drop_mN"] = jumps.drop * 1e3
    return out


def flagged(
    study: Study, batch: Batch, facts: Facts, tests: Reduction, cycles: Reduction,
    counted: tuple[Bools, Bools],
) -> tuple[Reduction, Reduction]:  # fmt: skip
    """Tests and cycles with the flags of surroundings and series behind those they have.

    Parameters
    ----------
    counted : pair of arrays
        For the rows of tests and of cycles: False where a person excluded them.
    """
    near = _near(study, batch, facts, cycles)
    out = []
    for r, kept in zip((tests, cycles), counted, strict=True):
        more: list[list[Flag]] = [[] for _ in range(len(r))]
        for specimen in study.file.specimens:
            rows = rows_of(batch, r, specimen)
            limits = study.options(specimen).flags
            declared = study.surroundings(specimen)
            for sides in np.unique(facts.sides[r.test[rows]]):
                some = rows[facts.sides[r.test[rows]] == sides]
                found = depth_flags(
                    r["h_max"].value[some], r["A_p"].value[some], int(sides), declared, limits
                )
                for row, flags in zip(some, found, strict=True):
                    more[row] += flags
            for row in rows:
                more[row] += near.get(int(r.test[row]), [])
            for one in np.unique(r.cycle[rows]) if r is cycles else (None,):
                some = rows if one is None else rows[r.cycle[rows] == one]
                found = outlier_flags(
                    {s: (r[s].value[some], r[s].u_random[some]) for s in JUDGED},
                    {s: (factor_of(s), COLUMNS[s][1]) for s in JUDGED},
                    _levels(r, some, facts.by_depth), kept[some], limits,
                )  # fmt: skip
                for row, flags in zip(some, found, strict=True):
                    more[row] += flags
        flags_ = tuple((*a, *b) for a, b in zip(r.flags, more, strict=True))
        out.append(replace(r, flags=flags_))
    return out[0], out[1]


def _levels(r: Reduction, rows: NDArray[np.int64], by_depth: Bools) -> NDArray[np.int64]:
    """Level of each row: of force, or of depth where that was controlled."""
    deep = by_depth[r.test[rows]]
    out = np.zeros(len(rows), dtype=np.int64)
    for symbol, which in (("F_max", ~deep), ("h_max", deep)):
        some = np.flatnonzero(which)
        first = out.max(initial=-1) + 1 if symbol == "h_max" else 0
        out[some] = first + levels(r[symbol].value[rows[some]])
    return out


def _near(study: Study, batch: Batch, facts: Facts, cycles: Reduction) -> dict[int, list[Flag]]:
    """Test -> flags of neighbours and edges. A test that touched and gave no result has left an
    impression too, of a size that is not known."""
    area = np.full(len(batch), np.nan)
    elastic = [any(f.code == "still elastic" for f in row) for row in cycles.flags]
    for row, a in enumerate(cycles["A_p"].value):
        t = int(cycles.test[row])
        if not elastic[row] and not a <= area[t]:
            area[t] = a
    out: dict[int, list[Flag]] = {}
    for specimen in study.file.specimens:
        which = [
            i for i, t in enumerate(batch.tests)
            if t.specimen == specimen and t.position_m is not None and facts.touched[i]
        ]  # fmt: skip
        if not which:
            continue
        infos = [batch.tests[i] for i in which]
        diameter = [float(diameter_of(area[i : i + 1], int(facts.sides[i]))[0]) for i in which]
        them = Impressions(
            [t.name for t in infos], np.array([t.position_m for t in infos]), np.array(diameter),
            [t.declared.get("site", "") for t in infos],
        )  # fmt: skip
        found = near_flags(them, study.surroundings(specimen), study.options(specimen).flags)
        out.update(zip(which, found, strict=True))
    return out
