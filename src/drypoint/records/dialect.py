"""How a text file is laid out: delimiter, decimal mark, where the header ends, names and units."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from drypoint.errors import RecordError, Where
from drypoint.records import header
from drypoint.records.layout import Layout
from drypoint.records.marks import Marks, find_marks, numeric
from drypoint.records.names import is_unit
from drypoint.records.question import Question
from drypoint.records.said import Said, said_in

DELIMITERS = ("\t", ";", "|", ",", " ")
#: Lines looked at first when searching for the numbers; all lines are looked at if that fails.
_WINDOW = 400
_ENOUGH = 20
_LONGEST_HEAD = 5000
#: Lines in which a table of numbers is looked for.
_MOST_HEAD = 50_000
#: Columns of a table, at most: far more than an instrument records.
MOST_COLUMNS = 5_000
#: A field that is several numbers: another delimiter parts them.
_SEVERAL = re.compile(r"[\d.,+\-eE]+(?:[\s;|]+[\d.,+\-eE]+)+")
_SEP = re.compile(r'"?sep=(.)"?', re.IGNORECASE)
_RULE = re.compile(r"[\s\-=_*#+|;,.]*")
_GLUE = re.compile(r"\s+(?![(\[/])(?<!/\s)(?<!/)")

Split = tuple[str, ...]


@dataclass(frozen=True)
class Dialect:
    """What was found. Lines count from 1; ``names`` and ``units`` have one entry per column;
    ``said`` are the units that other lines of the header name."""

    delimiter: str
    decimal: str
    thousands: str | None
    first_data_line: int
    n_fields: int
    numeric: tuple[bool, ...]
    names: Split = ()
    units: Split = ()
    header_line: int | None = None
    unit_line: int | None = None
    declared: dict[str, str] = field(default_factory=dict)
    remarks: Split = ()
    questions: tuple[Question, ...] = ()
    said: tuple[Said, ...] = ()


def fields_of(line: str, delimiter: str) -> list[str]:
    """Fields of a line without surrounding blanks; quoted fields lose their quotes."""
    if delimiter == " ":
        return line.split()
    if '"' in line:
        try:
            row = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
            return [f.strip() for f in row]
        except csv.Error:
            pass
    return [f.strip() for f in line.split(delimiter)]


def find_dialect(text: str, layout: Layout, file: str) -> Dialect:
    """Find the layout of a text, with what ``layout`` declares taken as given.

    Raises
    ------
    RecordError
        No table of numbers, or the declared layout does not fit the file.
    """
    _refuse_contradiction(layout, file)
    lines = text.split("\n", _WINDOW)
    rest = len(lines) > _WINDOW
    lines = lines[:_WINDOW]
    shift = 0
    declared_delimiter = layout.delimiter
    if said := _SEP.fullmatch(lines[0].strip()):
        declared_delimiter = declared_delimiter or said[1]
        shift = 1
    candidates = (declared_delimiter,) if declared_delimiter else DELIMITERS
    _refuse_wide(lines, candidates, layout, file)
    best = _best_run(lines, candidates, layout, shift)
    if best is None and rest:
        most = _MOST_HEAD + max(layout.header_line or 0, layout.first_data_line or 0)
        lines = text.split("\n", most)
        if endless := len(lines) > most:
            lines = lines[:most]
        _refuse_wide(lines, candidates, layout, file)
        best = _best_run(lines, candidates, layout, shift)
        if best is None and endless:
            raise RecordError(
                f"Invalid header: got {most:,} lines without a table of numbers; expected it to "
                "begin before.",
                where=Where(file, line=most),
                remedy="Check whether this is a record; if it is, declare first_data_line.",
            )
    if best is None:
        tried = " ".join(_shown(d) for d in candidates)
        raise RecordError(
            "No table of numbers was found (two or more numbers in a row).",
            where=Where(file),
            remedy=f"Tried the delimiters {tried}. If it is another, declare delimiter "
            "(and decimal) in the recipe.",
        )
    delimiter, start, n_fields, mask = best
    _bounded(n_fields, delimiter, file, start + 1)
    if layout.first_data_line is None and delimiter != " ":
        start = _with_gaps_above(lines, start, max(shift, layout.header_line or 0), delimiter, mask)
    head = _names_above(lines, start, delimiter, n_fields, layout, shift)
    start, names_at, units_at, names, unit_row = head
    mask = _with_empty(lines, start, delimiter, mask, names)
    found = delimiter, n_fields, mask
    marks, questions = _decimal(text, lines, start, found, names, layout, file)
    skip = {names_at, units_at}
    declared, remarks = pairs_in(lines, shift, start, skip, delimiter, layout.comment)
    return Dialect(
        delimiter=delimiter,
        decimal=marks.decimal,
        thousands=marks.thousands,
        first_data_line=start + 1,
        n_fields=n_fields,
        numeric=mask,
        names=names,
        units=unit_row,
        header_line=None if names_at is None else names_at + 1,
        unit_line=None if units_at is None else units_at + 1,
        declared=declared,
        remarks=remarks,
        questions=questions,
        said=units_said(lines, shift, start, skip, layout.comment),
    )


def _refuse_wide(lines: list[str], candidates: Split, layout: Layout, file: str) -> None:
    """Refuse a table of more columns than records have, before its fields are looked at."""
    for delimiter in candidates:
        wide = [
            i
            for i, line in enumerate(lines)
            if len(line) > MOST_COLUMNS
            and not _is_comment(line, layout.comment)
            and line.count(delimiter) >= MOST_COLUMNS
        ]
        if len(wide) > 1 and (delimiter != " " or "\t" not in lines[wide[0]]):
            columns = len(lines[wide[-1]].split(None if delimiter == " " else delimiter))
            _bounded(columns, delimiter, file, wide[0] + 1)


def _bounded(columns: int, delimiter: str, file: str, line: int) -> None:
    if columns > MOST_COLUMNS:
        raise RecordError(
            f"Invalid table: got {columns:,} columns, parted by {_shown(delimiter)}; expected at "
            f"most {MOST_COLUMNS:,}.",
            where=Where(file, line=line),
            remedy="Export the columns of the record only.",
        )


def _refuse_contradiction(layout: Layout, file: str) -> None:
    for key, value, allowed in (
        ("delimiter", layout.delimiter, DELIMITERS),
        ("decimal", layout.decimal, (".", ",")),
    ):
        if value is not None and value not in allowed:
            raise RecordError(
                f"“{value}” is not a {key}.",
                where=Where(file, key=key),
                remedy="Allowed: " + " ".join(_shown(a) for a in allowed) + ".",
            )


def _shown(delimiter: str) -> str:
    return {"\t": r'"\t"', " ": '" " (any blanks)'}.get(delimiter, f'"{delimiter}"')


def _is_comment(line: str, comment: str | None) -> bool:
    s = line.lstrip()
    return s.startswith("#") or bool(comment and s.startswith(comment))


def _best_run(
    lines: list[str], candidates: Split, layout: Layout, shift: int
) -> tuple[str, int, int, tuple[bool, ...]] | None:
    """Delimiter, first line, field count and numeric mask of the longest table of numbers."""
    first = max(shift, layout.header_line or 0, (layout.first_data_line or 1) - 1)
    found = None
    longest = 0
    window = "\n".join(lines)
    for delimiter in candidates:
        if delimiter not in window and not (delimiter == " " and "\t" in window):
            continue
        at, n, mask, length = _run(lines, delimiter, first, layout)
        if length > longest:
            found, longest = (delimiter, at, n, mask), length
        if longest >= _ENOUGH:
            break
    if found and layout.first_data_line is not None:
        found = (found[0], layout.first_data_line - 1, *found[2:])
    return found


def _looked_at(line: str, delimiter: str) -> tuple[list[str], int]:
    """Fields of a line and how many there are. Of a line with more than any table may have, which
    will be refused, only the first are looked at."""
    count = 0 if delimiter == " " else line.count(delimiter)
    if count >= 2 * MOST_COLUMNS:
        return [f.strip() for f in line.split(delimiter, MOST_COLUMNS)[:MOST_COLUMNS]], count + 1
    row = fields_of(line, delimiter)
    return row, len(row)


def _run(
    lines: list[str], delimiter: str, first: int, layout: Layout
) -> tuple[int, int, tuple[bool, ...], int]:
    """Longest stretch of lines of the same shape with at least two numbers each."""
    shape: tuple[int, tuple[bool, ...]] = (0, ())
    at = length = refused = 0
    best: tuple[int, int, tuple[bool, ...], int] = (0, 0, (), 0)
    firsts: dict[tuple[int, tuple[bool, ...]], int] = {}
    for i in range(first, len(lines)):
        line = lines[i]
        if _is_comment(line, layout.comment):
            continue
        if delimiter != " " and delimiter not in line:
            length, shape = 0, (0, ())
            continue
        row, n = _looked_at(line, delimiter)
        mask = tuple(numeric(f) for f in row)
        if any(not m and _SEVERAL.fullmatch(f) for f, m in zip(row, mask, strict=True)):
            length, shape, refused = 0, (0, ()), refused + 1
            if refused >= _ENOUGH:
                break
            continue
        if sum(mask) < 2:
            length, shape = 0, (0, ())
            continue
        if (n, mask) != shape:
            shape, at, length = (n, mask), i, 0
        length += 1
        if length == min(3, len(lines)):
            firsts.setdefault(shape, at)
        # Of rows that are equally frequent the longer ones: the others have lost a field.
        if length > best[3] or (length == best[3] and n > best[1]):
            best = (at, *shape, length)
            if length >= _ENOUGH:
                break
    at, n, mask, length = best
    return firsts.get((n, mask), at), n, mask, length


def _with_gaps_above(
    lines: list[str], start: int, first: int, delimiter: str, mask: tuple[bool, ...]
) -> int:
    """First of the lines right above that have the numbers' shape but for places left empty."""
    while start > first:
        row = fields_of(lines[start - 1], delimiter)
        alike = len(row) == len(mask) and sum(map(numeric, row)) > 1
        if not (alike and all(numeric(f) == m or not f for f, m in zip(row, mask, strict=True))):
            break
        start -= 1
    return start


