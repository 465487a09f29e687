"""Editions of the rules: which defaults and methods hold where a study file is silent.

A study file names its edition (``rules``); without one it is edition 1, the rules before editions
were counted, and gives the same tables as ever. A key that is written always holds. A new default
or method enters here, in the newest edition, and nowhere else; the reference page and
``drypoint rerun --with rules=2`` print this table.
"""

from __future__ import annotations

from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass
from typing import Any

Document = dict[str, Any]

#: The edition that a new study file gets, and that of a file which names none.
CURRENT, FIRST = 2, 1


@dataclass(frozen=True)
class Default:
    """A default of an edition: its key, value, and why it replaced the one before.

    Where a key of ``unless`` is written in the same table, the default of edition 1 holds: such a
    key belongs to the method of that edition.
    """

    key: tuple[str, ...]
    value: Any
    why: str
    unless: tuple[str, ...] = ()


_ZERO, _DRIFT = ("corrections", "zero"), ("corrections", "drift")

#: Edition -> the defaults that differ from those of edition 1.
EDITIONS: Mapping[int, tuple[Default, ...]] = {
    1: (),
    2: (
        Default(
            (*_ZERO, "law"),
            "auto",
            "The first contact of a blunted tip is no power of the depth: with 1.5 for all solids "
            "the zero came out up to 2 nm early, differently for each. Now a law from finite "
            "elements where the tip has a radius, else a power that the records choose; what "
            "remains open is an input of each specimen.",
            unless=("exponent", "u_exponent"),
        ),
        Default(
            (*_ZERO, "base_line"),
            "line",
            "A head's residual spring of 50 N/m moved the zero by 4 nm where the force before "
            "contact was taken as constant.",
        ),
        Default(
            (*_DRIFT, "curvature"),
            True,
            "A drift that decays during the test was off by more than its uncertainty said.",
        ),
    ),
}


def edition_of(document: Mapping[str, Any]) -> int:
    """The edition that a study file names; the schema refuses what is none."""
    given = document.get("rules", FIRST)
    whole = isinstance(given, int) and not isinstance(given, bool)
    return given if whole and given in EDITIONS else FIRST


def with_edition(document: Document) -> Document:
    """The document with the defaults of its edition put in where it is silent.

    A specimen with choices of its own keeps what belongs to the method it asks for.
    """
    changed = EDITIONS[edition_of(document)]
    if not changed:
        return document
    out = deepcopy(document)
    for default in changed:
        _put(out, default, default.value)
        for specimen in _tables(out.get("specimens")):
            *path, last = default.key
            table = _table(specimen, path)
            if table is not None and last not in table and any(k in table for k in default.unless):
                table[last] = _first(default)
    return out


def _first(default: Default) -> Any:
    """The default of edition 1 for the same key."""
    from drypoint.recipe.knobs import Choices

    here: Any = Choices()
    for k in default.key:
        here = getattr(here, k)
    return here


def _put(document: Document, default: Default, value: Any) -> None:
    *path, last = default.key
    place = document
    for k in path:
        inner = place.setdefault(k, {})
        if not isinstance(inner, dict):
            return  # the schema says what is wrong with it
        place = inner
    if last not in place and not any(k in place for k in default.unless):
        place[last] = value


def _table(document: Document, path: list[str]) -> Document | None:
    here: Any = document
    for k in path:
        here = here.get(k) if isinstance(here, dict) else None
    return here if isinstance(here, dict) else None


def _tables(value: Any) -> list[Document]:
    return [v for v in value.values() if isinstance(v, dict)] if isinstance(value, dict) else []


def what_changes(before: int, after: int) -> list[tuple[str, Any, str]]:
    """What another edition changes: key, its new default, and why; in words for people."""
    old = {d.key: d for d in EDITIONS.get(before, ())}
    new = {d.key: d for d in EDITIONS.get(after, ())}
    out = []
    for key in dict.fromkeys((*old, *new)):
        if key in new and key not in old:
            out.append((".".join(key), new[key].value, new[key].why))
        elif key in old and key not in new:
            out.append((".".join(key), _first(old[key]), "The rules of edition 1."))
        elif old[key].value != new[key].value:
            out.append((".".join(key), new[key].value, new[key].why))
    return out


__all__ = ["CURRENT", "EDITIONS", "FIRST", "Default", "edition_of", "what_changes", "with_edition"]
