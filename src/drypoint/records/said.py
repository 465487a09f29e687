"""Units that the lines above a table name, as in "force in micronewton"; offered, never assumed."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache

from drypoint import units
from drypoint.records.header import fold
from drypoint.records.layout import ROLE_DIMENSION
from drypoint.records.names import another_quantity, claims, is_unit, words

_DIMENSIONS = ("time", "force", "length")
_CLAUSES = re.compile(r"[;,|]|\s(?:and|und|et)\s", re.IGNORECASE)
#: A rate in words ("nanometres per second") is not a unit of force, length or time.
_PER = re.compile(r"\b(?:per|pro|par)\b", re.IGNORECASE)
_WORD = re.compile(r"(?:kilo)?grams?[ -]force|[^\W\d_]+", re.IGNORECASE)
#: A symbol counts in brackets, after a slash, a colon, "in" or a number; a letter alone does not.
_SYMBOL = re.compile(r"(?:[(\[/:=]|\b(?:in|en)\s|\d)\s*([A-Za-zµμÅ][\w/^*·]*)(?=[\s)\].:]|$)")
#: Words around quantity and unit that add nothing.
_EMPTY = {
    "in",
    "en",
    "unit",
    "units",
    "einheit",
    "einheiten",
    "unite",
    "unites",
    "are",
    "is",
    "for",
}
_LONGEST = 1000


@dataclass(frozen=True)
class Said:
    """A unit named above the numbers.

    ``unit`` is its symbol, ``word`` the text in the file, ``role`` the quantity that it is named
    for (empty if no single one), ``line`` its line (``None`` in the attributes of a typed file).
    ``plain`` is true for a clause with nothing but quantity and unit.
    """

    unit: str
    word: str
    role: str
    line: int | None
    plain: bool = False

    def place(self) -> str:
        """Subject of a sentence about it."""
        return "The header" if self.line is None else f"Line {self.line}"


def said_in(lines: Iterable[tuple[int, str]]) -> tuple[Said, ...]:
    """Units of force, length and time in header lines (number, text), in their order."""
    return tuple(
        Said(unit, word, role, number, plain)
        for number, text in lines
        if len(text) <= _LONGEST
        for unit, word, role, plain in _of_line(text)
    )


def said_by(declared: Mapping[str, str]) -> tuple[Said, ...]:
    """The same for the attributes of a typed file."""
    return tuple(
        Said(unit, word, role, None, plain)
        for key, value in declared.items()
        if len(key) + len(value) <= _LONGEST
        for unit, word, role, plain in _of_line(f"{key}: {value}")
    )


@lru_cache(maxsize=4096)
def _of_line(text: str) -> tuple[tuple[str, str, str, bool], ...]:
    return tuple(found for clause in _CLAUSES.split(text) for found in _of_clause(clause))


def _of_clause(clause: str) -> list[tuple[str, str, str, bool]]:
    if _PER.search(clause):
        return []
    spots = {m.span(): m[0] for m in _WORD.finditer(clause) if units.spelled(m[0]) is not None} | {
        m.span(1): m[1] for m in _SYMBOL.finditer(clause) if is_unit(m[1])
    }
    found = []
    behind = 0
    for (a, b), word in sorted(spots.items()):
        dimension = units.dimension_of(word)
        if dimension in _DIMENSIONS:
            rest = clause[behind:a] if len(spots) > 1 else f"{clause[:a]} {clause[b:]}"
            role = _role(rest, dimension)
            found.append((symbol(word), word, role, bool(role) and _nothing_else(rest, role)))
        behind = b
    return found


def symbol(word: str) -> str:
    """A unit as it is offered: its symbol where it is written out, else as it is in the file."""
    short = {"hour": "h", "angstrom": "Å", "gram_force": "gf", "kilogram_force": "kgf"}
    plain = units.spelled(word)
    return word if plain is None else short.get(plain, plain)


def _role(text: str, dimension: str) -> str:
    fitting = [r for r in claims(re.sub(r"\d", " ", text)) if ROLE_DIMENSION.get(r) == dimension]
    return fitting[0] if len(fitting) == 1 else ""


def _nothing_else(text: str, role: str) -> bool:
    if another_quantity(text) or re.search(r"\d", text):
        return False
    known = {w for p in words()["roles"][role]["phrases"] for w in p.split()}
    known |= {*words()["roles"][role]["letters"], *words()["filler"]["words"], *_EMPTY}
    return set(re.findall(r"[a-z]+", fold(text))) <= known
