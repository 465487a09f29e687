"""The page of the reference that lists every key of a study file."""

from __future__ import annotations

from collections.abc import Iterator
from inspect import cleandoc

from pydantic.fields import FieldInfo

from drypoint.recipe.allowed import allowed
from drypoint.recipe.base import Section, model_in, source_of, unit_of
from drypoint.recipe.schema import RENAMED, VERSION, StudyFile
from drypoint.recipe.toml_text import value_text
from drypoint.records.layout import ROLES

_HEAD = f"""\
# The study file

This page is made from the program; `python -m drypoint.recipe` writes it and the JSON Schema
(`schema/drypoint-study-{VERSION}.schema.json`) anew.

A study file is TOML. Unknown keys are refused. Paths are relative to the file. Names of keys carry
the unit of a number (`depth_window_nm`); u_ stands for a standard uncertainty. Each default has
its source where it is a physical choice. “–” in the column of defaults: the key may be omitted,
and nothing is taken in its place. **needed**: the key must be given; where a condition is stated,
in that case.

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
    lines = [
        "| key | allowed | default | unit | meaning | source of the default |",
        "|---|---|---|---|---|---|",
    ]
    for name, info in _ordered(section):
        said = [rule.words(name) for rule in section.key_rules]
        needs = [words for words in said if words.startswith("**")]
        former = [f"Formerly `{old}`, which is still read." for old in _former(section, name)]
        words = [info.description or "", *(w for w in said if w and w not in needs), *former]
        default = "; ".join([_default(info), *needs])
        if needs and default.startswith("–; "):
            default = default.removeprefix("–; ")
        cells = (
            f"`{name}`", allowed(info), default, unit_of(info), " ".join(dict.fromkeys(words)),
            source_of(info),
        )  # fmt: skip
        lines.append("| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |")
    return "\n".join(lines) + "\n"


def _former(section: type[Section], name: str) -> list[str]:
    """Names that a key had before."""
    return [
        old
        for (table, old), new in RENAMED.items()
        if new == name and model_in(StudyFile.model_fields[table].annotation)[0] is section
    ]


def _default(info: FieldInfo) -> str:
    if info.is_required():
        return "**needed**"
    inner, held = model_in(info.annotation)
    value = info.get_default(call_default_factory=True, validated_data={})
    if value is None or (inner is not None and held) or value in ({}, (), ""):
        return "–"
    return "see below" if inner is not None else f"`{value_text(value)}`"
