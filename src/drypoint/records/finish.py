"""One document at a time: its layout, columns, tests and SI numbers, and the batch of its tests."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from drypoint.errors import RecordError, Where
from drypoint.records import header
from drypoint.records.batch import UNDECLARED, Batch, Floats, Source, TestInfo
from drypoint.records.columns import Assignment, assign
from drypoint.records.decode import Decoded
from drypoint.records.dialect import Dialect, fields_of, find_dialect
from drypoint.records.documents import Document
from drypoint.records.judge import judge
from drypoint.records.layout import Layout, SetAside
from drypoint.records.marks import numeric
from drypoint.records.parse import Fault, all_faults, place
from drypoint.records.question import Question, error_of
from drypoint.records.split import Part, Parted, part
from drypoint.records.workbook import plain_word


@dataclass(frozen=True)
class FileRead:
    """One text taken apart: everything that is known before tests get their names."""

    doc: Document
    decoded: Decoded
    dialect: Dialect
    assignment: Assignment
    parted: Parted
    columns: dict[str, Floats]
    channels: dict[str, Floats]
    parts: tuple[Part, ...]


def dialect_of(decoded: Decoded, layout: Layout, doc: Document) -> Dialect:
    """The layout of a text or sheet; ``layout`` is already that of the document's kind.

    Raises
    ------
    RecordError
        It holds no table of numbers, or not in the declared layout.
    """
    try:
        dialect = find_dialect(decoded.text, layout, doc.shown)
    except RecordError as error:
        if doc.kind != "workbook" or not error.what.startswith("No table"):
            raise
        raise RecordError(
            "No table of numbers was found in the sheet (two or more cells with numbers in a row).",
            where=Where(doc.shown),
            remedy="Numbers that are kept as text are not read: turn them into numbers in a copy. "
            "A sheet that is no record is left out by naming the others under inside.",
        ) from error
    if doc.kind != "workbook":
        return dialect
    return replace(dialect, declared=_plain(dialect.declared))


def _plain(declared: Mapping[str, str]) -> dict[str, str]:
    return {k: plain_word(v) for k, v in declared.items()}


def open_questions(
    decoded: Decoded, dialect: Dialect, assignment: Assignment
) -> tuple[Question, ...]:
    """All open questions of a text; one about words among numbers shows the first of them."""
    return tuple(
        _with_words(q, decoded, dialect) for q in (*dialect.questions, *assignment.questions)
    )


def _with_words(question: Question, decoded: Decoded, dialect: Dialect) -> Question:
    if question.column is None:
        return question
    for number, line in enumerate(decoded.text.split("\n"), start=1):
        row = fields_of(line, dialect.delimiter) if number >= dialect.first_data_line else []
        if len(row) >= question.column and not numeric(text := row[question.column - 1]):
            shown = f"“{text[:30]}”" if text else "an empty field"
            at = place(line, row, question.column - 1, dialect.delimiter)
            what = f"{question.what.rstrip('.')}: {shown} in line {number}, column {at}."
            return replace(question, what=what)
    return question


def take_apart(decoded: Decoded, layout: Layout, doc: Document) -> FileRead:
    """Layout, columns, tests and SI numbers of a text or sheet.

    Raises
    ------
    RecordError
        It cannot be read, or (:class:`~drypoint.errors.AmbiguityError`) in two ways.
    """
    layout = doc.layout(layout)
    dialect = dialect_of(decoded, layout, doc)
    assignment = assign(dialect, layout)
    questions = open_questions(decoded, dialect, assignment)
    if questions:
        line = dialect.header_line or dialect.first_data_line
        raise error_of(questions, doc.shown, line)
    return finish_text(decoded, dialect, assignment, layout, doc)


def finish_text(
    decoded: Decoded,
    dialect: Dialect,
    assignment: Assignment,
    layout: Layout,
    doc: Document,
    *,
    ask: bool = True,
) -> FileRead:
    """The numbers of a text whose columns are settled; ``ask`` raises an open question."""
    shown = doc.shown
    parted = part(decoded.text, dialect, assignment, layout, shown)
    if ask and parted.question is not None:
        raise parted.question.error(shown, dialect.first_data_line)
    columns: dict[str, Floats] = {}
    channels: dict[str, Floats] = {}
    numbers = [
        c
        for c in assignment.columns
        if c.role != "ignore" and c.numeric and c.role not in ("test", "segment")
    ]
    for row, c in zip(parted.table.numbers, numbers, strict=True):
        values = row * c.scale if c.scale != 1.0 else row
        values = values + c.offset if c.offset else values
        if c.channel:
            channels[c.channel] = values
        else:
            columns[c.role] = values
    columns.setdefault("depth", np.full(parted.table.numbers.shape[1], np.nan))
    if "time" not in columns:
        columns["time"] = np.full(parted.table.numbers.shape[1], np.nan)
        if layout.sampling_Hz is not None:
            if not layout.sampling_Hz > 0:
                raise RecordError(
                    "sampling_Hz is not positive.", remedy="Write a number of samples a second."
                )
            for p in parted.parts:
                columns["time"][p.samples] = np.arange(len(p.samples)) / layout.sampling_Hz
    parts = tuple(_judged(p, columns, parted, decoded, dialect, assignment) for p in parted.parts)
    if doc.kind == "workbook":
        parts = _as_cells(parts, decoded.text, shown)
    return FileRead(doc, decoded, dialect, assignment, parted, columns, channels, parts)


def _as_cells(parts: tuple[Part, ...], text: str, shown: str) -> tuple[Part, ...]:
    """Faults with the number of the cell instead of a character, labels without marks of text."""
    lines = text.split("\n")
    out = []
    for p in parts:
        fault = p.fault
        if fault is not None and fault.column is not None:
            before = lines[fault.line - 1][: fault.column - 1]
            fault = replace(fault, column=before.count("\t") + 1)
        label = plain_word(p.label) if p.label else p.label
        out.append(replace(p, label=label, fault=fault, declared=_plain(p.declared)))
    labels = [p.label for p in out if p.label]
    twice = next((v for v in labels if labels.count(v) > 1), None) if len(labels) < 5000 else None
    if twice is not None and len({p.label for p in parts}) == len(parts):
        raise RecordError(
            f"The test “{twice}” is written as a number in some rows and as text in others.",
            where=Where(shown),
            remedy="Write it in one way, in a copy.",
        )
    return tuple(out)


def _judged(
    p: Part,
    columns: dict[str, Floats],
    parted: Parted,
    decoded: Decoded,
    dialect: Dialect,
    assignment: Assignment,
) -> Part:
    """A part with the fault that its numbers show, behind those of its lines."""
    s = p.samples
    if p.fault is not None and len(s) < 2:
        return p
    fault = judge(
        columns["time"][s], columns["force"][s], columns["depth"][s], parted.table.lines[s]
    )
    if fault is None:
        return p
    time = assignment.role("time")
    if time is not None:
        line = decoded.text.split("\n")[fault.line - 1]
        row = fields_of(line, dialect.delimiter)
        if time.index <= len(row):
            fault = replace(fault, column=place(line, row, time.index - 1, dialect.delimiter))
    if p.fault is not None:
        fault = all_faults([p.fault, fault])
    return replace(p, fault=fault)


def column_notes(assignment: Assignment) -> list[str]:
    """Units that contradict the header, and columns that are not used although one might think
    they are."""
    return [
        *assignment.notes,
        *(
            f"Column {c.index} (“{c.name}”): {c.why}; not used."
            for c in assignment.columns
            if not c.role and (not c.numeric or "claim" in c.why or "without a unit" in c.why)
        ),
    ]


def time_notes(time: Floats, layout: Layout, assignment: Assignment) -> list[str]:
    """What to know about the time of a file."""
    if layout.track:
        return []
    if np.isnan(time).any():
        return ["There is no time; declare sampling_Hz if it is known."]
    if layout.sampling_Hz is not None and assignment.role("time") is not None:
        return ["The file's own time is used, not sampling_Hz."]
    return []


def notes_of(file: FileRead, layout: Layout) -> list[str]:
    """What a reader should know although the file could be read."""
    notes = [file.decoded.note] if file.decoded.note else []
    if file.dialect.thousands:
        notes.append(f"“{file.dialect.thousands}” was taken as the mark between thousands.")
    notes += [*file.parted.table.remarks, *file.parted.remarks]
    return [
        *notes,
        *column_notes(file.assignment),
        *time_notes(file.columns["time"], layout, file.assignment),
    ]


def unique(name: str, folder: str, used: set[str]) -> str:
    """A name that no other test has: with its folder, or a number."""
    if name in used and folder and f"{folder}/{name}" not in used:
        name = f"{folder}/{name}"
    base, n = name, 2
    while name in used:
        name, n = f"{base} ({n})", n + 1
    used.add(name)
    return name


def text_batch(file: FileRead, specimen: str, used: set[str]) -> tuple[Batch, list[SetAside]]:
    """A file's good tests as a batch, the others set aside."""
    table, doc = file.parted.table, file.doc
    tests: list[TestInfo] = []
    aside: list[SetAside] = []
    taken: list[NDArray[np.int64]] = []
    for p in file.parts:
        name = unique(f"{doc.stem}:{p.label}" if p.label else doc.stem, doc.folder, used)
        if p.fault is not None:
            aside.append(set_aside(doc.shown, name, p.fault))
            continue
        common = dict(file.dialect.declared)
        if len(file.parts) > 1:
            common.pop("test", None)
        declared = {**common, **p.declared}
        lines = table.lines[p.samples]
        source = Source(
            doc.shown, doc.sha256, int(lines.min()), int(lines.max()), doc.member_sha256
        )
        tests.append(
            TestInfo(
                name,
                specimen or declared.get("specimen", ""),
                source,
                position(file.channels, p.samples) or header.position(declared),
                declared,
            )
        )
        taken.append(p.samples)
    lengths = [len(t) for t in taken]
    which = np.concatenate(taken) if taken else np.empty(0, dtype=np.int64)
    segment, labels = _segments(file, which)
    batch = Batch(
        tests=tuple(tests),
        offsets=np.concatenate([[0], np.cumsum(lengths)]).astype(np.int64),
        time=file.columns["time"][which],
        force=file.columns["force"][which],
        depth=file.columns["depth"][which],
        segment=segment,
        segment_labels=labels,
        channels={k: v[which] for k, v in file.channels.items()},
    )
    return batch, aside


