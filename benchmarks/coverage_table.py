"""The coverage tables as a page."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

CELL = "{:.1f} ± {:.1f}"


def _cell(p: float, e: float) -> str:
    return CELL.format(100 * p, 100 * e)


def _table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    return [*lines, *("| " + " | ".join(row) + " |" for row in rows), ""]


HEAD = """# Do 95 % intervals cover 95 %?

Written by `python benchmarks/bench_coverage.py --seeds {seeds} --write`; the numbers are the same
for the same version and seeds.

Each seed draws a bench from exactly the joint distribution that is stated to the program: tip
radius and angle, scale of the area function together with beta, frame compliance, force and depth
scale, E_i and nu_i, Poisson's ratios, exponent of the first contact. On it two invented specimens
(E 60 to 400 GPa, H/E 1/80 to 1/9, forces 2 to 30 mN, own variation 0, 0.5 or 2 %) are tested ten
times each. Noise in force and depth is white plus AR(1) with a correlation time of 0.1, 0.5 or 2 s
and 20 to 100 % of the white part; drift has a rate of its own in each test and a random walk. The
program is told nothing of the noise.

*single*: value of one test against its own truth, 1.96 u. *mean of 10*: expanded uncertainty of a
series against the specimen's true mean. *difference*: of two specimens' means. In percent, ± one
standard error over the seeds. *half-width* is the median of the interval's half-width, in percent
of the value, single and mean.

- *usual bench*: end radius 80 ± 4 nm, face angle ± 0.03°, compliance ± 0.015 nm/mN, scales
  ± 0.2 %, beta ± 0.02, reference modulus ± 1 %, nu ± 0.02, exponent of first contact ± 0.1
  (standard uncertainties). What is shared decides.
- *well-known bench*: all of these a tenth as large. Noise decides.
"""


def page(
    seeds: int,
    found: Mapping[str, tuple[int, Any]],
    checked: Mapping[float, Mapping[str, Any]],
    solids: Mapping[str, Any],
    symbols: Sequence[str],
    compared: Sequence[str],
) -> str:
    """The whole page."""
    lines = [HEAD.format(seeds=seeds)]
    said = False
    for name, (n, t) in found.items():
        own = name in ("usual bench", "well-known bench")
        if not own and not said:
            said = True
            lines += [
                "## Records that are not of our own law",
                "",
                _text(
                    "*two laws*: unloading is the sum of two power laws; S is known, m and h_c are "
                    "those of the local exponent at the top. *elastic-plastic first contact*: it "
                    "passes from elastic to plastic, so that no single exponent holds and the "
                    "fitted zero is about 1 nm off. No uncertainty of these models is stated to "
                    "the program (but that of the exponent); this is what is found."
                ),
                "",
            ]
        lines += [f"{'##' if own else '###'} {name[0].upper()}{name[1:]}, {n} seeds", ""]
        rows = []
        for s in symbols:
            single, mean = t.rate(s, "single"), t.rate(s, "mean")
            diff = _cell(*t.rate(s, "difference")) if s in compared else ""
            width = " / ".join(f"{100 * _median(t.width[s, w]):.2g}" for w in ("single", "mean"))
            rows.append([s, _cell(*single), _cell(*mean), diff, width])
        lines += _table(("quantity", "single", "mean of 10", "difference", "half-width"), rows)
        if t.lost:
            lines += [f"{t.lost} of {n * 20} tests gave no result.", ""]
    lines += _solids(solids) + _checks(checked)
    return "\n".join(lines).rstrip() + "\n"


def _text(words: str) -> str:
    return textwrap.fill(words, 100)


def _median(x: Sequence[float]) -> float:
    ordered = sorted(x)
    return ordered[len(ordered) // 2]


def _solids(solids: Mapping[str, Any]) -> list[str]:
    if not solids:
        return ["### Finite-element records", "", "Not run: the records were not there.", ""]
    first = next(iter(solids.values()))
    lines = [
        f"### Finite-element records, {first.seeds} seeds each",
        "",
        _text(
            "A rigid 70.3° cone in elastic-plastic solids, scaled in depth (150 to 900 nm) and "
            "disturbed like the rest; the tip is calibrated on the glass-like one and not redrawn, "
            "frame and scales are. S, m and h_c against what the same fit finds without noise; "
            "H_IT and E_IT against the solid. *error* is that of the noise-free result. Pile-up, "
            "which no formula of the analysis knows, makes most of it; and an area calibrated "
            "through the modulus also holds what beta lacks, which the modulus takes back and the "
            "hardness does not."
        ),
        "",
    ]
    rows = []
    for name, f in solids.items():
        rows.append([
            name.replace("_", "-"),
            *(_cell(*f.covered[s]) for s in ("S", "m", "h_c")),
            *(f"{100 * f.bias[s]:+.1f} %: {_cell(*f.covered[s])}" for s in ("H_IT", "E_IT")),
        ])  # fmt: skip
    return lines + _table(
        ("solid", "S", "m", "h_c", "H_IT, error: covered", "E_IT, error: covered"), rows
    )


def _checks(checked: Mapping[float, Mapping[str, Any]]) -> list[str]:
    lines = [
        "## Linear propagation against Monte Carlo",
        "",
        _text(
            "Means of ten tests, our own law; 10,000 trials. *u ratio*: standard deviation by "
            "Monte Carlo over linear expanded uncertainty / 1.96 (5 %, 50 % and 95 % of the "
            "benches). *ends*: 95 % of the benches have both ends of the interval within this "
            "share of the expanded uncertainty of each other; 10,000 trials know an end to about "
            "2 %. Hardness on the usual bench is inverse in an area known to 4 %, so its interval "
            "is a little skew."
        ),
        "",
    ]
    rows = []
    for grade, by_symbol in checked.items():
        for s, a in by_symbol.items():
            rows.append([
                "usual" if grade == 1.0 else "well-known", s, str(a.worlds),
                " / ".join(f"{x:.3f}" for x in a.u_ratio), f"{100 * a.worst_end:.1f} %",
                f"{100 * a.held[0]:.1f}", f"{100 * a.held[1]:.1f}",
            ])  # fmt: skip
    return lines + _table(
        ("bench", "quantity", "benches", "u ratio", "ends", "linear covers", "Monte Carlo covers"),
        rows,
    )
