"""Typed tables (Parquet, HDF5): their tests as a batch, notes and open questions."""

from __future__ import annotations

from drypoint.records import header
from drypoint.records.batch import Batch, Source, TestInfo
from drypoint.records.columns import Assignment, assign
from drypoint.records.documents import Document
from drypoint.records.finish import column_notes, position, set_aside, time_notes, unique
from drypoint.records.grid import Grid, GridRead, read_grid, to_batch
from drypoint.records.layout import Layout, SetAside
from drypoint.records.question import error_of


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


def grid_read(doc: Document, layout: Layout) -> tuple[GridRead, Assignment]:
    """Tests of a typed table; raises its open questions."""
    assert isinstance(doc.body, Grid)
    dialect = doc.body.dialect()
    assignment = assign(dialect, layout)
    if assignment.questions:
        raise error_of(assignment.questions, doc.shown)
    return read_grid(doc.body, assignment, layout, doc.shown), assignment


def grid_notes(read: GridRead, assignment: Assignment, layout: Layout) -> list[str]:
    """What a reader should know about a typed table."""
    return [
        *read.remarks,
        *column_notes(assignment),
        *time_notes(read.columns["time"], layout, assignment),
    ]
