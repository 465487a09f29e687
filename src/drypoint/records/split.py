"""One file, one or several tests: by a column, by blank lines, or not at all."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from drypoint.errors import RecordError, Where
from drypoint.records import header
from drypoint.records.columns import Assignment
from drypoint.records.dialect import Dialect, fields_of, looks_like_data, names_of
from drypoint.records.layout import Layout
from drypoint.records.parse import Fault, Plan, Table, all_faults, parse
from drypoint.records.question import Question

SPLITS = ("one", "blank lines", "column")
_BLANKS = ' \t;,|"'
_BLANK_LINE = re.compile(r'\n[ \t;,|"]*\n')


@dataclass(frozen=True)
class Piece:
    """Lines of one block of data, with what its own header says."""

    lines: tuple[str, ...]
    at: NDArray[np.int64]
    declared: dict[str, str] = field(default_factory=dict)
    label: str | None = None
    headed: bool = False
    fault: Fault | None = None


@dataclass(frozen=True)
class Part:
    """One test of a file: which samples of the table, or the fault that spoils it."""

    label: str | None
    samples: NDArray[np.int64]
    declared: dict[str, str]
    fault: Fault | None = None


@dataclass(frozen=True)
class Parted:
    """A file's table and its tests. ``question`` is set where the split is not clear."""

    table: Table
    parts: tuple[Part, ...]
    split: str
    question: Question | None = None
    remarks: tuple[str, ...] = ()


def part(text: str, dialect: Dialect, assignment: Assignment, layout: Layout, file: str) -> Parted:
    """Parse a file's numbers and find its tests."""
    if layout.split is not None and layout.split not in SPLITS:
        raise RecordError(
            f"“{layout.split}” is no way to split a file.",
            where=Where(file, key="split"),
            remedy='Allowed: "one", "blank lines", "column".',
        )
    plan = Plan.of(assignment, dialect, layout.split)
    if layout.split == "column" and plan.test is None:
        raise RecordError(
            "No column names the test, though the file is to be split by one.",
            where=Where(file, key="split"),
            remedy='Add under [records.columns]: test = {name = "…"}',
        )
    pieces, remarks = _pieces(text, dialect, layout)
    if plan.test is not None:
        table = parse(*_joined(pieces), dialect, plan)
        return Parted(table, _by_column(table, plan, pieces), "column", remarks=remarks)
    if layout.split == "one":
        table = parse(*_joined(pieces), dialect, plan)
        return _ended(Parted(table, (_whole(table, pieces),), "one", None, remarks), text, pieces)
    table, parts = _by_block(pieces, dialect, plan)
    question = None
    split = "one" if len(pieces) == 1 else "blank lines"
    if len(pieces) > 1 and layout.split is None:
        question = _doubt(pieces, parts, table, assignment, plan)
    return _ended(Parted(table, parts, split, question, remarks), text, pieces)


def _pieces(text: str, dialect: Dialect, layout: Layout) -> tuple[list[Piece], tuple[str, ...]]:
    """Blocks of data lines between blank lines, comments taken out."""
    first = dialect.first_data_line - 1
    lines = text.split("\n")
    comments = tuple(c for c in ("#", layout.comment) if c)
    remarks: list[str] = []
    blank = [len(lines) - 1] if not lines[-1] else []
    if _BLANK_LINE.search(text, sum(map(len, lines[:first])) + first) or not blank:
        blank = [i for i in range(first, len(lines)) if not lines[i].strip(_BLANKS)]
    bounds = [first - 1, *blank, len(lines)]
    blocks: list[Sequence[int]] = [range(a + 1, b) for a, b in pairwise(bounds) if b > a + 1]
    if any(c in text for c in comments):
        noted = {i for b in blocks for i in b if lines[i].lstrip().startswith(comments)}
        remarks += [f"Line {i + 1} is a comment: {lines[i].strip()[:60]}" for i in sorted(noted)]
        blocks = [[i for i in b if i not in noted] if noted else b for b in blocks]
    pieces: list[Piece] = []
    waiting: list[int] = []
    for block in blocks:
        if not block:
            continue
        whole = [*waiting, *block] if waiting else block
        piece = _piece(lines, whole, dialect, layout, bool(pieces))
        if piece is None:
            waiting += block
        else:
            pieces.append(piece)
            waiting = []
    if len(pieces) > 1 and pieces[1].headed and pieces[0].label is None:
        label = dialect.declared.get("test") or (
            dialect.remarks[-1] if dialect.remarks and pieces[1].label else None
        )
        pieces[0] = replace(pieces[0], label=label)
    if waiting and pieces:
        shown = lines[waiting[0]].strip()[:60]
        remarks.append(f"Lines {waiting[0] + 1} to {waiting[-1] + 1} behind the data: {shown}")
    return pieces, tuple(remarks)


