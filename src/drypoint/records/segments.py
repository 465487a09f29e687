"""Segments of a record, found from the signal: approach, loading, hold, unloading, drift hold.

The controlled signal (force, or depth under depth control) is cut at the corners of its polygon
(largest distance from the chord, applied again and again). Each piece is rising, falling or flat;
what it is called follows from that and from what came before. Declared labels and the user's
overrides take the place of what was found.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import IntEnum
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drypoint.errors import RecordError, Where
from drypoint.records.batch import UNDECLARED, Batch
from drypoint.records.corners import noise_of
from drypoint.records.polygon import cycles_of, find
from drypoint.threads import in_stretches, together

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class Kind(IntEnum):
    """What a segment is."""

    APPROACH = 0
    LOADING = 1
    HOLD = 2
    UNLOADING = 3
    DRIFT_HOLD = 4


#: Words for people.
KIND_NAMES = {
    Kind.APPROACH: "approach",
    Kind.LOADING: "loading",
    Kind.HOLD: "hold",
    Kind.UNLOADING: "unloading",
    Kind.DRIFT_HOLD: "drift hold",
}
_BY_NAME = {v: k for k, v in KIND_NAMES.items()}

FORCE, DEPTH = 0, 1

__all__ = ["DEPTH", "FORCE", "KIND_NAMES", "Kind", "Segments", "find_segments", "noise_of"]


@dataclass(frozen=True)
class Segments:
    """All segments of a batch, ordered by test and time.

    ``test``, ``kind``, ``start``, ``stop`` (sample indices into the batch, stop excluded) and
    ``cycle`` have shape (n_segments,). ``cycle`` counts unloadings from 1; 0 before the first
    loading. ``control`` has shape (n_tests,): 0 force, 1 depth. ``first`` has shape
    (n_tests + 1,): segments of test i are ``first[i]:first[i + 1]``.
    """

    test: Ints
    kind: Ints
    start: Ints
    stop: Ints
    cycle: Ints
    control: Ints
    first: Ints

    def of(self, i: int) -> list[tuple[Kind, int, int, int]]:
        """(kind, start, stop, cycle) of each segment of test ``i``."""
        rows = range(int(self.first[i]), int(self.first[i + 1]))
        return [
            (Kind(int(self.kind[r])), int(self.start[r]), int(self.stop[r]), int(self.cycle[r]))
            for r in rows
        ]


def _from_labels(batch: Batch, i: int, labels: Mapping[str, str]) -> list[tuple[int, int, int]]:
    """(kind, start, stop) from the labels that the file itself declares."""
    span = batch.span(i)
    codes = batch.segment[span]
    cuts = np.flatnonzero(np.diff(codes)) + 1
    edges = np.concatenate([[0], cuts, [len(codes)]])
    found = []
    for a, b in pairwise(edges):
        word = batch.segment_labels[codes[a]] if codes[a] != UNDECLARED else ""
        name = labels.get(word, labels.get(word.lower(), word.lower()))
        if name not in _BY_NAME:
            raise RecordError(
                f"The segment label “{word}” is not known.",
                where=Where(file=batch.tests[i].source.path, test=batch.tests[i].name),
                remedy="Add to [segments.labels] what it means: "
                + ", ".join(KIND_NAMES.values())
                + ".",
            )
        found.append((int(_BY_NAME[name]), span.start + int(a), span.start + int(b)))
    return found


def _found(batch: Batch, wanted: Ints, tolerance: float) -> tuple[NDArray[Any], ...]:
    """Test, kind, start and stop of every segment, and the control of every test."""

    def some(a: int, b: int) -> tuple[NDArray[Any], ...]:
        lo, hi = batch.offsets[a], batch.offsets[b]
        test, kind, start, stop, control = find(
            batch.force[lo:hi], batch.depth[lo:hi], batch.offsets[a : b + 1] - lo, wanted[a:b],
            tolerance,
        )  # fmt: skip
        return test + a, kind, start + lo, stop + lo, control

    return together(in_stretches(len(batch), some))


def find_segments(
    batch: Batch,
    *,
    control: str = "auto",
    tolerance: float = 0.004,
    labels: Mapping[str, str] | None = None,
    overrides: Mapping[str, Sequence[tuple[str, int, int]]] | None = None,
) -> Segments:
    """Find the segments of every test.

    Parameters
    ----------
    batch : Batch
        Raw records.
    control : str
        ``"auto"``, ``"force"`` or ``"depth"``.
    tolerance : float
        Share of the largest force (or depth) below which a change is no change.
    labels : mapping, optional
        The file's own labels -> approach, loading, hold, unloading, drift hold. Used for tests
        whose file declares segments, and only if given.
    overrides : mapping, optional
        Test name -> list of (kind, first sample, stop sample) counted within the test.

    Raises
    ------
    RecordError
        When a declared label or an override cannot be used.
    """
    code = {"auto": -1, "force": FORCE, "depth": DEPTH}[control]
    wanted = np.full(len(batch), code, dtype=np.int64)
    if code < 0:
        for i, t in enumerate(batch.tests):
            word = t.declared.get("control", "").lower()
            if word in ("force", "load"):
                wanted[i] = FORCE
            elif word in ("depth", "displacement"):
                wanted[i] = DEPTH
    test, kind, start, stop, ctl = _found(batch, wanted, tolerance)
    own: dict[int, list[tuple[int, int, int]]] = {}
    if labels:
        for i in range(len(batch)):
            if np.any(batch.segment[batch.span(i)] != UNDECLARED):
                own[i] = _from_labels(batch, i, labels)
    for i, t in enumerate(batch.tests):
        if overrides and t.name in overrides:
            own[i] = [_override(batch, i, o) for o in overrides[t.name]]
    rows: list[tuple[Ints, Ints, Ints, Ints]] = []
    if own:
        for i in range(len(batch)):
            if i in own:
                k, a, b = (np.array(c, dtype=np.int64) for c in zip(*own[i], strict=True))
            else:
                m = test == i
                k, a, b = kind[m], start[m], stop[m]
            rows.append((np.full(len(k), i, dtype=np.int64), k, a, b))
        test, kind, start, stop = (np.concatenate(c) for c in zip(*rows, strict=True))
    first = np.searchsorted(test, np.arange(len(batch) + 1)).astype(np.int64)
    return Segments(test, kind, start, stop, cycles_of(kind, first), ctl, first)


def _override(batch: Batch, i: int, entry: tuple[str, int, int]) -> tuple[int, int, int]:
    name, a, b = entry
    span = batch.span(i)
    n = span.stop - span.start
    if name not in _BY_NAME or not 0 <= a < b <= n:
        raise RecordError(
            f"The segment ({name}, {a}, {b}) is not possible in a test of {n} samples.",
            where=Where(test=batch.tests[i].name),
            remedy="Give a kind (" + ", ".join(_BY_NAME) + ") and 0 <= first < stop <= samples.",
        )
    return int(_BY_NAME[name]), span.start + a, span.start + b
