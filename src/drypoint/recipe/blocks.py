"""Change how the files of one ``[[records]]`` table are read; the rest of the text stays."""

from __future__ import annotations

import re
import tomllib
from dataclasses import fields
from pathlib import Path
from typing import Any

from drypoint.errors import RecipeError, Where
from drypoint.parsing import toml_document
from drypoint.recipe.toml_text import value_text
from drypoint.records.columns import toml_line
from drypoint.records.layout import Layout

_HEADER = re.compile(r"^\s*\[\[?\s*([^\[\]]+?)\s*\]\]?\s*(#.*)?$")
_KEY = re.compile(r"^\s*([A-Za-z_][\w-]*|\"[^\"]*\")\s*(=|\.)")
#: Keys with one value; whether files are tracks is said by the table they stand in.
_PLAIN = tuple(f.name for f in fields(Layout) if f.name not in ("columns", "track"))


def with_layout(text: str, i: int, layout: Layout, path: Path) -> str:
    """The text of a study file with another layout in its records table ``i`` (from 0).

    Lines of other keys, remarks in front of the table, and all other tables stay as they are.

    Raises
    ------
    RecipeError
        When the table is written in a way that this cannot change line by line.
    """
    lines = text.split("\n")
    begin, end = _block(lines, i, path)
    kept, skip = [], False
    for n in range(begin + 1, end):
        line = lines[n]
        header = _HEADER.match(line)
        if header:
            skip = header[1].replace(" ", "") == "records.columns"
        key = _KEY.match(line)
        mine = key is not None and key[1].strip('"') in (*_PLAIN, "columns")
        if not skip and not mine:
            kept.append(line)
    while kept and not kept[-1].strip():
        kept.pop()
    new = [lines[begin], *kept, *_lines(layout), ""]
    out = "\n".join([*lines[:begin], *new, *lines[end:]])
    if not _same_but_layout(text, out, i):
        raise RecipeError(
            "This table is written in a way that is not changed by the page.",
            where=Where(str(path), line=begin + 1, key=f"records[{i + 1}]"),
            remedy="Change it in the study file: " + "; ".join(_lines(layout)),
        )
    return out


def _lines(layout: Layout) -> list[str]:
    out = []
    for name in _PLAIN:
        value = getattr(layout, name)
        if value in (None, ()):
            continue
        out.append(f"{name} = {value_text(list(value) if isinstance(value, tuple) else value)}")
    if layout.columns:
        out.append("[records.columns]")
        out += [
            toml_line(role, c.name or "", c.index or 0, c.unit, c.scale, c.attributes)
            for role, c in layout.columns.items()
        ]
    return out


def _block(lines: list[str], i: int, path: Path) -> tuple[int, int]:
    """First line of a records table, and the line behind its last one."""
    begins = [n for n, t in enumerate(lines) if re.match(r"^\s*\[\[\s*records\s*\]\]", t)]
    if i >= len(begins):
        raise RecipeError(
            f"There is no table records[{i + 1}] that can be changed here.",
            where=Where(str(path)),
            remedy="Change it in the study file.",
        )
    begin = begins[i]
    for n in range(begin + 1, len(lines)):
        header = _HEADER.match(lines[n])
        if header and not header[1].replace(" ", "").startswith("records."):
            end = n
            break
    else:
        end = len(lines)
    # Remarks right in front of the next table belong to that one.
    while end > begin + 1 and lines[end - 1].lstrip().startswith("#"):
        end -= 1
    return begin, end


def _same_but_layout(before: str, after: str, i: int) -> bool:
    try:
        a, b = _bare(before, i), _bare(after, i)
    except (tomllib.TOMLDecodeError, LookupError, TypeError):
        return False
    return a == b


def _bare(text: str, i: int) -> dict[str, Any]:
    document = toml_document(text)
    table = document["records"][i]
    for name in (*_PLAIN, "columns"):
        table.pop(name, None)
    return document