def _piece(
    lines: list[str], block: Sequence[int], dialect: Dialect, layout: Layout, later: bool
) -> Piece | None:
    """A block's own header and its data; ``None`` when it has no data."""
    n, mask, delimiter = dialect.n_fields, dialect.numeric, dialect.delimiter
    start = 0
    if later:
        heads = [
            k for k, i in enumerate(block[:60]) if _is_names(lines[i], dialect, layout.comment)
        ]
        start = heads[0] + 1 if heads else 0
        while start < len(block):
            row = fields_of(lines[block[start]], delimiter)
            if looks_like_data(row, mask):
                break
            if not heads and len(row) == n and not _says(lines[block[start]], row, delimiter):
                break
            if heads and not names_of(lines[block[start]], delimiter, n, layout.comment):
                break
            start += 1
    if start >= len(block):
        return None
    declared: dict[str, str] = {}
    label = None
    fault = None
    for i in block[:start]:
        if _is_names(lines[i], dialect, layout.comment):
            continue
        body = header.uncomment(lines[i], layout.comment)
        names = names_of(lines[i], delimiter, n, layout.comment)
        if found := header.pair(body, delimiter):
            header.add(declared, *found)
        elif names is not None:
            if names != dialect.units:
                fault = Fault(
                    i + 1,
                    None,
                    f"This block has other columns or units than the first ({', '.join(names)}).",
                    "Put the blocks in files of their own.",
                )
        elif label is None:
            label = body.strip(_BLANKS) or None
    at = block[start:]
    contiguous = at[-1] - at[0] + 1 == len(at)
    taken = lines[at[0] : at[-1] + 1] if contiguous else [lines[i] for i in at]
    return Piece(
        tuple(taken),
        np.array(at, dtype=np.int64) + 1,
        declared,
        declared.pop("test", None) or label,
        start > 0,
        fault,
    )


def _says(line: str, row: list[str], delimiter: str) -> bool:
    """Whether a line as wide as the data is a header line all the same: by its first word."""
    found = header.pair(header.uncomment(line), delimiter)
    return header.known(found[0] if found else row[0])


def _is_names(line: str, dialect: Dialect, comment: str | None) -> bool:
    return bool(dialect.names) and (
        names_of(line, dialect.delimiter, dialect.n_fields, comment) == dialect.names
    )


def _joined(pieces: Sequence[Piece]) -> tuple[list[str], NDArray[np.int64]]:
    lines = [line for p in pieces for line in p.lines]
    return lines, np.concatenate([p.at for p in pieces]) if pieces else np.empty(0, np.int64)


def _whole(table: Table, pieces: list[Piece]) -> Part:
    declared = {k: v for p in pieces for k, v in p.declared.items()}
    fault = all_faults(table.faults)
    return Part(None, np.arange(len(table.lines)), declared, fault)


def _by_block(pieces: list[Piece], dialect: Dialect, plan: Plan) -> tuple[Table, tuple[Part, ...]]:
    table = parse(*_joined(pieces), dialect, plan)
    parts: list[Part] = []
    for k, piece in enumerate(pieces):
        lo, hi = piece.at[0], piece.at[-1]
        a, b = np.searchsorted(table.lines, [lo, hi + 1])
        mine = [f for f in table.faults if lo <= f.line <= hi]
        fault = all_faults([piece.fault, *mine] if piece.fault else mine)
        label = piece.label if piece.label or len(pieces) == 1 else str(k + 1)
        parts.append(Part(label, np.arange(a, b), piece.declared, fault))
    return table, tuple(parts)


