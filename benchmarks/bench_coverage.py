"""Do 95 % intervals cover 95 %? Every systematic input redrawn for each seed, noise of any colour.

    python benchmarks/bench_coverage.py [--seeds 6000] [--quick] [--write]

``--write`` puts the tables into docs/reference/coverage.md. Finite-element records are
those of tests/data.
"""

from __future__ import annotations

import argparse
import time
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import coverage_fe as fe
import coverage_world as cw
import numpy as np
from coverage_table import page
from numpy.typing import NDArray

from drypoint.reduction.reduce import Reduced, reduce_batch
from drypoint.run.trials import mean_of_rows
from drypoint.uncertainty.compare import Sample, compare
from drypoint.uncertainty.propagation import coverage_factor
from drypoint.uncertainty.series import series

Floats = NDArray[np.float64]
SYMBOLS = ("S", "m", "h_c", "H_IT", "E_IT", "E_r")
COMPARED = ("H_IT", "E_IT")
CHUNK = 25
DOC = Path(__file__).parents[1] / "docs" / "reference" / "coverage.md"

#: Name -> (grade of the bench, kind of record, share of the seeds).
CASES: Mapping[str, tuple[float, str, float]] = {
    "usual bench": (1.0, "power law", 0.4),
    "well-known bench": (0.1, "power law", 0.4),
    "two laws, usual bench": (1.0, "two laws", 0.05),
    "two laws, well-known bench": (0.1, "two laws", 0.05),
    "elastic-plastic first contact, usual bench": (1.0, "passage", 0.05),
    "elastic-plastic first contact, well-known bench": (0.1, "passage", 0.05),
}


@dataclass
class Tally:
    """Per seed: share of intervals that hold the truth, by (symbol, what)."""

    hits: dict[tuple[str, str], list[float]] = field(default_factory=lambda: defaultdict(list))
    width: dict[tuple[str, str], list[float]] = field(default_factory=lambda: defaultdict(list))
    z: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    lost: int = 0

    def rate(self, symbol: str, what: str) -> tuple[float, float]:
        """Coverage and its standard error, from the spread over seeds."""
        x = np.array(self.hits[symbol, what])
        p = float(np.mean(x))
        spread = max(float(np.std(x)), np.sqrt(p * (1 - p)) if np.all(np.isin(x, (0, 1))) else 0.0)
        return p, spread / np.sqrt(len(x))


def worlds(grade: float, kind: str, seeds: range, tag: int) -> Iterator[list[cw.World]]:
    """Chunks of drawn worlds."""
    what = cw.stated(grade)
    for a in range(seeds.start, seeds.stop, CHUNK):
        yield [cw.world(what, s, kind, tag) for s in range(a, min(a + CHUNK, seeds.stop))]


def tally(grade: float, kind: str, seeds: range, tag: int = 0) -> Tally:
    """Count one case."""
    what = cw.stated(grade)
    out = Tally()
    for chunk in worlds(grade, kind, seeds, tag):
        r = reduce_batch(cw.batch_of(chunk), what.bench, what.options, what.poisson)
        for k, w in enumerate(chunk):
            count(out, r, w, k * 2 * cw.TESTS)
    return out


