"""Workbooks (.xlsx, .xlsm, .xls, .ods): each sheet as text, so that one reader takes both.

A number cell is written so that it reads back exactly. What only looks like a number (text, an
error) is marked with ``'`` and so becomes a fault where a number is expected.
"""

from __future__ import annotations

import datetime
import io
from collections import Counter
from dataclasses import dataclass
from fnmatch import fnmatchcase
from typing import Any

from drypoint.errors import DrypointError, RecordError, Where
from drypoint.records.marks import numeric
from drypoint.records.raw import Limits
from drypoint.records.workbook_parts import checked

#: Written before text that would read as a number.
TEXT = "'"
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
        raw = checked(raw, shown, limits)
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
            opened = book.get_sheet_by_name(name)
            if opened.total_height * opened.total_width > limits.cells:
                raise _too_wide(f"{shown}!{name}", limits)
            rows = opened.to_python(skip_empty_area=False)
        except RecordError:
            raise
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


def _too_wide(shown: str, limits: Limits) -> RecordError:
    return RecordError(
        f"The sheet spans more than {limits.cells:,} cells.",
        where=Where(shown),
        remedy="Delete what lies far away from the table, in a copy.",
    )


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


def as_text(name: str, rows: list[list[Any]]) -> Sheet:
    """A sheet's rows as lines. Rows of numbers are filled up to their usual width."""
    lines: list[list[str]] = []
    widths: Counter[int] = Counter()
    numbers = []
    worded = 0
    for row in rows:
        row = _without_empty_end(row)
        cells = [_cell(v) if v != "" else "" for v in row]
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


def _without_empty_end(row: list[Any]) -> list[Any]:
    last = len(row)
    while last and row[last - 1] == "":
        last -= 1
    return row[:last] if last < len(row) else row


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
