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

import numpy as np
from numba import njit
from numpy.typing import NDArray

from drypoint.errors import RecordError, Where
from drypoint.records.batch import UNDECLARED, Batch

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


@njit(cache=True)
def noise_of(y: Floats) -> float:
    """Noise of a slowly changing signal from its second differences (robust), same unit as y."""
    n = len(y)
    if n < 8:
        return 0.0
    d = np.empty(n - 2)
    for i in range(n - 2):
        d[i] = abs(y[i + 2] - 2.0 * y[i + 1] + y[i])
    return float(np.median(d)) * 1.4826 / np.sqrt(6.0)


@njit(cache=True)
def _corners(y: Floats, tol: float) -> Ints:
    n = len(y)
    keep = np.zeros(n, dtype=np.bool_)
    keep[0] = True
    keep[n - 1] = True
    stack = np.empty((n + 2, 2), dtype=np.int64)
    top = 0
    stack[0, 0] = 0
    stack[0, 1] = n - 1
    top = 1
    while top > 0:
        top -= 1
        a = stack[top, 0]
        b = stack[top, 1]
        if b - a < 2:
            continue
        slope = (y[b] - y[a]) / (b - a)
        worst = 0.0
        at = -1
        for i in range(a + 1, b):
            d = abs(y[i] - y[a] - slope * (i - a))
            if d > worst:
                worst = d
                at = i
        if worst > tol:
            keep[at] = True
            stack[top, 0] = a
            stack[top, 1] = at
            stack[top + 1, 0] = at
            stack[top + 1, 1] = b
            top += 2
    return np.flatnonzero(keep)


