"""Symbols in running text: ``H_IT`` is set with its index low, ``eta_IT`` with a Greek letter."""

from __future__ import annotations

import re

#: A symbol with an index. The PDF's template holds the same pattern.
PATTERN = re.compile(
    r"\b(HM|HV|eta|ν|nu|[A-Za-z])_(IT|max|elast|total|eff|c|r|p|s|i|f|n|0|1|2)(?![A-Za-z0-9_])"
)
GREEK = {"eta": "η", "nu": "ν"}


def parts(text: str) -> list[tuple[str, str]]:
    """Text cut into (plain text, index); the index is empty but behind the letter of a symbol.

    >>> parts("H_IT in GPa")
    [('H', 'IT'), (' in GPa', '')]
    """
    out: list[tuple[str, str]] = []
    at = 0
    for m in PATTERN.finditer(text):
        if m.start() > at:
            out.append((text[at : m.start()], ""))
        out.append((GREEK.get(m[1], m[1]), m[2]))
        at = m.end()
    if at < len(text):
        out.append((text[at:], ""))
    return out


def breakable(text: str) -> list[str]:
    """A file name, key or hash cut where a line may break: behind ``.``, ``_``, ``/``, and long
    runs of letters every sixteen."""
    return [p for p in re.findall(r"[^._/]{1,16}[._/]*|[._/]+", text) if p]
