"""Bounds of sheets as their XML states them: what .xlsx and .ods have in common."""

from __future__ import annotations

from collections.abc import Callable
from xml.parsers import expat

from drypoint.records.raw import Limits

#: A sheet may span this many cells, and this many more for each cell that holds something.
_FREE, _SPARSE = 1_000_000, 20
_FAR = "Delete what lies far away from the table, in a copy."


class BadXML(Exception):  # noqa: N818
    """A part is not sound XML, or not that of a workbook."""


class Excess(Exception):  # noqa: N818
    """A workbook is above a limit: what, and what to do."""

    def __init__(self, what: str, remedy: str) -> None:
        super().__init__(what)
        self.remedy = remedy


def parse(
    data: bytes,
    start: Callable[[str, dict[str, str]], None],
    end: Callable[[str], None] | None = None,
    text: Callable[[str], None] | None = None,
) -> None:
    """Call handlers for the elements of a part. Document types (and so entities) are refused.

    Raises
    ------
    BadXML
    """
    parser = expat.ParserCreate()
    parser.buffer_text = True
    parser.StartElementHandler = start
    if end is not None:
        parser.EndElementHandler = end
    if text is not None:
        parser.CharacterDataHandler = text
    parser.StartDoctypeDeclHandler = _refuse_doctype
    try:
        parser.Parse(data, True)
    except expat.ExpatError as error:
        raise BadXML(f"its XML breaks off or is wrong in line {error.lineno} of a part") from error
    except (LookupError, ValueError) as error:
        # The parser asks Python for an encoding that it does not know, and Python has none either.
        raise BadXML("a part names an encoding that does not exist or cannot be used") from error


def _refuse_doctype(*given: object) -> None:
    raise BadXML("a part declares a document type")


def spans(name: str, rows: int, columns: int, filled: int, limits: Limits) -> int:
    """Cells of the rectangle around all cells of a sheet.

    Raises
    ------
    Excess
        It is above the limit, or almost empty.
    """
    cells = rows * columns
    most = min(limits.cells, _FREE + _SPARSE * filled)
    if cells > most:
        raise Excess(
            f"Sheet “{name[:80]}” spans more than {most:,} cells: {rows:,} rows and {columns:,} "
            f"columns, in which {filled:,} cells hold something.",
            _FAR,
        )
    return cells


def outside(name: str, what: str, given: object, most: int) -> Excess:
    """The words for a row or column that no sheet has."""
    shown = str(given)
    shown = shown if len(shown) <= 20 else shown[:17] + "..."
    return Excess(
        f"Invalid {what} in sheet “{name[:80]}”: got {shown}; expected at most {most:,}.",
        "Open the workbook in a spreadsheet program, save it anew, and give that file.",
    )


def too_many(what: str, given: int, most: int, remedy: str = "Split the workbook.") -> Excess:
    """The words for a count above a limit."""
    return Excess(f"The workbook has {given:,} {what}; expected at most {most:,}.", remedy)
