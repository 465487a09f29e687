"""What a reader understands of a file, for people: what ``drypoint inspect`` shows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from drypoint.errors import DrypointError, RecordError
from drypoint.records.columns import Assignment, ColumnFound, assign
from drypoint.records.decode import MAX_BYTES, decode
from drypoint.records.dialect import Dialect, find_dialect
from drypoint.records.judge import gaps
from drypoint.records.layout import Layout, SetAside
from drypoint.records.question import Question
from drypoint.records.read import FileRead, finish_file, shown_path, stem_of


@dataclass(frozen=True)
class TestFound:
    """One test of a file. ``rate_Hz`` is from the median step; ``jitter`` is the spread of the
    steps (robust, as a share of the median step); ``gaps`` are (after line, seconds)."""

    __test__ = False  # not a pytest class

    name: str
    samples: int
    first_line: int | None
    last_line: int | None
    duration_s: float | None = None
    rate_Hz: float | None = None
    jitter: float | None = None
    gaps: tuple[tuple[int, float], ...] = ()
    max_force_N: float | None = None
    max_depth_m: float | None = None


@dataclass(frozen=True)
class Understanding:
    """Everything found in one file, and what is open. Parts not reached stay ``None`` or empty."""

    path: str
    sha256: str | None = None
    encoding: str | None = None
    compressed: bool = False
    delimiter: str | None = None
    decimal: str | None = None
    header_line: int | None = None
    unit_line: int | None = None
    first_data_line: int | None = None
    split: str | None = None
    header: Mapping[str, str] = field(default_factory=dict)
    columns: tuple[ColumnFound, ...] = ()
    tests: tuple[TestFound, ...] = ()
    segment_labels: tuple[str, ...] = ()
    sampling_Hz: float | None = None
    missing: tuple[str, ...] = ()
    questions: tuple[Question, ...] = ()
    faults: tuple[SetAside, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def clear(self) -> bool:
        """Whether :func:`~drypoint.records.read.read` would read the file without asking."""
        return not self.questions and not any(f.test is None for f in self.faults)


def understand(
    path: Path | str,
    layout: Layout | None = None,
    *,
    root: Path | None = None,
    max_bytes: int = MAX_BYTES,
) -> Understanding:
    """Look at one file as :func:`~drypoint.records.read.read` would, and tell all that was found.

    Never raises because of the file: faults and open questions are part of the answer.
    """
    layout = layout or Layout()
    path = Path(path)
    shown = shown_path(path, root)
    found = Understanding(shown)
    try:
        decoded = decode(path, encoding=layout.encoding, max_bytes=max_bytes, shown=shown)
    except DrypointError as error:
        return replace(found, faults=(_aside(shown, error),))
    found = replace(
        found,
        sha256=decoded.sha256,
        encoding=decoded.encoding,
        compressed=decoded.compressed,
        notes=(decoded.note,) if decoded.note else (),
    )
    try:
        dialect = find_dialect(decoded.text, layout, shown)
    except DrypointError as error:
        return replace(found, faults=(_aside(shown, error),))
    assignment = assign(dialect.names, dialect.units, dialect.numeric, layout.columns)
    questions = (*dialect.questions, *assignment.questions)
    found = replace(
        found,
        delimiter=dialect.delimiter,
        decimal=dialect.decimal,
        header_line=dialect.header_line,
        unit_line=dialect.unit_line,
        first_data_line=dialect.first_data_line,
        header=dialect.declared,
        columns=assignment.columns,
        sampling_Hz=layout.sampling_Hz,
        questions=questions,
        missing=_missing(dialect, assignment, layout),
    )
    if questions:
        return found
    try:
        file = finish_file(decoded, dialect, assignment, layout, shown, ask=False)
    except RecordError as error:
        return replace(found, faults=(_aside(shown, error),))
    open_split = (file.parted.question,) if file.parted.question else ()
    return replace(
        found,
        split=file.parted.split,
        tests=tuple(_test(file, k, stem_of(path)) for k in range(len(file.parts))),
        segment_labels=_labels(file),
        questions=open_split,
        faults=tuple(
            SetAside(
                shown, _name(file, k, stem_of(path)), p.fault.what, p.fault.remedy,
                p.fault.line, p.fault.column,
            )
            for k, p in enumerate(file.parts)
            if p.fault is not None
        ),
        notes=(*found.notes, *file.parted.table.remarks, *file.parted.remarks),
    )  # fmt: skip


def _aside(shown: str, error: DrypointError) -> SetAside:
    return SetAside(shown, None, error.what, error.remedy, error.where.line, error.where.column)


def _name(file: FileRead, k: int, stem: str) -> str:
    label = file.parts[k].label
    return f"{stem}:{label}" if label else stem


def _labels(file: FileRead) -> tuple[str, ...]:
    column = file.assignment.role("segment")
    if column is None:
        return ()
    series = file.parted.table.words[column.index - 1]
    return tuple(s for s in series.unique(maintain_order=True).to_list() if s)


def _test(file: FileRead, k: int, stem: str) -> TestFound:
    p = file.parts[k]
    s = p.samples
    lines = file.parted.table.lines[s]
    first, last = (int(lines.min()), int(lines.max())) if len(s) else (None, None)
    found = TestFound(_name(file, k, stem), len(s), first, last)
    if len(s) == 0:
        return found
    force, depth, t = (file.columns[c][s] for c in ("force", "depth", "time"))
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
