"""From the lines of a table to numbers: one fast call, and line by line only to find a fault."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import polars as pl
from numpy.typing import NDArray

from drypoint.records.columns import Assignment
from drypoint.records.dialect import Dialect, fields_of
from drypoint.records.marks import GROUPERS, convert

Floats = NDArray[np.float64]

#: Further kinds of fault of a test that are shown one by one.
_SHOWN = 3
#: What a sentence shows of its line: lines with the same fault are told together.
_SHOWN_LINE = re.compile(r" \(“.*”\)\.$")


@dataclass(frozen=True)
class Fault:
    """What is wrong on one line. ``column`` is the character, counted from 1."""

    line: int
    column: int | None
    what: str
    remedy: str
    label: str | None = None


def all_faults(faults: Sequence[Fault]) -> Fault | None:
    """The faults of one test as one: the first, with the others named in its sentence."""
    if not faults:
        return None
    groups: dict[str, list[Fault]] = {}
    for fault in faults:
        groups.setdefault(_SHOWN_LINE.sub("", fault.what), []).append(fault)
    alike = list(groups.values())
    said = [alike[0][0].what + _again(alike[0])]
    for group in alike[1 : 1 + _SHOWN]:
        f = group[0]
        at = f"line {f.line}" if f.column is None else f"line {f.line}, column {f.column}"
        said.append(f"Also {at}: {f.what}{_again(group)}")
    rest = sum(map(len, alike[1 + _SHOWN :]))
    if rest:
        said.append(f"{rest} more lines have other faults, the last is line {faults[-1].line}.")
    return replace(faults[0], what=" ".join(said))


def _again(group: Sequence[Fault]) -> str:
    """The further lines with the same fault, as a sentence."""
    lines = [f.line for f in group[1:]]
    if not lines:
        return ""
    if len(lines) > 2 and lines[-1] - group[0].line == len(lines):
        return f" The same in every line up to line {lines[-1]}."
    shown = ", ".join(map(str, lines[:5]))
    more = f" and {len(lines) - 5} more, the last is line {lines[-1]}" if len(lines) > 5 else ""
    return f" The same in line{'s' if len(lines) > 1 else ''} {shown}{more}."


@dataclass(frozen=True)
class Plan:
    """Which columns are read as numbers and which as words (numbers from 0)."""

    numbers: tuple[int, ...]
    strict: tuple[bool, ...]
    words: tuple[int, ...]
    n_fields: int
    n_real: int
    names: tuple[str, ...]
    test: int | None = None

    @staticmethod
    def of(assignment: Assignment, dialect: Dialect, split: str | None) -> Plan:
        """Plan for a file whose columns are known."""
        kept = [c for c in assignment.columns if c.role != "ignore"]
        numbers = [c for c in kept if c.numeric and c.role not in ("test", "segment")]
        words = [c.index - 1 for c in kept if c.role == "segment"]
        test = assignment.role("test")
        if test is not None and split not in ("one", "blank lines"):
            words.append(test.index - 1)
        real = [c.index for c in assignment.columns if c.name or c.numeric]
        return Plan(
            tuple(c.index - 1 for c in numbers),
            tuple(c.role in assignment.strict for c in numbers),
            tuple(words),
            dialect.n_fields,
            max(real, default=dialect.n_fields),
            tuple(c.name for c in assignment.columns),
            test.index - 1 if test is not None and test.index - 1 in words else None,
        )


@dataclass(frozen=True)
class Table:
    """Numbers (a row a planned column) and words of some lines; ``lines`` are their numbers."""

    numbers: Floats
    words: dict[int, pl.Series]
    lines: NDArray[np.int64]
    faults: tuple[Fault, ...] = ()
    remarks: tuple[str, ...] = field(default=())


def parse(lines: Sequence[str], at: NDArray[np.int64], dialect: Dialect, plan: Plan) -> Table:
    """Read lines of data; ``at`` are their line numbers. Faults are returned, not raised."""
    return _fast(lines, at, dialect, plan) or _slow(lines, at, dialect, plan)


def _fast(
    lines: Sequence[str], at: NDArray[np.int64], dialect: Dialect, plan: Plan
) -> Table | None:
    """One call of the CSV reader; ``None`` wherever anything is unusual."""
    delimiter = dialect.delimiter
    if delimiter == " ":
        text = "\n".join(["\t".join(line.split()) for line in lines])
        delimiter = "\t"
    else:
        text = "\n".join(lines)
    if dialect.thousands or '"' in text or any(mark in text for mark in GROUPERS):
        return None
    if dialect.decimal == ",":
        if "." in text:
            return None
        text = text.replace(",", ".")
    elif delimiter != "," and "," in text:
        return None
    if dialect.delimiter != " " and (" " in text or (delimiter != "\t" and "\t" in text)):
        text = "\n".join(
            [delimiter.join([f.strip() for f in s.split(delimiter)]) for s in text.split("\n")]
        )
    if "\N{MINUS SIGN}" in text:
        text = text.replace("\N{MINUS SIGN}", "-")
    if text.count(delimiter) != len(lines) * (plan.n_fields - 1):
        return None
    wanted = set(plan.numbers)
    schema = {str(i): pl.Float64() if i in wanted else pl.String() for i in range(plan.n_fields)}
    try:
        frame = pl.read_csv(
            text.encode(),
            has_header=False,
            separator=delimiter,
            schema=schema,
            quote_char=None,
        )
    except pl.exceptions.PolarsError:
        return None
    if frame.height != len(lines):
        return None
    numbers = np.empty((len(plan.numbers), len(lines)))
    for row, i in enumerate(plan.numbers):
        series = frame[str(i)]
        if series.null_count():
            return None
        numbers[row] = series.to_numpy()
    if not np.isfinite(numbers).all():
        return None
    return Table(numbers, {i: frame[str(i)].fill_null("") for i in plan.words}, at)


def _slow(lines: Sequence[str], at: NDArray[np.int64], dialect: Dialect, plan: Plan) -> Table:
    """Line by line, with the first fault of every line."""
    rows: list[list[float]] = []
    words: list[list[str]] = []
    kept: list[int] = []
    faults: list[Fault] = []
    holes: dict[int, int] = {}
    label: str | None = None
    for line, number in zip(lines, at.tolist(), strict=True):
        row = fields_of(line, dialect.delimiter)
        while len(row) > plan.n_real and not row[-1]:
            row.pop()
        if plan.test is not None and plan.test < len(row):
            label = row[plan.test]
        if len(row) != plan.n_real:
            faults.append(_ragged(line, number, row, plan, dialect, label))
            continue
        values: list[float] = []
        fault = None
        for i, strict in zip(plan.numbers, plan.strict, strict=True):
            value = convert(row[i], dialect.decimal, dialect.thousands)
            if value is None or not np.isfinite(value):
                if strict:
                    fault = _bad_number(line, number, row, i, plan, dialect, label)
                    break
                holes[i] = holes.get(i, 0) + 1
                value = float("nan")
            values.append(value)
        if fault is not None:
            faults.append(fault)
            continue
        rows.append(values)
        words.append([row[i] for i in plan.words])
        kept.append(number)
    remarks = tuple(
        f"Column {i + 1} (“{plan.names[i]}”) has {n} places without a number; they are kept empty."
        for i, n in holes.items()
    )
    return Table(
        np.array(rows, dtype=np.float64).reshape(len(rows), len(plan.numbers)).T.copy(),
        {i: pl.Series([w[k] for w in words], dtype=pl.String) for k, i in enumerate(plan.words)},
        np.array(kept, dtype=np.int64),
        tuple(faults),
        remarks,
    )


def place(line: str, row: list[str], i: int, delimiter: str) -> int:
    """Character (from 1) at which field ``i`` begins."""
    at = 0
    for k in range(i + 1):
        at = line.find(row[k], at) if row[k] else at
        if k < i:
            at += len(row[k])
            step = line.find(delimiter, at) if delimiter != " " else at
            at = step + 1 if step >= 0 and delimiter != " " else at
    return max(at, 0) + 1


def _ragged(
    line: str, number: int, row: list[str], plan: Plan, dialect: Dialect, label: str | None
) -> Fault:
    few = len(row) < plan.n_real
    column = len(line) + 1 if few else place(line, row, plan.n_real, dialect.delimiter)
    words = f" (“{line.strip()[:40]}”)"
    return Fault(
        number,
        column,
        f"The row has {len(row)} {'field' if len(row) == 1 else 'fields'} where the others have "
        f"{plan.n_real}{words}.",
        "Look at this line in a copy of the file: complete it or delete it, and read the copy.",
        label,
    )


def _bad_number(
    line: str,
    number: int,
    row: list[str],
    i: int,
    plan: Plan,
    dialect: Dialect,
    label: str | None,
) -> Fault:
    name = f"Column {i + 1} (“{plan.names[i]}”)" if plan.names[i] else f"Column {i + 1}"
    text = row[i]
    if not text:
        what = f"{name} is empty."
    elif text.lower().strip("+-") in ("nan", "inf", "infinity"):
        what = f"{name} holds {text}, which is not a measured value."
    else:
        what = f"{name} holds “{text[:30]}” where a number is expected."
    return Fault(
        number,
        place(line, row, i, dialect.delimiter),
        what,
        "Delete the line in a copy of the file, or put in the measured value."
        if not text or text.lower().strip("+-") in ("nan", "inf", "infinity")
        else "Correct or delete the line in a copy of the file; if it is a remark, declare its "
        "sign as comment in the recipe.",
        label,
    )
