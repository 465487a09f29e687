"""Reduce the records of a study, piece by piece, through the cache.

A bundle is all tests that share tip, frame and choices; it is cut into pieces by the content of
its files (:mod:`drypoint.run.pieces`). Each piece is reduced as the recipe says, whatever was
decided; the tests of a bundle on which a person moved something by hand are then reduced once
more, as a small group of their own that takes their place. So a changed file touches only its own
piece, a decision only its own test, and an exclusion none.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from drypoint.recipe import Effective, Span, Study, TestOverride, canonical_hash
from drypoint.records.batch import Batch, join
from drypoint.records.layout import SetAside
from drypoint.reduction.inputs import systematic_inputs
from drypoint.reduction.options import Options
from drypoint.reduction.reduce import NO_OVERRIDES, Overrides, Reduced, reduce_batch, seed_batch
from drypoint.reduction.zero_laws import ContactLaw, Seeds, by_law
from drypoint.run.contact_laws import laws_of, seeded
from drypoint.run.pieces import pieces
from drypoint.run.progress import Watch
from drypoint.run.reading import Reading
from drypoint.run.result import Group
from drypoint.store.cache import Cache, cache_key
from drypoint.store.codec import encode, kept
from drypoint.tips.tip import Bench
from drypoint.uncertainty.joint import Joint
from drypoint.version import __version__

#: Pieces that are reduced at the same time, at most.
_AT_ONCE = max(1, min(8, os.cpu_count() or 1))


@dataclass(frozen=True)
class Job:
    """One piece of a bundle: which of all tests (``where``), and the key under which its result is
    kept. ``superseded`` are those of its tests that a later job of the bundle takes over, which is
    marked by ``again``. ``laws`` are those of first contact, once they are found."""

    tip: str
    frame: str
    bench: Bench
    options: Options
    nu: Mapping[str, tuple[float, float]]
    owner: Mapping[str, str]
    inputs: Joint
    batch: Batch
    where: NDArray[np.int64]
    overrides: Overrides
    superseded: frozenset[int]
    key: str
    bundle: int = 0
    again: bool = False
    laws: Mapping[str, ContactLaw] | None = None

    def reduced(self) -> Reduced:
        """Do it."""
        return reduce_batch(
            self.batch, self.bench, self.options, self.nu, nu_of=self.owner,
            overrides=self.overrides, inputs=self.inputs, laws=self.laws,
        )  # fmt: skip

    def seeds(self) -> Seeds:
        """A first look, from which the laws of first contact are found."""
        return seed_batch(
            self.batch, self.bench, self.options, self.nu, nu_of=self.owner, inputs=self.inputs
        )


def jobs_of(study: Study, readings: Sequence[Reading], state: Effective) -> list[Job]:
    """All pieces of work of a study, in the order of their tests."""
    bundles: dict[tuple[str, str, str, str], list[Reading]] = {}
    for r in readings:
        if not len(r.batch):
            continue
        bench = study.bench_of(r.table)
        key = canonical_hash(study.options(r.specimen))
        place = (bench.tip.name, bench.frame.name, key, canonical_hash(bench))
        bundles.setdefault(place, []).append(r)
    out: list[Job] = []
    first = 0
    for k, ((_, _, *hashes), parts) in enumerate(bundles.items()):
        out += [replace(job, bundle=k) for job in _bundle(study, parts, state, first, hashes)]
        first += sum(len(p.batch) for p in parts)
    return out


def _bundle(
    study: Study, parts: Sequence[Reading], state: Effective, first: int, hashes: Sequence[str]
) -> Iterator[Job]:
    """Jobs of one bundle whose tests are counted from ``first``."""
    batch = join([p.batch for p in parts])
    bench = study.bench_of(parts[0].table)
    options = study.options(parts[0].specimen)
    owner = {s: study.nu_owner(s) for s in sorted({p.specimen for p in parts})}
    nu = {}
    for s in sorted(set(owner.values())):
        joint = study.specimen_nu(s)
        nu[s] = (float(joint.mean[0]), float(joint.sd[0]))
    inputs = systematic_inputs(bench, options, nu, owner)
    overrides = overrides_of(study, state, batch)
    touched = [i for i, t in enumerate(batch.tests) if t.name in _names(overrides)]
    read_as = [p.key for p in parts for _ in p.batch.tests]

    def job(which: Sequence[int], over: Overrides, superseded: frozenset[int]) -> Job:
        whole = len(which) == len(batch)
        mine = batch if whole else batch.take(list(which))
        key = cache_key(
            "reduced", __version__, *hashes, canonical_hash([nu, owner]), _hash(over),
            canonical_hash([[read_as[i] for i in which], list(mine.tests)]),
        )  # fmt: skip
        where = np.array(which, dtype=np.int64) + first
        return Job(
            bench.tip.name, bench.frame.name, bench, options, nu, owner, inputs, mine, where, over,
            superseded, key,
        )  # fmt: skip

    moved = set(touched)
    for piece in pieces([t.source.sha256 for t in batch.tests]):
        theirs = frozenset(i - piece.start for i in piece if i in moved)
        yield job(piece, NO_OVERRIDES, theirs)
    if touched:
        yield replace(job(touched, overrides, frozenset()), again=True)


def with_laws(
    jobs: Sequence[Job],
    state: Effective,
    cache: Cache | None,
    watch: Watch,
    *,
    looking: bool = False,
) -> list[Job]:
    """The same jobs, with the laws of first contact of their bundles where these are shared.

    ``looking`` computes nothing that is not kept: the jobs of such a bundle stay as they are.
    """
    out = list(jobs)
    wanted = [i for i, j in enumerate(jobs) if by_law(j.options.zero)]
    for k in dict.fromkeys(jobs[i].bundle for i in wanted):
        mine = [i for i in wanted if jobs[i].bundle == k]
        first = [jobs[i] for i in mine if not jobs[i].again]
        work = [(cache_key("first contact", j.key), j.seeds) for j in first]
        if looking and (cache is None or not all(cache.has(key) for key, _ in work)):
            continue
        parts = []
        for n, seeds in enumerate(seeded(work, cache, _AT_ONCE)):
            watch.at("first contact", n, len(work))
            parts.append(seeds)
        watch.at("first contact", len(work), len(work))
        laws = laws_of(
            parts,
            [[t.name for t in j.batch.tests] for j in first],
            lambda name: state.exclusion(name) is not None,
            first[0].bench,
            first[0].inputs,
            first[0].options,
        )
        for i in mine:
            own = {s: laws[s] for s in sorted({t.specimen for t in jobs[i].batch.tests})}
            out[i] = replace(jobs[i], laws=own, key=cache_key(jobs[i].key, canonical_hash(own)))
    return out


def reduce_groups(
    study: Study,
    readings: Sequence[Reading],
    state: Effective,
    cache: Cache | None,
    watch: Watch,
) -> tuple[tuple[Group, ...], tuple[SetAside, ...]]:
    """Reduce all records.

    Returns
    -------
    groups : tuple of Group
        One for each piece of work.
    set_aside : tuple of SetAside
        Tests that gave none, with the reason.
    """
    jobs = with_laws(jobs_of(study, readings, state), state, cache, watch)
    groups: list[Group] = []
    aside: list[SetAside] = []
    for k, (job, reduced) in enumerate(_results(jobs, cache)):
        words = ", ".join(sorted({t.specimen for t in job.batch.tests}))
        watch.at("reducing", k, len(jobs), words)
        for fault in reduced.faults:
            if fault.test in job.superseded:
                continue
            info = job.batch.tests[fault.test]
            aside.append(
                SetAside(
                    info.source.path, info.name, fault.reason, fault.remedy,
                    info.source.first_line, stage="reducing",
                )
            )  # fmt: skip
        groups.append(
            Group(
                job.tip, job.frame, job.bench, job.options, job.batch, reduced, job.where,
                job.superseded, job.key,
            )
        )  # fmt: skip
    watch.at("reducing", len(jobs), len(jobs))
    return tuple(groups), tuple(aside)


def _results(jobs: Sequence[Job], cache: Cache | None) -> Iterator[tuple[Job, Reduced]]:
    """Each job with its result, kept or computed, in order; a few are computed at once.

    No piece knows of the others, so the numbers are the same however many run.
    """
    missing = [j for j in jobs if cache is None or not cache.has(j.key)]
    with ThreadPoolExecutor(min(_AT_ONCE, max(len(missing), 1))) as pool:
        ahead: dict[str, Future[Reduced]] = {}
        waiting = iter(missing)

        def start() -> None:
            # Only some pieces ahead: results that wait take memory.
            while len(ahead) < 2 * _AT_ONCE and (j := next(waiting, None)) is not None:
                ahead[j.key] = pool.submit(j.reduced)

        try:
            for job in jobs:
                start()
                future = ahead.pop(job.key, None)
                reduced = _cached(cache, job.key) if future is None else future.result()
                if reduced is None:
                    reduced, future = job.reduced(), None
                    _keep(cache, job.key, reduced)
                elif future is not None:
                    _keep(cache, job.key, reduced)
                yield job, reduced
        finally:
            pool.shutdown(wait=True, cancel_futures=True)


def _keep(cache: Cache | None, key: str, reduced: Reduced) -> None:
    if cache is not None:
        tree, arrays = encode(reduced)
        cache.put(key, arrays, tree)


def _hash(overrides: Overrides) -> str:
    return canonical_hash(
        {name: sorted((repr(k), v) for k, v in m.items()) for name, m in vars(overrides).items()}
    )


def _names(overrides: Overrides) -> set[str]:
    keys = [k for m in vars(overrides).values() for k in m]
    return {k[0] if isinstance(k, tuple) else k for k in keys}


def overrides_of(study: Study, state: Effective, batch: Batch) -> Overrides:
    """What a person moved by hand on the tests of a batch: decisions before the recipe's areas."""
    names = {t.name: i for i, t in enumerate(batch.tests)}
    out = Overrides()
    areas = {k: v[:2] for k, v in study.measured_areas().items() if k[0] in names}
    zero, when, drift, unloading, segments = {}, {}, {}, {}, {}
    for name, o in state.overrides.items():
        if name not in names:
            continue
        if o.zero_depth is not None:
            zero[name] = o.zero_depth
        if o.zero_time is not None:
            when[name] = o.zero_time
        if o.drift_window is not None:
            drift[name] = o.drift_window
        for cycle, window in o.unloading_window.items():
            unloading[(name, cycle)] = window
        for cycle, area in o.measured_area.items():
            areas[(name, cycle)] = area[:2]
        if o.segments is not None:
            segments[name] = _samples(batch, names[name], o)
    return replace(
        out, zero=zero, zero_time=when, drift_window=drift, unloading_window=unloading,
        segments=segments, area=areas,
    )  # fmt: skip


def _samples(batch: Batch, i: int, o: TestOverride) -> list[tuple[str, int, int]]:
    time = batch.time[batch.span(i)]

    def at(span: Span, value: float, unit: str) -> int:
        return int(np.searchsorted(time, value)) if unit == "s" else int(value)

    out = []
    for span in o.segments or ():
        ends = span.ends
        assert ends is not None
        unit, a, b = ends
        out.append((str(span.kind), at(span, a, unit), at(span, b, unit)))
    return out


def _cached(cache: Cache | None, key: str) -> Reduced | None:
    entry = cache.get(key) if cache is not None else None
    if entry is None:
        return None
    value = kept(entry.meta, entry.arrays)
    return value if isinstance(value, Reduced) else None
