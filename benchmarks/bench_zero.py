"""Do the intervals of the zero point, and of what follows from it, hold the truth?

    python benchmarks/bench_zero.py [--quick] [--specimens N] [--seed K] [--rules 1|2]

Truth: the same record without noise, drift, spring and offsets, reduced with its true zero, tip and
frame. Worlds: finite-element solids on another mesh (none in the table), pure powers, a layer at
the surface. The worst rows are printed first.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import dataclass, field, replace

import numpy as np
import zero_world as zw

from drypoint.reduction.options import DriftOptions, Options, ZeroOptions
from drypoint.reduction.reduce import reduce_batch
from drypoint.tips.build import ideal_tip
from drypoint.tips.geometry import Geometry
from drypoint.tips.tip import Bench, Frame

RULES = {
    1: Options(),
    2: Options(zero=ZeroOptions(law="auto", base_line="line"), drift=DriftOptions(curvature=True)),
}
TESTS = 5
SYMBOLS = ("h_c", "H_IT", "E_IT")


@dataclass
class Row:
    """Errors and standard uncertainties of one quantity in one world (nm or percent)."""

    error: list[float] = field(default_factory=list)
    u: list[float] = field(default_factory=list)
    flagged: list[bool] = field(default_factory=list)

    def words(self) -> tuple[float, str]:
        """Coverage, and a line of the table."""
        e, u = np.array(self.error), np.array(self.u)
        good = np.isfinite(e) & np.isfinite(u)
        e, u = e[good], u[good]
        if not len(e):
            return 1.0, "no value"
        hit = np.abs(e) <= 1.96 * u
        rms = float(np.sqrt(np.mean(e**2)))
        wide = float(np.median(1.96 * u)) / (1.96 * rms) if rms else np.nan
        share = f"{100 * np.mean(self.flagged):.0f}" if self.flagged else ""
        return float(np.mean(hit)), (
            f"{100 * np.mean(hit):.1f} | {np.mean(e):+.2f} | {rms:.2f} | "
            f"{np.median(1.96 * u):.2f} | {wide:.2f} | {share} | {len(e)}"
        )


def bench_of(k: zw.Conditions, rng: np.random.Generator, *, exact: bool = False) -> Bench:
    """What the laboratory states of its bench: the truth and an error of the stated size."""
    a, b = (0.0, 0.0) if exact else (rng.standard_normal(), rng.standard_normal())
    R, C = k.R * (1.0 + k.u_R * a), k.C_f + k.u_C * b
    geometry = Geometry("sphero-cone", angle=np.radians(70.3), radius=R, u_radius=k.u_R * k.R)
    tip = ideal_tip("sphero-cone", angle=geometry.angle, radius=R, u_radius=k.u_R * k.R)
    return Bench(tip, Frame(compliance=C, u_compliance=k.u_C))


def one(
    world: str, rng: np.random.Generator, options: Options, rows: dict[str, Row], data: dict
) -> None:
    """A bench with two specimens."""
    k = zw.conditions(rng)
    curves = []
    for _ in range(2):
        if world == "power":
            c = zw.power_curve(float(rng.uniform(1.5, 2.0)), k.R, rng)
        elif world == "law":
            c = zw.law_curve(k.R, rng)
        else:
            c = zw.curve_of(int(rng.integers(len(data["names"]))), k.R, rng, data)
        if world == "layer":
            c = zw.with_layer(
                c, float(rng.uniform(1e-9, 3e-9)), float(rng.choice([-0.5, 0.5, 1.0]))
            )
        curves.append(c)
    made = [zw.records(c, k, TESTS, rng) for c in curves]
    names = ("a", "b")
    batch = zw.batch([(n, m.records) for n, m in zip(names, made, strict=True)])
    nu = {n: (c.nu, 0.01) for n, c in zip(names, curves, strict=True)}
    found = reduce_batch(batch, bench_of(k, rng), options, nu)
    clean = zw.batch([(n, zw.records(c, k, 1, rng, clean=True).records)
                      for n, c in zip(names, curves, strict=True)])  # fmt: skip
    declared = replace(
        options, zero=ZeroOptions(method="declared", depth=0.0), drift=DriftOptions("none")
    )
    truth = reduce_batch(clean, bench_of(k, rng, exact=True), declared, nu)
    zero = found.corrected.zero
    # What the frame yields under the offset of the force belongs to the zero of the record.
    true_zero = np.concatenate([m.zero for m in made])
    law = zero.by_law
    u_zero = zero.u_whole(options.zero)
    if law is not None:
        u_zero = np.hypot(u_zero, law.per_radius * law.u_radius)
        true_zero = true_zero
    shift = found.corrected.C_f * 0.0
    misfit = law.misfit if law is not None else np.zeros(len(true_zero), bool)
    error = (zero.depth - true_zero - shift + found.corrected.C_f * zero.force) * 1e9
    row = rows.setdefault(f"{world}: zero, nm", Row())
    row.error += list(error)
    row.u += list(u_zero * 1e9)
    row.flagged += list(misfit)
    for i, c in enumerate(curves):
        if not c.name.startswith(("solid", "power", "law")):
            mine = rows.setdefault(f"{world}, {c.name}: zero, nm", Row())
            own = slice(i * TESTS, (i + 1) * TESTS)
            mine.error += list(error[own])
            mine.u += list(u_zero[own] * 1e9)
    where = np.array([batch.tests[int(t)].specimen == "b" for t in found.tests.test])
    true_of = {batch_name: j for j, batch_name in enumerate(names)}
    for s in SYMBOLS:
        q, t = found.tests.quantities[s], truth.tests.quantities[s]
        if len(t.value) < 2 or not len(q.value):
            continue
        true = t.value[[true_of["b"] if w else true_of["a"] for w in where]]
        C = found.tests.inputs.cov
        u = np.sqrt(q.u_random**2 + np.einsum("ij,jk,ik->i", q.sensitivity, C, q.sensitivity))
        row = rows.setdefault(f"{world}: {s}, %", Row())
        row.error += list(100 * (q.value / true - 1.0))
        row.u += list(100 * u / true)
        i, j = np.flatnonzero(~where)[:1], np.flatnonzero(where)[:1]
        if len(i) and len(j):
            d = q.sensitivity[i[0]] - q.sensitivity[j[0]]
            ud = np.sqrt(d @ C @ d + q.u_random[i[0]] ** 2 + q.u_random[j[0]] ** 2)
            e = (q.value[i[0]] - q.value[j[0]]) - (t.value[0] - t.value[1])
            row = rows.setdefault(f"{world}: difference of {s}, %", Row())
            row.error.append(100 * e / t.value[0])
            row.u.append(100 * ud / t.value[0])


def main() -> int:
    """Print coverage by world and quantity."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--specimens", type=int, default=500)
    parser.add_argument("--worlds", default="solids,power,layer,law")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--rules", type=int, default=2, choices=sorted(RULES))
    given = parser.parse_args()
    count = 20 if given.quick else given.specimens
    with np.load(zw.DATA) as stored:
        data = {name: stored[name] for name in stored.files}
    rows: dict[str, Row] = {}
    start = time.perf_counter()
    for world in given.worlds.split(","):
        for i in range(count // (1 if world == "solids" else 3)):
            rng = np.random.default_rng([given.seed, i, len(world)])
            one(world, rng, RULES[given.rules], rows, data)
    print("| World, quantity | held, % | bias | rms | half-width | half-width / 1.96 rms "
          "| misfit flagged, % | n |")  # fmt: skip
    print("|---|--:|--:|--:|--:|--:|--:|--:|")
    for name, (_, words) in sorted(((n, r.words()) for n, r in rows.items()), key=lambda p: p[1]):
        print(f"| {name} | {words} |")
    print(f"\n{time.perf_counter() - start:.0f} s", file=sys.stderr)
    return 0


if __name__ == "__main__":
    sys.exit(main())
