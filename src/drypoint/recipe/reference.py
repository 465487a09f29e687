"""The page of the reference that lists every key of a study file."""

from __future__ import annotations

from collections.abc import Iterator
from inspect import cleandoc
from typing import Any, Literal, get_args, get_origin

from pydantic.fields import FieldInfo

from drypoint.recipe.base import Section, model_in, source_of, unit_of
from drypoint.recipe.problems import bounds
from drypoint.recipe.schema import VERSION, StudyFile
from drypoint.recipe.toml_text import value_text
from drypoint.records.layout import ROLES

_HEAD = f"""\
# The study file

This page is made from the program; `python -m drypoint.recipe` writes it and the JSON Schema
(`schema/drypoint-study-{VERSION}.schema.json`) anew.

A study file is TOML. Unknown keys are refused. Paths are relative to the file. Names of keys carry
the unit of a number (`depth_window_nm`); u_ stands for a standard uncertainty. Each default has
its source where it is a physical choice. “–” in the column of defaults: the key may be left out,
and nothing is taken in its place; **needed**: it may not.

`[segments]`, `[corrections]`, `[analysis]`, `[flags]` and `[dynamic]` hold for all specimens;
`[specimens.NAME.analysis]` and the like hold for one, key by key.
"""


def reference_page() -> str:
    """The page as Markdown."""
    parts = [_HEAD]
    shown: dict[type[Section], str] = {}
    for title, section in _sections(StudyFile, ""):
        parts.append(f"## {title or 'Top of the file'}\n\n{_words(section)}\n")
        first = shown.setdefault(section, title)
        parts.append(_table(section) if first == title else f"Keys as in {first}.\n")
    parts.append("Roles of columns: " + ", ".join(f"`{role}`" for role in ROLES) + ".\n")
    return "\n".join(parts)


def _words(section: type[Section]) -> str:
    """The docstring without its indentation, which Python 3.13 strips and 3.11 keeps."""
    return cleandoc(section.__doc__ or "")


def _sections(model: type[Section], path: str) -> Iterator[tuple[str, type[Section]]]:
    yield f"`{path}`" if path else "", model
    for name, info in _ordered(model):
        inner, held = model_in(info.annotation)
        if inner is None or (path.startswith("[specimens") and name in _CHOICES):
            continue
        entry = ".ROLE" if name == "columns" else ".NAME"
        here = f"{path.strip('[]')}.{name}".strip(".") + (entry if held == "names" else "")
        yield from _sections(inner, f"[[{here}]]" if held == "list" else f"[{here}]")


_CHOICES = ("segments", "corrections", "analysis", "flags", "dynamic")


def _ordered(model: type[Section]) -> list[tuple[str, FieldInfo]]:
    """Keys in the order in which people write them: what is studied, then the choices."""
    items = list(model.model_fields.items())
    if model is not StudyFile:
        return items
    return sorted(items, key=lambda item: (item[0] in _CHOICES, item[0] == "output"))


def _table(section: type[Section]) -> str:
    lines = ["| key | default | unit | meaning | source of the default |", "|---|---|---|---|---|"]
    for name, info in _ordered(section):
        words = " ".join(part for part in (info.description or "", allowed(info)) if part)
        cells = (f"`{name}`", _default(info), unit_of(info), words, source_of(info))
        lines.append("| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |")
    return "\n".join(lines) + "\n"


def _default(info: FieldInfo) -> str:
    if info.is_required():
        return "**needed**"
    inner, held = model_in(info.annotation)
    value = info.get_default(call_default_factory=True, validated_data={})
    if value is None or (inner is not None and held) or value in ({}, (), ""):
        return "–"
    return "see below" if inner is not None else f"`{value_text(value)}`"


def allowed(info: FieldInfo) -> str:
    """The words or bounds that a key allows; empty where its meaning says enough."""
    words = _literals(info.annotation)
    if words and words != ["exponent"]:
        return "One of " + ", ".join(f"`{value_text(w)}`" for w in words) + "."
    found = bounds(info.annotation, info.metadata)
    if not found or get_origin(info.annotation) in (tuple, dict):
        return ""
    names = {"gt": "above", "ge": "not below", "lt": "below", "le": "not above"}
    limits = " and ".join(f"{names[k]} {found[k]:g}" for k in names if k in found)
    return limits[0].upper() + limits[1:] + "."


def _literals(annotation: Any) -> list[Any]:
    if get_origin(annotation) is Literal:
        return list(get_args(annotation))
    if get_origin(annotation) in (tuple, dict):
        return []
    return [w for arg in get_args(annotation) for w in _literals(arg)]
