"""Read raw files into one batch. A bad file or test is set aside; the others are read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from drypoint.errors import DrypointError, RecordError
from drypoint.records import header
from drypoint.records.batch import UNDECLARED, Batch, Floats, Source, TestInfo, join
from drypoint.records.columns import Assignment, assign
from drypoint.records.decode import MAX_BYTES, Decoded, decode
from drypoint.records.dialect import Dialect, fields_of, find_dialect
from drypoint.records.judge import judge
from drypoint.records.layout import Layout, SetAside
from drypoint.records.parse import Fault, place
from drypoint.records.split import Part, Parted, part


@dataclass(frozen=True)
class ReadOutcome:
    """What could be read, what could not and why, and what is worth knowing about the rest."""

    batch: Batch
    set_aside: tuple[SetAside, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class FileRead:
    """One file taken apart: everything that is known before tests get their names."""

    path: str
    decoded: Decoded
    dialect: Dialect
    assignment: Assignment
    parted: Parted
    columns: dict[str, Floats]
    channels: dict[str, Floats]
    parts: tuple[Part, ...]


def read(
    paths: Sequence[Path | str],
    layout: Layout | None = None,
    *,
    specimen: str = "",
    names: Sequence[str] | None = None,
    root: Path | None = None,
    max_bytes: int = MAX_BYTES,
) -> ReadOutcome:
    """Read delimited text files.

    Parameters
    ----------
    paths : sequence of Path or str
        Raw files; they are only read, never changed, and none stays open.
    layout : Layout, optional
        What is declared about them; the rest is found from each file.
    specimen : str
        Name of the specimen; without it, what the file's header says.
    names : sequence of str, optional
        Names for the files, one each, instead of their stems.
    root : Path, optional
        Folder relative to which :class:`~drypoint.records.batch.Source` names the files.
    max_bytes : int
        Larger files are refused.

    Returns
    -------
    ReadOutcome
        Never an exception because of a file: what is wrong with one stands in ``set_aside``.

    Notes
    -----
    A file with the same bytes as an earlier one is set aside as its duplicate.
    """
    layout = layout or Layout()
    batches: list[Batch] = []
    aside: list[SetAside] = []
    notes: list[str] = []
    hashes: dict[str, str] = {}
    used: set[str] = set()
    for k, given in enumerate(paths):
        path = Path(given)
        shown = shown_path(path, root)
        try:
            decoded = decode(path, encoding=layout.encoding, max_bytes=max_bytes, shown=shown)
            if decoded.sha256 in hashes:
                raise RecordError(
                    f"The file has the same bytes as {hashes[decoded.sha256]}.",
                    remedy="Leave one of the two out of the study.",
                )
            hashes[decoded.sha256] = shown
            file = take_apart_file(decoded, layout, shown)
        except DrypointError as error:
            aside.append(
                SetAside(
                    shown,
                    error.where.test,
                    error.what,
                    error.remedy,
                    error.where.line,
                    error.where.column,
                )
            )
            continue
        notes += [f"{shown}: {note}" for note in _notes(file, layout)]
        stem = names[k] if names is not None else stem_of(path)
        batch, bad = _to_batch(file, stem, path.parent.name, specimen, used)
        aside += bad
        if len(batch):
            batches.append(batch)
    return ReadOutcome(join(batches), tuple(aside), tuple(notes))


def shown_path(path: Path, root: Path | None) -> str:
    """A file's name for people and provenance: relative to ``root`` where it can be."""
    if root is not None:
        try:
            return path.resolve().relative_to(Path(root).resolve()).as_posix()
        except (ValueError, OSError):
            pass
    return path.as_posix()


def stem_of(path: Path) -> str:
    """File name without its ending (and without ``.gz`` before that)."""
    name = path.name[:-3] if path.name.lower().endswith(".gz") else path.name
    return Path(name).stem or path.name


def take_apart_file(decoded: Decoded, layout: Layout, shown: str) -> FileRead:
    """Layout, columns, tests and SI numbers of a decoded file.

    Raises
    ------
    RecordError
        The file cannot be read, or (:class:`~drypoint.errors.AmbiguityError`) in two ways.
    """
    dialect = find_dialect(decoded.text, layout, shown)
    assignment = assign(dialect.names, dialect.units, dialect.numeric, layout.columns)
    for question in (*dialect.questions, *assignment.questions):
        raise question.error(shown, dialect.header_line or dialect.first_data_line)
    return finish_file(decoded, dialect, assignment, layout, shown)


