"""HDF5 files: a group a test with a dataset a column, or a dataset that is a table."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fnmatch import fnmatchcase
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from drypoint.errors import DrypointError, RecordError, Where
from drypoint.records.grid import Grid, GridTest, Values, ask_inside
from drypoint.records.hdf5_columns import DataColumn, columns_of, unapplied, words_of
from drypoint.records.hdf5_heap import sound_heaps
from drypoint.records.hdf5_links import Own
from drypoint.records.layout import Layout
from drypoint.records.packing import UnfitError
from drypoint.records.raw import Limits

if TYPE_CHECKING:
    import h5py

_DEPTH = 8
_OBJECTS = 100_000


@dataclass(frozen=True)
class Failed:
    """A test of the file that cannot be read."""

    place: str
    error: DrypointError


def open_hdf5(
    source: Path | bytes, shown: str, layout: Layout, limits: Limits
) -> tuple[list[Grid | Failed], list[str]]:
    """Tests of an HDF5 file, those with the same columns together, and notes.

    ``layout.inside`` holds patterns of the groups (each dataset in one is a column) or datasets
    (each a table) that are a test each, for example ``"/tests/*"``, or ``"/"`` for the whole file.
    Without it they are looked for, and asked about where there are several ways.

    Raises
    ------
    RecordError
        It is damaged, too large, or h5py is not installed.
    AmbiguityError
        It is not clear what a test is.
    """
    try:
        import h5py
    except ImportError as error:
        raise RecordError(
            "This is an HDF5 file, and h5py, which reads them, is not installed.",
            where=Where(shown),
            remedy='Install it with the extra “hdf5”: pip install "drypoint[hdf5]".',
        ) from error
    try:
        if not sound_heaps(source):
            raise OSError("a heap has no end")
        with _open(h5py, source) as file:
            return _tests(file, shown, layout, limits)
    except DrypointError:
        raise
    except Exception as error:  # whatever a damaged file brings
        raise RecordError(
            "This is an HDF5 file that cannot be read: it is damaged or cut short.",
            where=Where(shown),
            remedy="Copy it again from where it was made.",
        ) from error


def _open(h5py: Any, source: Path | bytes) -> h5py.File:
    if isinstance(source, bytes):
        return h5py.File(h5py.h5f.open_file_image(source))
    return h5py.File(source, "r")


def _tests(
    file: h5py.File, shown: str, layout: Layout, limits: Limits
) -> tuple[list[Grid | Failed], list[str]]:
    notes: list[str] = []
    own = Own(file)
    if layout.inside:
        found = [o for pattern in layout.inside for o in _matching(own, pattern)]
        found = list({o.name: o for o in found}.values())
        if not found:
            raise RecordError(
                f"No group or dataset fits inside = {list(layout.inside)}.{_refused(own)}",
                where=Where(shown, key="inside"),
                remedy=f"The file holds: {_listing(own)}.",
            )
    else:
        found, pattern = _guess(own, shown)
        if len(found) > 1:
            notes.append(f"Tests were taken from {pattern}.")
    common = words_of(file)
    if all(o.name != "/" for o in found):
        notes += unapplied(file)
    said: dict[str, list[str]] = {}
    together: dict[object, list[tuple[str, dict[str, str], list[DataColumn]]]] = {}
    failed: list[Grid | Failed] = []
    size = 0
    for item in found:
        place = str(item.name or "/")
        try:
            columns, declared, remarks = columns_of(item, layout, own)
        except UnfitError as error:
            where = Where(f"{shown}!{place}")
            failed.append(Failed(place, RecordError(error.what, where=where, remedy=error.remedy)))
            continue
        size += sum(c.values.nbytes for c in columns)
        if size > limits.table_bytes:
            raise RecordError(
                f"The tests hold more than the limit of {limits.table_bytes / 1e6:g} MB.",
                where=Where(shown),
                remedy="Split the file.",
            )
        for r in remarks:
            said.setdefault(r, []).append(place)
        words = dict(common) if item.name != "/" else {}
        words.update(declared)
        signature = tuple((c.name, c.unit, c.numeric, c.unsettled) for c in columns)
        together.setdefault(signature, []).append((place, words, columns))
    notes += [f"{_places(places)}: {r}" for r, places in said.items()]
    if refused := _refused(own).strip():
        notes.append(refused)
    several = len(found) > 1
    return [*(_grid(group, several) for group in together.values()), *failed], notes


def _places(places: list[str]) -> str:
    """Where a remark belongs."""
    if len(places) < 4:
        return ", ".join(places)
    return f"{places[0]} to {places[-1]} ({len(places)} places)"


def _grid(group: list[tuple[str, dict[str, str], list[DataColumn]]], several: bool) -> Grid:
    """Tests with the same columns as one grid."""
    tests: list[GridTest] = []
    at = 0
    short = _short([place for place, _, _ in group])
    for (place, words, columns), label in zip(group, short, strict=True):
        n = len(columns[0].values)
        label = words.get("test") or label
        tests.append(GridTest(label if several else None, place, at, at + n, words))
        at += n
    first = group[0][2]

    def load(wanted: Sequence[int]) -> list[Values]:
        return [np.concatenate([columns[i].values for _, _, columns in group]) for i in wanted]

    shared = dict(group[0][1])
    for _, words, _ in group[1:]:
        shared = {k: v for k, v in shared.items() if words.get(k) == v}
    return Grid(
        tuple(c.name for c in first), tuple(c.unit for c in first),
        tuple(c.numeric for c in first), at, load, shared, tuple(tests),
        unsettled=tuple(c.unsettled for c in first),
    )  # fmt: skip


def _short(places: list[str]) -> list[str]:
    """Last parts of paths, or whole paths where those would not be unique."""
    ends = [p.rstrip("/").rpartition("/")[2] or "file" for p in places]
    return ends if len(set(ends)) == len(ends) else [p.strip("/") for p in places]


def _refused(own: Own) -> str:
    """A sentence about links that were not followed; empty where there were none."""
    names = list(own.refused)
    if not names:
        return ""
    more = f" and {len(names) - 5} more" if len(names) > 5 else ""
    return f" Left out, links into other files: {', '.join(names[:5])}{more}."


def _matching(own: Own, pattern: str) -> list[Any]:
    """Objects whose path fits a pattern, part by part."""
    import h5py

    level: list[Any] = [own.file["/"]]
    for part in (p for p in pattern.split("/") if p):
        level = [
            child
            for group in level
            if isinstance(group, h5py.Group)
            for name, child in own.children(group)
            if fnmatchcase(name, part)
        ][:_OBJECTS]
    return level


def _walk(own: Own) -> Iterator[Any]:
    """All objects down to a depth, each once."""
    import h5py

    waiting: list[tuple[Any, int]] = [(own.file["/"], 0)]
    seen: set[Any] = set()
    while waiting and len(seen) < _OBJECTS:
        item, depth = waiting.pop(0)
        if item.id in seen:
            continue
        seen.add(item.id)
        yield item
        if isinstance(item, h5py.Group) and depth < _DEPTH:
            waiting += [(child, depth + 1) for _, child in own.children(item)]


def _guess(own: Own, shown: str) -> tuple[list[Any], str]:
    """The groups or tables that look like tests, if there is one way to see them."""
    import h5py

    found = []
    for item in _walk(own):
        if isinstance(item, h5py.Dataset):
            table = item.dtype.names or (item.ndim == 2 and item.dtype.kind in "iuf")
            if table and min(item.shape or (0,)) > 1 - bool(item.dtype.names):
                found.append(item)
        else:
            series = [
                c for _, c in own.children(item)
                if isinstance(c, h5py.Dataset) and c.dtype.kind in "iuf" and c.ndim == 1
                and c.size > 1
            ]  # fmt: skip
            if len(series) > 1:
                found.append(item)
    parents = {str(i.name).rpartition("/")[0] for i in found}
    if len(found) == 1:
        return found, str(found[0].name)
    if len(parents) == 1 and found and found[0].name != "/":
        return found, f"{parents.pop()}/*"
    choices = [f"{p}/*" for p in sorted(parents)] if len(parents) < 9 else []
    raise ask_inside(choices if found else (), f"It holds: {_listing(own)}.{_refused(own)}").error(
        shown
    )


def _listing(own: Own) -> str:
    names = []
    for item in _walk(own):
        if item.name != "/":
            names.append(str(item.name))
        if len(names) > 12:
            return ", ".join(names[:12]) + " …"
    return ", ".join(names) or "nothing"
