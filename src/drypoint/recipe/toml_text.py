"""Writing TOML: plain values, tables by name, lists of tables."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from typing import Any

_BARE = re.compile(r"[A-Za-z0-9_-]+")


def dumps(table: Mapping[str, Any]) -> str:
    """A table as TOML. Keys that are ``None`` are left out; lists of tables become ``[[...]]``."""
    return "\n".join(_lines(table, ())).strip() + "\n"


def value_text(value: Any) -> str:
    """One value as TOML writes it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, float) and not math.isfinite(value):
        return "nan" if math.isnan(value) else ("inf" if value > 0 else "-inf")
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, Mapping):
        inner = ", ".join(f"{key_text(k)} = {value_text(v)}" for k, v in value.items())
        return f"{{ {inner} }}" if inner else "{}"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(value_text(v) for v in value) + "]"
    raise TypeError(f"TOML has no form for {type(value).__name__}.")


def key_text(name: str) -> str:
    """A key as TOML writes it, in quotes where it needs them."""
    return name if _BARE.fullmatch(name) else _text(name)


def _text(value: str) -> str:
    # JSON escapes are TOML escapes, save that TOML wants the delete character escaped too.
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _is_list_of_tables(value: Any) -> bool:
    return (
        isinstance(value, (list, tuple))
        and len(value) > 0
        and all(isinstance(v, Mapping) for v in value)
    )


def _lines(table: Mapping[str, Any], path: tuple[str, ...]) -> list[str]:
    given = {k: v for k, v in table.items() if v is not None}
    inner = {k: v for k, v in given.items() if isinstance(v, Mapping) or _is_list_of_tables(v)}
    lines = [f"{key_text(k)} = {value_text(v)}" for k, v in given.items() if k not in inner]
    for name, value in inner.items():
        here = (*path, name)
        head = ".".join(map(key_text, here))
        for entry in [value] if isinstance(value, Mapping) else value:
            single = isinstance(value, Mapping)
            lines += ["", f"[{head}]" if single else f"[[{head}]]", *_lines(entry, here)]
    return lines
