"""A column as it was found, and the line of a study file that gives a column its role."""

from __future__ import annotations

import json
from dataclasses import dataclass


@dataclass(frozen=True)
class ColumnFound:
    """One column. ``role`` is empty for a column kept (or dropped) under its own name.

    A number ``v`` of the file is ``v * scale + offset`` in SI where the unit is known.
    """

    index: int
    name: str
    role: str
    unit: str | None
    why: str
    channel: str = ""
    scale: float = 1.0
    offset: float = 0.0
    numeric: bool = True

    @property
    def title(self) -> str:
        """Number and name, for messages."""
        return f"{self.index} (“{self.name}”)" if self.name else str(self.index)


def toml_line(
    role: str, name: str, index: int, unit: str | None, scale: float = 1.0,
    attributes: str | None = None,
) -> str:  # fmt: skip
    """Recipe line that gives a column a role."""
    parts = [f"name = {json.dumps(name, ensure_ascii=False)}" if name else f"index = {index}"]
    if unit:
        parts.append(f"unit = {json.dumps(unit, ensure_ascii=False)}")
    if scale != 1.0:
        parts.append(f"scale = {scale!r}")
    if attributes:
        parts.append(f'attributes = "{attributes}"')
    return f"{role} = {{{', '.join(parts)}}}"
