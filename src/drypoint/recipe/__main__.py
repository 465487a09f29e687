"""Writes the pages that are made from the schema: ``python -m drypoint.recipe [FOLDER]``."""

from __future__ import annotations

import sys
from pathlib import Path

from drypoint.recipe.reference import reference_page
from drypoint.recipe.schema import write_schema


def write_pages(folder: Path) -> list[Path]:
    """Write ``recipe.md`` and the JSON Schema below ``folder``."""
    (folder / "schema").mkdir(parents=True, exist_ok=True)
    page = folder / "recipe.md"
    page.write_text(reference_page(), encoding="utf-8", newline="\n")
    return [page, write_schema(folder / "schema")]


if __name__ == "__main__":
    for written in write_pages(Path(sys.argv[1] if len(sys.argv) > 1 else "docs/reference")):
        print(written)
