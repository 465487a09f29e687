"""Workbooks (.xlsx, .xlsm, .xls, .ods): each sheet as text, so that one reader takes both.

A number cell is written so that it reads back exactly. What only looks like a number (text, an
error) is marked with ``'`` and so becomes a fault where a number is expected.
"""

from __future__ import annotations

import datetime
import io
import re
from collections import Counter
from dataclasses import dataclass
from fnmatch import fnmatchcase
from typing import Any

from drypoint.errors import DrypointError, RecordError, Where
from drypoint.records.marks import numeric
from drypoint.records.raw import Limits
from drypoint.records.unpack import open_zip

#: Written before text that would read as a number.
TEXT = "'"
_REF = re.compile(rb"""<(?:\w+:)?c\b[^>]*?\br=["']([A-Za-z]{1,8})([0-9]{1,12})["']""")
_ROW_REF = re.compile(rb"""<(?:\w+:)?row\b[^>]*?\br=["']([0-9]{1,12})["']""")
_ROW = re.compile(rb"<table:table-row\b([^>]*)>(.*?)</table:table-row>", re.DOTALL)
_CELL = re.compile(rb"<table:(?:covered-)?table-cell\b([^>]*)>")
_REPEATED = re.compile(rb"""number-(?:columns|rows)-repeated=["']([0-9]{1,12})["']""")
_PLAIN = str.maketrans({"\t": " ", "\n": " ", "\r": " ", '"': "”", "\x00": " "})


@dataclass(frozen=True)
class Sheet:
    """One sheet: its name and its rows as text parted by tabs (row 1 is line 1).
    ``rows_of_text`` counts rows with several numbers that are kept as text."""

    name: str
    text: str
    rows_of_numbers: int
    rows_of_text: int = 0


def read_workbook(
    raw: bytes, shown: str, inside: tuple[str, ...], limits: Limits
) -> tuple[list[Sheet], list[str]]:
    """Sheets of a workbook that hold anything, and notes about those left out.

    Raises
    ------
    RecordError
        It is damaged, protected by a password, too large, or has no sheet that is asked for.
    """
    import python_calamine as calamine

    if raw[:2] == b"PK":
        _refuse_bombs(raw, shown, limits)
    try:
        book = calamine.CalamineWorkbook.from_filelike(io.BytesIO(raw))
        listed = book.sheets_metadata
    except BaseException as error:
        raise _broken(shown, error) from error
    kept, notes, hidden = [], [], []
    for sheet in listed:
        if sheet.typ != calamine.SheetTypeEnum.WorkSheet:
            continue
        if inside and not any(fnmatchcase(sheet.name, p) for p in inside):
            continue
        if sheet.visible != calamine.SheetVisibleEnum.Visible and not inside:
            hidden.append(sheet.name)
            continue
        kept.append(sheet.name)
    if hidden:
        notes.append(f"Hidden sheets are left out: {', '.join(hidden)}.")
    if not kept:
        names = ", ".join(f"“{s.name}”" for s in listed) or "none"
        raise RecordError(
            "The workbook has no sheet to read.",
            where=Where(shown),
            remedy=f"Its sheets are: {names}; name those to read under inside.",
        )
    sheets: list[Sheet] = []
    for name in kept:
        try:
            rows = book.get_sheet_by_name(name).to_python(skip_empty_area=False)
        except BaseException as error:
            raise _broken(f"{shown}!{name}", error) from error
        found = as_text(name, rows)
        if found.text.strip():
            sheets.append(found)
    if not sheets:
        raise RecordError(
            "The workbook is empty.", where=Where(shown), remedy="Export the record again."
        )
    return sheets, notes


def _broken(shown: str, error: BaseException) -> DrypointError:
    if isinstance(error, (KeyboardInterrupt, SystemExit)):
        raise error
    if type(error).__name__ == "PasswordError":
        what, remedy = "The workbook is protected by a password.", "Save it without one."
    else:
        what = (
            "This is a workbook, or an old workbook or text document (.xls, .doc), but it cannot "
            "be opened."
        )
        remedy = "Open it in a spreadsheet program, save it as .xlsx, and give that file."
    return RecordError(what, where=Where(shown), remedy=remedy)