def set_aside(path: str, name: str, fault: Fault) -> SetAside:
    """A test with its fault, as it is reported."""
    return SetAside(path, name, fault.what, fault.remedy, fault.line, fault.column)


def position(
    channels: Mapping[str, Floats], samples: NDArray[np.int64] | slice
) -> tuple[float, float] | None:
    """Position from columns of x and y: their medians."""
    if "x" not in channels or "y" not in channels:
        return None
    picked = [channels[k][samples] for k in ("x", "y")]
    if not len(picked[0]):
        return None
    x, y = (float(np.median(v)) for v in picked)
    return (x, y) if np.isfinite(x) and np.isfinite(y) else None


def _segments(
    file: FileRead, which: NDArray[np.int64]
) -> tuple[NDArray[np.int16], tuple[str, ...]]:
    """Declared segment of each sample, as an index into the labels."""
    column = file.assignment.role("segment")
    none = np.full(len(which), UNDECLARED, dtype=np.int16)
    if column is None:
        return none, ()
    series = file.parted.table.words[column.index - 1]
    raw = series.unique(maintain_order=True).to_list()
    plain = [plain_word(s) for s in raw] if file.doc.kind == "workbook" else raw
    labels = tuple(dict.fromkeys(s for s in plain if s))
    if len(labels) > 1000:
        return none, ()
    codes = {"": UNDECLARED} | {label: i for i, label in enumerate(labels)}
    values = series.replace_strict(raw, [codes[s] for s in plain]).to_numpy() if raw else none
    return values[which].astype(np.int16), labels


def prefixed(shown: str, notes: Iterable[str]) -> list[str]:
    """Notes with the name of the file that they are about."""
    return [f"{shown}: {note}" for note in notes]