def count(out: Tally, r: Reduced, w: cw.World, first: int) -> None:
    """Add one world: tests ``first`` onwards of the reduction."""
    rows = np.flatnonzero((r.tests.test >= first) & (r.tests.test < first + 2 * cw.TESTS))
    local = r.tests.test[rows] - first
    out.lost += 2 * cw.TESTS - len(rows)
    joint = r.tests.inputs
    for s in SYMBOLS:
        q = r.tests[s]
        error = q.value[rows] - w.truth[s][local]
        u = r.tests.u(s)[rows]
        good = np.isfinite(u)
        half = coverage_factor(np.inf) * u
        out.hits[s, "single"].append(float(np.mean(np.abs(error[good]) <= half[good])))
        out.width[s, "single"].append(
            float(np.median(half[good] / np.abs(w.truth[s][local][good])))
        )
        out.z[s].append(float(error[0] / u[0]))
        samples, inside = [], []
        for j, name in enumerate(cw.SPECIMENS):
            own = rows[local // cw.TESTS == j]
            result = series(q.value[own], q.u_random[own], q.sensitivity[own], joint)
            inside.append(abs(result.mean - w.mean[s][j]) <= result.expanded)
            samples.append(Sample(name, q.value[own], q.u_random[own], q.sensitivity[own]))
            out.width[s, "mean"].append(result.expanded / abs(w.mean[s][j]))
        out.hits[s, "mean"].append(float(np.mean(inside)))
        if s in COMPARED:
            true = w.mean[s][0] - w.mean[s][1]
            low, high = compare(*samples, joint).interval
            out.hits[s, "difference"].append(float(low <= true <= high))


@dataclass(frozen=True)
class Agreement:
    """Monte Carlo beside linear propagation for means of ten tests, over many worlds."""

    worlds: int
    u_ratio: tuple[float, float, float]
    worst_end: float
    held: tuple[float, float]
    agrees: float


def cross_check(grade: float, n: int, trials: int) -> dict[str, Agreement]:
    """Both ways on the same means: ratio of u, ends of the interval, coverage."""
    what = cw.stated(grade)
    found: dict[str, list[tuple[float, float, bool, bool, bool]]] = defaultdict(list)
    at = 0
    for chunk in worlds(grade, "power law", range(n), 7):
        r = reduce_batch(cw.batch_of(chunk), what.bench, what.options, what.poisson)
        for k, w in enumerate(chunk):
            rows = np.flatnonzero(r.tests.test // cw.TESTS == 2 * k)
            for s in COMPARED:
                q = r.tests[s]
                lin = series(q.value[rows], q.u_random[rows], q.sensitivity[rows], r.tests.inputs)
                mc, check = mean_of_rows([(r, r.tests_rows[rows])], s, lin, trials, at)
                low, high = mc.symmetric
                off = max(abs(low - lin.mean + lin.expanded), abs(high - lin.mean - lin.expanded))
                true = w.mean[s][0]
                spread = lin.k / coverage_factor(np.inf) * lin.u
                found[s].append(
                    (float(mc.u / spread), float(off / lin.expanded), abs(lin.mean - true)
                     <= lin.expanded, bool(low <= true <= high), check.agrees)
                )  # fmt: skip
            at += 1
    out = {}
    for s, rows_ in found.items():
        ratio, off_, lin_, mc_, ok = (np.array(c) for c in zip(*rows_, strict=True))
        low, mid, high = np.quantile(ratio, [0.05, 0.5, 0.95])
        out[s] = Agreement(
            len(ratio), (float(low), float(mid), float(high)), float(np.quantile(off_, 0.95)),
            (float(lin_.mean()), float(mc_.mean())), float(ok.mean()),
        )  # fmt: skip
    return out


def main() -> None:
    """Run and print; with ``--write`` the page in docs too."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--seeds", type=int, default=6000)
    ask.add_argument("--quick", action="store_true", help="200 seeds")
    ask.add_argument("--write", action="store_true")
    ask.add_argument("--only", default="", help="cases whose name holds this")
    given = ask.parse_args()
    seeds = 200 if given.quick else given.seeds
    found: dict[str, tuple[int, Tally]] = {}
    for i, (name, (grade, kind, share)) in enumerate(CASES.items()):
        if given.only not in name:
            continue
        began = time.perf_counter()
        n = max(int(seeds * share), 1)
        found[name] = n, tally(grade, kind, range(n), i)
        print(f"{name}: {n} seeds, {time.perf_counter() - began:.0f} s", flush=True)
        for s in SYMBOLS:
            rates = [found[name][1].rate(s, w) for w in ("single", "mean")]
            z = found[name][1].z[s]
            shown = "  ".join(f"{100 * p:.1f} ± {100 * e:.1f}" for p, e in rates)
            print(f"  {s:5s} {shown}  z {np.mean(z):+.2f} ± {np.std(z):.2f}", flush=True)
    if given.only:
        return
    n = max(seeds // 150, 5)
    checked = {g: cross_check(g, n, 2000 if given.quick else 10_000) for g in (1.0, 0.1)}
    solids = fe.coverage(max(seeds // 60, 10))
    text = page(seeds, found, checked, solids, SYMBOLS, COMPARED)
    print(text)
    if given.write:
        DOC.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
