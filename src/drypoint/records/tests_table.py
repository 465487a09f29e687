"""A table beside the raw files that says, test by test, specimen, place and other words."""

from __future__ import annotations

import csv
import hashlib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from drypoint import units
from drypoint.errors import DrypointError, PathError, RecipeError, RecordError, Where
from drypoint.records import header
from drypoint.records.cells import cell_text
from drypoint.records.decode import decode_bytes
from drypoint.records.names import take_apart
from drypoint.records.raw import Limits, kind_of, load
from drypoint.records.workbook import plain_word, read_workbook

_DELIMITERS = ("\t", ";", ",", "|")
_NUMBER = re.compile(r"[-+]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][-+]?\d+)?")
_MOST_BYTES = 50_000_000


@dataclass(frozen=True)
class Row:
    """What the table says about one test. What it leaves empty is ``None`` or absent."""

    test: str
    line: int
    specimen: str | None = None
    position_m: tuple[float, float] | None = None
    declared: Mapping[str, str] = field(default_factory=dict)


def read_tests_table(path: Path, shown: str) -> tuple[dict[str, Row], str]:
    """Rows by the name of their test, and SHA-256 of the bytes that they were read from.

    The first row names the columns: ``test`` is needed; ``specimen``, ``x`` and ``y`` with a unit
    of length (``x_um``, ``y [mm]``), ``site``, ``date`` and any others may be there. Delimited
    text or the first sheet of a workbook.

    Raises
    ------
    RecipeError
        The table cannot be read, a test stands in it twice, or a place is no number.
    """
    try:
        raw = load(path, shown, _MOST_BYTES)
        lines, delimiter = _lines(raw, shown)
    except (RecordError, PathError) as error:
        raise RecipeError(error.what, where=error.where, remedy=error.remedy) from error
    head = next(((n, row) for n, row in lines if any(row)), None)
    if head is None:
        raise _wrong("The table is empty.", shown, 1, "Write a row of names, then a row a test.")
    at = _columns(head[1], shown, head[0])
    rows: dict[str, Row] = {}
    for number, cells in lines:
        if number <= head[0] or not any(cells):
            continue
        if len(cells) > len(head[1]) and any(cells[len(head[1]) :]):
            what = f"The row has {len(cells)} fields where the names have {len(head[1])}."
            raise _wrong(what, shown, number, "Put fields with a separator in quotes.")
        row = _row(cells, at, head[1], shown, number, delimiter == ",")
        if row.test in rows:
            raise _wrong(
                f"The test “{row.test}” stands in line {rows[row.test].line} already.",
                shown, number, "Keep one of the two rows.",
            )  # fmt: skip
        rows[row.test] = row
    return rows, hashlib.sha256(raw).hexdigest()


def _wrong(what: str, shown: str, line: int | None, remedy: str) -> RecipeError:
    return RecipeError(what, where=Where(shown, line=line), remedy=remedy)


def _lines(raw: bytes, shown: str) -> tuple[list[tuple[int, list[str]]], str]:
    """Numbered rows of cells without surrounding blanks, and what parts them."""
    if kind_of(raw) in ("zip", "xls"):
        sheet = read_workbook(raw, shown, (), Limits())[0][0]
        cells = [[plain_word(c) for c in s.split("\t")] for s in sheet.text.split("\n")]
        return [(n, row) for n, row in enumerate(cells, 1)], "\t"
    text = decode_bytes(raw, shown, max_bytes=_MOST_BYTES).text
    first = next(s for s in text.split("\n") if s.strip())
    delimiter = max(_DELIMITERS, key=first.count)
    rows = []
    reader = csv.reader(text.split("\n"), delimiter=delimiter, skipinitialspace=True)
    try:
        rows = [(reader.line_num, [cell_text(" ".join(c.split())) for c in row]) for row in reader]
    except csv.Error as error:
        raise RecordError(
            f"The table cannot be read ({error}).",
            where=Where(shown, line=reader.line_num),
            remedy="Look at the quotes of this line.",
        ) from error
    return rows, delimiter


def _columns(names: Sequence[str], shown: str, line: int) -> dict[str, tuple[int, str | None]]:
    """Key -> (column, unit)."""
    at: dict[str, tuple[int, str | None]] = {}
    for k, name in enumerate(names):
        if not name:
            continue
        named = take_apart(name)
        key = header.canonical(named.bare.replace("_", " "))
        unit = named.unit if key in ("x", "y") else None
        if key not in ("x", "y"):
            key = header.canonical(name)
        if key in at:
            raise _wrong(f"Two columns are called “{key}”.", shown, line, "Rename one of them.")
        if key in ("x", "y") and (unit is None or units.dimension_of(unit) != "length"):
            raise _wrong(
                f"The column “{name}” has no unit of length.", shown, line,
                f"Call it {key}_um, or {key} [mm].",
            )  # fmt: skip
        at[key] = k, unit
    if "test" not in at:
        raise _wrong(
            f"No column is called “test” (the names are: {', '.join(n for n in names if n)}).",
            shown, line, "Name the column that holds the names of the tests.",
        )  # fmt: skip
    if ("x" in at) != ("y" in at):
        raise _wrong("Of x and y only one is there.", shown, line, "Add the other.")
    return at


def _row(
    cells: Sequence[str], at: Mapping[str, tuple[int, str | None]], names: Sequence[str],
    shown: str, line: int, point_only: bool,
) -> Row:  # fmt: skip
    values = {key: cells[k] if k < len(cells) else "" for key, (k, _) in at.items()}
    test = values.pop("test")
    if not test:
        raise _wrong("The row names no test.", shown, line, "Fill in the name, or delete the row.")
    place: list[float] = []
    given = [values.pop(key, "") for key in ("x", "y")]
    for key, text in zip(("x", "y"), given, strict=True):
        if not text:
            continue
        if not _NUMBER.fullmatch(text) or (point_only and "," in text):
            raise _wrong(
                f"“{text}” is no number for {names[at[key][0]]}.", shown, line, "Correct it."
            )
        unit = at[key][1] or "m"
        try:
            place.append(float(text.replace(",", ".")) * units.factor(unit, "length"))
        except DrypointError as error:
            raise _wrong(error.what, shown, line, error.remedy) from error
    if len(place) == 1:
        raise _wrong("Of x and y only one is given.", shown, line, "Give both, or neither.")
    specimen = values.pop("specimen", "")
    return Row(
        test, line, specimen or None, (place[0], place[1]) if place else None,
        {k: v for k, v in values.items() if v},
    )  # fmt: skip
