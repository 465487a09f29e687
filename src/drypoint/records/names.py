"""What a column's name says: bare words, unit, and the roles it could have."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import Any

from drypoint import units
from drypoint.records.header import fold
from drypoint.records.layout import ROLE_DIMENSION

_BRACKETS = re.compile(r"(.*?)[\s/]*[(\[{<]\s*([^()\[\]{}<>]*(?:\([^()]*\))?)\s*[)\]}>]\s*(.*)")
_IN = re.compile(r"(.*\S)\s+(?:in|en)\s+(\S+)", re.IGNORECASE)
_LOOSE = re.compile(r"(.*?\w.*?)(?:\s*[/,]\s*|[_\s.\-:]+)([^\s_,\-:]+)")


@dataclass(frozen=True)
class Named:
    """A name taken apart. ``unit`` is ``None`` where the name gives none."""

    raw: str
    bare: str
    unit: str | None
    claims: tuple[str, ...]


@lru_cache(maxsize=1)
def words() -> dict[str, Any]:
    """The packaged words by which columns and units are known."""
    text = resources.files("drypoint.records").joinpath("words.toml").read_text("utf-8")
    return tomllib.loads(text)


@lru_cache(maxsize=1)
def _loose_units() -> frozenset[str]:
    return frozenset(units.tidy(u) for u in words()["units"]["loose"])


def is_unit(text: str) -> bool:
    """Whether a word is a unit of the trade beyond doubt (a capital alone is none)."""
    return units.tidy(text) in _loose_units()


@lru_cache(maxsize=4096)
def take_apart(raw: str) -> Named:
    """Bare name, unit and claimed roles of a column's name.

    Units are found in brackets, behind a slash (``Force / µN``), behind "in" (``Kraft in mN``),
    or behind a blank, comma or underscore when the spelling leaves no doubt (``Depth_nm``).
    """
    bare, unit = _unit_in(" ".join(raw.strip().strip('"').split())[:200])
    return Named(raw, bare, unit, _claims(bare, unit))


def _unit_in(name: str) -> tuple[str, str | None]:
    m = _BRACKETS.fullmatch(name)
    if m and m[1].strip():
        inside, tail = m[2].strip(), m[3].strip()
        plain_word = re.fullmatch(r"[^\W\d_]{4,}(?:\s+\w+)*", inside) is not None
        if not tail and (units.dimension_of(inside) or not plain_word) and inside:
            return m[1].strip(), inside
        return f"{m[1].strip()} {inside} {tail}".strip(), None
    m = _IN.fullmatch(name)
    if m and units.dimension_of(m[2]):
        return m[1], m[2]
    m = _LOOSE.fullmatch(name)
    if m and units.tidy(m[2]) in _loose_units():
        return m[1].strip(), m[2]
    head, slash, tail = name.rpartition("/")
    if slash and head.strip() and units.dimension_of(tail.strip()):
        return head.strip(), tail.strip()
    return name, None


def _tokens(bare: str) -> list[str]:
    spaced = re.sub(r"(?<=[a-zäöüé])(?=[A-Z])", " ", bare)
    return re.findall(r"[a-z]+|\d+", fold(spaced))


def _claims(bare: str, unit: str | None) -> tuple[str, ...]:
    """Roles that the words claim: those of the longest phrase that stands in the name."""
    known = words()
    tokens = _tokens(bare)
    present = set(tokens)
    best: dict[str, int] = {}
    for role, table in known["roles"].items():
        for phrase in table["phrases"]:
            parts = phrase.split()
            if all(p in present for p in parts):
                best[role] = max(best.get(role, 0), len(parts))
    other: list[str] = known["other"]["words"]
    strange = present & set(other)
    if best:
        longest = max(best.values())
        swinging = longest > 1 and strange <= {"dynamic", "harmonic", "oscillation"}
        counting = set(best) <= {"test"} and strange <= {"number", "index", "count"}
        if strange and not swinging and not counting:
            return ()
        claimed = {r for r, n in best.items() if n == longest}
        if "test" in claimed and len(claimed) > 1:
            claimed.discard("test")
        if len(claimed) > 1 and unit is not None:
            fitting = {r for r in claimed if _fits(r, unit)}
            claimed = fitting or claimed
        return tuple(r for r in known["roles"] if r in claimed)
    if strange:
        return ()
    filler: list[str] = known["filler"]["words"]
    left = [t for t in tokens if t not in filler]
    letters = "".join(left) if max(map(len, left), default=9) < 3 else ""
    return tuple(
        role
        for role, table in known["roles"].items()
        if letters in table["letters"] and (unit is None or _fits(role, unit))
    )


def _fits(role: str, unit: str) -> bool:
    dimension = ROLE_DIMENSION.get(role)
    return dimension is not None and units.dimension_of(unit) == dimension