def _with_empty(
    lines: list[str], start: int, delimiter: str, mask: tuple[bool, ...], names: Split
) -> tuple[bool, ...]:
    """The mask with columns that have a name, and numbers or nothing in every line looked at: a
    sensor that was off for a pass leaves its column empty there."""
    doubtful = [i for i, m in enumerate(mask) if not m and i < len(names) and names[i]]
    if not doubtful or delimiter == " ":
        return mask
    open_ = set(doubtful)
    for line in lines[start:]:
        row = fields_of(line, delimiter)
        if len(row) == len(mask):
            open_ -= {i for i in open_ if row[i] and not numeric(row[i])}
        if not open_:
            return mask
    return tuple(m or i in open_ for i, m in enumerate(mask))


def looks_like_data(row: list[str], mask: tuple[bool, ...]) -> bool:
    """Whether a line, perhaps with a fault in it, belongs to the numbers rather than the header."""
    hits = sum(numeric(f) for f, m in zip(row, mask, strict=False) if m)
    return hits >= 2 or (hits >= 1 and len(row) == len(mask) and sum(mask) > 2)


def _names_above(
    lines: list[str], start: int, delimiter: str, n: int, layout: Layout, shift: int
) -> tuple[int, int | None, int | None, Split, Split]:
    """Walk up from the numbers to the row of names. Lines between that are neither units nor
    rules belong to the numbers: a fault in the first row must not turn it into a header."""
    above = [
        i
        for i in range(start - 1, shift - 1, -1)
        if lines[i].strip() and not _RULE.fullmatch(lines[i])
    ][:8]
    names_at: int | None = None
    if layout.header_line is not None:
        names_at = layout.header_line - 1
    else:
        candidates = [i for i in above if names_of(lines[i], delimiter, n, layout.comment)]
        worded = [i for i in candidates if not _is_unit_row(lines[i], delimiter, n, layout.comment)]
        names_at = worded[0] if worded else None
        if not worded and candidates:
            unit_row = names_of(lines[candidates[0]], delimiter, n, layout.comment) or ()
            return start, None, candidates[0], (), unit_row
    if names_at is None or names_at >= len(lines):
        return _first_without_names(lines, above, start, delimiter, n, layout), None, None, (), ()
    names = names_of(lines[names_at], delimiter, n, layout.comment) or ()
    units_at = None
    between = [i for i in reversed(above) if names_at < i < start]
    for i in between:
        if units_at is None and names_of(lines[i], delimiter, n, layout.comment):
            units_at = i
        elif layout.first_data_line is None and not _is_comment(lines[i], layout.comment):
            start = i
            break
    unit_row = (names_of(lines[units_at], delimiter, n, layout.comment) if units_at else None) or ()
    return start, names_at, units_at, names, unit_row


