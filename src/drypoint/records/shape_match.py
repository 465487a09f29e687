"""Whether a text is of a known shape: its header line by line, without a look at the numbers."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from drypoint.records import header
from drypoint.records.columns import ColumnFound
from drypoint.records.dialect import Dialect, fields_of, pairs_in, units_said
from drypoint.records.documents import Document
from drypoint.records.marks import numeric

#: Larger texts are read alone.
LARGEST = 20_000_000
_MARK = b"\xef\xbb\xbf"


@dataclass(eq=False)
class Shape:
    """Everything that files of one shape have in common. ``strikes`` counts those that were not
    of it after all."""

    dialect: Dialect
    encoding: str
    fixed: dict[int, str]
    columns: tuple[ColumnFound, ...]
    kinds: NDArray[np.int64]
    labels: tuple[str, ...]
    notes: tuple[str, ...]
    seen: int = 1
    strikes: int = 0
    headers: dict[str, dict[str, str]] = field(default_factory=dict)

    @property
    def key(self) -> tuple[object, ...]:
        """What makes two shapes the same."""
        d = self.dialect
        return (
            d.delimiter, d.decimal, d.first_data_line, self.encoding, tuple(self.fixed.items()),
            self.columns, self.kinds.tobytes(), self.notes, d.said,
        )  # fmt: skip


@dataclass(frozen=True)
class Waiting:
    """A text of a known shape: what its header declares, and where its numbers begin."""

    doc: Document
    shape: Shape
    declared: dict[str, str]
    start: int


def match(doc: Document, shape: Shape) -> Waiting | None:
    """The text as one of the shape, if its header is of it."""
    raw = doc.body
    assert isinstance(raw, bytes)
    if len(raw) > LARGEST:
        return None
    at = 3 if raw.startswith(_MARK) else 0
    if (at > 0) != (shape.encoding == "utf-8-sig"):
        return None
    begin = at
    for _ in range(shape.dialect.first_data_line - 1):
        at = raw.find(b"\n", at) + 1
        if at == 0:
            return None
    try:
        text = raw[begin:at].decode(shape.encoding if begin == 0 else "utf-8")
    except UnicodeDecodeError:
        return None
    declared = shape.headers.get(text)
    if declared is None:
        declared = _declared(text, shape)
        if declared is None:
            return None
        if len(shape.headers) < 1000:
            shape.headers[text] = declared
    return Waiting(doc, shape, declared, at)


def _declared(text: str, shape: Shape) -> dict[str, str] | None:
    """Pairs of a header that is of the shape; ``None`` for one that is not."""
    d = shape.dialect
    lines = text.replace("\r\n", "\n").split("\n")[:-1]
    if any(not c.isprintable() and c != "\t" for line in lines for c in line):
        return None
    for i, line in enumerate(lines):
        if i in shape.fixed:
            if line != shape.fixed[i]:
                return None
        elif line.strip() and not _is_pair(line, d.delimiter):
            return None
    skip: set[int | None] = {v - 1 for v in (d.header_line, d.unit_line) if v is not None}
    shift = 1 if _sep(lines) else 0
    if units_said(lines, shift, len(lines), skip, None) != d.said:
        return None
    return pairs_in(lines, shift, len(lines), skip, d.delimiter, None)[0]


def _sep(lines: list[str]) -> bool:
    return bool(lines) and lines[0].lower().lstrip('"').startswith("sep=")


@lru_cache(maxsize=4096)
def _is_pair(line: str, delimiter: str) -> bool:
    """Whether a header line is a pair and cannot be a row of the table or of names."""
    if header.pair(header.uncomment(line), delimiter) is None:
        return False
    return sum(map(numeric, fields_of(line, delimiter))) < 2
