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


@lru_cache(maxsize=1)
def _compounds() -> tuple[re.Pattern[str], frozenset[str]]:
    """First part of a compound that modifies the second, and the words that may be second."""
    known = words()
    phrases = (p for r in known["modifiers"]["roles"] for p in known["roles"][r]["phrases"])
    prefixes = sorted(known["modifiers"]["prefixes"], key=len, reverse=True)
    return re.compile(f"({'|'.join(prefixes)})([a-z]+)"), frozenset(phrases)


def is_unit(text: str) -> bool:
    """Whether a word is certainly a unit: a usual symbol, or a unit written out."""
    return units.tidy(text) in _loose_units() or units.spelled(text) is not None


@lru_cache(maxsize=4096)
def take_apart(raw: str) -> Named:
    """Bare name, unit and claimed roles of a column's name.

    Units are found in brackets, after a slash (``Force / µN``), after "in" (``Kraft in mN``), or
    after a blank, comma or underscore if the spelling leaves no doubt (``Depth_nm``). A name that
    is itself a unit written out (``seconds``) has that unit.
    """
    bare, unit = _unit_in(" ".join(raw.strip().strip('"').split())[:200])
    return Named(raw, bare, unit, claims(bare, unit))


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
    if m and is_unit(m[2]):
        return m[1].strip(), m[2]
    head, slash, tail = name.rpartition("/")
    if slash and head.strip() and units.dimension_of(tail.strip()):
        return head.strip(), tail.strip()
    return name, name if units.spelled(name) else None


def _tokens(bare: str) -> list[str]:
    spaced = re.sub(r"(?<=[a-zäöüé])(?=[A-Z])", " ", bare)
    return re.findall(r"[a-z]+|\d+", fold(spaced))


def claims(bare: str, unit: str | None = None) -> tuple[str, ...]:
    """Roles that a name without its unit claims.

    They are those of the longest phrase in it. With a modifier of oscillating loading ("dynamic",
    "alternating") a base quantity becomes its amplitude, or its value at that frequency.
    """
    table = words()["modifiers"]
    tokens = [part for token in _tokens(bare) for part in _parts(token)]
    modifiers = {*table["words"], *table["prefixes"]}
    if modifiers.isdisjoint(tokens):
        return _plain_claims(tokens, unit)
    rest = [t for t in tokens if t not in modifiers]
    turned = {table["roles"].get(r) for r in _plain_claims(rest, unit)}
    return tuple(r for r in words()["roles"] if r in turned)


def _parts(token: str) -> tuple[str, ...]:
    """A compound of a modifier and a base quantity as two words."""
    pattern, seconds = _compounds()
    m = pattern.fullmatch(token)
    return (m[1], m[2]) if m and m[2] in seconds else (token,)


def another_quantity(name: str) -> bool:
    """Whether a word in a name says that it is another quantity: a rate, a set value, a ratio."""
    other: list[str] = words()["other"]["words"]
    return not set(_tokens(name)).isdisjoint(other)


def _plain_claims(tokens: list[str], unit: str | None) -> tuple[str, ...]:
    """Roles that words without a modifier claim."""
    known = words()
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
        counting = set(best) <= {"test"} and strange <= {"number", "index", "count"}
        if strange and not counting:
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
