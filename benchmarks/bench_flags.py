"""How often does each flag hit a planted fault, and how often is it raised for nothing?

    python benchmarks/bench_flags.py [--tests 300] [--write]

Clean tests, and as many with each fault of a stated size (``flag_faults.py``), are invented,
reduced with the defaults, and their flags counted. ``--write`` puts the table into
docs/reference/flag-rates.md.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import flag_faults as ff
import numpy as np
from numpy.typing import NDArray

from drypoint.reduction.options import FlagLimits, Options, SegmentOptions
from drypoint.reduction.reduce import Reduced, reduce_batch
from drypoint.reduction.strays import levels, outlier_flags
from drypoint.reduction.surroundings import (
    Declared,
    Impressions,
    depth_flags,
    diameter_of,
    near_flags,
)

DOC = Path(__file__).resolve().parents[1] / "docs" / "reference" / "flag-rates.md"
LIMITS = FlagLimits()
#: Flags that need no record with a fault: a decision of a person, or a fit that a person spoiled.
NOT_PLANTED = ("fit failed", "hardness uncertain", "measured area")
SERIES = 20


@dataclass(frozen=True)
class Rate:
    """``hits`` of ``n`` tests with a fault of this ``size``."""

    code: str
    size: str
    hits: int
    n: int

    @property
    def percent(self) -> float:
        """Share in percent."""
        return 100.0 * self.hits / max(self.n, 1)


def counts(r: Reduced) -> Counter[str]:
    """Number of tests by flag."""
    return Counter(c for row in r.tests.flags for c in {f.code for f in row})


def hits(fault: ff.Fault, n: int, seed: int) -> Rate:
    """How often a planted fault is flagged, or set aside with a reason that names it."""
    b, _ = ff.batch(ff.plans(n, seed), fault, seed)
    options = Options(segments=SegmentOptions(control=fault.control))
    r = reduce_batch(b, ff.BENCH, options, ff.POISSON)
    if fault.aside:
        named = sum(f.reason.lower().startswith(fault.code) for f in r.faults)
        return Rate(fault.code + " (set aside)", fault.size, named, n)
    return Rate(fault.code, fault.size, counts(r)[fault.code], n)


# ----------------------------------------------------------- flags that need more than the record


def _declared(code: str, k: float, h: float, d: float) -> Declared:
    """A specimen that lies a factor k on the bad side of one limit, for a test of depth h and
    diameter d; k below 1 is the good side."""
    if code == "roughness":
        return Declared(roughness=k * h / LIMITS.roughness_ratio)
    if code == "film depth":
        return Declared(film=h / LIMITS.film_depth_share / k)
    if code == "film radius":
        return Declared(film=d / diameters_a_radius() / LIMITS.film_radius_ratio / k)
    least = max(LIMITS.thickness_depths * h, LIMITS.thickness_diameters * d)
    return Declared(thickness=least / k)


def diameters_a_radius() -> float:
    """Diameter of a three-sided impression over the contact radius."""
    return float(diameter_of(np.array([np.pi]), 3)[0])


def around(r: Reduced, truth: Sequence[tuple[float, float]], k: float) -> list[Rate]:
    """Flags of film, roughness, thickness, neighbours and edges, a factor k from the limit.

    ``truth`` has the true largest depth and area of each test of the batch; what is flagged goes
    by the measured ones.
    """
    size = f"{abs(k - 1):.0%} {'beyond' if k > 1 else 'within'} the limit".replace("%", " %")
    t = r.tests
    found: Counter[str] = Counter()
    codes = ("roughness", "film depth", "film radius", "thin specimen")
    h_true, A_true = np.array([truth[int(i)] for i in t.test]).T
    d_true = diameter_of(A_true, 3)
    d = diameter_of(t["A_p"].value, 3)
    for i in range(len(t)):
        one = slice(i, i + 1)
        for code in codes:
            declared = _declared(code, k, float(h_true[i]), float(d_true[i]))
            flags = depth_flags(t["h_max"].value[one], t["A_p"].value[one], 3, declared, LIMITS)[0]
            found[code] += code in [f.code for f in flags]
        away = 5.0 * d_true[i] / k
        pair = Impressions(["a", "b"], np.array([[0.0, 0.0], [away, 0.0]]), d[[i, i]], ["", ""])
        edge = 3.0 * d_true[i] / k
        line = ((-1.0, edge, 1.0, edge),)
        flags = near_flags(pair, Declared(material="ceramic", edges=line), LIMITS)[0]
        for f in flags:
            found[f.code] += 1
    return [Rate(c, size, found[c], len(t)) for c in (*codes, "neighbour near", "edge near")]


def strays(n: int, seed: int, far: float, one_in: int = SERIES) -> tuple[Rate, Rate]:
    """Series of invented values with 2 % scatter and uncertainties of 0.5 %: hits on one stray a
    series that lies ``far`` (relative), and false alarms on the others."""
    rng = np.random.default_rng((seed, 3))
    hit = false = judged = 0
    series = max(n // SERIES, 1) * 4
    for _ in range(series):
        x = rng.normal(1.0, 0.02, one_in)
        stray = int(rng.integers(one_in))
        x[stray] = rng.normal(1.0 + far, 0.02)
        flags = _series(9e9 * x, 0.005 * 9e9 * np.ones(one_in))
        hit += flags[stray]
        false += int(flags.sum()) - int(flags[stray])
        judged += one_in - 1
    words = f"{100 * far:.0f} % off, scatter 2 %, {one_in} tests"
    return Rate("outlier", words, hit, series), Rate("outlier", "others", false, judged)


def clean_series(n: int, seed: int, size: int) -> Rate:
    """False alarms of series without a stray: H_IT and E_IT of the same test."""
    rng = np.random.default_rng((seed, 4, size))
    false, series = 0, max(n // size, 1) * 20
    for _ in range(series):
        H, E = (rng.normal(1.0, 0.02, size) for _ in range(2))
        u = 0.005 * np.ones(size)
        found = outlier_flags(
            {"H_IT": (H, u), "E_IT": (E, u)}, {"H_IT": (1.0, "GPa"), "E_IT": (1.0, "GPa")},
            levels(np.ones(size)), np.ones(size, dtype=bool), LIMITS,
        )  # fmt: skip
        false += sum(bool(f) for f in found)
    return Rate("outlier", f"series of {size}", false, size * series)


def two_phases(n: int, seed: int) -> Rate:
    """False alarms on maps of two phases, H 1 and 2.3, 10 to 50 % of the harder one."""
    rng = np.random.default_rng((seed, 5))
    false, maps = 0, max(n // 40, 5) * 4
    for _ in range(maps):
        hard = rng.random(40) < rng.uniform(0.15, 0.5)
        x = rng.normal(1.0, 0.05, 40) * np.where(hard, 2.3, 1.0)
        false += int(_series(x, 0.005 * x).sum())
    return Rate("outlier", "maps of two phases", false, 40 * maps)


def _series(x: NDArray[np.float64], u: NDArray[np.float64]) -> NDArray[np.int64]:
    found = outlier_flags(
        {"H_IT": (x, u)}, {"H_IT": (1e9, "GPa")}, levels(np.ones(len(x))),
        np.ones(len(x), dtype=bool), LIMITS,
    )  # fmt: skip
    return np.array([bool(f) for f in found], dtype=np.int64)


# ------------------------------------------------------------------------------------------- all


@dataclass(frozen=True)
class Found:
    """All rates: planted faults, false alarms on clean tests, and what was set aside of those."""

    n: int
    planted: tuple[Rate, ...]
    false: tuple[Rate, ...]
    aside: Counter[str]


def measure(n: int, seed: int = 1) -> Found:
    """Every flag's hit rate and false-alarm rate on ``n`` clean tests and ``n`` for each fault."""
    b, records = ff.batch(ff.plans(n, seed), None, seed)
    r = reduce_batch(b, ff.BENCH, Options(), ff.POISSON)
    alarms, aside = counts(r), Counter(f.reason.partition(":")[0] for f in r.faults)
    truth = [(e.h_max, e.A_p) for e in (rec.expected[-1] for rec in records)]
    planted = [hits(f, n, seed + 1 + i) for i, f in enumerate(ff.FAULTS)]
    planted += around(r, truth, 1.1)
    planted += [strays(n, seed, far)[0] for far in (0.1, 0.2)]
    near = {rate.code: rate for rate in around(r, truth, 1 / 1.1)}
    codes = dict.fromkeys(f.code for f in ff.FAULTS if not f.aside)
    false = [Rate(c, "clean records", alarms[c], len(r.tests)) for c in (*codes, *NOT_PLANTED[:2])]
    false += list(near.values())
    false += [clean_series(n, seed, k) for k in (8, 12, 20, 50)]
    false += [two_phases(n, seed)]
    return Found(n, tuple(planted), tuple(false), aside)