def _first_without_names(
    lines: list[str], above: list[int], start: int, delimiter: str, n: int, layout: Layout
) -> int:
    """Without names: rows of the same width that hold a number right above belong to the data."""
    if layout.first_data_line is not None:
        return start
    for i in above:
        row = fields_of(lines[i], delimiter)
        if i != start - 1 or len(row) != n or not any(numeric(f) for f in row):
            break
        start = i
    return start


def names_of(line: str, delimiter: str, n: int, comment: str | None) -> Split | None:
    """The line as ``n`` names (or units), or ``None`` when it is not such a row."""
    if len(line) > _LONGEST_HEAD:
        return None
    for body in dict.fromkeys((header.uncomment(line, comment), line)):
        tries = [fields_of(body, delimiter)]
        if delimiter == " ":
            tries += [_GLUE.split(body.strip()), re.split(r"\s{2,}|\t+", body.strip())]
            if ";" in body or "," in body:
                tries += [[f.strip() for f in re.split(r"[;,]", body)]]
        for row in tries:
            while len(row) > n and not row[-1]:
                row = row[:-1]
            row = row + [""] * (n - len(row)) if len(row) in (n - 1,) and n > 2 else row
            if len(row) == n and sum(map(bool, row)) > n / 2 and not any(map(numeric, row)):
                return tuple(row)
    return None


