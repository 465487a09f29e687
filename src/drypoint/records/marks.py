"""Decimal and thousands marks: which of ``.`` and ``,`` stands where, and when nobody can tell."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

#: Marks that only ever group digits.
GROUPERS = "'\u2019\u00a0\u202f"

_G = rf"[.,{GROUPERS}]"
#: A number in any spelling (checked again, strictly, when it is converted).
NUMBER = re.compile(
    rf"[+\-\u2212]?(?:\d{{1,3}}(?:{_G}\d{{3}})+(?:[.,]\d*)?|\d+(?:\.\d*|,\d+)?|[.,]\d+)"
    r"(?:[eE][+-]?\d+)?"
)
_WORDS = {"nan", "inf", "-inf", "+inf", "-nan", "infinity"}
#: One mark with exactly three digits behind it and one to three, not a zero, before it.
_EITHER = re.compile(r"[+\-\u2212]?[1-9]\d{0,2}[.,]\d{3}")
_GROUPED = re.compile(r"[+\-\u2212]?[1-9]\d{0,2}(?:([.,])\d{3})(?:\1\d{3})+")


def numeric(field: str) -> bool:
    """Whether a field is a number in some spelling (``nan`` and ``inf`` are numbers too)."""
    return NUMBER.fullmatch(field) is not None or field.lower() in _WORDS


@dataclass(frozen=True)
class Marks:
    """Decimal mark and thousands mark; ``clear`` is false when two readings are possible;
    ``mixed`` when both marks are used as the decimal mark."""

    decimal: str
    thousands: str | None = None
    clear: bool = True
    example: str = ""
    mixed: bool = False


def find_marks(fields: Iterable[str], *, single: bool = False) -> Marks:
    """Decide from all numbers of a file, or say with an example that it cannot be decided.

    ``1,5`` or ``0,123`` shows a decimal comma, ``1.234,5`` a decimal comma with a point between
    thousands. Where every marked number is like ``1,234`` both readings stand. ``single`` says
    that only one kind of mark occurs, so that the first clear number settles it.
    """
    decimal: set[str] = set()
    thousands: set[str] = set()
    open_marks: dict[str, str] = {}
    for field in fields:
        if "." not in field and "," not in field:
            continue
        s = field.partition("e")[0].partition("E")[0]
        last = s[-1 - min(s[::-1].find(m) for m in ".," if m in s)]
        other = "," if last == "." else "."
        if other in s:
            decimal.add(last)
            thousands.add(other)
        elif _GROUPED.fullmatch(s):
            thousands.add(last)
        elif s != field or not _EITHER.fullmatch(s):
            decimal.add(last)
            if single:
                break
        else:
            open_marks.setdefault(last, field)
        if decimal & thousands or len(decimal) > 1:
            return Marks(".", None, False, field, mixed=True)
    for mark, field in open_marks.items():
        if mark not in decimal and mark not in thousands:
            return Marks(mark, None, False, field)
    if thousands and not decimal:
        mark = next(iter(thousands))
        return Marks("," if mark == "." else ".", mark)
    return Marks(next(iter(decimal), "."), next(iter(thousands), None))


@lru_cache(maxsize=16)
def _strict(decimal: str, thousands: str | None) -> re.Pattern[str]:
    group = f"[{re.escape(GROUPERS + (thousands or ''))}]"
    d = re.escape(decimal)
    whole = rf"(?:\d+|\d{{1,3}}(?:{group}\d{{3}})+)"
    return re.compile(rf"[+-]?(?:{whole}(?:{d}\d*)?|{d}\d+)(?:[eE][+-]?\d+)?", re.ASCII)


def convert(field: str, decimal: str, thousands: str | None) -> float | None:
    """A field as a number under the given marks, or ``None`` when it is none."""
    s = field.replace("\N{MINUS SIGN}", "-")
    if not _strict(decimal, thousands).fullmatch(s):
        return float("nan") if s.lower() in _WORDS else None
    for mark in (*GROUPERS, thousands):
        if mark:
            s = s.replace(mark, "")
    return float(s.replace(",", "."))
