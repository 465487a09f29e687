"""The test cycle, read off the segments that were found."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drypoint.records.segments import Kind
from drypoint.report.model import Column, Paragraph, Section, Table
from drypoint.report.words import DASH, between, plain
from drypoint.run.result import Group, StudyResult

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class _Timing:
    """Durations (s) of one test, NaN where it has no such segment; ``F_max`` in N."""

    F_max: float
    control: str
    cycles: int
    approach: float
    loading: float
    hold: float
    unloading: float
    drift: float
    interval: float
    samples: int


def cycle(result: StudyResult) -> Section:
    """Control, forces, times and sampling of the tests of each specimen."""
    rows = []
    for specimen in result.specimens:
        rows += [_row(specimen, level) for level in _levels(_timings(result, specimen))]
    return Section(
        "cycle",
        "Test cycle",
        (
            Paragraph(
                "Times are those of the segments found in the records; for stepped loading, "
                "loading, hold and unloading are those of the last step. The designation gives "
                "force in N / time to the largest force / hold / time of unloading in s."
            ),
            Table(
                "Test cycle by specimen and largest force; durations in s.",
                (
                    Column("Specimen"),
                    Column("Control"),
                    Column("Tests", "number"),
                    Column("F_max / mN", "number"),
                    Column("Unloadings", "number"),
                    Column("Approach", "number"),
                    Column("Loading", "number"),
                    Column("Hold", "number"),
                    Column("Unloading", "number"),
                    Column("Drift hold", "number"),
                    Column("Rate / Hz", "number"),
                    Column("Designation"),
                ),
                tuple(rows),
            ),
        ),
    )


def _timings(result: StudyResult, specimen: str) -> list[_Timing]:
    out = []
    have = {int(t) for t in result.tests.test}
    for g in result.groups:
        for i, info in enumerate(g.batch.tests):
            if info.specimen == specimen and i not in g.superseded and int(g.where[i]) in have:
                out.append(_timing(g, i))
    return out


def _timing(g: Group, i: int) -> _Timing:
    segments = g.reduced.segments.of(i)
    time = g.batch.time
    s = g.batch.span(i)
    row = int(np.flatnonzero(g.reduced.tests.test == i)[0])
    cycles = int(np.sum(g.reduced.cycles.test == i))
    main = int(g.reduced.tests.cycle[row])

    def lasts(kind: Kind, cycle: int | None) -> float:
        found = [
            float(time[min(b, s.stop - 1)] - time[a])
            for k, a, b, c in segments
            if k == kind and (cycle is None or c == cycle)
        ]
        return found[0 if kind == Kind.UNLOADING else -1] if found else np.nan

    step = np.diff(time[s])
    return _Timing(
        F_max=float(g.reduced.tests["F_max"].value[row]),
        control="force" if int(g.reduced.segments.control[i]) == 0 else "depth",
        cycles=cycles,
        approach=lasts(Kind.APPROACH, None),
        loading=lasts(Kind.LOADING, main),
        hold=lasts(Kind.HOLD, main),
        unloading=lasts(Kind.UNLOADING, main),
        drift=lasts(Kind.DRIFT_HOLD, None),
        interval=float(np.median(step)) if len(step) else np.nan,
        samples=s.stop - s.start,
    )


def _levels(timings: list[_Timing]) -> list[list[_Timing]]:
    """Tests with the same control, number of cycles and (to 3 %) largest force."""
    levels: list[list[_Timing]] = []
    for t in sorted(timings, key=lambda t: (t.control, t.cycles, t.F_max)):
        last = levels[-1][0] if levels else None
        same = last is not None and (last.control, last.cycles) == (t.control, t.cycles)
        if same and last is not None and t.F_max <= 1.03 * last.F_max:
            levels[-1].append(t)
        else:
            levels.append([t])
    return levels


def _row(specimen: str, level: list[_Timing]) -> tuple[str, ...]:
    def times(name: str) -> str:
        return between(np.round([getattr(t, name) for t in level], 1))

    rate = [1.0 / t.interval if t.interval > 0 else np.nan for t in level]
    return (
        specimen,
        level[0].control,
        str(len(level)),
        between([t.F_max * 1e3 for t in level]),
        str(level[0].cycles),
        times("approach"),
        times("loading"),
        times("hold"),
        times("unloading"),
        times("drift"),
        between(rate),
        designation(level[0].F_max, *(
            float(np.median([getattr(t, name) for t in level]))
            for name in ("loading", "hold", "unloading")
        )) if level[0].cycles == 1 else DASH,
    )  # fmt: skip


def designation(force: float, loading: float, hold: float, unloading: float) -> str:
    """``H_IT 0,003/30/10/13``: force in N, times in s, with the decimal comma of the standard.

    The blank in it is a fixed one, so that no line breaks there.
    """
    parts = [f"{force:.2g}" if force >= 1e-4 else f"{force:.1e}"]
    parts += [DASH if not np.isfinite(t) else plain(float(f"{t:.2g}"), 2).removesuffix(".0")
              for t in (loading, hold, unloading)]  # fmt: skip
    return "H_IT\u00a0" + "/".join(p.replace(".", ",") for p in parts)
