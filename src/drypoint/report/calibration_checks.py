"""Noise study, certificates, and blocks of a calibration."""

from __future__ import annotations

from datetime import date

import numpy as np

from drypoint.calibration import past_date
from drypoint.figures.benchnoise import allan
from drypoint.figures.blocks import block_tests
from drypoint.figures.labels import number, plural
from drypoint.recipe.calibrating import CERTIFICATE_UNITS
from drypoint.report.calibration_words import keys_of, percent, pm, with_minus
from drypoint.report.inputs import input_in_units
from drypoint.report.model import (
    Block,
    Column,
    Drawing,
    Facts,
    Heading,
    Items,
    Paragraph,
    Section,
    Table,
)
from drypoint.report.words import DASH, plain, plus_minus, typeset
from drypoint.run.bench_result import BenchResult, CheckedBlock, StatedCertificate

#: Names of certified inputs, for their units.
_INPUT = {"frame compliance": "frame.C_f", "angle": "tip.angle", "radius": "tip.radius"}


def noise(result: BenchResult) -> Section:
    """Noise and drift of the bench on these records."""
    n = result.noise
    if n is None:
        text = "No stretch of these records was quiet for long enough to judge noise and drift by."
        return Section("noise", "Noise and drift", (Paragraph(text),))
    facts = (
        ("Noise of a force reading", _in(n.noise_force, 1e-6, "µN")),
        ("Noise of a depth reading", _in(n.noise_depth, 1e-9, "nm")),
        ("Best averaging time for depth", _in(n.best_tau, 1.0, "s")),
        ("What is left of depth then", _in(n.floor_depth, 1e-9, "nm")),
        ("Spread of the drift rate", _in(n.drift_spread, 1e-9, "nm/s")),
        ("95 % of the holds drift less than", _in(n.drift_limit, 1e-9, "nm/s")),
    )
    return Section(
        "noise", "Noise and drift", (Items(n.sentences), Facts(facts), Drawing((allan(n),)))
    )


def _in(value: float, unit: float, words: str) -> str:
    return f"{number(value / unit, 2)} {words}" if np.isfinite(value) else "not known"


def direct(result: BenchResult) -> Section:
    """Certificates of force, depth, compliance and geometry, with their dates."""
    title = "Direct verification: certificates"
    if not result.certificates:
        text = (
            "The study states no certificate of force, depth, compliance or geometry. Scales "
            "count as they are stated for the frame."
        )
        return Section("direct", title, (Paragraph(text),))
    day = date.fromisoformat(keys_of(result).day)
    table = Table(
        f"Certificates as used on {day.isoformat()}, the day of the calibration.",
        (Column("Of"), Column("What"), Column("Value ± U", "number"), Column("k", "number"),
         Column("Number"), Column("Laboratory", wide=True), Column("Issued"), Column("Valid until"),
         Column("State")),
        tuple(_certificate(s, day) for s in result.certificates),
    )  # fmt: skip
    late = [f for s in result.certificates if (f := past_date(s.certificate, day)) is not None]
    more = [Items(tuple(with_minus(str(f)) for f in late))] if late else []
    return Section("direct", title, (table, *more))


def _certificate(s: StatedCertificate, day: date) -> tuple[str, ...]:
    c = s.certificate
    name = _INPUT.get(c.kind, "")
    value, unit = input_in_units(name, c.value)
    U, _ = input_in_units(name, c.U)
    found = past_date(c, day)
    return (
        s.of, c.kind, pm(value, U, unit if CERTIFICATE_UNITS[c.kind] else ""), f"{c.k:g}",
        c.number or "without number", c.laboratory or "not stated", c.issued.isoformat(),
        c.valid_until.isoformat() if c.valid_until else "not stated",
        found.code if found is not None else "valid",
    )  # fmt: skip


def indirect(result: BenchResult) -> Section:
    """Blocks that the calibration did not use."""
    title = "Indirect verification: blocks"
    if not result.blocks:
        text = (
            "No block was tested, so the bench is not verified. Measure a certified block that "
            "the calibration does not use."
        )
        return Section("indirect", title, (Paragraph(text),))
    blocks: list[Block] = [
        Paragraph(
            "The blocks were reduced with the tip and frame just found, and took no part in "
            "finding them. Error: mean less certified value; E_n: error over its expanded "
            "uncertainty."
        )
    ]
    by_specimen: dict[str, list[CheckedBlock]] = {}
    for b in result.blocks:
        by_specimen.setdefault(b.specimen, []).append(b)
    for specimen, checked in by_specimen.items():
        blocks.append(Heading(f"Block {specimen}"))
        blocks.append(_compared(specimen, checked))
        blocks.append(Drawing((block_tests(checked),)))
        blocks.append(_tests(specimen, checked))
    return Section("indirect", title, tuple(blocks))


def _compared(specimen: str, checked: list[CheckedBlock]) -> Table:
    """The comparison of one block, a column for each certified quantity."""
    rows = [_comparison(b) for b in checked]
    return Table(
        f"Block {specimen} against its certificate.",
        (Column("Of the comparison"), *(Column(b.verification.block.quantity, wide=True)
                                        for b in checked)),
        tuple((name, *(r[name] for r in rows)) for name in rows[0]),
    )  # fmt: skip


def _comparison(b: CheckedBlock) -> dict[str, str]:
    v = b.verification
    q, c = v.block.quantity, v.block
    dates = f"issued {c.issued.isoformat()}" if c.issued else "day of issue not stated"
    dates += f", valid until {c.valid_until.isoformat()}" if c.valid_until else ""
    relative = pm(100 * v.relative_error, 100 * v.U_error / c.value)
    spread = percent(v.variation) if np.isfinite(v.variation) else "not known"
    return {
        "Verdict": v.verdict,
        "Certified value ± U": f"({plus_minus(q, c.value, c.U)}) GPa, k = {c.k:g}",
        "Certificate": f"{c.number or 'without number'}, {dates}",
        "Tests": f"{v.n} (at least {v.limits.fewest})",
        "Mean ± u": f"({plus_minus(q, v.mean, v.u_mean)}) GPa",
        "Error ± U": f"({plus_minus(q, v.error, v.U_error)}) GPa",
        "Error ± U, relative": f"({relative}) % (limit {100 * v.limits.error:g} %)",
        "E_n": typeset(f"{v.E_n:.2f}") + " (limit ± 1)",
        "Coefficient of variation": f"{spread} (limit {100 * v.limits.repeatability:g} %)",
        "Reasons": with_minus(" ".join(v.reasons)),
    }


def _tests(specimen: str, checked: list[CheckedBlock]) -> Table:
    b = checked[0]
    r = b.reduced.tests
    quantities = [c.verification.block.quantity for c in checked]
    rows = []
    for i, t in enumerate(r.test):
        cells = [b.batch.tests[int(t)].name, plain(round(float(r["F_max"].value[i]) * 1e3, 3), 4),
                 plus_minus("h_c", float(r["h_c"].value[i]), float(r.u("h_c")[i]))]  # fmt: skip
        cells += [plus_minus(q, float(r[q].value[i]), float(r.u(q)[i])) for q in quantities]
        flags = ", ".join(f.code for f in r.flags[i])
        rows.append((*cells, flags or DASH))
    return Table(
        f"{plural(len(rows), 'test')} on block {specimen}, each with its combined standard "
        "uncertainty.",
        (Column("Test"), Column("F_max / mN", "number"), Column("h_c ± u / nm", "number"),
         *(Column(f"{q} ± u / GPa", "number") for q in quantities), Column("Flags", wide=True)),
        tuple(rows),
    )  # fmt: skip
