"""Tables whose columns are typed (Parquet, HDF5): to tests in SI without any text between."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import polars as pl
from numpy.typing import NDArray

from drypoint.errors import RecordError, Where
from drypoint.records.batch import UNDECLARED, Batch, Floats
from drypoint.records.columns import Assignment, ColumnFound
from drypoint.records.dialect import Dialect
from drypoint.records.judge import GAP_STEPS, judge
from drypoint.records.layout import Layout
from drypoint.records.parse import Fault, all_faults
from drypoint.records.question import Question
from drypoint.records.said import said_by

Ints = NDArray[np.int64]
Values = NDArray[np.generic] | pl.Series
#: First row without a number, number of such rows, and the column.
_Hole = tuple[int, int, ColumnFound]
_REMEDY = "Correct or delete the row in a copy of the file."


@dataclass(frozen=True)
class GridTest:
    """A test that the file itself keeps apart: its place in the file, its samples, its words."""

    label: str | None
    place: str
    start: int
    stop: int
    declared: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Grid:
    """A table by columns. ``load`` gives the columns asked for (numbers from 0); ``window``, where
    there is one, a part of the rows (first, behind the last) as a grid of its own, whose rows are
    counted on from ``first_row``. ``unsettled`` are attributes of each column of which nobody said
    how they scale it."""

    names: tuple[str, ...]
    units: tuple[str, ...]
    numeric: tuple[bool, ...]
    height: int
    load: Callable[[Sequence[int]], list[Values]]
    declared: Mapping[str, str] = field(default_factory=dict)
    tests: tuple[GridTest, ...] = ()
    window: Callable[[int, int], Grid] | None = None
    first_row: int = 0
    unsettled: tuple[tuple[str, ...], ...] = ()

    def dialect(self) -> Dialect:
        """The same as a dialect, for those who ask for names, units and header."""
        return Dialect(
            delimiter="", decimal=".", thousands=None, first_data_line=1,
            n_fields=len(self.names), numeric=self.numeric, names=self.names, units=self.units,
            declared=dict(self.declared), said=said_by(self.declared),
        )  # fmt: skip


@dataclass(frozen=True)
class GridPart:
    """One test: its label, place, declared words, sample numbers in the file, or its fault."""

    label: str | None
    place: str
    declared: Mapping[str, str]
    first_line: int
    last_line: int
    fault: Fault | None = None


@dataclass(frozen=True)
class GridRead:
    """A grid's tests: ``batch`` holds those without fault, in the order of ``parts``; its tests
    have no names yet."""

    parts: tuple[GridPart, ...]
    split: str
    offsets: Ints
    columns: Mapping[str, Floats]
    channels: Mapping[str, Floats]
    segment: NDArray[np.int16]
    labels: tuple[str, ...]
    remarks: tuple[str, ...]


def read_grid(grid: Grid, assignment: Assignment, layout: Layout, shown: str) -> GridRead:
    """Numbers in SI and tests of a grid whose columns are settled."""
    kept = [c for c in assignment.columns if c.role != "ignore"]
    numbers = [c for c in kept if c.numeric and c.role not in ("test", "segment")]
    test = assignment.role("test")
    segment = assignment.role("segment")
    if layout.split == "one":
        test = None
    if grid.tests and len(grid.tests) > 1:
        test = None
    if layout.split == "column" and test is None and not grid.tests:
        raise RecordError(
            "No column names the test, though the file is to be split by one.",
            where=Where(shown, key="split"),
            remedy='Add under [records.columns]: test = {name = "…"}',
        )
    wanted = [*numbers, *(c for c in (test, segment) if c is not None)]
    loaded = dict(
        zip([c.index for c in wanted], grid.load([c.index - 1 for c in wanted]), strict=True)
    )
    order, bounds, parts = _tests(grid, loaded[test.index] if test is not None else None)
    columns: dict[str, Floats] = {}
    channels: dict[str, Floats] = {}
    bad: dict[int, list[_Hole]] = {}
    remarks = []
    for c in numbers:
        values = _floats(loaded[c.index])
        fine = np.isfinite(values)
        if order is not None:
            values, fine = values[order], fine[order]
        if not fine.all():
            wrong = np.flatnonzero(~fine)
            if c.role in assignment.strict:
                tests = np.searchsorted(bounds, wrong, side="right") - 1
                for t, row, count in _firsts(tests, wrong):
                    bad.setdefault(t, []).append((row, count, c))
            else:
                values = np.where(fine, values, np.nan)
                remarks.append(
                    f"Column {c.index} (“{c.name}”) has {len(wrong)} places without a number; "
                    "they are kept empty."
                )
        with np.errstate(all="ignore"):
            values = values * c.scale if c.scale != 1.0 else values
            values = values + c.offset if c.offset else values
        if c.channel:
            channels[c.channel] = values
        else:
            columns[c.role] = values
    n = int(bounds[-1])
    columns.setdefault("depth", np.full(n, np.nan))
    if "time" not in columns:
        columns["time"] = np.full(n, np.nan)
        if layout.sampling_Hz is not None:
            if not layout.sampling_Hz > 0:
                raise RecordError(
                    "sampling_Hz is not positive.", remedy="Write a number of samples a second."
                )
            starts = np.repeat(bounds[:-1], np.diff(bounds))
            columns["time"] = (np.arange(n) - starts) / layout.sampling_Hz
    parts = _faults(parts, bounds, order, columns, bad, grid.first_row)
    labels, codes = _segments(loaded[segment.index] if segment is not None else None, n)
    if order is not None and segment is not None:
        codes = codes[order]
    return GridRead(
        tuple(parts), "column" if test is not None else "one", bounds, columns, channels,
        codes, labels, tuple(remarks),
    )  # fmt: skip


def _firsts(tests: Ints, rows: Ints) -> Iterator[tuple[int, int, int]]:
    """Each test, the first of its rows, and their number."""
    found, at, counts = np.unique(tests, return_index=True, return_counts=True)
    yield from zip(found.tolist(), rows[at].tolist(), counts.tolist(), strict=True)


def _floats(values: Values) -> Floats:
    if isinstance(values, pl.Series):
        return np.asarray(values.cast(pl.Float64).to_numpy(), dtype=np.float64)
    return np.asarray(values, dtype=np.float64)


def _tests(grid: Grid, column: Values | None) -> tuple[Ints | None, Ints, list[GridPart]]:
    """Order of the rows (``None``: as they stand), bounds of the tests in it, and the tests."""
    n, first = grid.height, grid.first_row
    if grid.tests and (column is None or len(grid.tests) > 1):
        parts = [GridPart(t.label, t.place, t.declared, 1, t.stop - t.start) for t in grid.tests]
        return None, np.array([0] + [t.stop for t in grid.tests], dtype=np.int64), parts
    only = grid.tests[0] if grid.tests else GridTest(None, "", 0, n)
    if column is None:
        part = GridPart(only.label, only.place, only.declared, first + 1, first + n)
        return None, np.array([0, n], dtype=np.int64), [part]
    series = column if isinstance(column, pl.Series) else pl.Series(column)
    runs = series.rle()
    lengths = runs.struct.field("len").to_numpy().astype(np.int64)
    labels = [_label(v) for v in runs.struct.field("value").to_list()]
    starts = np.concatenate([[0], np.cumsum(lengths)])
    order: Ints | None = None
    begins, ends = starts[:-1] + 1, starts[1:]
    if len(set(labels)) < len(labels):  # a test's rows do not stand together
        numbers: dict[str, int] = {}
        codes = np.repeat([numbers.setdefault(v, len(numbers)) for v in labels], lengths)
        order = np.argsort(codes, kind="stable")
        labels = list(numbers)
        starts = np.searchsorted(codes[order], np.arange(len(labels) + 1))
        begins, ends = order[starts[:-1]] + 1, order[starts[1:] - 1] + 1
    parts = [
        GridPart(v or "?", only.place, only.declared, int(a), int(b))
        for v, a, b in zip(labels, begins + first, ends + first, strict=True)
    ]
    return order, starts.astype(np.int64), parts


def _label(value: object) -> str:
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return "" if value is None else " ".join(str(value).split())


def _faults(
    parts: list[GridPart],
    bounds: Ints,
    order: Ints | None,
    columns: Mapping[str, Floats],
    bad: Mapping[int, Sequence[_Hole]],
    first_row: int,
) -> list[GridPart]:
    """Tests with the first fault of each: a place without a number, then what the clock shows."""
    from drypoint.records.kernels import odd_clocks

    out = list(parts)

    def line_of(row: int, test: int) -> int:
        if order is not None:
            return int(order[row]) + 1 + first_row
        return row - int(bounds[test]) + parts[test].first_line

    for t, holes in bad.items():
        faults = [
            Fault(
                line_of(row, t),
                column.index,
                f"Column {column.index} (“{column.name}”) has no number"
                + (f" in {count} rows, first in this one." if count > 1 else " here."),
                _REMEDY,
            )
            for row, count, column in sorted(holes, key=lambda hole: (hole[0], hole[2].index))
        ]
        out[t] = replace(out[t], fault=all_faults(faults))
    time = columns["time"]
    for t in np.flatnonzero(odd_clocks(time, bounds, GAP_STEPS)).tolist():
        if t in bad:
            continue
        s = slice(int(bounds[t]), int(bounds[t + 1]))
        lines = np.array([line_of(i, int(t)) for i in range(s.start, s.stop)], dtype=np.int64)
        fault_ = judge(time[s], columns["force"][s], columns["depth"][s], lines)
        if fault_ is not None:
            out[t] = replace(out[t], fault=fault_)
    return out


def _segments(column: Values | None, n: int) -> tuple[tuple[str, ...], NDArray[np.int16]]:
    if column is None:
        return (), np.full(n, UNDECLARED, dtype=np.int16)
    series = column if isinstance(column, pl.Series) else pl.Series(column)
    values = series.unique(maintain_order=True).to_list()
    labels = tuple(dict.fromkeys(_label(v) for v in values if _label(v)))
    if len(labels) > 1000:
        return (), np.full(n, UNDECLARED, dtype=np.int16)
    at = {label: i for i, label in enumerate(labels)}
    codes = [at.get(_label(v), UNDECLARED) for v in values]
    return labels, series.replace_strict(
        values, codes, default=UNDECLARED, return_dtype=pl.Int16
    ).to_numpy()


def to_batch(read: GridRead, infos: Sequence[object]) -> Batch:
    """The tests without fault; ``infos`` are their :class:`~drypoint.records.batch.TestInfo`."""
    batch = Batch(
        tests=tuple(infos),  # type: ignore[arg-type]
        offsets=read.offsets,
        time=read.columns["time"],
        force=read.columns["force"],
        depth=read.columns["depth"],
        segment=read.segment,
        segment_labels=read.labels,
        channels=dict(read.channels),
    )
    good = [i for i, p in enumerate(read.parts) if p.fault is None]
    return batch if len(good) == len(read.parts) else batch.take(good)


def ask_inside(choices: Sequence[str], found: str) -> Question:
    """Which groups of an HDF5 file are the tests?"""
    lines = tuple(f'inside = ["{c}"]' for c in choices)
    return Question(
        f"It is not clear which groups or datasets of the file are the tests. {found}",
        lines,
        "Add under [[records]] one of: " + " or ".join(lines)
        if lines
        else 'Declare them under [[records]]: inside = ["/GROUP/*"].',
        "inside",
    )
