"""Parts of a report as plain values, so that pages and documents say the same. Figures are left
out: a page draws its own, which can be zoomed and read by keyboard."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from drypoint.report.model import Block, Code, Drawing, Facts, Heading, Items, Section, Table


def section_values(section: Section) -> dict[str, Any]:
    """A section with its title."""
    return {
        "key": section.key,
        "title": section.title,
        "blocks": list(blocks_values(section.blocks)),
    }


def blocks_values(blocks: Iterable[Block]) -> list[dict[str, Any]]:
    """Blocks that are no figures."""
    return [_values(b) for b in blocks if not isinstance(b, Drawing)]


def _values(b: Block) -> dict[str, Any]:
    out: dict[str, Any] = {"block": b.block}
    if isinstance(b, Table):
        return out | {
            "caption": b.caption,
            "columns": [{"head": c.head, "kind": c.kind, "wide": c.wide} for c in b.columns],
            "rows": [list(r) for r in b.rows],
            "note": b.note,
        }
    if isinstance(b, Facts):
        return out | {"pairs": [list(p) for p in b.pairs]}
    if isinstance(b, Items):
        return out | {"items": list(b.items)}
    if isinstance(b, Code):
        return out | {"caption": b.caption, "text": b.text}
    if isinstance(b, Heading):
        return out | {"text": b.text}
    assert not isinstance(b, Drawing)
    return out | {"text": b.text}
