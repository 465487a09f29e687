"""Scratch tracks of a study: each track worked up by itself, kept by what it was made from."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from drypoint import paths
from drypoint.errors import DrypointError, RecordError, Where
from drypoint.recipe import Effective, Study, canonical_hash
from drypoint.recipe.to_scratch import (
    inputs_of,
    scratch_options,
    track_bench,
    track_declared,
    track_files,
    track_layout,
)
from drypoint.records.layout import SetAside
from drypoint.run.hashing import changed_since, hash_files
from drypoint.run.pieces import pieces
from drypoint.run.progress import Watch
from drypoint.run.track_reading import Found, How, file_groups, read_tracks
from drypoint.scratch import (
    Candidate,
    CandidateOptions,
    Friction,
    FrictionOptions,
    Inputs,
    Levelled,
    LevelOptions,
    Pass,
    Problem,
    Wear,
    candidates,
    friction,
    level,
    wear,
)
from drypoint.scratch.bins import bins
from drypoint.store.cache import Cache, cache_key
from drypoint.store.codec import encode, kept
from drypoint.version import __version__

Floats = NDArray[np.float64]

#: Tracks in a piece, on the average, and at most.
USUAL, MOST = 8, 24
CONSTANT = 0.1  # relative spread of the load up to which it counts as constant


@dataclass(frozen=True)
class Profile:
    """A track in stretches, arrays (stretches,), SI; NaN where not known. ``u_`` combined standard
    uncertainty. ``extra`` has the mean, ``peak`` the largest value, of every further channel."""

    x: Floats
    load: Floats
    h_load: Floats
    u_h_load: Floats
    h_residual: Floats
    u_h_residual: Floats
    topography: Floats
    extra: Mapping[str, Floats]
    peak: Mapping[str, Floats]


@dataclass(frozen=True)
class TrackResult:
    """What a track gave, SI.

    ``passes`` are their kinds in order, ``by`` how they were told apart. ``first_load``,
    ``last_load`` are the smallest and largest normal force over a stretch; ``constant`` says that
    it is held. ``candidates`` are empty where the load does not rise. ``wear`` is of repeats.
    """

    name: str
    specimen: str
    tip: str
    passes: tuple[str, ...]
    by: str
    samples: int
    files: tuple[str, ...]
    sha256: tuple[str, ...]
    declared: Mapping[str, str]
    length: float
    first_load: float
    last_load: float
    constant: bool
    profile: Profile
    friction: Friction
    candidates: tuple[Candidate, ...]
    wear: Wear | None
    lateral_from: str
    problems: tuple[Problem, ...]
    remarks: tuple[str, ...]
    table: int = 0


@dataclass(frozen=True)
class Worked:
    """Tracks of some files, what was set aside, and notes."""

    tracks: tuple[TrackResult, ...]
    set_aside: tuple[SetAside, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class _Piece:
    table: int
    files: tuple[str, ...]
    folder: Path
    how: How
    inputs: Inputs
    options: tuple[LevelOptions, FrictionOptions, CandidateOptions]
    key: str
    declared: Mapping[str, str] = field(default_factory=dict)
    hashes: Mapping[str, str] = field(default_factory=dict)

    def worked(self) -> tuple[Worked, bool]:
        """The tracks of the piece, and whether all files were read as they were hashed."""
        found, aside, notes = read_tracks(self.files, self.folder, self.how)
        infos = [info for one in found for info in one.infos]
        others = changed_since(infos, self.folder, self.hashes)
        aside += others.values()
        done = []
        for one in found:
            if any(i.source.path.partition("!")[0] in others for i in one.infos):
                continue
            try:
                done.append(work_up(one, self))
            except DrypointError as error:
                source = one.infos[0].source.path
                aside.append(
                    SetAside(source, one.track.name, error.what, error.remedy, stage="scratch")
                )
        return Worked(tuple(done), tuple(aside), tuple(notes)), not others


def work_up(found: Found, piece: _Piece) -> TrackResult:
    """One track through levelling, friction and the search for candidates.

    Raises
    ------
    ScratchError
        Only where nothing at all can be computed.
    """
    track, (levels, rubs, looks) = found.track, piece.options
    levelled = level(track, piece.inputs, levels)
    rub = friction(levelled, rubs)
    profile = _profile(levelled, rub)
    loads = profile.load[np.isfinite(profile.load)]
    first, last = (float(loads.min()), float(loads.max())) if len(loads) else (np.nan, np.nan)
    inner = loads[len(loads) // 10 : len(loads) - len(loads) // 10]
    middle = abs(float(np.median(loads))) if len(loads) else 0.0
    constant = bool(len(inner) and np.std(inner) <= CONSTANT * middle)
    remarks = [*found.remarks, *rub.remarks]
    seen: tuple[Candidate, ...] = ()
    if constant:
        remarks.append("The load is held: no candidates for critical loads are looked for.")
        remarks = [r for r in remarks if not r.startswith("The load does not vary enough")]
    else:
        seen = candidates(levelled, looks)
    worn = None
    if len(track.of("scratch")) > 1:
        try:
            worn = wear(track, piece.inputs, levels)
            remarks += worn.remarks
        except DrypointError as error:
            remarks.append(f"No wear: {error.what}")
    kinds = tuple(str(p.kind) for p in track.passes)
    infos = found.infos
    return TrackResult(
        name=track.name,
        specimen=piece.how.specimen,
        tip=piece.how.tip.name if piece.how.tip is not None else "",
        passes=kinds,
        by=found.by,
        samples=sum(len(p) for p in track.passes),
        files=tuple(dict.fromkeys(i.source.path for i in infos)),
        sha256=tuple(dict.fromkeys(i.source.sha256 for i in infos)),
        declared={**infos[0].declared, **piece.declared},
        length=float(np.nanmax(levelled.x)),
        first_load=first,
        last_load=last,
        constant=constant,
        profile=profile,
        friction=rub,
        candidates=seen,
        wear=worn,
        lateral_from=levelled.lateral_from,
        problems=levelled.problems,
        remarks=tuple(dict.fromkeys(remarks)),
        table=piece.table,
    )


def _profile(levelled: Levelled, rub: Friction) -> Profile:
    """Means over the stretches of the friction; loads and depths stand where the lateral force
    was at its limit, too."""
    at = np.where(levelled.usable, levelled.x, np.nan)
    grid = bins(at, 0.0, float(np.nanmax(levelled.x)), len(rub.x))

    def mean(y: Floats) -> Floats:
        return np.asarray(grid.means(y)[0])

    def shared(ur: Floats, us: Floats) -> Floats:
        count = np.sqrt(np.maximum(grid.counts, 1))
        return np.asarray(np.hypot(mean(ur) / count, mean(us)))

    peak = {}
    for name, values in levelled.extra.items():
        top = np.full(len(rub.x), np.nan)
        held = (grid.index >= 0) & np.isfinite(values)
        np.fmax.at(top, grid.index[held], values[held])
        peak[name] = top
    return Profile(
        x=rub.x,
        load=mean(levelled.F_n),
        h_load=mean(levelled.h_load),
        u_h_load=shared(levelled.ur_h_load, levelled.us_h_load),
        h_residual=mean(levelled.h_residual),
        u_h_residual=shared(levelled.ur_h_residual, levelled.us_h_residual),
        topography=mean(levelled.topography),
        extra={k: mean(v) for k, v in levelled.extra.items()},
        peak=peak,
    )


@dataclass(frozen=True)
class TrackRun:
    """All tracks of a study with what was set aside, notes, and SHA-256 by file."""

    tracks: tuple[TrackResult, ...]
    set_aside: tuple[SetAside, ...]
    notes: tuple[str, ...]
    hashes: Mapping[str, str]


def run_tracks(
    study: Study, cache: Cache | None, watch: Watch, *, taken: Sequence[str] = (),
) -> TrackRun:  # fmt: skip
    """Work up every track that the study names. A bad file or track is set aside.

    ``taken`` are names that tests of the study have already.
    """
    todo, aside, hashes = _pieces(study)
    tracks: list[TrackResult] = []
    notes: list[str] = []
    used = set(taken)
    for k, (piece, worked) in enumerate(_results(todo, cache)):
        watch.at("scratch tracks", k, len(todo), piece.how.specimen)
        aside += worked.set_aside
        notes += worked.notes
        for one in worked.tracks:
            name, n = one.name, 2
            if name in used:
                name = f"{one.specimen}/{one.name}"
            while name in used:
                name, n = f"{one.specimen}/{one.name}#{n}", n + 1
            used.add(name)
            tracks.append(replace(one, name=name))
    watch.at("scratch tracks", len(todo), len(todo))
    return TrackRun(tuple(tracks), tuple(aside), tuple(notes), hashes)


def tracks_to_do(study: Study, cache: Cache | None) -> tuple[list[str], dict[str, str]]:
    """Files whose tracks are to be worked up, and SHA-256 of all, pictures included."""
    todo, _, hashes = _pieces(study)
    new = [f for p in todo if cache is None or not cache.has(p.key) for f in p.files]
    for keys in study.file.scratch.pictures:
        shown = keys.file.replace("\\", "/")
        hashes.update(hash_files(study.folder, [shown])[0])
    return new, hashes


def how_of(study: Study, i: int) -> How:
    """How the files of the tracks table ``i`` become tracks."""
    table = study.file.tracks[i]
    marks = {str(k): v for k, v in table.marks.items()}
    tip, _ = track_bench(study, i)
    return How(track_layout(study, i), table.specimen, tip, table.passes, marks or None)


def passes_of(study: Study, track: TrackResult) -> tuple[Pass, ...]:
    """The passes of a track as they were read, SI; the raw files are read again.

    Raises
    ------
    RecordError
        When the files are not those any more that the track was worked up from.
    """
    found, aside, _ = read_tracks(track.files, study.folder, how_of(study, track.table))
    for one in found:
        same = tuple(dict.fromkeys(i.source.sha256 for i in one.infos)) == track.sha256
        tail = track.name.removeprefix(f"{track.specimen}/").partition("#")[0]
        if same and one.track.name in (track.name, tail):
            return one.track.passes
    reason = f" {aside[0].reason}" if aside else ""
    raise RecordError(
        f"The passes of “{track.name}” cannot be read as they were.{reason}",
        where=Where(track.files[0]),
        remedy="Run the study again: the raw file or the recipe has changed.",
    )


def _pieces(study: Study) -> tuple[list[_Piece], list[SetAside], dict[str, str]]:
    out: list[_Piece] = []
    aside: list[SetAside] = []
    hashes: dict[str, str] = {}
    owner: dict[str, str] = {}
    options = scratch_options(study)
    for i in range(len(study.file.tracks)):
        files = track_files(study, i)
        aside += study.odd_files(study.file.tracks[i].files)
        mine, unread = hash_files(study.folder, files)
        aside += unread
        hashes.update(mine)
        keep = []
        for f in mine:
            first = owner.setdefault(mine[f], f)
            if first == f:
                keep.append(f)
                continue
            what = f"The file has the same bytes as {first}."
            aside.append(SetAside(f, None, what, "Leave one of the two out of the study."))
        how, inputs = how_of(study, i), inputs_of(study, track_bench(study, i)[1])
        declared = track_declared(study, i)
        fixed = canonical_hash(
            [how.layout, how.specimen, how.tip, list(how.passes), dict(how.marks or {}), inputs,
             list(options), declared]
        )  # fmt: skip
        groups = file_groups(keep, how.marks)
        stamps = [canonical_hash([mine[f] for f in g]) for g in groups]
        for some in pieces(stamps, USUAL, MOST):
            names = tuple(f for k in some for f in groups[k])
            key = cache_key("tracks", __version__, fixed, *(f"{f} {mine[f]}" for f in names))
            mine_now = {f: mine[f] for f in names}
            out.append(
                _Piece(i, names, study.folder, how, inputs, options, key, declared, mine_now)
            )
    return out, aside, hashes


def _results(todo: Sequence[_Piece], cache: Cache | None) -> Iterator[tuple[_Piece, Worked]]:
    """Each piece with its tracks, kept or computed, in order; a few are computed at once."""
    workers = max(2, min(os.cpu_count() or 1, 8))
    with ThreadPoolExecutor(workers) as pool:
        ahead: dict[int, Future[tuple[Worked, bool]]] = {}
        waiting = iter(range(len(todo)))

        def start() -> None:
            while len(ahead) < workers + 1 and (k := next(waiting, None)) is not None:
                ahead[k] = pool.submit(paths.here(_kept_or_worked), todo[k], cache)

        try:
            for k, piece in enumerate(todo):
                start()
                worked, fresh = ahead.pop(k).result()
                if fresh and cache is not None:
                    tree, arrays = encode(worked)
                    cache.put(piece.key, arrays, tree)
                yield piece, worked
        finally:
            pool.shutdown(wait=True, cancel_futures=True)


def _kept_or_worked(piece: _Piece, cache: Cache | None) -> tuple[Worked, bool]:
    """The tracks of a piece, and whether they are to be kept: computed anew, from whole files."""
    entry = cache.get(piece.key) if cache is not None else None
    value = kept(entry.meta, entry.arrays) if entry is not None else None
    if isinstance(value, Worked):
        return value, False
    return piece.worked()


def excluded_tracks(state: Effective, tracks: Sequence[TrackResult]) -> dict[str, str]:
    """Track -> why it is left out."""
    out = {}
    for t in tracks:
        e = state.exclusion(t.name)
        if e is not None:
            out[t.name] = f"{e.why} ({e.who}, {e.when})"
    return out