def page(found: Found) -> str:
    """The page as Markdown."""

    def rows(rates: Sequence[Rate], head: str) -> str:
        lines = [f"| flag | {head} | tests | rate, % |", "|---|---|---|---|"]
        lines += [f"| {r.code} | {r.size} | {r.n} | {r.percent:.1f} |" for r in rates]
        return "\n".join(lines)

    aside = "; ".join(f"{k}: {v}" for k, v in sorted(found.aside.items())) or "none"
    return f"""# How often do flags hit, and how often are they wrong?

Written by `python benchmarks/bench_flags.py --tests {found.n} --write`; the numbers are the same
for the same version.

The tests are invented. Four solids (glass-like, ceramic-like, a hard coating, polymer-like) are
tested with four cycles (20, 50 and 5 samples a second, one of them stepped). Noise of the depth is
0.05 to 0.4 nm white and up to 0.2 nm coloured, with a correlation time of 0.1, 0.5 or 2 s; drift
lies within ± 0.03 nm/s. Each fault is put into such a test, at a size that is stated, and
reduced with the default limits. A jump is planted at 20 to 70 % of the largest force. What this
leaves out: faults of real records that nobody thought of, several faults at once, and
instruments whose noise is of another kind.

## Planted faults

{rows(found.planted, "fault")}

A jump is found when it is both above the noise and sudden against the loading around it: at 5
samples a second a jump of 2 nm is neither. In steps of loading it may fall on a part that is loaded
for the second time. Under depth control the study file should say so
(`segments.control = "depth"`): a large drop of force may otherwise be taken for an unloading.

## Clean tests

{rows(found.false, "on")}

Clean tests that were set aside: {aside}. Flags that are not planted here follow from a choice of a
person: {", ".join(f"`{c}`" for c in NOT_PLANTED)}.
"""


def main() -> None:
    """Run and print; with ``--write`` the page in docs too."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--tests", type=int, default=300, help="clean ones, and of each fault")
    ask.add_argument("--write", action="store_true")
    ask.add_argument("--quick", action="store_true", help="ten tests; nothing is written")
    given = ask.parse_args()
    began = time.process_time()
    text = page(measure(10 if given.quick else given.tests))
    print(text)
    print(f"{time.process_time() - began:.0f} s of one core")
    if given.write and not given.quick:
        DOC.write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
