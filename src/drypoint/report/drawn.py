"""Figures of a report as SVG, each drawn once however many documents show it."""

from __future__ import annotations

from weakref import WeakKeyDictionary

from drypoint.figures.picture import Picture

_TEXTS: WeakKeyDictionary[Picture, str] = WeakKeyDictionary()


def svg_of(picture: Picture) -> str:
    """SVG of a figure that is not changed any more."""
    text = _TEXTS.get(picture)
    if text is None:
        text = _TEXTS[picture] = picture.svg()
    return text
