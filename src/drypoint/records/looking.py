"""Look at files and folders as a user gives them, with saved layouts where nothing is declared."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from drypoint.records.find import files_in
from drypoint.records.layout import Layout
from drypoint.records.paths import Paths, paths_of
from drypoint.records.saved import find_layout, saved_layouts
from drypoint.records.understand import understand_all
from drypoint.records.understanding import Understanding


def look_at(files: Paths, layout: Layout, root: Path | None) -> list[Understanding]:
    """What is understood of files and folders.

    Parameters
    ----------
    files : Path, str, or a collection of these
        Of a folder each file right in it that could be a record by its name.
    layout : Layout
        What is declared; where it is nothing (but ``inside``), saved layouts are tried.
    root : Path, optional
        Folder relative to which files are named.

    Raises
    ------
    RecordError
        ``files`` is neither a path nor a collection of paths.
    """
    known = saved_layouts()

    def lookup(u: Understanding) -> tuple[str, Layout] | None:
        return find_layout(u, known)

    free = replace(layout, inside=()) == Layout()
    named = [p for f in paths_of(files) for p in _named(f)]
    return [
        _as_track(u, f, layout, root)
        for f in named
        for u in understand_all(f, layout, root=root, lookup=lookup if known and free else None)
    ]


def _named(path: Path) -> list[Path]:
    """A file, or the files of a folder one by one. A folder in which nothing can be read, or
    something is set aside, is looked at as a whole, which says what is wrong."""
    if not path.is_dir():
        return [path]
    try:
        files, _, odd = files_in(path)
    except OSError:
        return [path]
    return [path] if odd or not files else files


def _as_track(u: Understanding, path: Path, layout: Layout, root: Path | None) -> Understanding:
    """A file with force, distance and lateral force that is no whole indentation record (no depth,
    or a time that begins anew) is looked at as a track."""
    roles = {c.role for c in u.columns}
    if not {"force", "position", "lateral_force"} <= roles:
        return u
    asked = {q.key for q in u.questions}
    if (
        not ("columns.depth" in asked and asked <= {"columns.depth", "columns.time"})
        and not u.faults
    ):
        return u
    again = understand_all(path, replace(layout, track=True), root=root)
    return next((v for v in again if v.path == u.path and v.places == u.places), u)