def finish_file(
    decoded: Decoded,
    dialect: Dialect,
    assignment: Assignment,
    layout: Layout,
    shown: str,
    *,
    ask: bool = True,
) -> FileRead:
    """The numbers of a file whose columns are settled; ``ask`` raises an open question."""
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
        if c.role in ("time", "force", "depth"):
            columns[c.role] = values
        else:
            channels[c.channel] = values
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
    return FileRead(shown, decoded, dialect, assignment, parted, columns, channels, parts)


def _judged(
    p: Part,
    columns: dict[str, Floats],
    parted: Parted,
    decoded: Decoded,
    dialect: Dialect,
    assignment: Assignment,
) -> Part:
    """A part with the first fault that its numbers show."""
    if p.fault is not None:
        return p
    s = p.samples
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
    return replace(p, fault=fault)


def _notes(file: FileRead, layout: Layout) -> list[str]:
    """What a reader should know although the file could be read."""
    notes = [file.decoded.note] if file.decoded.note else []
    if file.dialect.thousands:
        notes.append(f"“{file.dialect.thousands}” was taken as the mark between thousands.")
    notes += [*file.parted.table.remarks, *file.parted.remarks]
    for c in file.assignment.columns:
        if not c.role and (not c.numeric or "claim" in c.why or "without a unit" in c.why):
            notes.append(f"Column {c.index} (“{c.name}”): {c.why}; not used.")
    if np.isnan(file.columns["time"]).any():
        notes.append("There is no time; declare sampling_Hz if it is known.")
    elif layout.sampling_Hz is not None and file.assignment.role("time") is not None:
        notes.append("The file's own time is used, not sampling_Hz.")
    return notes


def _unique(name: str, folder: str, used: set[str]) -> str:
    if name in used and folder and f"{folder}/{name}" not in used:
        name = f"{folder}/{name}"
    base, n = name, 2
    while name in used:
        name, n = f"{base} ({n})", n + 1
    used.add(name)
    return name


def _to_batch(
    file: FileRead, stem: str, folder: str, specimen: str, used: set[str]
) -> tuple[Batch, list[SetAside]]:
    """A file's good tests as a batch, the others set aside."""
    table = file.parted.table
    tests: list[TestInfo] = []
    aside: list[SetAside] = []
    taken: list[NDArray[np.int64]] = []
    for p in file.parts:
        name = _unique(f"{stem}:{p.label}" if p.label else stem, folder, used)
        if p.fault is not None:
            aside.append(_set_aside(file.path, name, p.fault))
            continue
        common = dict(file.dialect.declared)
        if len(file.parts) > 1:
            common.pop("test", None)
        declared = {**common, **p.declared}
        lines = table.lines[p.samples]
        source = Source(file.path, file.decoded.sha256, int(lines.min()), int(lines.max()))
        tests.append(
            TestInfo(
                name,
                specimen or declared.get("specimen", ""),
                source,
                _position(file, p) or header.position(declared),
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


def _set_aside(path: str, name: str, fault: Fault) -> SetAside:
    return SetAside(path, name, fault.what, fault.remedy, fault.line, fault.column)


def _position(file: FileRead, p: Part) -> tuple[float, float] | None:
    """Position from columns of x and y: their medians."""
    if "x" not in file.channels or "y" not in file.channels or not len(p.samples):
        return None
    x, y = (float(np.median(file.channels[k][p.samples])) for k in ("x", "y"))
    return (x, y) if np.isfinite(x) and np.isfinite(y) else None


def _segments(
    file: FileRead, which: NDArray[np.int64]
) -> tuple[NDArray[np.int16], tuple[str, ...]]:
    """Declared segment of each sample, as an index into the labels."""
    column = file.assignment.role("segment")
    if column is None:
        return np.full(len(which), UNDECLARED, dtype=np.int16), ()
    series = file.parted.table.words[column.index - 1]
    labels = [s for s in series.unique(maintain_order=True).to_list() if s]
    codes = {label: i for i, label in enumerate(labels)} | {"": UNDECLARED}
    if len(labels) > 1000:
        return np.full(len(which), UNDECLARED, dtype=np.int16), ()
    values = series.replace_strict(list(codes), list(codes.values())).to_numpy()
    return values[which].astype(np.int16), tuple(labels)
