"""How many cells the sheets of an .xlsx workbook span, and how much text they repeat."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from drypoint.records.raw import Limits
from drypoint.records.sheet_xml import BadXML, Excess, outside, parse, spans, too_many

ROWS, COLUMNS = 1_048_576, 16_384
_REF = re.compile(r"([A-Za-z]+)([0-9]+)", re.ASCII)
_DIGITS = re.compile(r"[0-9]+", re.ASCII)


@dataclass(frozen=True)
class Found:
    """A sheet of the workbook: its name, the part that holds it, the part's XML."""

    name: str
    part: str
    xml: bytes


def read_relations(xml: bytes) -> dict[str, tuple[str, str]]:
    """Target and type of the workbook's relations by their ids."""
    out: dict[str, tuple[str, str]] = {}

    def start(name: str, given: dict[str, str]) -> None:
        if name.rpartition(":")[2] == "Relationship" and "Id" in given:
            out[given["Id"]] = given.get("Target", ""), given.get("Type", "")

    parse(xml, start)
    return out


def read_book(xml: bytes, most: int) -> list[tuple[str, str]]:
    """Name and relation of each sheet."""
    out: list[tuple[str, str]] = []

    def start(name: str, given: dict[str, str]) -> None:
        if name.rpartition(":")[2] != "sheet":
            return
        ids = [v for k, v in given.items() if k == "id" or k.endswith(":id")]
        out.extend((given.get("name", ""), one) for one in ids)

    parse(xml, start)
    if len(out) > most:
        raise too_many("sheets", len(out), most)
    return out


def check_sheets(sheets: Sequence[Found], strings: Sequence[bytes], limits: Limits) -> None:
    """Refuse sheets that span too many cells, or repeat too much text.

    Each entry of the workbook counts, also where several name the same part.

    Raises
    ------
    Excess, BadXML
    """
    lengths = [n for part in strings for n in _string_lengths(part)]
    longest = max(lengths, default=0)
    known: dict[str, tuple[int, int]] = {}
    cells = text = 0
    for sheet in sheets:
        if sheet.part not in known:
            size, shared = _size(sheet, limits)
            repeated = shared * longest
            if repeated > limits.sheet_text and len(strings) == 1:
                repeated = _repeated(sheet, lengths)
            known[sheet.part] = size, repeated
        cells += known[sheet.part][0]
        text += known[sheet.part][1]
        if cells > limits.book_cells:
            raise too_many("cells", cells, limits.book_cells)
        if text > limits.sheet_text:
            raise Excess(
                f"The cells of the workbook hold {text:,} characters of text; expected at most "
                f"{limits.sheet_text:,}.",
                "Leave out columns of long text, in a copy.",
            )


def _size(sheet: Found, limits: Limits) -> tuple[int, int]:
    """Cells that a sheet spans, and how many of them hold a shared text."""
    row = column = rows = columns = filled = shared = 0

    def start(name: str, given: dict[str, str]) -> None:
        nonlocal row, column, rows, columns, filled, shared
        kind = name.rpartition(":")[2] if ":" in name else name
        if kind == "c":
            column += 1
            at = given.get("r")
            if at is not None:
                here, column = _place(sheet.name, at)
                rows = max(rows, here)
            if column > columns:
                columns = column
                if columns > COLUMNS:
                    raise outside(sheet.name, "column number", columns, COLUMNS)
            if given.get("t") == "s":
                shared += 1
        elif kind == "v" or kind == "is" or kind == "f":
            filled += 1
        elif kind == "row":
            at = given.get("r")
            row = row + 1 if at is None else _row(sheet.name, at)
            column = 0
            rows = max(rows, row)
            if rows > ROWS:
                raise outside(sheet.name, "row number", rows, ROWS)

    parse(sheet.xml, start)
    return spans(sheet.name, rows, columns, filled, limits), shared


def _place(name: str, at: str) -> tuple[int, int]:
    found = _REF.fullmatch(at)
    if found is None:
        raise BadXML(f"a cell is at “{at[:20]}”")
    if len(found[1]) > 3:
        raise outside(name, "column", found[1], COLUMNS)
    column = 0
    for letter in found[1].upper():
        column = 26 * column + ord(letter) - 64
    return _row(name, found[2]), column


def _row(name: str, at: str) -> int:
    if _DIGITS.fullmatch(at) is None:
        raise BadXML(f"a row has the number “{at[:20]}”")
    if len(at) > 7 or int(at) > ROWS:
        raise outside(name, "row number", at, ROWS)
    return int(at)


def _string_lengths(xml: bytes) -> list[int]:
    """Characters of each shared text; phonetic readings count as well."""
    out: list[int] = []
    size = 0

    def start(name: str, given: dict[str, str]) -> None:
        nonlocal size
        if name.rpartition(":")[2] == "si":
            size = 0

    def end(name: str) -> None:
        if name.rpartition(":")[2] == "si":
            out.append(size)

    def text(found: str) -> None:
        nonlocal size
        size += len(found)

    parse(xml, start, end, text)
    return out


def _repeated(sheet: Found, lengths: Sequence[int]) -> int:
    """Characters of all shared texts of a sheet, each as often as it is used."""
    total = 0
    shared = inside = False
    digits = ""

    def start(name: str, given: dict[str, str]) -> None:
        nonlocal shared, inside, digits
        kind = name.rpartition(":")[2]
        if kind == "c":
            shared = given.get("t") == "s"
        inside = shared and kind == "v"
        if inside:
            digits = ""

    def end(name: str) -> None:
        nonlocal total, inside
        if inside and digits.strip().isascii() and digits.strip().isdigit():
            at = int(digits.strip()[:12])
            total += lengths[at] if at < len(lengths) else 0
        inside = False

    def text(found: str) -> None:
        nonlocal digits
        if inside and len(digits) < 40:
            digits += found

    parse(sheet.xml, start, end, text)
    return total
