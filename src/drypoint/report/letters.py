"""Letters of a report that its fonts lack: another font that is there, or their code points.

What no font has is shown as code points and listed; nothing becomes an empty box.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import fields, is_dataclass, replace
from pathlib import Path
from typing import Any

from drypoint.figures.fonts import covered, fallback, has_shape, own_fonts
from drypoint.figures.picture import Picture
from drypoint.report.model import Content
from drypoint.visible import code_point, visible

_MOST_LISTED = 40


def set_letters(content: Content) -> tuple[Content, tuple[Path, ...], tuple[str, ...]]:
    """A report as it can be set, the further fonts that it needs, and what no font has.

    Characters that no font has are replaced by their code points; a notice lists them.
    """
    needed = {c for text in _texts(content) for c in text if has_shape(c)}
    lacking = {c for c in needed if ord(c) not in covered(own_fonts())}
    if not lacking:
        return content, (), ()
    fonts = fallback(lacking)
    unset = sorted(c for c in lacking if ord(c) not in covered(fonts))
    if not unset:
        return content, fonts, ()
    shown = _mapped(content, str.maketrans({c: code_point(c) for c in unset}))
    return replace(shown, notices=(*shown.notices, unset_words(unset))), fonts, tuple(unset)


def unset_words(unset: Iterable[str]) -> str:
    """A sentence that lists characters which could not be set."""
    listed = list(unset)
    named = [f"{code_point(c)[1:-1]} {unicodedata.name(c, 'no name')}" for c in listed]
    more = f"; and {len(named) - _MOST_LISTED} more" if len(named) > _MOST_LISTED else ""
    return (
        f"{len(named)} {'character is' if len(named) == 1 else 'characters are'} shown as code "
        f"points, since no font on this computer has them: {'; '.join(named[:_MOST_LISTED])}{more}."
    )


def visible_content(content: Content) -> Content:
    """A report in which hidden characters are shown."""
    seen: Content = _each(content, visible)
    for picture in seen.pictures:
        picture.caption, picture.alt = visible(picture.caption), visible(picture.alt)
    return seen


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, (tuple, list)):
        for one in value:
            yield from _texts(one)
    elif isinstance(value, Picture):
        yield value.caption
    elif is_dataclass(value):
        for f in fields(value):
            yield from _texts(getattr(value, f.name))


def _mapped(content: Content, table: dict[int, str]) -> Content:
    shown: Content = _each(content, lambda text: text.translate(table))
    return shown


def _each(value: Any, change: Any) -> Any:
    """A report with every text changed; pictures stay the same objects."""
    if isinstance(value, str):
        return change(value)
    if isinstance(value, tuple):
        return tuple(_each(one, change) for one in value)
    if is_dataclass(value) and not isinstance(value, (type, Picture)):
        changed = {
            f.name: _each(getattr(value, f.name), change)
            for f in fields(value)
            if f.name not in ("kind", "block", "origin", "study_file")
        }
        return replace(value, **changed)
    return value
