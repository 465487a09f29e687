"""Typed tables (Parquet, HDF5): their tests as a batch, notes and open questions."""

from __future__ import annotations

from dataclasses import replace

from drypoint.records import header
from drypoint.records.batch import Batch, Source, TestInfo
from drypoint.records.columns import Assignment, ColumnFound, assign, toml_line
from drypoint.records.documents import Document
from drypoint.records.finish import column_notes, position, set_aside, time_notes, unique
from drypoint.records.grid import Grid, GridRead, read_grid, to_batch
from drypoint.records.layout import Column, Layout, SetAside
from drypoint.records.question import Question, error_of


def grid_batch(
    read: GridRead, doc: Document, specimen: str, used: set[str]
) -> tuple[Batch, list[SetAside]]:
    """The good tests of a typed table as a batch, the others set aside."""
    infos: list[TestInfo] = []
    aside: list[SetAside] = []
    for i, p in enumerate(read.parts):
        name = unique(f"{doc.stem}:{p.label}" if p.label else doc.stem, doc.folder, used)
        shown = f"{doc.shown}!{p.place}" if p.place else doc.shown
        if p.fault is not None:
            aside.append(set_aside(shown, name, p.fault))
        declared = dict(p.declared)
        if p.label is not None:
            declared.pop("test", None)
        samples = slice(int(read.offsets[i]), int(read.offsets[i + 1]))
        infos.append(
            TestInfo(
                name,
                specimen or declared.get("specimen", ""),
                Source(shown, doc.sha256, p.first_line, p.last_line, doc.member_sha256),
                position(read.channels, samples) or header.position(declared),
                declared,
            )
        )
    return to_batch(read, infos), aside


def grid_assignment(grid: Grid, layout: Layout) -> Assignment:
    """Columns of a typed table with their roles. A column with attributes of which nobody said how
    they scale it is asked about if it has a role, and withheld if it has none."""
    assignment = assign(grid.dialect(), layout)
    questions, notes, columns = list(assignment.questions), list(assignment.notes), []
    for c, unsettled in zip(assignment.columns, grid.unsettled, strict=False):
        if unsettled and c.role not in ("", "ignore"):
            if not any(q.key.startswith(f"columns.{c.role}") for q in questions):
                questions.append(_scaling_question(c, ", ".join(unsettled), layout))
        elif unsettled and not c.role:
            why = f"withheld: it has {', '.join(unsettled)}"
            notes.append(
                f"Column {c.title} is withheld: how {', '.join(unsettled)} scales it is not known. "
                "To use it, declare it under [records.columns] with attributes."
            )
            c = replace(c, role="ignore", channel="", why=why)
        columns.append(c)
    kept = tuple(columns) or assignment.columns
    return replace(assignment, columns=kept, questions=tuple(questions), notes=tuple(notes))


def _scaling_question(c: ColumnFound, listed: str, layout: Layout) -> Question:
    own = layout.columns.get(c.role, Column())
    lines = tuple(
        toml_line(c.role, c.name, c.index, own.unit or c.unit, own.scale, answer)
        for answer in ("apply", "ignore")
    )
    return Question(
        f"Column {c.title} ({c.role.replace('_', ' ')}) has {listed}, and nothing in the file says "
        "whether its numbers are to be scaled by that.",
        lines,
        f"Add under [records.columns] {lines[0]} (number times factor plus offset), or {lines[1]} "
        "(the numbers are final). Another formula: write the file with the numbers themselves.",
        f"columns.{c.role}.attributes",
    )


def grid_read(doc: Document, layout: Layout) -> tuple[GridRead, Assignment]:
    """Tests of a typed table; raises its open questions."""
    assert isinstance(doc.body, Grid)
    assignment = grid_assignment(doc.body, layout)
    if assignment.questions:
        raise error_of(assignment.questions, part_shown(doc))
    return read_grid(doc.body, assignment, layout, doc.shown), assignment


def part_shown(doc: Document) -> str:
    """Name of a document; of a single test that a file keeps apart from others, with its place."""
    grid = doc.body
    if isinstance(grid, Grid) and any(grid.unsettled) and len(grid.tests) == 1:
        return f"{doc.shown}!{grid.tests[0].place}"
    return doc.shown


def grid_notes(read: GridRead, assignment: Assignment, layout: Layout) -> list[str]:
    """What a reader should know about a typed table."""
    return [
        *read.remarks,
        *column_notes(assignment),
        *time_notes(read.columns["time"], layout, assignment),
    ]
