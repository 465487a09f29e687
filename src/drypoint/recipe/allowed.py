"""What a key may be, in words, from its annotation alone."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic.fields import FieldInfo

from drypoint.recipe.base import Allowed, Section
from drypoint.recipe.problems import bounds
from drypoint.recipe.toml_text import value_text

_PLAIN = {float: "number", int: "whole number", str: "text", bool: "`true` or `false`"}
_COUNT = {2: "two", 3: "three", 4: "four"}


def allowed(info: FieldInfo) -> str:
    """Kind and bounds of a key's value, and every word that it may be."""
    return _words(info.annotation, info.metadata)


def literals(annotation: Any) -> Iterator[Any]:
    """Every word or number that an annotation lists anywhere inside, keys of tables included."""
    if get_origin(annotation) is Literal:
        yield from get_args(annotation)
    elif not _is_section(annotation):
        for arg in get_args(annotation):
            yield from literals(arg)


def _words(annotation: Any, metadata: Iterable[Any] = ()) -> str:
    metadata = list(metadata)
    while get_origin(annotation) is Annotated:
        annotation, *more = get_args(annotation)
        metadata += more
    origin = get_origin(annotation)
    if origin in (Union, UnionType):
        kinds = [a for a in get_args(annotation) if a is not NoneType]
        return _whole(metadata) or " or ".join(_words(k, metadata) for k in kinds)
    if origin is Literal:
        shown = [f"`{value_text(w)}`" for w in get_args(annotation)]
        return shown[0] if len(shown) == 1 else f"one of {', '.join(shown)}"
    if origin is tuple:
        return _list(get_args(annotation), metadata)
    if origin is dict:
        name, value = get_args(annotation)
        if _is_section(value):
            return "tables by name"
        names = "names" if name is str else f"names ({_words(name)})"
        return f"{names}, each with {_words(value)}"
    if _is_section(annotation):
        return "table"
    return _with_bounds(_PLAIN[annotation], metadata)


def _list(kinds: tuple[Any, ...], metadata: list[Any]) -> str:
    entry = _words(kinds[0])
    if kinds[-1] is Ellipsis:
        words = "list of tables" if _is_section(kinds[0]) else f"list, each entry {entry}"
        least = next((m.min_length for m in _flat(metadata) if hasattr(m, "min_length")), None)
        words += f"; at least {least}" if least else ""
    else:
        each = [_words(k) for k in kinds]
        same = len(set(each)) == 1
        words = f"{_COUNT[len(kinds)]} values, " + (f"each {entry}" if same else ", ".join(each))
    return "; ".join([words, *_more(metadata)])


def _is_section(annotation: Any) -> bool:
    return isinstance(annotation, type) and issubclass(annotation, Section)


def _with_bounds(kind: str, metadata: list[Any]) -> str:
    if _whole(metadata):
        return _whole(metadata)
    found = bounds(None, metadata)
    names = {"gt": "above", "ge": "not below", "lt": "below", "le": "not above"}
    limits = " and ".join(f"{names[k]} {found[k]:g}" for k in names if k in found)
    return ", ".join([f"{kind} {limits}".strip(), *_more(metadata)])


def _whole(metadata: Iterable[Any]) -> str:
    return next((m.words for m in metadata if isinstance(m, Allowed) and m.whole), "")


def _more(metadata: Iterable[Any]) -> list[str]:
    return [m.words for m in metadata if isinstance(m, Allowed) and not m.whole]


def _flat(metadata: Iterable[Any]) -> Iterator[Any]:
    for item in metadata:
        if isinstance(item, FieldInfo):
            yield from _flat(item.metadata)
        else:
            yield item
