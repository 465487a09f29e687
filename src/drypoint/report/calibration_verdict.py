"""First page, verdict and findings of a calibration."""

from __future__ import annotations

from drypoint.figures.labels import number, plural
from drypoint.report.calibration_words import (
    UM2,
    PER_mN,
    area_at,
    block_name,
    calibration_of,
    compliance,
    depth_words,
    keys_of,
    level_of,
    percent,
    pm,
    three_depths,
    with_minus,
)
from drypoint.report.model import (
    Answer,
    Block,
    Column,
    Facts,
    Heading,
    Notice,
    Paragraph,
    Section,
    Table,
)
from drypoint.report.words import declared_span, level_text, plus_minus
from drypoint.run.bench_result import Acceptance, BenchResult, CheckedBlock

VERDICTS = {
    "pass": "Pass: the bench agrees with every block",
    "fail": "Fail: the bench does not agree with a block",
    "undecided": "Undecided: the comparison cannot tell",
    "not verified": "Not verified: no block was tested",
}
_MEANING = {
    "pass": "The tests on every certified block agree with its certificate under the decision "
    "rule.",
    "fail": "At least one block is off by more than the decision rule allows. Do not use the bench "
    "for results that count until the cause is found.",
    "undecided": "No block is off, but at least one comparison cannot tell. "
    "The bench is not verified yet.",
    "not verified": "Tip and frame were found, but no certified block was tested with them. "
    "Nothing outside the calibration speaks for them yet.",
}
ANSWER_NOTE = (
    "± is the expanded uncertainty. That of the error holds the scatter of the tests, everything "
    "that tip, frame and scales share, and the certificate."
)


def answers(result: BenchResult) -> tuple[Answer, ...]:
    """Verdict, then tip and frame."""
    c, keys = calibration_of(result), keys_of(result)
    basis = _MEANING[result.verdict]
    basis += " Rule and reasons stand in sections 1 and 9." if result.blocks else ""
    blocks = Answer(
        VERDICTS[result.verdict], "", tuple(_block_value(b) for b in result.blocks), basis
    )
    C = compliance(result)
    values = [
        (
            "C_f",
            pm(C.value / PER_mN, C.U / PER_mN, "nm/mN"),
            f"frame compliance; k = {C.k:.2f} for {level_text(level_of(result))}",
        )
    ]
    for h in three_depths(result):
        A = area_at(result, h)
        values.append(
            (
                "A_p",
                pm(A.value / UM2, A.U / UM2, "µm²"),
                f"at h_c = {depth_words(h)}; U = {percent(A.U / A.value)}, k = {A.k:.2f}",
            )
        )
    by = ", ".join(dict.fromkeys(m.words for m in c.tests.materials))
    found = Answer(
        f"Tip {c.tip.name} and frame", f"found on {by}, {keys.day}", tuple(values),
        f"From {plural(len(c.tests), 'unloading')} at contact depths of {_depths(result)}.",
    )  # fmt: skip
    return blocks, found


def _depths(result: BenchResult) -> str:
    rows = calibration_of(result).rows.h_c * 1e9
    return f"{number(float(rows.min()))} to {number(float(rows.max()))} nm"


def _block_value(b: CheckedBlock) -> tuple[str, str, str]:
    v = b.verification
    q = v.block.quantity
    return (
        q,
        f"error ({_error(b)}) %",
        f"{v.verdict}: limit of the error {100 * v.limits.error:g} %; "
        f"|E_n| = {abs(v.E_n):.2f}, limit 1; "
        f"coefficient of variation {percent(v.variation)}, "
        f"limit {100 * v.limits.repeatability:g} %; "
        f"{plural(v.n, 'test')} on {block_name(b)}",
    )


def _error(b: CheckedBlock) -> str:
    """Error and its expanded uncertainty in percent of the certified value."""
    v = b.verification
    return pm(100 * v.relative_error, 100 * v.U_error / v.block.value)


def notices(result: BenchResult) -> tuple[str, ...]:
    """What must stand on the first page: serious findings."""
    serious = result.obstacles
    if not serious:
        return ()
    listed = with_minus(" ".join(f.sentence for f in serious[:3]))
    more = f" {len(serious) - 3} more in section 2." if len(serious) > 3 else ""
    return (
        f"{plural(len(serious), 'serious finding')}; the calibration is accepted only with a "
        f"stated reason. {listed}{more}",
    )


