"""Reduce the records of a study, group by group, through the cache.

A group is all tests that share tip, frame and choices. It is reduced as the recipe says, whatever
was decided; the tests on which a person moved something by hand are then reduced once more, as a
small group of their own that takes their place. So a decision touches only its own test, and an
exclusion none.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from drypoint.recipe import Effective, Span, Study, TestOverride, canonical_hash
from drypoint.records.batch import Batch, join
from drypoint.records.layout import SetAside
from drypoint.reduction.reduce import NO_OVERRIDES, Overrides, Reduced, reduce_batch
from drypoint.run.progress import Watch
from drypoint.run.reading import Reading
from drypoint.run.result import Group
from drypoint.store.cache import Cache, cache_key
from drypoint.store.codec import encode, kept
from drypoint.version import __version__


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
        Those that have at least one test with a result.
    set_aside : tuple of SetAside
        Tests that gave none, with the reason.
    """
    bundles: dict[tuple[str, str, str, str], list[Reading]] = {}
    for r in readings:
        if not len(r.batch):
            continue
        bench = study.bench_of(r.table)
        key = canonical_hash(study.options(r.specimen))
        place = (bench.tip.name, bench.frame.name, key, canonical_hash(bench))
        bundles.setdefault(place, []).append(r)
    groups: list[Group] = []
    aside: list[SetAside] = []
    first = 0
    for k, ((tip, frame, options_hash, bench_hash), parts) in enumerate(bundles.items()):
        watch.at("reducing", k, len(bundles), ", ".join(sorted({p.specimen for p in parts})))
        batch = join([p.batch for p in parts])
        bench = study.bench_of(parts[0].table)
        options = study.options(parts[0].specimen)
        owner = {s: study.nu_owner(s) for s in sorted({p.specimen for p in parts})}
        nu = {}
        for s in sorted(set(owner.values())):
            joint = study.specimen_nu(s)
            nu[s] = (float(joint.mean[0]), float(joint.sd[0]))
        overrides = overrides_of(study, state, batch)
        touched = [i for i, t in enumerate(batch.tests) if t.name in _names(overrides)]
        everything = np.arange(first, first + len(batch))
        for which, over in ((None, NO_OVERRIDES), (touched, overrides)):
            if which is not None and not which:
                continue
            part = batch if which is None else batch.take(which)
            key = cache_key(
                "reduced", __version__, options_hash, bench_hash,
                canonical_hash([nu, owner]), _hash(over),
                *(p.key for p in parts), *(t.name for t in part.tests),
            )  # fmt: skip
            reduced = _cached(cache, key)
            if reduced is None:
                reduced = reduce_batch(part, bench, options, nu, nu_of=owner, overrides=over)
                if cache is not None:
                    tree, arrays = encode(reduced)
                    cache.put(key, arrays, tree)
            superseded = frozenset(touched) if which is None else frozenset()
            for fault in reduced.faults:
                if fault.test in superseded:
                    continue
                info = part.tests[fault.test]
                aside.append(
                    SetAside(
                        info.source.path, info.name, fault.reason, fault.remedy,
                        info.source.first_line, stage="reducing",
                    )
                )  # fmt: skip
            where = everything if which is None else everything[which]
            groups.append(Group(tip, frame, bench, options, part, reduced, where, superseded))
        first += len(batch)
    watch.at("reducing", len(bundles), len(bundles))
    return tuple(groups), tuple(aside)


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
