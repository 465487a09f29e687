"""The first recipe for files just inspected: TOML that reads them, with open questions in it."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from fnmatch import fnmatchcase
from itertools import takewhile
from pathlib import Path, PurePosixPath

from drypoint.records.columns import toml_line
from drypoint.records.layout import Column
from drypoint.records.stems import UNNAMED, specimen_names
from drypoint.records.understanding import Understanding

_ROLES_KEPT = ("test", "segment")


def starting_recipe_records(
    understandings: Sequence[Understanding], root: Path | None = None
) -> str:
    """TOML text of one ``[[records]]`` table per specimen and way in which files are laid out.

    The specimen is what the file's header says, else proposed from the file's name
    (:func:`~drypoint.records.stems.specimen_names`). What is open stands as a comment with its
    choices, so that the text is valid TOML at once, and reads the files once the questions are
    answered. A file that could not be read at all is named in a comment.

    Parameters
    ----------
    understandings : sequence of Understanding
    root : Path, optional
        Folder relative to which the files are named; the current folder if omitted. A pattern
        for several files never takes another file that is there.
    """
    named = with_specimens(understandings)
    groups, lost = alike(named)
    every = [u.path for u in understandings]
    shared = _shared(groups)
    parts = [_table(group, every, shared, root or Path()) for group in groups]
    parts += [f"# {u.path} is left out: {_one_line(why_lost(u))}\n" for u in lost]
    return "\n".join(parts)


def with_specimens(understandings: Sequence[Understanding]) -> list[Understanding]:
    """With the specimen in the header where the file does not say one: that of its name."""
    paths = [u.path for u in understandings]
    return [
        u if u.header.get("specimen") else replace(u, header={**u.header, "specimen": name})
        for u, name in zip(understandings, specimen_names(paths), strict=True)
    ]


def why_lost(u: Understanding) -> str:
    """Why a file could not be read at all."""
    return " ".join(f.reason for f in u.faults) or "nothing in it could be understood"


def alike(
    understandings: Sequence[Understanding], *, by_specimen: bool = True
) -> tuple[list[list[Understanding]], list[Understanding]]:
    """Groups of files that are laid out alike, and files that could not be read at all.

    ``by_specimen``: files of different specimens are in different groups.
    """
    groups: dict[tuple[object, ...], list[Understanding]] = {}
    lost: list[Understanding] = []
    for u in understandings:
        if u.kind is None or not (u.columns or u.questions):
            lost.append(u)
        else:
            specimen = u.header.get("specimen", "") if by_specimen else ""
            groups.setdefault((specimen, *layout_key(u)), []).append(u)
    return list(groups.values()), lost


def layout_key(u: Understanding) -> tuple[object, ...]:
    """What files that are laid out alike have in common."""
    columns = tuple((c.role, c.name, c.unit) for c in u.columns if c.role)
    asked = tuple(q.what for q in u.questions)
    declared = tuple(
        sorted(
            (k, c.scale, c.attributes or "")
            for k, c in u.layout.columns.items()
            if c.scale != 1 or c.attributes
        )
    )
    return (
        u.kind, u.delimiter, u.decimal, _encoding(u), u.split, u.sampling_Hz, columns,
        asked, declared, u.layout.comment, u.layout.inside, u.saved,
    )  # fmt: skip


def _shared(groups: list[list[Understanding]]) -> set[str]:
    """Files whose parts are laid out in several ways: each table must name its own parts."""
    seen: set[str] = set()
    twice: set[str] = set()
    for group in groups:
        paths = {u.path for u in group}
        twice |= seen & paths
        seen |= paths
    return twice


def _inside(group: list[Understanding], shared: set[str]) -> list[str]:
    """Patterns of what is read inside the files of a table; none where it is all of it."""
    declared = group[0].layout.inside
    if declared:
        return list(declared)
    places = list(dict.fromkeys(p for u in group for p in u.places))
    if group[0].kind == "hdf5" and places:
        parents = {p.rpartition("/")[0] for p in places}
        if len(places) > 1 and len(parents) == 1:
            return [f"{_escape(parents.pop())}/*"]
        return [_escape(p) for p in places]
    if any(u.path in shared for u in group):
        return [_escape(p.lstrip("/")) for p in places]
    return []


def _encoding(u: Understanding) -> str | None:
    """An encoding that has to be declared (marked and UTF-8 files speak for themselves)."""
    return None if u.encoding in ("utf-8", "utf-8-sig", "utf-16", "utf-32") else u.encoding


def _table(group: list[Understanding], every: list[str], shared: set[str], root: Path) -> str:
    u = group[0]
    lines = ["[[records]]"]
    if u.saved:
        lines.append(f"# The saved layout {_one_line(u.saved)} was used.")
    files = _glob(list(dict.fromkeys(g.path for g in group)), every, root)
    lines.append(f"files = [{', '.join(_quote(f) for f in files)}]")
    lines.append(f"specimen = {_quote(u.header.get('specimen') or UNNAMED)}")
    asked = {q.key for g in group for q in g.questions}
    if inside := _inside(group, shared):
        lines.append(f"inside = [{', '.join(_quote(p) for p in inside)}]")
    if u.kind == "text" and "delimiter" not in asked:
        lines.append(f"delimiter = {_quote(u.delimiter or ',')}")
    if u.kind == "text" and not asked & {"decimal", "delimiter"}:
        lines.append(f"decimal = {_quote(u.decimal or '.')}")
    if u.layout.comment:
        lines.append(f"comment = {_quote(u.layout.comment)}")
    if encoding := _encoding(u):
        lines.append(f"encoding = {_quote(encoding)}")
    for key in ("header_line", "first_data_line"):
        values = {getattr(g, key) for g in group}
        if len(values) == 1 and None not in values:
            lines.append(f"{key} = {values.pop()}")
    if u.split:
        lines.append(f"split = {_quote(u.split)}" if "split" not in asked else "# split = …")
    if u.sampling_Hz is not None:
        lines.append(f"sampling_Hz = {u.sampling_Hz:g}")
    top = [q for q in u.questions if not q.key.startswith("columns")]
    below = [q for q in u.questions if q.key.startswith("columns")]
    for q in top:
        lines += _question(q.what, q.choices, q.toml)
    lines.append("[records.columns]")
    repeated = [c.name for c in u.columns]
    for c in u.columns:
        declared = c.role in _ROLES_KEPT or (c.role and c.unit)
        if not c.role or not (declared or c.role == "ignore" or c.role == "acoustic_emission"):
            continue
        if any(q.key.startswith(f"columns.{c.role}") for q in below):
            continue
        unit = None if c.role in (*_ROLES_KEPT, "ignore", "acoustic_emission") else c.unit
        name = c.name if repeated.count(c.name) == 1 else ""
        own = u.layout.columns.get(c.role, Column())
        lines.append(toml_line(c.role, name, c.index, unit, own.scale, own.attributes))
    for q in below:
        lines += _question(q.what, q.choices, q.toml)
    return "\n".join(lines) + "\n"


def _question(what: str, choices: tuple[str, ...], remedy: str) -> list[str]:
    lines = [f"# To settle: {_one_line(what)}"]
    if choices:
        lines.append("# Choose one line and take its # away:")
        return lines + [f"# {_one_line(c)}" for c in choices]
    return [*lines, f"# {_one_line(remedy)}"]


def _one_line(text: str) -> str:
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def _quote(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _glob(files: list[str], every: list[str], root: Path) -> list[str]:
    """One pattern for the files where it catches these and no others, else their names."""
    plain = [_escape(f) for f in files]
    folders = {str(PurePosixPath(f).parent) for f in files}
    if len(files) < 3 or len(folders) > 1:
        return plain
    names = [PurePosixPath(f).name for f in files]
    ends = {n[n.index(".") :] if "." in n else "" for n in names}
    first, last = min(names), max(names)
    same = (a == b for a, b in zip(first, last, strict=False))
    stem = first[: sum(takewhile(bool, same))]
    if len(ends) > 1 or len(stem) < 2:
        return plain
    end = ends.pop()
    folder = folders.pop()
    others = {PurePosixPath(f).name for f in every if str(PurePosixPath(f).parent) == folder}
    if (root / folder).is_dir():
        others |= {p.name for p in (root / folder).iterdir()}
    for start in dict.fromkeys((stem.rstrip("0123456789"), stem)):
        pattern = f"{_escape(start)}*{end}"
        if start and {n for n in others if fnmatchcase(n, pattern)} == set(names):
            return [pattern if folder == "." else f"{_escape(folder)}/{pattern}"]
    return plain


def _escape(text: str) -> str:
    """A file name whose brackets, stars and question marks mean themselves in a pattern."""
    return "".join(f"[{c}]" if c in "[*?" else c for c in text)