def front_pairs(
    result: BenchResult, accepted: Acceptance | None, issued: str
) -> tuple[tuple[str, str], ...]:
    """Pairs of the first page; what the study does not say is left out."""
    s, keys, c = result.study.file.study, keys_of(result), calibration_of(result)
    tests = len(set(c.tests.test.tolist()))
    counted = f"{tests} on reference materials, {_on_blocks(result)} on blocks"
    out = len(result.excluded) + len(result.set_aside) + len(result.calibrated.reduced.faults)
    if out:
        counted += f"; {out} not used, see the section on records"
    infos = [*result.batch.tests, *(t for b in result.blocks for t in b.batch.tests)]
    pairs = [
        ("Report number", s.report_number),
        ("Date of issue", issued),
        ("Laboratory", s.laboratory),
        ("For", s.customer),
        ("Calibrated on", keys.day),
        ("May be used until", keys.valid_until or "not stated"),
        ("Tests made by", s.operator or declared_span(t.declared.get("operator") for t in infos)),
        ("Tests made on", declared_span(t.declared.get("date") for t in infos)),
        ("Practice followed", s.standard),
        ("Tests", counted),
        ("Acceptance", _accepted(accepted)),
        ("Remarks", s.remarks),
    ]
    kept = ("May be used until",)
    return tuple((k, v) for k, v in pairs if v and (v != "not stated" or k in kept))


def _on_blocks(result: BenchResult) -> int:
    return sum(len(b.batch) for b in {b.specimen: b for b in result.blocks}.values())


def _accepted(accepted: Acceptance | None) -> str:
    if accepted is None:
        return "not accepted by anybody yet"
    return f"by {accepted.who}, {accepted.when}: {accepted.why}"


def verdict(result: BenchResult, accepted: Acceptance | None) -> Section:
    """The verdict in plain words, the numbers, the rule, and who accepted."""
    blocks: list[Block] = [
        Heading(VERDICTS[result.verdict]),
        Paragraph(_MEANING[result.verdict] + " " + _standing(result)),
        _numbers(result),
    ]
    if result.blocks:
        blocks.append(_verified(result))
        for rule in dict.fromkeys(b.verification.rule for b in result.blocks):
            blocks.append(Paragraph(f"Decision rule. {rule}"))
    if accepted is not None:
        blocks += [
            Heading("Acceptance"),
            Facts(
                (
                    ("Accepted by", accepted.who),
                    ("On (UTC)", accepted.when),
                    ("Because", accepted.why),
                    ("Calibration file, SHA-256", accepted.sha256),
                )
            ),
        ]
    return Section("verdict", "Verdict", tuple(blocks))


def _standing(result: BenchResult) -> str:
    n = len(result.obstacles)
    if not n:
        return "No serious finding keeps the calibration from being accepted."
    return f"{plural(n, 'serious finding')} must be answered before the calibration is accepted."


def _numbers(result: BenchResult) -> Table:
    C = compliance(result)
    rows = [("Frame compliance C_f", pm(C.value / PER_mN, C.U / PER_mN), "nm/mN",
             percent(C.U / abs(C.value)) if C.value else "–", f"{C.k:.2f}")]  # fmt: skip
    for h in three_depths(result):
        A = area_at(result, h)
        rows.append((f"Area A_p at h_c = {depth_words(h)}", pm(A.value / UM2, A.U / UM2),
                     "µm²", percent(A.U / A.value), f"{A.k:.2f}"))  # fmt: skip
    return Table(
        f"Tip and frame, with expanded uncertainty for {level_text(level_of(result))}.",
        (Column("Quantity"), Column("Value ± U", "number"), Column("Unit"),
         Column("U, relative", "number"), Column("k", "number")),
        tuple(rows),
        "Tip and frame were found together and are used together, with their covariance.",
    )  # fmt: skip


def _verified(result: BenchResult) -> Table:
    rows = []
    for b in result.blocks:
        v = b.verification
        q = v.block.quantity
        rows.append((
            b.specimen, q, plus_minus(q, v.block.value, v.block.U),
            plus_minus(q, v.mean, v.u_mean), _error(b),
            f"{v.E_n:.2f}".replace("-", "−"), number(100 * v.variation, 2), str(v.n), v.verdict,
        ))  # fmt: skip
    return Table(
        "Blocks: certified value with its expanded uncertainty, mean with its standard "
        "uncertainty, error with its expanded uncertainty.",
        (Column("Block"), Column("Quantity"), Column("Certified ± U / GPa", "number"),
         Column("Mean ± u / GPa", "number"), Column("Error ± U / %", "number"),
         Column("E_n", "number"), Column("Variation / %", "number"), Column("n", "number"),
         Column("Verdict")),
        tuple(rows),
    )  # fmt: skip


def findings(result: BenchResult) -> Section:
    """What a careful reader would ask about, serious ones first, with what to do next."""
    order = sorted(result.findings, key=lambda f: not f.serious)
    blocks: list[Block] = []
    if result.obstacles:
        blocks.append(
            Notice(f"{plural(len(result.obstacles), 'serious finding')}, first in the table.")
        )
    if not order:
        blocks.append(Paragraph("Nothing was found that a careful reader would ask about."))
    else:
        blocks.append(
            Table(
                "Findings, serious ones first. A serious finding keeps the calibration from being "
                "accepted without a stated reason; none changes a number.",
                (Column("Finding"), Column("Weight"), Column("What was seen", wide=True),
                 Column("Next step", wide=True)),
                tuple((f.code, "serious" if f.serious else "remark",
                       with_minus(f.sentence), with_minus(f.next_step))
                      for f in order),
            )
        )  # fmt: skip
    return Section("findings", "Findings and next steps", tuple(blocks))
