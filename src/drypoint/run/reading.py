"""Read all raw files of a study, each way of reading in turn, through the cache."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import PurePosixPath

from drypoint.recipe import Study, canonical_hash
from drypoint.records.batch import Batch, TestInfo, join
from drypoint.records.check import check
from drypoint.records.doubt import doubts
from drypoint.records.finish import unique
from drypoint.records.layout import Layout, SetAside
from drypoint.records.read import ReadOutcome, read
from drypoint.run.hashing import changed_since, hash_files
from drypoint.run.joining import Reading, join_table
from drypoint.run.pieces import pieces
from drypoint.run.progress import Watch
from drypoint.store.cache import Cache, cache_key
from drypoint.store.codec import encode, kept
from drypoint.version import __version__


@dataclass(frozen=True)
class Readings:
    """All records of a study, what was set aside, notes, and SHA-256 by file."""

    parts: tuple[Reading, ...]
    set_aside: tuple[SetAside, ...]
    notes: tuple[str, ...]
    hashes: Mapping[str, str]


def read_study_records(
    study: Study, cache: Cache | None, watch: Watch, *, missing: list[str] | None = None
) -> Readings:
    """Read every file that the study names.

    A name that two tests share is told apart by the specimen. A bad file or test is set aside.
    Where ``missing`` is given, files whose records are not in the cache are not read but entered
    there.
    """
    parts: list[Reading] = []
    aside: list[SetAside] = []
    notes: list[str] = []
    hashes: dict[str, str] = {}
    used: set[str] = set()
    places: set[tuple[str, int | None]] = set()
    owner: dict[str, str] = {}
    n = len(study.file.records)
    for i, records in enumerate(study.file.records):
        watch.at("reading", i, n, records.specimen)
        files = study.record_files(i)
        layout = study.layout(i)
        aside += study.odd_files(records.files)
        mine, unread = hash_files(study.folder, files)
        aside += unread
        hashes.update(mine)
        keep = []
        for f in mine:
            first = owner.setdefault(mine[f], f)
            if first == f:
                keep.append(f)
            else:
                aside.append(
                    SetAside(
                        f, None, f"The file has the same bytes as {first}.",
                        "Leave one of the two out of the study.",
                    )
                )  # fmt: skip
        layout_hash = canonical_hash(layout)
        outcomes, keys = [], []
        for piece in pieces([mine[f] for f in keep]):
            some = [keep[k] for k in piece]
            key = _key(records.specimen, layout_hash, [(f, mine[f]) for f in some])
            outcome = _cached(cache, key)
            if outcome is None and missing is not None:
                missing += some
                continue
            if outcome is None:
                outcome, whole = _read(study, some, layout, records.specimen, mine)
                if whole:
                    _keep(cache, key, outcome)
            outcomes.append(outcome)
            keys.append(key)
        outcome = _joined(outcomes)
        outcome = replace(outcome, notes=(*outcome.notes, *_doubts(cache, keys, outcome.batch)))
        batch, again = _not_yet_read(outcome.batch, places)
        declared = study.declared(i)
        tests = tuple(_named(t, records.specimen, declared, used) for t in batch.tests)
        parts.append(Reading(i, records.specimen, replace(batch, tests=tests), layout_hash))
        aside += (*outcome.set_aside, *again)
        notes += (*study.left_out(i), *outcome.notes)
    joined, said, table = join_table(study, parts, aside)
    hashes.update(table)
    watch.at("reading", n, n)
    return Readings(joined, tuple(aside), (*notes, *said), hashes)


def _key(specimen: str, layout_hash: str, files: Sequence[tuple[str, str]]) -> str:
    """Key of the records of some files (name, SHA-256)."""
    return cache_key(
        "records", __version__, specimen, layout_hash, *(f"{f} {sha}" for f, sha in files)
    )


def _read(
    study: Study, files: Sequence[str], layout: Layout, specimen: str, hashes: Mapping[str, str]
) -> tuple[ReadOutcome, bool]:
    """What some files give, and whether all were read as they were hashed (only then it is kept:
    the key holds those hashes)."""
    raw = read(
        [study.folder / f for f in files], layout, specimen=specimen, root=study.folder,
        doubting=False,
    )  # fmt: skip
    batch = raw.batch
    others = changed_since(batch.tests, study.folder, hashes)
    if others:
        same = [
            i for i, t in enumerate(batch.tests) if t.source.path.partition("!")[0] not in others
        ]
        batch = batch.take(same)
    good, bad = check(batch)
    aside = (*raw.set_aside, *bad, *others.values())
    return ReadOutcome(good, aside, raw.notes), not others


def _joined(outcomes: Sequence[ReadOutcome]) -> ReadOutcome:
    """All pieces of a table as if they had been read together."""
    used: set[str] = set()
    batches = []
    for o in outcomes:
        tests = []
        for t in o.batch.tests:
            folder = PurePosixPath(t.source.path.replace("!", "")).parent.name
            tests.append(replace(t, name=unique(t.name, folder, used)))
        batches.append(replace(o.batch, tests=tuple(tests)))
    batch = join(batches)
    aside = tuple(s for o in outcomes for s in o.set_aside)
    notes = tuple(n for o in outcomes for n in o.notes)
    return ReadOutcome(batch, aside, notes)


def _doubts(cache: Cache | None, keys: Sequence[str], batch: Batch) -> tuple[str, ...]:
    """What is hard to believe of a table's records, kept by the keys of its pieces."""
    key = cache_key("doubts", __version__, *keys)
    entry = cache.get(key) if cache is not None else None
    if entry is not None:
        return tuple(str(n) for n in entry.meta)
    found = doubts(batch)
    if cache is not None:
        cache.put(key, {}, list(found))
    return found


def _not_yet_read(
    batch: Batch, places: set[tuple[str, int | None]]
) -> tuple[Batch, list[SetAside]]:
    """Tests of a file that two tables share: what the first has taken is set aside here."""
    again = []
    keep = []
    for i, test in enumerate(batch.tests):
        place = test.source.path, test.source.first_line
        if place in places:
            what = "Another table of [[records]] has read this test already."
            remedy = "Make the patterns under inside narrower."
            again.append(SetAside(test.source.path, test.name, what, remedy, place[1]))
        else:
            places.add(place)
            keep.append(i)
    return (batch.take(keep) if again else batch), again


def _named(info: TestInfo, specimen: str, declared: Mapping[str, str], used: set[str]) -> TestInfo:
    name = info.name
    if name in used:
        name = f"{specimen}/{name}"
    k = 2
    while name in used:
        name = f"{specimen}/{info.name}#{k}"
        k += 1
    used.add(name)
    return replace(info, name=name, specimen=specimen, declared={**info.declared, **declared})


def _cached(cache: Cache | None, key: str) -> ReadOutcome | None:
    entry = cache.get(key) if cache is not None else None
    if entry is None:
        return None
    value = kept(entry.meta, entry.arrays)
    return value if isinstance(value, ReadOutcome) else None


def _keep(cache: Cache | None, key: str, outcome: ReadOutcome) -> None:
    if cache is not None:
        tree, arrays = encode(outcome)
        cache.put(key, arrays, tree)
