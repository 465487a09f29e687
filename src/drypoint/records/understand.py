"""What a reader understands of a file, for people: what ``drypoint inspect`` shows."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from drypoint.errors import AmbiguityError, DrypointError, RecordError
from drypoint.records.batch import Batch, Floats
from drypoint.records.check import check
from drypoint.records.columns import Assignment, assign
from drypoint.records.decode import Decoded, decode_bytes
from drypoint.records.dialect import Dialect
from drypoint.records.documents import Document, Lost, Opening, open_path, shown_path
from drypoint.records.finish import FileRead, dialect_of, finish_text, open_questions, text_batch
from drypoint.records.finish_grid import grid_assignment, grid_batch
from drypoint.records.grid import Grid, GridRead, read_grid
from drypoint.records.judge import gaps
from drypoint.records.layout import Layout, SetAside
from drypoint.records.paths import path_of
from drypoint.records.question import Question
from drypoint.records.raw import MAX_BYTES, Limits
from drypoint.records.understanding import TestFound, Understanding, together
from drypoint.records.workbook import plain_word


def understand(
    path: Path | str,
    layout: Layout | None = None,
    *,
    root: Path | None = None,
    max_bytes: int = MAX_BYTES,
) -> Understanding:
    """Look at one file and say what is understood of it. Parameters as for ``read``, but one path.

    Never raises because of the file: what is wrong stands in ``faults``, what is open in
    ``questions``. Of a file that holds tables of several kinds the first kind is shown, and a note
    says so; :func:`understand_all` gives each.
    """
    found = understand_all(path, layout, root=root, max_bytes=max_bytes)
    if len(found) == 1:
        return found[0]
    more = f"The file holds tables of {len(found)} kinds; this is the first."
    return replace(found[0], notes=(*found[0].notes, more))


def understand_all(
    path: Path | str,
    layout: Layout | None = None,
    *,
    root: Path | None = None,
    max_bytes: int = MAX_BYTES,
    lookup: Callable[[Understanding], tuple[str, Layout] | None] | None = None,
) -> list[Understanding]:
    """Look at a file or folder: one understanding for each file and each kind of table in it.

    Parameters
    ----------
    path, layout, root, max_bytes
        As for ``read``.
    lookup : callable, optional
        Gives the name and layout that were saved for files of the shape of an understanding; the
        file is then looked at again with that layout.
    """
    layout = layout or Layout()
    path = path_of(path)
    how = Opening(layout, root, replace(Limits(), file_bytes=max_bytes), {})
    found: list[Understanding] = []
    notes: list[str] = []
    for doc in open_path(path, how):
        if isinstance(doc, str):
            notes.append(doc)
        elif isinstance(doc, Lost):
            found.append(_lost(doc, layout))
        else:
            seen = _document(doc, layout, how.limits)
            saved = lookup(seen) if lookup is not None else None
            if saved is not None:
                again = {**vars(saved[1]), "inside": layout.inside or saved[1].inside}
                seen = replace(_document(doc, Layout(**again), how.limits), saved=saved[0])
            found.append(seen)
    whole = together(found)
    if not whole:
        nothing = RecordError("There is nothing to read in it.")
        whole = [_lost(Lost(shown_path(path, root), nothing), layout)]
    return [replace(whole[0], notes=(*whole[0].notes, *notes)), *whole[1:]]


def _lost(lost: Lost, layout: Layout) -> Understanding:
    """A file that could not be opened, or the question about what in it is a test."""
    error = lost.error
    file, _, place = lost.shown.partition("!")
    found = Understanding(file, places=(place,) if place else (), layout=layout)
    if isinstance(error, AmbiguityError) and error.where.key == "inside":
        lines = tuple(re.findall(r"inside = \[[^\]]*\]", error.remedy))
        question = Question(error.what, lines, error.remedy, "inside")
        return replace(found, kind="hdf5", questions=(question,))
    return replace(found, faults=(_aside(lost.shown, error),))


def _document(doc: Document, layout: Layout, limits: Limits) -> Understanding:
    places = (doc.place,) if doc.place else ()
    found = Understanding(doc.file, doc.kind, places, layout, sha256=doc.sha256, notes=doc.notes)
    try:
        if isinstance(doc.body, Grid):
            return _grid(found, doc, doc.body, layout)
        decoded = doc.body
        if isinstance(decoded, bytes):
            decoded = decode_bytes(
                decoded, doc.shown, encoding=layout.encoding, max_bytes=limits.file_bytes
            )
        return _text(found, doc, decoded, doc.layout(layout))
    except DrypointError as error:
        return replace(found, faults=(_aside(doc.shown, error),))


def _text(found: Understanding, doc: Document, decoded: Decoded, layout: Layout) -> Understanding:
    if doc.kind == "text":
        found = replace(
            found,
            encoding=decoded.encoding,
            compressed=decoded.compressed,
            notes=(*found.notes, decoded.note) if decoded.note else found.notes,
        )
    dialect = dialect_of(decoded, layout, doc)
    assignment = assign(dialect, layout)
    questions = open_questions(decoded, dialect, assignment)
    found = replace(
        found,
        delimiter=dialect.delimiter if doc.kind == "text" else None,
        decimal=dialect.decimal if doc.kind == "text" else None,
        header_line=dialect.header_line,
        unit_line=dialect.unit_line,
        first_data_line=dialect.first_data_line,
        header=dialect.declared,
        columns=assignment.columns,
        units=dialect.units,
        sampling_Hz=layout.sampling_Hz,
        questions=questions,
        missing=_missing(dialect, assignment, layout),
        notes=(*found.notes, *assignment.notes),
    )
    if questions:
        return found
    try:
        file = finish_text(decoded, dialect, assignment, layout, doc, ask=False)
    except RecordError as error:
        return replace(found, faults=(_aside(doc.shown, error),))
    open_split = (file.parted.question,) if file.parted.question else ()
    unusable = _unusable(text_batch(file, "", set())[0], assignment, layout)
    return replace(
        found,
        split=file.parted.split,
        tests=tuple(_test(file, k) for k in range(len(file.parts))),
        segment_labels=_labels(file),
        questions=open_split,
        faults=(
            *(
                SetAside(
                    doc.shown, _name(doc.stem, p.label), p.fault.what, p.fault.remedy,
                    p.fault.line, p.fault.column,
                )
                for p in file.parts
                if p.fault is not None
            ),
            *unusable,
        ),
        notes=(*found.notes, *file.parted.table.remarks, *file.parted.remarks),
    )  # fmt: skip


def _grid(found: Understanding, doc: Document, grid: Grid, layout: Layout) -> Understanding:
    dialect = grid.dialect()
    assignment = grid_assignment(grid, layout)
    found = replace(
        found,
        places=tuple(t.place for t in grid.tests) or found.places,
        header=dialect.declared,
        columns=assignment.columns,
        units=dialect.units,
        sampling_Hz=layout.sampling_Hz,
        questions=assignment.questions,
        missing=_missing(dialect, assignment, layout),
        notes=(*found.notes, *assignment.notes),
    )
    if assignment.questions:
        return found
    read = read_grid(grid, assignment, layout, doc.shown)
    return replace(
        found,
        split=read.split,
        tests=tuple(_grid_test(read, k, doc.stem) for k in range(len(read.parts))),
        segment_labels=read.labels,
        faults=(
            *(
                SetAside(
                    f"{doc.shown}!{p.place}" if p.place else doc.shown, _name(doc.stem, p.label),
                    p.fault.what, p.fault.remedy, p.fault.line, p.fault.column,
                )
                for p in read.parts
                if p.fault is not None
            ),
            *_unusable(grid_batch(read, doc, "", set())[0], assignment, layout),
        ),
        notes=(*found.notes, *read.remarks),
    )  # fmt: skip


def _unusable(batch: Batch, assignment: Assignment, layout: Layout) -> list[SetAside]:
    """Tests without a fault that a run sets aside all the same; of scratch tests nothing is said,
    since their passes are not known yet."""
    if layout.track or assignment.role("position") is not None or not len(batch):
        return []
    return check(batch)[1]


def _grid_test(read: GridRead, k: int, stem: str) -> TestFound:
    p = read.parts[k]
    s = slice(int(read.offsets[k]), int(read.offsets[k + 1]))
    lines = np.arange(s.stop - s.start) + p.first_line
    force, depth, t = (read.columns[c][s] for c in ("force", "depth", "time"))
    return _found(_name(stem, p.label), lines, force, depth, t)


def _aside(shown: str, error: DrypointError) -> SetAside:
    return SetAside(shown, None, error.what, error.remedy, error.where.line, error.where.column)


def _name(stem: str, label: str | None) -> str:
    return f"{stem}:{label}" if label else stem


def _labels(file: FileRead) -> tuple[str, ...]:
    column = file.assignment.role("segment")
    if column is None:
        return ()
    series = file.parted.table.words[column.index - 1]
    return tuple(plain_word(s) for s in series.unique(maintain_order=True).to_list() if s)


def _test(file: FileRead, k: int) -> TestFound:
    p = file.parts[k]
    s = p.samples
    lines = file.parted.table.lines[s]
    force, depth, t = (file.columns[c][s] for c in ("force", "depth", "time"))
    return _found(_name(file.doc.stem, p.label), lines, force, depth, t)


def _found(
    name: str, lines: NDArray[np.int64], force: Floats, depth: Floats, t: Floats
) -> TestFound:
    first, last = (int(lines.min()), int(lines.max())) if len(lines) else (None, None)
    found = TestFound(name, len(lines), first, last)
    if len(lines) == 0:
        return found
    found = replace(found, max_force_N=float(force.max()), max_depth_m=float(depth.max()))
    step = np.diff(t)
    if len(step) == 0 or np.isnan(step).any():
        return found
    middle = float(np.median(step))
    spread = 1.4826 * float(np.median(np.abs(step - middle)))
    return replace(
        found,
        duration_s=float(t[-1] - t[0]),
        rate_Hz=1 / middle if middle > 0 else None,
        jitter=spread / middle if middle > 0 else None,
        gaps=tuple((int(lines[i]), float(step[i])) for i in gaps(t)),
    )


def _missing(dialect: Dialect, assignment: Assignment, layout: Layout) -> tuple[str, ...]:
    """What the file does not say, in the order of its weight."""
    missing = [f"no {r} column" for r in ("force", "depth") if assignment.role(r) is None]
    if assignment.role("time") is None and layout.sampling_Hz is None:
        missing.append("no time: declare sampling_Hz if it is known")
    if assignment.role("segment") is None:
        missing.append("no segment column: segments are found from the signal")
    missing += [
        f"the header does not say {key}"
        for key in ("temperature", "humidity", "date", "operator", "indenter")
        if key not in dialect.declared
    ]
    return tuple(missing)
