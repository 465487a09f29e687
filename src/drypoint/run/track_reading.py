"""Raw files of scratch tracks to tracks: read, cut into passes, joined by name."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path, PurePosixPath

import numpy as np
from numpy.typing import NDArray

from drypoint.errors import DrypointError
from drypoint.records.batch import Batch, TestInfo
from drypoint.records.finish import unique
from drypoint.records.layout import Layout, SetAside
from drypoint.records.passes import LEFT_OUT, find_passes, track_and_kind
from drypoint.records.read import read
from drypoint.scratch import Pass, Track
from drypoint.scratch.track import Kind
from drypoint.tips.tip import Tip

Floats = NDArray[np.float64]

#: Channels that are no further signal of a track.
_OWN = ("position", "lateral_force", "time", "x", "y")


@dataclass(frozen=True)
class How:
    """How the files of a tracks table become tracks."""

    layout: Layout
    specimen: str
    tip: Tip | None
    passes: tuple[str, ...] = ()
    marks: Mapping[str, str] | None = None


@dataclass(frozen=True)
class Found:
    """A track with what was found about it: its records, how passes were told apart, remarks."""

    track: Track
    infos: tuple[TestInfo, ...]
    by: str
    remarks: tuple[str, ...]


def file_groups(files: Sequence[str], marks: Mapping[str, str] | None) -> list[list[str]]:
    """Files that belong to one track stand together; in the order of the first of each."""
    groups: dict[tuple[str, str], list[str]] = {}
    for f in files:
        path = PurePosixPath(f)
        track, kind = track_and_kind(path.name.split(".")[0], dict(marks or {}))
        key = (str(path.parent), track if kind else f"{path.name}")
        groups.setdefault(key, []).append(f)
    return list(groups.values())


def read_tracks(
    files: Sequence[str], folder: Path, how: How
) -> tuple[list[Found], list[SetAside], list[str]]:
    """Tracks of some files, what was set aside, and notes. Never an exception because of a file."""
    outcome = read(
        [folder / f for f in files], how.layout, specimen=how.specimen, root=folder, doubting=False
    )
    found: list[Found] = []
    aside = [_of_tracks(a) for a in outcome.set_aside]
    used: set[str] = set()
    batch = outcome.batch
    for name, members in _joined(batch, how.marks).items():
        shown = batch.tests[members[0][0]].source.path
        try:
            one = _track(batch, name, members, how)
        except DrypointError as error:
            aside.append(SetAside(shown, name, error.what, error.remedy, stage="reading"))
            continue
        folder_name = PurePosixPath(shown.replace("!", "")).parent.name
        called = unique(name, folder_name, used)
        if called != name:
            one = Found(
                Track(called, one.track.passes, one.track.tip), one.infos, one.by, one.remarks
            )
        found.append(one)
    return found, aside, list(outcome.notes)


def _of_tracks(a: SetAside) -> SetAside:
    """What was set aside, with the table of the study file that a track belongs to."""
    said = [text.replace("[records.columns]", "[tracks.columns]") for text in (a.reason, a.remedy)]
    return replace(a, reason=said[0], remedy=said[1])


def _joined(
    batch: Batch, marks: Mapping[str, str] | None
) -> dict[str, list[tuple[int, str | None]]]:
    """Records by track: (index in the batch, kind by its name).

    Records are joined where marks are declared, or where a scratch has a scan of the same name; a
    name alone such as ``scratch_01`` joins nothing.
    """
    named = [track_and_kind(t.name, dict(marks or {})) for t in batch.tests]
    kinds: dict[str, list[str]] = {}
    for track, kind in named:
        kinds.setdefault(track, []).append(kind or "")
    out: dict[str, list[tuple[int, str | None]]] = {}
    for i, (track, kind) in enumerate(named):
        mine = kinds[track]
        several = "scratch" in mine and ("before" in mine or "after" in mine)
        if kind and (several or (marks and len(mine) > 1)):
            out.setdefault(track, []).append((i, kind))
        else:
            out.setdefault(batch.tests[i].name, []).append((i, kind))
    order = {"before": 0, "scratch": 1, "after": 2}
    return {
        k: sorted(v, key=lambda m: order.get(m[1] or "", 1)) if len(v) > 1 else v
        for k, v in out.items()
    }


def _track(batch: Batch, name: str, members: list[tuple[int, str | None]], how: How) -> Found:
    passes: list[Pass] = []
    remarks: list[str] = []
    by = "the names of the records" if len(members) > 1 else ""
    for i, kind in members:
        s = batch.span(i)
        position = batch.channels.get("position", np.full(len(batch.force), np.nan))[s]
        codes = batch.segment[s] if batch.segment_labels else None
        found = find_passes(position, batch.force[s], codes, batch.segment_labels, how.passes)
        remarks += found.remarks
        by = by or found.by
        given = kind if len(found.passes) == 1 and not found.by else None
        for p in found.passes:
            said = given if given and (len(members) > 1 or given != "scratch") else p.kind
            passes.append(_pass(batch, i, p.start, p.stop, said, p.origin))
    kinds = [p.kind for p in passes]
    if len(members) > 1 and kinds.count("before") > 1 and "after" not in kinds:
        shown = ", ".join(f"“{batch.tests[i].name}”" for i, k in members if k == "before")
        remarks.append(
            f"{shown} are all named as scans before the scratch; if one of them is the scan after "
            "it, say so with marks in the table of the tracks."
        )
    if how.passes and len(members) == 1:
        meant = [k for k in how.passes if k != LEFT_OUT]
        if len(kinds) < len(meant):
            remarks.append(f"Of {len(meant)} passes declared {len(kinds)} are there.")
    return Found(
        Track(name, tuple(passes), how.tip), tuple(batch.tests[i] for i, _ in members), by,
        tuple(dict.fromkeys(remarks)),
    )  # fmt: skip


def _pass(batch: Batch, i: int, start: int, stop: int, kind: str, origin: float) -> Pass:
    first = int(batch.offsets[i])
    s = slice(first + start, first + stop)

    def channel(values: Floats | None) -> Floats | None:
        if values is None:
            return None
        part = values[s]
        return part if np.isfinite(part).any() else None

    extra = {
        k.replace("_", " "): part
        for k, v in batch.channels.items()
        if k not in _OWN and (part := channel(v)) is not None
    }
    position = batch.channels.get("position")
    x = np.full(stop - start, np.nan) if position is None else position[s] - origin
    right: Kind = "before" if kind == "before" else "after" if kind == "after" else "scratch"
    return Pass(
        kind=right, x=x, F_n=batch.force[s], F_l=channel(batch.channels.get("lateral_force")),
        h=channel(batch.depth), t=channel(batch.channels.get("time")), extra=extra,
    )  # fmt: skip
