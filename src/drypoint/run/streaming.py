"""Reduce more tests than fit into memory: chunk by chunk, with the memory of a few chunks."""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass

from drypoint.records.batch import TestInfo
from drypoint.records.check import check
from drypoint.records.chunks import read_in_chunks
from drypoint.records.layout import Layout, SetAside
from drypoint.records.paths import Paths
from drypoint.records.read import ReadOutcome
from drypoint.reduction.inputs import systematic_inputs
from drypoint.reduction.options import Options
from drypoint.reduction.reduce import reduce_batch, seed_batch
from drypoint.reduction.result import Reduction
from drypoint.reduction.zero_laws import MOST, ContactLaw, Seeds, by_law, find_laws, join_seeds
from drypoint.threads import cores, threads
from drypoint.tips.tip import Bench
from drypoint.uncertainty.joint import Joint

#: Samples in a chunk: small enough to stay near the processor.
SAMPLES = 500_000


@dataclass(frozen=True)
class Chunk:
    """Results of some tests.

    ``reduction`` has one row a test that gave a result; its ``test`` counts over ``tests``.
    ``set_aside`` names what could not be read or reduced, and why.
    """

    tests: tuple[TestInfo, ...]
    reduction: Reduction
    set_aside: tuple[SetAside, ...]
    notes: tuple[str, ...]


def reduce_in_chunks(
    paths: Paths,
    bench: Bench,
    options: Options,
    poisson: Mapping[str, tuple[float, float]],
    *,
    layout: Layout | None = None,
    specimen: str = "",
    samples: int = SAMPLES,
    workers: int | None = None,
) -> Iterator[Chunk]:
    """Read and reduce files chunk by chunk; the numbers are those of the whole in one go.

    Parameters
    ----------
    paths : Path, str, or a collection of these
        Raw files, as for :func:`~drypoint.records.chunks.read_in_chunks`.
    bench, options, poisson
        As for :func:`~drypoint.reduction.reduce.reduce_batch`; ``poisson`` has every specimen.
    layout : Layout, optional
        What is declared about the files.
    specimen : str
        Name of the specimen; without it, what the files say.
    samples : int
        About how many samples a chunk holds; a test is never cut.
    workers : int, optional
        Chunks reduced at a time; by default one for each processor core.

    Yields
    ------
    Chunk
        In the order of the files. The inputs are the same in all of them, so that results of
        chunks may be put together.

    Raises
    ------
    ReductionError
        When a specimen has no Poisson's ratio.
    RecordError
        ``paths`` is neither a path nor a collection of paths; raised by the call itself.
    """

    def outcomes() -> Iterator[ReadOutcome]:
        return read_in_chunks(paths, layout, samples=samples, specimen=specimen)

    return _reduced(outcomes(), outcomes, bench, options, poisson, workers)


def _laws(
    outcomes: Iterator[ReadOutcome],
    bench: Bench,
    options: Options,
    poisson: Mapping[str, tuple[float, float]],
    inputs: Joint,
) -> Mapping[str, ContactLaw]:
    """The laws of first contact, from the first tests of each specimen."""
    parts: list[Seeds] = []
    counted: Counter[str] = Counter()
    for outcome in outcomes:
        batch, _ = check(outcome.batch)
        if len(batch):
            parts.append(seed_batch(batch, bench, options, poisson, inputs=inputs))
            counted.update(t.specimen for t in batch.tests)
        if all(counted[s] >= 2 * MOST for s in poisson):
            break
    return find_laws(join_seeds(parts), bench.tip, inputs, options.zero) if parts else {}


def _reduced(
    outcomes: Iterator[ReadOutcome],
    again: Callable[[], Iterator[ReadOutcome]],
    bench: Bench,
    options: Options,
    poisson: Mapping[str, tuple[float, float]],
    workers: int | None,
) -> Iterator[Chunk]:
    inputs = systematic_inputs(bench, options, {s: poisson[s] for s in sorted(poisson)})
    count = workers or cores()
    laws = _laws(again(), bench, options, poisson, inputs) if by_law(options.zero) else None

    def work(outcome: ReadOutcome) -> Chunk:
        with threads(1 if count > 1 else cores()):
            return _chunk(outcome, bench, options, poisson, inputs, laws)

    waiting: deque[Future[Chunk]] = deque()
    with ThreadPoolExecutor(count) as pool:
        try:
            for outcome in outcomes:
                waiting.append(pool.submit(work, outcome))
                # A chunk more than workers is enough to keep all at work.
                if len(waiting) > count:
                    yield waiting.popleft().result()
            while waiting:
                yield waiting.popleft().result()
        finally:
            pool.shutdown(wait=True, cancel_futures=True)


def _chunk(
    outcome: ReadOutcome,
    bench: Bench,
    options: Options,
    poisson: Mapping[str, tuple[float, float]],
    inputs: Joint,
    laws: Mapping[str, ContactLaw] | None,
) -> Chunk:
    batch, bad = check(outcome.batch)
    reduced = reduce_batch(batch, bench, options, poisson, inputs=inputs, laws=laws)
    aside = [*outcome.set_aside, *bad]
    for fault in reduced.faults:
        info = batch.tests[fault.test]
        aside.append(
            SetAside(
                info.source.path, info.name, fault.reason, fault.remedy, info.source.first_line,
                stage="reducing",
            )
        )  # fmt: skip
    return Chunk(batch.tests, reduced.tests, tuple(aside), outcome.notes)


__all__ = ["SAMPLES", "Chunk", "reduce_in_chunks"]
