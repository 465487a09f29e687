"""The laws of first contact of a study: from all pieces of a bundle, whatever the pieces are.

Each piece is looked at once (kept in the cache); the laws of its specimens are found from all tests
of the bundle in their order, without those that a person excluded.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from drypoint.reduction.options import Options
from drypoint.reduction.zero_laws import ContactLaw, Seeds, find_laws, join_seeds
from drypoint.store.cache import Cache
from drypoint.store.codec import encode, kept
from drypoint.tips.tip import Bench
from drypoint.uncertainty.joint import Joint


def seeded(
    work: Sequence[tuple[str, Callable[[], Seeds]]], cache: Cache | None, at_once: int
) -> Iterator[Seeds]:
    """Seeds of pieces in order, kept or computed; ``work`` has the key of each, and how."""

    def one(item: tuple[str, Callable[[], Seeds]]) -> tuple[Seeds, bool]:
        key, make = item
        entry = cache.get(key) if cache is not None and cache.has(key) else None
        value = kept(entry.meta, entry.arrays) if entry is not None else None
        return (value, False) if isinstance(value, Seeds) else (make(), True)

    with ThreadPoolExecutor(min(at_once, max(len(work), 1))) as pool:
        try:
            for (key, _), (seeds, new) in zip(work, pool.map(one, work), strict=True):
                if new and cache is not None:
                    tree, arrays = encode(seeds)
                    cache.put(key, arrays, tree)
                yield seeds
        finally:
            pool.shutdown(wait=True, cancel_futures=True)


def laws_of(
    parts: Sequence[Seeds],
    names: Sequence[Sequence[str]],
    excluded: Callable[[str], bool],
    bench: Bench,
    inputs: Joint,
    options: Options,
) -> Mapping[str, ContactLaw]:
    """Laws of a bundle from the seeds of its pieces; ``names`` are the tests of each."""
    taken = []
    for seeds, tests in zip(parts, names, strict=True):
        good = np.array([i for i, n in enumerate(tests) if not excluded(n)], dtype=np.int64)
        taken.append(seeds.take(good))
    laws = find_laws(join_seeds(taken), bench.tip, inputs, options.zero)
    # A specimen of which every test was excluded has a law nevertheless: the tests are shown.
    missing = {s for p in parts for s in p.specimen} - set(laws)
    if missing:
        whole = find_laws(join_seeds(parts), bench.tip, inputs, options.zero)
        laws = {**laws, **{s: whole[s] for s in sorted(missing)}}
    return laws


__all__ = ["laws_of", "seeded"]
