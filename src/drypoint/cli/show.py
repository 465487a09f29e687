"""Words on the terminal."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from typing import TYPE_CHECKING

from drypoint.errors import DrypointError, RecordError

if TYPE_CHECKING:
    from drypoint.records.layout import SetAside


def complain(error: DrypointError) -> int:
    """Print an error as it is; return the exit code: 1 when there is no result, else 2."""
    print(f"drypoint: {error}", file=sys.stderr)
    return 1 if isinstance(error, RecordError) else 2


def set_aside_lines(items: Iterable[SetAside]) -> list[str]:
    """Every reason for which records were set aside, with the records."""
    from drypoint.records.grouped import lines_of

    return lines_of(items)


def table(head: list[str], rows: list[list[str]]) -> str:
    """A plain table: first column left, others right."""
    widths = [max(len(str(r[i])) for r in [head, *rows]) for i in range(len(head))]
    lines = []
    for r in [head, *rows]:
        cells = [r[0].ljust(widths[0])]
        cells += [c.rjust(w) for c, w in zip(r[1:], widths[1:], strict=True)]
        lines.append("  ".join(cells).rstrip())
    lines.insert(1, "  ".join("-" * w for w in widths))
    return "\n".join(lines)
