"""What a report says, apart from how it looks: plain text, tables of strings, figures.

All numbers are strings, rounded once, here; HTML and PDF show the same ones.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from drypoint.figures.picture import Picture

Kind = Literal["text", "number", "code"]


@dataclass(frozen=True)
class Column:
    """Head of a column. ``number`` sets right, ``code`` in a fixed pitch. ``wide`` may wrap."""

    head: str
    kind: Kind = "text"
    wide: bool = False


@dataclass(frozen=True)
class Table:
    """A table with a caption; its first column names the row."""

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""
    block: Literal["table"] = "table"


@dataclass(frozen=True)
class Facts:
    """Pairs of a word and what it is."""

    pairs: tuple[tuple[str, str], ...]
    block: Literal["facts"] = "facts"


@dataclass(frozen=True)
class Paragraph:
    """Running text."""

    text: str
    block: Literal["paragraph"] = "paragraph"


@dataclass(frozen=True)
class Notice:
    """Text that must not be overlooked."""

    text: str
    block: Literal["notice"] = "notice"


@dataclass(frozen=True)
class Items:
    """A list of short sentences."""

    items: tuple[str, ...]
    block: Literal["items"] = "items"


@dataclass(frozen=True)
class Code:
    """Text as it stands in a file."""

    caption: str
    text: str
    block: Literal["code"] = "code"


@dataclass(frozen=True)
class Drawing:
    """One figure, or two half-width ones side by side, with caption and text alternative."""

    pictures: tuple[Picture, ...]
    block: Literal["drawing"] = "drawing"


@dataclass(frozen=True)
class Heading:
    """A heading inside a section."""

    text: str
    block: Literal["heading"] = "heading"


Block = Table | Facts | Paragraph | Notice | Items | Code | Drawing | Heading


@dataclass(frozen=True)
class Section:
    """A numbered section. ``key`` is its short name for links."""

    key: str
    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True)
class Answer:
    """The answer for one specimen on the first page.

    ``values`` are (symbol, value ± expanded uncertainty with its unit, what it rests on).
    """

    specimen: str
    about: str
    values: tuple[tuple[str, str, str], ...]
    basis: str


@dataclass(frozen=True)
class Content:
    """Everything that a report says.

    ``front`` are pairs for the first page; ``statement`` says what the report is not;
    ``day`` is the last day that the records name, as (year, month, day), or ``None``; ``kind`` says
    above the title what the report is; ``notices`` stand below the answers.
    ``signed`` leaves out the lines for signing by pen; ``origin`` stands for all that it says;
    ``study_file`` is the name of the study file.
    """

    title: str
    report_number: str
    question: str
    invented: str
    front: tuple[tuple[str, str], ...]
    answers: tuple[Answer, ...]
    answer_note: str
    statement: str
    sections: tuple[Section, ...]
    version: str
    day: tuple[int, int, int] | None = None
    kind: str = "Report of instrumented indentation tests"
    notices: tuple[str, ...] = ()
    signed: bool = False
    origin: str = ""
    study_file: str = ""

    @property
    def tables(self) -> tuple[Table, ...]:
        """Every table, in order."""
        return tuple(b for s in self.sections for b in s.blocks if isinstance(b, Table))

    @property
    def pictures(self) -> tuple[Picture, ...]:
        """Every figure, in order."""
        return tuple(
            p for s in self.sections for b in s.blocks if isinstance(b, Drawing) for p in b.pictures
        )
