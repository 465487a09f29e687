"""How many cells the sheets of an .ods workbook span, where equal cells and rows are written once,
with a count."""

from __future__ import annotations

from drypoint.records.raw import Limits
from drypoint.records.sheet_xlsx import COLUMNS, ROWS
from drypoint.records.sheet_xml import BadXML, Excess, outside, parse, spans, too_many

#: Attributes of a cell that holds nothing.
_EMPTY = ("number-columns-repeated", "style-name", "content-validation-name")
#: Cells with a count may stand for this many, and this many more for each cell that is written.
_FREE, _TIMES = 1_000_000, 20


class _Sheets:
    """What was counted up to some place in the XML."""

    def __init__(self, limits: Limits) -> None:
        self.limits = limits
        self.sheets = self.cells = self.text = self.written = 0
        self.name = ""
        self.begin("")

    def begin(self, name: str) -> None:
        self.name = name
        self.rows = self.at = self.columns = self.filled = 0
        self.row_times, self.width, self.last, self.row_filled = 1, 0, 0, 0
        self.cell_times, self.cell_text, self.in_cell = 1, 0, False

    def start(self, name: str, given: dict[str, str]) -> None:
        kind = name.rpartition(":")[2]
        if self.in_cell:
            self._mark()
            if kind == "s":
                self.cell_text += _count(self.name, given, "c", 10**9)
        elif kind in ("table-cell", "covered-table-cell"):
            self.in_cell, self.written, self.cell_text = True, self.written + 1, 0
            self.cell_times = _count(self.name, given, "number-columns-repeated", COLUMNS)
            self.width += self.cell_times
            self.marked = False
            if any(k.rpartition(":")[2] not in _EMPTY for k in given):
                self._mark()
                self.cell_text += sum(map(len, given.values()))
        elif kind == "table-row":
            self.row_times = _count(self.name, given, "number-rows-repeated", ROWS)
            self.width = self.last = self.row_filled = 0
        elif kind == "table":
            self.sheets += 1
            self.begin(next((v for k, v in given.items() if k.endswith("name")), ""))
            if self.sheets > self.limits.sheets:
                raise too_many("sheets", self.sheets, self.limits.sheets)

    def _mark(self) -> None:
        """The cell holds something."""
        if not self.marked:
            self.marked = True
            self.last = self.width
            self.row_filled += self.cell_times

    def characters(self, text: str) -> None:
        if self.in_cell:
            self.cell_text += len(text)

    def end(self, name: str) -> None:
        kind = name.rpartition(":")[2]
        if kind in ("table-cell", "covered-table-cell"):
            self.in_cell = False
            self.text += self.cell_text * self.cell_times * self.row_times
        elif kind == "table-row":
            self.at += self.row_times
            if self.last:
                self.rows, self.columns = self.at, max(self.columns, self.last)
                self.filled += self.row_filled * self.row_times
        elif kind == "table":
            self.cells += spans(self.name, self.rows, self.columns, self.filled, self.limits)
            if self.cells > self.limits.book_cells:
                raise too_many("cells", self.cells, self.limits.book_cells)
            if self.rows > ROWS or self.columns > COLUMNS:
                what, most = ("row", ROWS) if self.rows > ROWS else ("column", COLUMNS)
                got = self.rows if self.rows > ROWS else self.columns
                raise outside(self.name, f"{what} number", got, most)
            if self.text > self.limits.sheet_text:
                raise Excess(
                    "The cells of the workbook hold more than "
                    f"{self.limits.sheet_text:,} characters of text.",
                    "Leave out columns of long text, in a copy.",
                )
            if self.filled > _FREE + _TIMES * self.written:
                raise Excess(
                    f"{self.written:,} cells of the workbook stand for {self.filled:,} by their "
                    "counts of repetition, which no record does.",
                    "Export the table as delimited text and give that file.",
                )


def check_ods(xml: bytes, limits: Limits) -> None:
    """Refuse sheets that span too many cells, or repeat too much text.

    Raises
    ------
    Excess, BadXML
    """
    sheets = _Sheets(limits)
    parse(xml, sheets.start, sheets.end, sheets.characters)


def _count(name: str, given: dict[str, str], key: str, most: int) -> int:
    text = next((v for k, v in given.items() if k.rpartition(":")[2] == key), "1").strip()
    if not (text.isascii() and text.isdigit()):
        raise BadXML(f"a count of repetition is “{text[:20]}”")
    if len(text) > 10 or int(text) > most:
        raise outside(name, "count of repetition", text, most)
    return int(text)
