"""On which line of a TOML text each key stands.

The text has been read by :mod:`tomllib` before, so it is valid; only lines are looked for here.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping

Path = tuple[str | int, ...]


def key_lines(text: str) -> dict[Path, int]:
    """Path of each key and table header -> line, from 1. Inline tables count as one key."""
    lines = text.split("\n")
    found: dict[Path, int] = {}
    lists: dict[Path, int] = {}
    prefix: Path = ()
    i = 0
    while i < len(lines):
        line = lines[i].strip()
        if not line or line.startswith("#"):
            i += 1
            continue
        if line.startswith("["):
            double = line.startswith("[[")
            names = _names(line.lstrip("["), "]")[0]
            prefix = _resolve(names, lists, double)
            for path in (prefix[:-1], prefix) if double else (prefix,):
                found.setdefault(path, i + 1)
            i += 1
            continue
        names, rest = _names(lines[i].lstrip(), "=")
        path = prefix + tuple(names)
        for n in range(len(prefix) + 1, len(path) + 1):
            found.setdefault(path[:n], i + 1)
        i = _after_value(lines, i, len(lines[i]) - len(rest))
    return found


def line_of(path: Path, found: Mapping[Path, int]) -> int | None:
    """Line of a key, or of the nearest table around it."""
    for n in range(len(path), 0, -1):
        if path[:n] in found:
            return found[path[:n]]
    return None


def dotted(path: Path) -> str:
    """A path as people write it: ``records[2].files``; entries of lists count from 1."""
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        else:
            plain = part.replace("-", "").replace("_", "").isalnum()
            name = part if plain else f'"{part}"'
            text += f".{name}" if text else name
    return text


def _resolve(names: list[str], lists: dict[Path, int], double: bool) -> Path:
    """Path of a table header, with the number of the entry wherever it passes a list of tables."""
    path: Path = ()
    for n, name in enumerate(names):
        path += (name,)
        last = n == len(names) - 1
        if last and double:
            lists[path] = lists.get(path, 0) + 1
        if path in lists:
            path += (lists[path] - 1,)
    return path


def _names(text: str, end: str) -> tuple[list[str], str]:
    """The parts of a dotted key up to ``end``, and the text after it."""
    quote, escaped = "", False
    for i, c in enumerate(text):
        if quote:
            if c == quote and not escaped:
                quote = ""
            escaped = quote == '"' and c == "\\" and not escaped
        elif c in "\"'":
            quote = c
        elif c == end:
            return _split(text[:i]), text[i + 1 :]
    return [text.strip()], ""


def _split(dotted_key: str) -> list[str]:
    node = tomllib.loads(dotted_key + " = 0\n")
    names = []
    while isinstance(node, dict):
        name = next(iter(node))
        names.append(name)
        node = node[name]
    return names


def _after_value(lines: list[str], i: int, column: int) -> int:
    """Number of the line behind the value that starts in line ``i`` at ``column``."""
    depth, quote = 0, ""
    while i < len(lines):
        line, c = lines[i], column
        while c < len(line):
            if quote:
                if quote[0] == '"' and line[c] == "\\":
                    c += 2
                    continue
                if line.startswith(quote, c):
                    c += len(quote)
                    quote = ""
                    continue
            elif line[c] in "\"'":
                quote = line[c] * 3 if line.startswith(line[c] * 3, c) else line[c]
                c += len(quote)
                continue
            elif line[c] == "#":
                break
            else:
                depth += (line[c] in "[{") - (line[c] in "]}")
            c += 1
        i, column = i + 1, 0
        if depth <= 0 and len(quote) != 3:
            return i
    return i