def _is_unit_row(line: str, delimiter: str, n: int, comment: str | None) -> bool:
    row = names_of(line, delimiter, n, comment) or ()
    filled = [f for f in row if f]
    known = [f for f in filled if f[0] in "[(" or is_unit(f) or f == "-"]
    return bool(filled) and len(known) == len(filled)


def number_fields(
    lines: Iterator[str] | list[str], delimiter: str, n: int, mask: tuple[bool, ...]
) -> Iterator[str]:
    """All number fields of the lines that have the shape of data."""
    for line in lines:
        row = fields_of(line, delimiter)
        if len(row) >= n:
            for f, m in zip(row, mask, strict=False):
                if m and numeric(f):
                    yield f


def _decimal(
    text: str,
    lines: list[str],
    start: int,
    found: tuple[str, int, tuple[bool, ...]],
    names: Split,
    layout: Layout,
    file: str,
) -> tuple[Marks, tuple[Question, ...]]:
    """Marks of the numbers, and the question where they can be read in two ways."""
    delimiter, n, mask = found
    if delimiter == "," and '"' not in lines[start]:
        return _comma_delimited(lines, start, mask, names, layout, file)
    offset = sum(len(line) + 1 for line in lines[:start])
    point, comma = text.find(".", offset) >= 0, text.find(",", offset) >= 0
    if not point and not comma:
        return Marks(layout.decimal or "."), ()
    marks = Marks(".", None, False)
    if point != comma:
        marks = find_marks(number_fields(iter(lines[start:]), delimiter, n, mask), single=True)
    if not marks.clear:
        every = number_fields(iter(text[offset:].split("\n")), delimiter, n, mask)
        marks = find_marks(every, single=point != comma)
    if layout.decimal is not None:
        return _declared_decimal(marks, layout.decimal, start, file), ()
    if marks.clear:
        return marks, ()
    question = Question(
        f"Both the point and the comma are used as decimal mark (see “{marks.example}”)."
        if marks.mixed
        else f"“{marks.example}” can be a decimal fraction or a number in the thousands; "
        "nothing in the file tells which.",
        ('decimal = "."', 'decimal = ","'),
        'Add decimal = "." or decimal = "," to the recipe, under [[records]].',
        key="decimal",
    )
    return Marks(marks.decimal), (question,)