def _refuse_bombs(raw: bytes, shown: str, limits: Limits) -> None:
    """A few bytes can claim a sheet of many thousand million cells: look before it is opened."""
    with open_zip(io.BytesIO(raw), shown) as archive:
        size = 0
        for info in archive.infolist():
            if not info.filename.endswith((".xml", ".rels", ".bin")):
                continue
            try:
                with archive.open(info) as file:
                    text = file.read(limits.file_bytes - size + 1)
            except Exception as error:  # whatever a damaged member brings
                raise _broken(shown, error) from error
            size += len(text)
            if size > limits.file_bytes:
                raise RecordError(
                    "Unpacked, the workbook is larger than the limit of "
                    f"{limits.file_bytes / 1e6:g} MB.",
                    where=Where(shown),
                    remedy="Split it, or raise the limit if the size is right.",
                )
            if _cells(text) > limits.cells:
                raise RecordError(
                    f"A sheet spans more than {limits.cells} cells.",
                    where=Where(shown),
                    remedy="Delete what stands far away from the table, in a copy.",
                )


def _cells(xml: bytes) -> int:
    """Size of the rectangle around all cells of a sheet, from its XML."""
    if b"<table:table-row" in xml:
        return _cells_ods(xml)
    rows = max((int(m) for m in _ROW_REF.findall(xml)), default=0)
    columns = 1
    seen: set[bytes] = set()
    for letters, digits in _REF.findall(xml):
        rows = max(rows, int(digits))
        if letters not in seen:
            seen.add(letters)
            n = 0
            for letter in letters.upper():
                n = 26 * n + letter - 64
            columns = max(columns, n)
    return rows * columns


def _cells_ods(xml: bytes) -> int:
    """The same for a sheet in which equal cells and rows are written once, with a count."""
    at = rows = columns = 0
    for attributes, body in _ROW.findall(xml):
        width = last = 0
        for cell in _CELL.findall(body):
            width += _times(cell)
            if b"value" in cell or not cell.endswith(b"/"):
                last = width
        at += _times(attributes)
        if last:
            rows, columns = at, max(columns, last)
    return rows * columns


def _times(attributes: bytes) -> int:
    found = _REPEATED.search(attributes)
    return int(found[1]) if found else 1


def as_text(name: str, rows: list[list[Any]]) -> Sheet:
    """A sheet's rows as lines. Rows of numbers are filled up to their usual width."""
    lines: list[list[str]] = []
    widths: Counter[int] = Counter()
    numbers = []
    worded = 0
    for row in rows:
        cells = [_cell(v) for v in row]
        while cells and not cells[-1]:
            cells.pop()
        looks = [isinstance(v, str) and numeric(c) for v, c in zip(row, cells, strict=False)]
        real = sum(type(v) in (int, float) for v in row)
        if real or sum(looks) > 1:
            cells = [
                TEXT + c if c and (k or (isinstance(v, str) and c[0] == "#")) else c
                for v, c, k in zip(row, cells, looks, strict=False)
            ]
        if real > 1:
            widths[len(cells)] += 1
        numbers.append(real > 1)
        worded += real < 2 and sum(looks) > 1
        lines.append(cells)
    width = widths.most_common(1)[0][0] if widths else 0
    for many, cells in zip(numbers, lines, strict=True):
        if many and len(cells) < width:
            cells += [""] * (width - len(cells))
    text = "\n".join("\t".join(cells) for cells in lines) + "\n"
    return Sheet(name, text, sum(numbers), worded)


def _cell(value: Any) -> str:
    if isinstance(value, str):
        return " ".join(value.translate(_PLAIN).split())
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, int):
        return str(value)
    if isinstance(value, (datetime.datetime, datetime.date, datetime.time)):
        return value.isoformat().removesuffix("T00:00:00")
    return "" if value is None else str(value)


def plain_word(text: str) -> str:
    """A cell's words without the mark of text."""
    return text[1:] if text.startswith(TEXT) and (numeric(text[1:]) or text[1:2] == "#") else text
