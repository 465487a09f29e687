"""What was measured: a batch of tests, columnar, in SI.

One long array per channel, one entry per test in ``tests``, and ``offsets`` between them:
test ``i`` is ``batch.force[offsets[i]:offsets[i + 1]]``. Kernels run over offsets.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: ``Batch.segment`` where the file declares no segment for a sample.
UNDECLARED = -1


@dataclass(frozen=True)
class Source:
    """Where a test came from. ``path`` is as the study names it, with what stands inside a file
    behind a ``!`` (``raw/batch.zip!/a.txt``, ``raw/batch.xlsx!Sheet1``); the hash is of the whole
    raw file (as it lies on disk, compressed or not), ``member_sha256`` of a member of a zip file.
    Lines are lines of a text, rows of a sheet or Parquet file, sample numbers in HDF5."""

    path: str
    sha256: str
    first_line: int | None = None
    last_line: int | None = None
    member_sha256: str | None = None


@dataclass(frozen=True)
class TestInfo:
    """One test's name, place and what the operator declared.

    ``declared`` maps plain keys to the words in the file. Known keys: ``temperature``,
    ``humidity``, ``date``, ``time``, ``operator``, ``indenter``, ``instrument``, ``specimen``,
    ``control`` (``force`` or ``depth``), ``x``, ``y``; every other header pair keeps its own words
    in lower case. ``position_m`` is (x, y) in metres where declared.
    """

    __test__ = False  # not a pytest class

    name: str
    specimen: str
    source: Source
    position_m: tuple[float, float] | None = None
    declared: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Batch:
    """Tests in SI: time (s), force (N), depth (m), each of shape (n_samples,).

    ``offsets`` has shape (n_tests + 1,). A test without time has NaN in all its times. ``segment``
    holds the declared label per sample as an index into ``segment_labels``, or
    :data:`UNDECLARED`. ``channels`` holds any further column (SI where its unit is known).
    """

    tests: tuple[TestInfo, ...]
    offsets: NDArray[np.int64]
    time: Floats
    force: Floats
    depth: Floats
    segment: NDArray[np.int16]
    segment_labels: tuple[str, ...] = ()
    channels: Mapping[str, Floats] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.tests)

    def span(self, i: int) -> slice:
        """Samples of test ``i``."""
        return slice(int(self.offsets[i]), int(self.offsets[i + 1]))

    def take(self, which: NDArray[np.int64] | list[int]) -> Batch:
        """The chosen tests, in the given order, as a new batch."""
        idx = [int(i) for i in which]
        pieces = [self.span(i) for i in idx]

        def cut(a: NDArray) -> NDArray:
            return np.concatenate([a[p] for p in pieces]) if pieces else a[:0]

        lengths = np.array([p.stop - p.start for p in pieces], dtype=np.int64)
        return replace(
            self,
            tests=tuple(self.tests[i] for i in idx),
            offsets=np.concatenate([[0], np.cumsum(lengths)]).astype(np.int64),
            time=cut(self.time),
            force=cut(self.force),
            depth=cut(self.depth),
            segment=cut(self.segment),
            channels={k: cut(v) for k, v in self.channels.items()},
        )


def join(batches: list[Batch]) -> Batch:
    """Put batches behind one another. A channel that one of them lacks is NaN there.

    Segment labels are merged; the order of tests is the order given.
    """
    if len(batches) == 1:
        return batches[0]
    labels: dict[str, int] = {}
    for b in batches:
        for label in b.segment_labels:
            labels.setdefault(label, len(labels))
    channels = sorted({k for b in batches for k in b.channels})
    segments = []
    for b in batches:
        table = np.array([labels[s] for s in b.segment_labels] + [UNDECLARED], dtype=np.int16)
        segments.append(table[b.segment])
    starts = np.cumsum([0] + [len(b.force) for b in batches])

    def cat(parts: list[Floats]) -> Floats:
        return np.concatenate(parts) if parts else np.empty(0)

    return Batch(
        tests=tuple(t for b in batches for t in b.tests),
        offsets=np.concatenate(
            [[0]] + [b.offsets[1:] + s for b, s in zip(batches, starts, strict=False)]
        ).astype(np.int64),
        time=cat([b.time for b in batches]),
        force=cat([b.force for b in batches]),
        depth=cat([b.depth for b in batches]),
        segment=np.concatenate(segments) if segments else np.empty(0, dtype=np.int16),
        segment_labels=tuple(labels),
        channels={
            k: cat([b.channels.get(k, np.full(len(b.force), np.nan)) for b in batches])
            for k in channels
        },
    )