def _declared_decimal(marks: Marks, decimal: str, start: int, file: str) -> Marks:
    """The declared decimal mark, unless the numbers contradict it."""
    if marks.clear and marks.decimal == decimal:
        return marks
    other = "," if decimal == "." else "."
    if marks.clear:
        raise RecordError(
            f"The decimal mark is declared as “{decimal}”, but the numbers are written "
            f"with “{marks.decimal}”.",
            where=Where(file, line=start + 1, key="decimal"),
            remedy=f'Write decimal = "{marks.decimal}" in the recipe, or leave it out.',
        )
    return Marks(decimal, other if other in marks.example else None)


def _comma_delimited(
    lines: list[str],
    start: int,
    mask: tuple[bool, ...],
    names: Split,
    layout: Layout,
    file: str,
) -> tuple[Marks, tuple[Question, ...]]:
    """``1,234`` is two whole numbers or one with a decimal comma. Names settle it."""
    if layout.decimal == ",":
        raise RecordError(
            "The comma cannot part the columns and be the decimal mark too.",
            where=Where(file, line=start + 1, key="decimal"),
            remedy='Declare delimiter and decimal: one of ";", "\\t", "|" or " " with ",", '
            'or "," with ".". If the file mixes them, export it again with another delimiter.',
        )
    whole = all(
        f.lstrip("+-").isdigit()
        for line in lines[start : start + _ENOUGH]
        for f, m in zip(fields_of(line, ","), mask, strict=False)
        if m
    )
    if whole and not names and not (layout.delimiter == "," and layout.decimal == "."):
        question = Question(
            "The comma can part the columns or be the decimal mark "
            f"(“{lines[start].strip()[:40]}”); no row of names tells which.",
            ('delimiter = "," and decimal = "."', 'delimiter = " " and decimal = ","'),
            'Add delimiter = "," and decimal = "." to the recipe, under [[records]], or export '
            "the file with another delimiter.",
            key="delimiter",
        )
        return Marks("."), (question,)
    return Marks("."), ()


def units_said(
    lines: list[str], shift: int, start: int, skip: set[int | None], comment: str | None
) -> tuple[Said, ...]:
    """Units that header lines name, other than the rows of names and of units."""
    return said_in(
        (i + 1, header.uncomment(lines[i], comment)) for i in range(shift, start) if i not in skip
    )


def pairs_in(
    lines: list[str],
    shift: int,
    start: int,
    skip: set[int | None],
    delimiter: str,
    comment: str | None,
) -> tuple[dict[str, str], Split]:
    """Header pairs, and header lines that are none."""
    declared: dict[str, str] = {}
    remarks = []
    for i in range(shift, start):
        if i in skip or not lines[i].strip() or _RULE.fullmatch(lines[i]):
            continue
        body = header.uncomment(lines[i], comment)
        found = header.pair(body, delimiter)
        if found:
            header.add(declared, *found)
        elif body.strip(delimiter + " "):
            remarks.append(body.strip(delimiter + " "))
    return declared, tuple(remarks)
