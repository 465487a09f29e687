"""Look at files and folders as a user gives them, with saved layouts where nothing is declared."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from drypoint.records.find import files_in
from drypoint.records.layout import Layout
from drypoint.records.saved import find_layout, saved_layouts
from drypoint.records.understand import understand_all
from drypoint.records.understanding import Understanding


def look_at(files: Sequence[Path], layout: Layout, root: Path | None) -> list[Understanding]:
    """What is understood of files and folders.

    Parameters
    ----------
    files : sequence of Path
        Of a folder each file right in it that could be a record by its name.
    layout : Layout
        What is declared; where it is nothing (but ``inside``), saved layouts are tried.
    root : Path, optional
        Folder relative to which files are named.
    """
    known = saved_layouts()

    def lookup(u: Understanding) -> tuple[str, Layout] | None:
        return find_layout(u, known)

    free = replace(layout, inside=()) == Layout()
    named = [p for f in files for p in (files_in(f)[0] or [f] if f.is_dir() else [f])]
    return [
        u
        for f in named
        for u in understand_all(f, layout, root=root, lookup=lookup if known and free else None)
    ]
