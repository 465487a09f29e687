"""Text cells of CSV files that a spreadsheet program would take for a formula."""

from __future__ import annotations

import re
from typing import Literal

#: ``safe``: such cells get an apostrophe in front; ``verbatim``: they are left as they are.
CsvText = Literal["safe", "verbatim"]

#: Beginnings that start a formula or move to another cell (common practice: the cheat sheet on CSV
#: injection of OWASP), also in full width, behind any apostrophes of the text itself.
_DANGEROUS = re.compile("'*[=+\\-@\t\r\n\uff1d\uff0b\uff0d\uff20]")
_NUMBER = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?")
_MARKED = re.compile("'+[=+\\-@\t\r\n\uff1d\uff0b\uff0d\uff20]")


def safe_cell(text: str) -> str:
    """Text that no spreadsheet program takes for a formula: an apostrophe in front where needed.

    A plain number stays as it is. :func:`cell_text` gives the text back.

    >>> safe_cell("=1+1"), safe_cell("-1.5"), safe_cell("glass")
    ("'=1+1", '-1.5', 'glass')
    """
    return f"'{text}" if _DANGEROUS.match(text) and not _NUMBER.fullmatch(text) else text


def cell_text(cell: str) -> str:
    """The text of which :func:`safe_cell` made a cell.

    >>> cell_text("'=1+1"), cell_text("'quoted'")
    ('=1+1', "'quoted'")
    """
    return cell[1:] if _MARKED.match(cell) else cell
