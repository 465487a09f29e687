"""TOML and JSON from outside, within bounds.

The parsers of the standard library end a hostile text with errors of their own (too deep a nesting,
integers of thousands of digits). Here each becomes an error of the kind that callers expect of a
text that is not valid.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Callable
from typing import Any

#: Tables and lists inside one another, at most. Files of ours nest up to 8.
DEEPEST = 50
#: Digits of a whole number, at most: more than fit into 64 bits are no count and no setting.
DIGITS = 400
#: Characters of a TOML text (study file, area function, calibration, import profile), at most.
MOST_TOML = 4_000_000
_LONG = re.compile(rf"[0-9_]{{{DIGITS + 1},}}")
#: A key of more parts than tables may nest; the parser takes time with their square.
_LONG_KEY = re.compile(
    r"""(?:^|[\[{,])[ \t]*(?:(?:[\w-]+|"[^"\n]*"|'[^'\n]*')[ \t]*\.[ \t]*)"""
    rf"{{{DEEPEST},}}",
    re.MULTILINE,
)

_DEPTH_WORDS = f"got tables or lists nested more than {DEEPEST} deep; expected at most {DEEPEST}"
_DIGITS_WORDS = f"got a number of more than {DIGITS} digits; expected at most {DIGITS}"


class BoundError(tomllib.TOMLDecodeError):
    """A TOML text that is above a bound."""


def toml_document(text: str) -> dict[str, Any]:
    """The keys of a TOML text.

    Raises
    ------
    tomllib.TOMLDecodeError
        The text is not valid, or above a bound; the message names the line where it is known.
    """
    if len(text) > MOST_TOML:
        raise BoundError(
            f"got {len(text):,} characters; expected at most {MOST_TOML:,} (at line 1, column 1)"
        )
    if key := _LONG_KEY.search(text):
        raise BoundError(_DEPTH_WORDS + _at(text, key.end()))
    try:
        found = tomllib.loads(text)
    except RecursionError:
        raise BoundError(_DEPTH_WORDS + _deepest_line(text)) from None
    except tomllib.TOMLDecodeError:
        raise
    except ValueError as error:  # a number that Python does not convert
        raise BoundError(_number_words(text, error)) from None
    fault = _fault(found)
    if fault == _DEPTH_WORDS:
        raise BoundError(fault + _deepest_line(text))
    if fault:
        raise BoundError(_number_words(text, ValueError(fault)))
    return found


def json_value(
    text: str | bytes, object_pairs_hook: Callable[[list[tuple[str, Any]]], Any] | None = None
) -> Any:
    """The value of a JSON text; parameters as for :func:`json.loads`.

    Raises
    ------
    json.JSONDecodeError, UnicodeDecodeError
        The text is not valid, or above a bound.
    ValueError
        As raised by ``object_pairs_hook``.
    """
    try:
        found = json.loads(text, object_pairs_hook=object_pairs_hook, parse_int=_integer)
    except RecursionError:
        raise _bad_json(_DEPTH_WORDS) from None
    if fault := _fault(found):
        raise _bad_json(fault)
    return found


def _integer(digits: str) -> int:
    if len(digits) > DIGITS:
        raise _bad_json(_DIGITS_WORDS)
    return int(digits)


def _bad_json(what: str) -> json.JSONDecodeError:
    return json.JSONDecodeError(what, "", 0)


def _fault(value: Any) -> str:
    """What in a value is above a bound. Looks at it level by level, without recursion."""
    level = [value]
    for _ in range(DEEPEST + 1):
        below: list[Any] = []
        for one in level:
            if isinstance(one, dict):
                below += one.values()
            elif isinstance(one, list):
                below += one
            elif isinstance(one, int) and one.bit_length() > 3.3 * DIGITS:
                return _DIGITS_WORDS
        if not below:
            return ""
        level = below
    return _DEPTH_WORDS


def _number_words(text: str, error: ValueError) -> str:
    if found := _LONG.search(text):
        return _DIGITS_WORDS + _at(text, found.start())
    return str(error)


def _deepest_line(text: str) -> str:
    """Where a text goes deeper than is allowed; brackets in strings are counted as well."""
    depth = 0
    for found in re.finditer(r"[\[\]{}\n]", text):
        mark = found[0]
        if mark == "\n":
            if depth < 0 or text[found.end() : found.end() + 1] == "[":
                depth = 0
            continue
        depth += 1 if mark in "[{" else -1
        if depth > DEEPEST:
            return _at(text, found.start())
    return _at(text, _longest_key(text))


def _longest_key(text: str) -> int:
    lines = text.split("\n")
    longest = max(range(len(lines)), key=lambda i: lines[i].count("."))
    return sum(len(line) + 1 for line in lines[:longest])


def _at(text: str, place: int) -> str:
    line = text.count("\n", 0, place) + 1
    column = place - (text.rfind("\n", 0, place) + 1) + 1
    return f" (at line {line}, column {column})"