def _by_column(table: Table, plan: Plan, pieces: list[Piece]) -> tuple[Part, ...]:
    assert plan.test is not None
    column = table.words[plan.test]
    labels = column.unique(maintain_order=True).to_list()
    listed: dict[str | None, list[Fault]] = {}
    for one in table.faults:
        listed.setdefault(one.label, []).append(one)
    spoiled = {label: all_faults(faults) for label, faults in listed.items()}
    declared = {k: v for p in pieces for k, v in p.declared.items()}
    codes = column.replace_strict(labels, list(range(len(labels)))).to_numpy() if labels else None
    order = np.argsort(codes, kind="stable") if codes is not None else np.empty(0, np.int64)
    bounds = np.searchsorted(codes[order], np.arange(len(labels) + 1)) if codes is not None else [0]
    parts = [
        Part(label or "?", order[bounds[k] : bounds[k + 1]], declared, spoiled.pop(label, None))
        for k, label in enumerate(labels)
    ]
    none = np.empty(0, np.int64)
    parts += [Part(label or "?", none, declared, fault) for label, fault in spoiled.items()]
    return tuple(parts)


def _doubt(
    pieces: list[Piece],
    parts: tuple[Part, ...],
    table: Table,
    assignment: Assignment,
    plan: Plan,
) -> Question | None:
    """Blank lines between blocks that neither repeat a header nor start their clock again."""
    if all(p.headed for p in pieces[1:]):
        return None
    time = assignment.role("time")
    if time is not None:
        t = table.numbers[plan.numbers.index(time.index - 1)]
        ends = [(t[p.samples[0]], t[p.samples[-1]]) for p in parts if len(p.samples)]
        if all(b[0] <= a[1] for a, b in pairwise(ends)):
            return None
    lines = ('split = "blank lines"', 'split = "one"')
    return Question(
        f"Blank lines part the numbers (first before line {pieces[1].at[0]}): several tests, or "
        "one test with gaps?",
        lines,
        f"Add {lines[0]} or {lines[1]} to the recipe, under [[records]].",
        "split",
    )


def _ended(parted: Parted, text: str, pieces: list[Piece]) -> Parted:
    """Say so where the last row was cut while the file was being written."""
    if not pieces or not parted.parts:
        return parted
    last = parted.parts[-1]
    line, number = pieces[-1].lines[-1], int(pieces[-1].at[-1])
    remedy = (
        f"Delete line {number} in a copy of the file and read the copy, if the rest is complete."
    )
    what = None
    if last.fault is not None and last.fault.line == number and "row has" in last.fault.what:
        what = f"The last row is incomplete (“{line.strip()[:40]}”): the file was cut short."
    elif last.fault is not None and last.fault.line == number and not text.endswith("\n"):
        what = f"{last.fault.what} It is the last line: the file was cut short."
    elif last.fault is None and not text.endswith("\n") and _shorter(pieces[-1].lines):
        what = (
            f"The last number (“{line.strip()[-20:]}”) has fewer digits than all above it and "
            "no line end: the file was cut short."
        )
    if what is None:
        return parted
    fault = Fault(number, len(line.rstrip()) + 1, what, remedy)
    spoiled = Part(last.label, last.samples, last.declared, fault)
    return Parted(
        parted.table, (*parted.parts[:-1], spoiled), parted.split, parted.question, parted.remarks
    )


def _shorter(lines: Sequence[str]) -> bool:
    """Whether the last line ends in fewer decimals than every one of the lines before it."""
    tails = []
    for line in lines[-21:]:
        s = line.rstrip()
        at = max(s.rfind("."), s.rfind(","))
        tail = s[at + 1 :] if at >= 0 else ""
        tails.append(len(tail) if tail.isdigit() else 0 if s.endswith((".", ",")) else -1)
    before = set(tails[:-1])
    return len(tails) > 5 and len(before) == 1 and 0 <= tails[-1] < before.pop()