@njit(cache=True)
def _longest_flat(y: Floats, other: Floats, level: float, tol: float, otol: float) -> int:
    """Samples of the longest stretch above ``level`` in which y stays within tol while the other
    signal moves by more than otol; 0 where there is none."""
    n = len(y)
    best = 0
    a = 0
    while a < n:
        if y[a] < level:
            a += 1
            continue
        lo = y[a]
        hi = y[a]
        b = a + 1
        while b < n:
            lo = min(lo, y[b])
            hi = max(hi, y[b])
            if hi - lo > tol:
                break
            b += 1
        if b - a > best and abs(other[b - 1] - other[a]) > otol:
            best = b - a
        a += max(1, (b - a) // 2)
    return best


@njit(cache=True)
def _control_of(force: Floats, depth: Floats, tolerance: float) -> int:
    """Depth control where a stretch of constant depth with falling force outlasts every stretch
    of constant force near the top; otherwise force control."""
    fmax = np.max(force)
    hmax = np.max(depth)
    tf = max(tolerance * fmax, 8.0 * noise_of(force))
    th = max(tolerance * hmax * 0.5, 8.0 * noise_of(depth))
    flat_f = _longest_flat(force, depth, 0.6 * fmax, tf, 0.0)
    flat_h = _longest_flat(depth, force, 0.6 * hmax, th, 2.0 * tf)
    if flat_h > 1.5 * flat_f and flat_h > 5:
        return 1
    return 0


@njit(cache=True)
def _pieces(y: Floats, tol: float) -> tuple[Ints, Ints]:
    """Corner indices and the trend of each piece between them: 1, 0 or -1; like trends merged."""
    corners = _corners(y, tol)
    m = len(corners) - 1
    trend = np.empty(m, dtype=np.int64)
    for i in range(m):
        dy = y[corners[i + 1]] - y[corners[i]]
        trend[i] = 1 if dy > tol else (-1 if dy < -tol else 0)
    # A flat bit shorter than a hundredth of the record between two pieces of one trend is no hold.
    n = len(y)
    for i in range(1, m - 1):
        short = corners[i + 1] - corners[i] < max(5, n // 100)
        if trend[i] == 0 and short and trend[i - 1] != 0 and trend[i - 1] == trend[i + 1]:
            trend[i] = trend[i - 1]
    # A reversal hardly above the tolerance inside a trend is noise or a small overshoot.
    for i in range(1, m - 1):
        dy = abs(y[corners[i + 1]] - y[corners[i]])
        if trend[i - 1] == trend[i + 1] and trend[i] != trend[i - 1] and dy < 2.0 * tol:
            if corners[i + 1] - corners[i] < max(5, n // 100):
                trend[i] = trend[i - 1]
    edges = np.empty(m + 1, dtype=np.int64)
    kinds = np.empty(m, dtype=np.int64)
    count = 0
    edges[0] = 0
    for i in range(m):
        if count > 0 and kinds[count - 1] == trend[i]:
            edges[count] = corners[i + 1]
        else:
            kinds[count] = trend[i]
            count += 1
            edges[count] = corners[i + 1]
    return edges[: count + 1], kinds[:count]


@njit(cache=True)
def _name(y: Floats, edges: Ints, trend: Ints, tol: float) -> tuple[Ints, Ints]:
    """Kind and cycle of each piece."""
    m = len(trend)
    kind = np.empty(m, dtype=np.int64)
    cycle = np.zeros(m, dtype=np.int64)
    top = np.max(y)
    last_peak_piece = -1
    for i in range(m):
        if trend[i] == 1:
            last_peak_piece = i
    loaded = False
    unloaded = True
    now = 0
    for i in range(m):
        level = 0.5 * (y[edges[i]] + y[edges[i + 1]])
        if trend[i] == 1:
            if unloaded:
                now += 1
                unloaded = False
            kind[i] = 1
            loaded = True
        elif trend[i] == -1:
            kind[i] = 3 if loaded else 0
            if loaded:
                unloaded = True
        elif not loaded:
            kind[i] = 0
        elif unloaded and i > last_peak_piece and level < 0.5 * top:
            kind[i] = 4
        else:
            kind[i] = 2
        cycle[i] = now
    # A flat low stretch in contact before the main loading is a drift hold as well.
    seen_unloading = False
    for i in range(m):
        if kind[i] == 3:
            seen_unloading = True
        level = 0.5 * (y[edges[i]] + y[edges[i + 1]])
        if kind[i] == 2 and not seen_unloading and level < 0.2 * top:
            rises_later = False
            for j in range(i + 1, m):
                if kind[j] == 1 and y[edges[j + 1]] > 4.0 * level:
                    rises_later = True
                if kind[j] == 3:
                    break
            if rises_later:
                kind[i] = 4
    # A record that ends flat at no force has left the surface: that stretch is no drift hold.
    if m > 0 and kind[m - 1] == 4 and abs(y[edges[m]]) < 2.0 * tol:
        kind[m - 1] = 3
    return kind, cycle


@njit(cache=True)
def _refine(y: Floats, edges: Ints, kind: Ints, tol: float) -> None:
    """Move the start of each unloading to the last sample still at the top."""
    m = len(kind)
    for i in range(1, m):
        if kind[i] != 3 or (kind[i - 1] != 2 and kind[i - 1] != 1):
            continue
        e = edges[i]
        if kind[i - 1] == 2:
            a = edges[i - 1]
            tail = y[a + 2 * (e - a) // 3 : e + 1]
            level = np.median(tail)
            floor = level - min(0.25 * tol, 3.5 * noise_of(tail) + 1e-6 * abs(level))
            b = min(edges[i + 1], e + max(3, (edges[i + 1] - e) // 4))
            last = e
            while last > a and y[last] < floor:
                last -= 1
            for j in range(e, b):
                if y[j] >= floor:
                    last = j
            edges[i] = last
        else:
            a = edges[i - 1]
            a = max(a, e - max(3, (e - a) // 4))
            b = min(edges[i + 1], e + max(3, (edges[i + 1] - e) // 4))
            edges[i] = a + int(np.argmax(y[a : b + 1]))


@njit(cache=True)
def _find(
    force: Floats, depth: Floats, offsets: Ints, control: Ints, tolerance: float
) -> tuple[Ints, Ints, Ints, Ints, Ints]:
    n_tests = len(offsets) - 1
    cap = 16 * n_tests + 64
    out = np.empty((cap, 5), dtype=np.int64)
    found = np.empty(n_tests, dtype=np.int64)
    count = 0
    for t in range(n_tests):
        a, b = offsets[t], offsets[t + 1]
        f = force[a:b]
        h = depth[a:b]
        c = control[t]
        if c < 0:
            c = _control_of(f, h, tolerance)
        found[t] = c
        y = f if c == 0 else h
        base = np.median(np.sort(y)[: max(3, len(y) // 50)])
        y = y - min(base, 0.0) if c == 0 else y
        tol = max(tolerance * np.max(np.abs(y)), 6.0 * noise_of(y))
        edges, trend = _pieces(y, tol)
        kind, cycle = _name(y, edges, trend, tol)
        _refine(y, edges, kind, tol)
        if c == 1:
            # Under depth control the way to the surface also rises: it carries no force.
            ftol = max(tolerance * np.max(f), 6.0 * noise_of(f))
            for i in range(len(kind)):
                if kind[i] == 1:
                    s = edges[i]
                    e = edges[i + 1]
                    k = s
                    start = np.median(f[s : min(s + 5, e + 1)])
                    while k < e and f[k] - start < ftol:
                        k += 1
                    if k - s > 5 and i == 0:
                        edges2 = np.empty(len(edges) + 1, dtype=np.int64)
                        kind2 = np.empty(len(kind) + 1, dtype=np.int64)
                        cycle2 = np.empty(len(kind) + 1, dtype=np.int64)
                        edges2[0] = s
                        edges2[1] = k
                        edges2[2:] = edges[1:]
                        kind2[0] = 0
                        kind2[1:] = kind
                        cycle2[0] = 0
                        cycle2[1:] = cycle
                        edges, kind, cycle = edges2, kind2, cycle2
                    break
        for i in range(len(kind)):
            if i > 0 and kind[i] == kind[i - 1] and cycle[i] == cycle[i - 1]:
                out[count - 1, 3] = a + edges[i + 1] + (1 if i == len(kind) - 1 else 0)
                continue
            if count == cap:
                bigger = np.empty((cap * 2, 5), dtype=np.int64)
                bigger[:cap] = out
                out = bigger
                cap *= 2
            out[count, 0] = t
            out[count, 1] = kind[i]
            out[count, 2] = a + edges[i]
            out[count, 3] = a + edges[i + 1] + (1 if i == len(kind) - 1 else 0)
            out[count, 4] = cycle[i]
            count += 1
    o = out[:count]
    return o[:, 0].copy(), o[:, 1].copy(), o[:, 2].copy(), o[:, 3].copy(), found


def _cycles_of(kind: Ints) -> Ints:
    """Cycle number of each of one test's segments from their kinds."""
    cycle = np.zeros(len(kind), dtype=np.int64)
    now, fresh = 0, True
    for i, k in enumerate(kind):
        if k == Kind.LOADING and fresh:
            now, fresh = now + 1, False
        if k == Kind.UNLOADING:
            fresh = True
        cycle[i] = now
    return cycle


def _from_labels(batch: Batch, i: int, labels: Mapping[str, str]) -> list[tuple[int, int, int]]:
    """(kind, start, stop) from the labels that the file itself declares."""
    span = batch.span(i)
    codes = batch.segment[span]
    cuts = np.flatnonzero(np.diff(codes)) + 1
    edges = np.concatenate([[0], cuts, [len(codes)]])
    found = []
    for a, b in zip(edges[:-1], edges[1:], strict=True):
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
    test, kind, start, stop, ctl = _find(batch.force, batch.depth, batch.offsets, wanted, tolerance)
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
    first = np.searchsorted(test, np.arange(len(batch) + 1))
    cycle = np.concatenate(
        [_cycles_of(kind[first[i] : first[i + 1]]) for i in range(len(batch))]
        or [np.empty(0, dtype=np.int64)]
    )
    return Segments(test, kind, start, stop, cycle, ctl, first.astype(np.int64))


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
