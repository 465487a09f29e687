"""Text in which nothing is hidden: what reorders, erases or breaks its surroundings is shown.

Letters stay as they are. Shown as code points, such as ``[U+202E]``: the bidirectional controls of
UAX 9, control characters, line and paragraph separators, tag characters, noncharacters, surrogates
without a partner. Of combining marks on one letter 30 stay (UAX 15, stream-safe text).
"""

from __future__ import annotations

import re
import unicodedata
from typing import Any, TextIO

_BIDI = "\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069\u206a-\u206f"
_ODD = (
    "\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029\ufff9-\ufffb\ufeff\ud800-\udfff\ufdd0-\ufdef"
    "\ufffe\uffff\U000e0000-\U000e007f"
)
_HIDDEN = re.compile(f"[{_BIDI}{_ODD}]")
_LONE_CR = re.compile(r"\r(?!\n)")
#: A candidate for a pile of marks: what is no letter, digit or punctuation of the usual kind.
_PILE = re.compile(r"[^\x00-\u02ff\u3000-\ud7ff]{31,}")
_MOST_MARKS = 30


def visible(text: str) -> str:
    """Text with everything hidden shown as code points; other text comes back as it is.

    >>> visible("a\\u202eb")
    'a[U+202E]b'
    """
    if text.isascii() and text.isprintable():
        return text
    if _HIDDEN.search(text) or "\r" in text:
        text = _LONE_CR.sub("[U+000D]", _HIDDEN.sub(lambda m: code_point(m[0]), text))
    if _PILE.search(text):
        text = _PILE.sub(lambda m: _fewer_marks(m[0]), text)
    return text


def code_point(character: str) -> str:
    """A character as its code point: ``[U+202E]``."""
    return f"[U+{ord(character):04X}]"


def visible_in(value: Any) -> Any:
    """The same for all texts in dictionaries, lists and tuples."""
    if isinstance(value, str):
        return visible(value)
    if isinstance(value, dict):
        return {k: visible_in(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return type(value)(visible_in(v) for v in value)
    return value


class VisibleStream:
    """A text stream that shows what is hidden in the text written to it."""

    def __init__(self, stream: TextIO) -> None:
        self.stream = stream

    def write(self, text: str) -> int:
        """Write text; the count is that of the text as given."""
        self.stream.write(visible(text))
        return len(text)

    def writelines(self, lines: Any) -> None:
        """Write several texts."""
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str) -> Any:
        return getattr(self.stream, name)


def _fewer_marks(run: str) -> str:
    """A run of characters with no more than 30 combining marks one behind the other."""
    out: list[str] = []
    marks = 0
    for c in run + "\0":
        if unicodedata.category(c) in ("Mn", "Me"):
            marks += 1
            if marks <= _MOST_MARKS:
                out.append(c)
            continue
        if marks > _MOST_MARKS:
            out.append(f"[{marks - _MOST_MARKS} combining marks]")
        marks = 0
        out.append(c)
    return "".join(out[:-1])
