"""A calibration as the report of a study cites it."""

from __future__ import annotations

from typing import Any

from drypoint.recipe.benches import LoadedBench
from drypoint.report.model import Block, Column, Facts, Heading, Items, Table
from drypoint.report.specimens import NOT_STATED
from drypoint.report.words import typeset


def calibration_cited(bench: LoadedBench) -> list[Block]:
    """Where tip and frame come from, who accepted them, and how they were verified."""
    e = bench.exchanged
    said = e.provenance
    until = said.get("valid_until") or NOT_STATED
    accepted = (
        f"{said['accepted_by']}, {said.get('accepted_on', '')}"
        if "accepted_by" in said
        else "nobody"
    )
    pairs = [
        ("Calibration", said.get("name", bench.name)),
        ("File", bench.file),
        ("SHA-256 of the file", bench.sha256),
        ("Made on", said.get("day") or NOT_STATED),
        ("To be used until", until),
        ("Accepted by", accepted),
        ("Frame and tip told apart by", "; ".join(e.identified_by) or NOT_STATED),
    ]
    if "accepted_despite" in said:
        pairs.append(("Accepted in spite of findings", said["accepted_despite"]))
    blocks: list[Block] = [Heading(f"Calibration of bench {bench.name}"), Facts(tuple(pairs))]
    rows = tuple(_row(v) for v in e.verified)
    if rows:
        columns = (
            Column("Block"), Column("Quantity"), Column("Certified, GPa", "number"),
            Column("Mean, GPa", "number"), Column("Error, %", "number"),
            Column("U of the error, %", "number"), Column("E_n", "number"), Column("Verdict"),
        )  # fmt: skip
        blocks.append(Table("Verification of the bench on certified blocks.", columns, rows))
    else:
        blocks.append(Items(("The calibration was not verified on a block.",)))
    if e.findings:
        blocks.append(Items(tuple(e.findings)))
    return blocks


def _row(v: dict[str, Any]) -> tuple[str, ...]:
    return (
        str(v["block"]), str(v["quantity"]), f"{v['certified_GPa']:.4g}", f"{v['mean_GPa']:.4g}",
        typeset(f"{v['error_percent']:+.1f}"), f"{v['U_error_percent']:.1f}",
        typeset(f"{v['E_n']:.2f}"), str(v["verdict"]),
    )  # fmt: skip
