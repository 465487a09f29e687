"""What is needed to derive every number again."""

from __future__ import annotations

import json
from typing import Any

from drypoint.recipe import Study
from drypoint.report.model import (
    Block,
    Code,
    Column,
    Facts,
    Heading,
    Items,
    Paragraph,
    Section,
    Table,
)
from drypoint.run.result import Provenance, StudyResult

#: Most raw files listed; the manifest beside the results holds all.
MOST_FILES = 500


def record(result: StudyResult) -> Section:
    """Versions, hashes, decisions and the recipe itself."""
    blocks: list[Block] = [
        *program(result.provenance),
        Heading("Decisions"),
        *_decisions(result),
    ]
    if result.notes:
        blocks += [Heading("Notes of the run"), Items(tuple(result.notes))]
    blocks += sources(result.provenance, result.study)
    return Section("record", "Recipe, decisions and provenance", tuple(blocks))


def program(p: Provenance) -> list[Block]:
    """The program, its libraries, and the hashes of what went in."""
    return [
        Paragraph(
            "Raw files, recipe and decisions are all that is needed to derive every number again. "
            "Raw files are known by their SHA-256."
        ),
        Heading("Program"),
        Facts(
            (
                ("Drypoint", p.version),
                ("Seed", str(p.seed)),
                ("Hash of the recipe", p.recipe_hash),
                ("Hash of the decisions", p.decisions_hash or "no decisions"),
                ("Hash of all raw files", p.inputs_hash),
                ("Libraries", ", ".join(f"{k} {v}" for k, v in p.libraries.items())),
            )
        ),
    ]


def sources(p: Provenance, study: Study) -> list[Block]:
    """Raw files with their hashes, and the recipe as it was read."""
    files = tuple(p.inputs.items())
    return [
        Heading("Raw files"),
        Table(
            "Raw files as they lie on disk.",
            (Column("File", "code"), Column("SHA-256", "code", wide=True)),
            files[:MOST_FILES],
            f"The first {MOST_FILES} of {len(files)}." if len(files) > MOST_FILES else "",
        ),
        Heading("Recipe"),
        Code(f"{study.path.name}, as it was read.", study.text.rstrip() + "\n"),
    ]


def _decisions(result: StudyResult) -> list[Block]:
    if not result.decisions:
        return [Paragraph("No decisions were taken by hand.")]
    rows = []
    for d in result.decisions:
        what = d.what + (f" = {_shown(d.value)}" if d.value is not None else "")
        about = d.test or "the study"
        if d.cycle is not None:
            about += f", cycle {d.cycle}"
        rows.append((str(d.id), d.when, d.who, about, what, d.why))
    return [
        Table(
            "Decisions in their order; none is ever changed, a later one may take one back.",
            (
                Column("No."),
                Column("When (UTC)"),
                Column("Who"),
                Column("About"),
                Column("What", wide=True),
                Column("Why", wide=True),
            ),
            tuple(rows),
        )
    ]


def _shown(value: Any) -> str:
    if isinstance(value, dict) and "verdict" in value:
        rest = [f"{k.replace('_mN', '')} {v} mN" if k.endswith("_mN") else str(v)
                for k, v in value.items() if k != "verdict"]  # fmt: skip
        return f"{value['verdict']}: {', '.join(rest)}"
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
