"""Compiled loops: tables of numbers out of bytes, and the tests that need a second look.

The parser takes only what leaves no doubt: one shape of line, plain numbers, one decimal mark.
Anything else makes it give the file up, and the careful reader takes it.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from drypoint.records.floats import nearest

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bytes = NDArray[np.uint8]

#: What a field is: left out, a number, a word out of a list, empty.
SKIP, NUMBER, WORD, EMPTY = 0, 1, 2, 3


@njit(cache=True, nogil=True)
def _blank(c: int, delimiter: int) -> bool:
    return c == 32 or (c == 9 and delimiter != 9)


@njit(cache=True, nogil=True)
def _number(buf: Bytes, i: int, stop: int, mark: int) -> tuple[int, float, bool, bool]:
    """Place behind the number (-1: none here), its value (NaN: too long for the fast way), whether
    it has a mark, and whether that mark can only be a decimal mark."""
    negative = False
    if i < stop and (buf[i] == 45 or buf[i] == 43):
        negative = buf[i] == 45
        i += 1
    w = np.uint64(0)
    digits = whole = part = q = 0
    first = 0
    long = marked = power = False
    while i < stop and 48 <= buf[i] <= 57:
        if whole == 0:
            first = buf[i]
        whole += 1
        if digits < 19:
            w = w * np.uint64(10) + np.uint64(buf[i] - 48)
            digits += 1 if w > np.uint64(0) else 0
        else:
            long = True
            q += 1
        i += 1
    if i < stop and buf[i] == mark:
        marked = True
        i += 1
        while i < stop and 48 <= buf[i] <= 57:
            part += 1
            if digits < 19:
                w = w * np.uint64(10) + np.uint64(buf[i] - 48)
                digits += 1 if w > np.uint64(0) else 0
                q -= 1
            else:
                long = True
            i += 1
    if whole + part == 0:
        return -1, 0.0, False, False
    if i < stop and (buf[i] == 101 or buf[i] == 69):
        power = True
        i += 1
        down = False
        if i < stop and (buf[i] == 45 or buf[i] == 43):
            down = buf[i] == 45
            i += 1
        e = n = 0
        while i < stop and 48 <= buf[i] <= 57:
            e = min(e * 10 + (buf[i] - 48), 99999)
            n += 1
            i += 1
        if n == 0:
            return -1, 0.0, False, False
        q += -e if down else e
    value = math.nan if long else nearest(w, q)
    clear = marked and (power or part != 3 or whole == 0 or whole > 3 or first == 48)
    return i, -value if negative else value, marked, clear


@njit(cache=True, nogil=True)
def _word(buf: Bytes, i: int, e: int, words: Bytes, bounds: Ints, last: int) -> int:
    """Number of a word in the list, -1 for none there; ``last`` is tried first."""
    for trial in range(-1, len(bounds) - 1):
        k = last if trial < 0 else trial
        if k < 0 or bounds[k + 1] - bounds[k] != e - i:
            continue
        same = True
        for j in range(e - i):
            if buf[i + j] != words[bounds[k] + j]:
                same = False
                break
        if same:
            return k
    return -1


@njit(cache=True, nogil=True)
def _one_file(
    buf: Bytes,
    start: int,
    stop: int,
    delimiter: int,
    mark: int,
    kinds: Ints,
    words: Bytes,
    bounds: Ints,
    out: Floats,
    codes: NDArray[np.int16],
    row: int,
    hard: Ints,
    n_hard: int,
) -> tuple[int, bool, int]:
    """Rows of one table (-1 where it is given up), whether its decimal mark is beyond doubt, and
    how many numbers are left to the caller."""
    n = len(kinds)
    i = start
    rows = 0
    any_mark = any_clear = False
    last = -1
    while i < stop:
        at = i
        while at < stop and _blank(buf[at], delimiter):
            at += 1
        if at < stop and (buf[at] == 10 or buf[at] == 13):
            while at < stop:
                if not (buf[at] == 10 or buf[at] == 13 or buf[at] == 32 or buf[at] == 9):
                    return -1, False, n_hard
                at += 1
            break
        if row + rows >= out.shape[1]:  # a last line without an end has no place kept for it
            return -1, False, n_hard
        slot = 0
        for f in range(n):
            while i < stop and _blank(buf[i], delimiter):
                i += 1
            if kinds[f] == NUMBER:
                begin = i
                i, value, marked, clear = _number(buf, i, stop, mark)
                if i < 0:
                    return -1, False, n_hard
                any_mark |= marked
                any_clear |= clear
                if value != value:
                    if n_hard >= len(hard):
                        return -1, False, n_hard
                    hard[n_hard, 0], hard[n_hard, 1] = slot, row + rows
                    hard[n_hard, 2], hard[n_hard, 3] = begin, i
                    n_hard += 1
                out[slot, row + rows] = value
                slot += 1
            else:
                begin = i
                end = i
                while i < stop:
                    c = buf[i]
                    if c == delimiter or c == 10 or c == 13 or (delimiter == 32 and c == 9):
                        break
                    if c == 34 or c == 35 or (c < 32 and c != 9):
                        return -1, False, n_hard
                    if kinds[f] == SKIP and c > 126:
                        return -1, False, n_hard
                    i += 1
                    if not _blank(c, delimiter):
                        end = i
                if kinds[f] == EMPTY and end > begin:
                    return -1, False, n_hard
                if kinds[f] == WORD:
                    code = -1
                    if end > begin:
                        code = _word(buf, begin, end, words, bounds, last)
                        if code < 0:
                            return -1, False, n_hard
                        last = code
                    codes[row + rows] = code
            at = i
            while i < stop and _blank(buf[i], delimiter):
                i += 1
            if f < n - 1:
                if delimiter == 32:
                    if i == at:
                        return -1, False, n_hard
                elif i < stop and buf[i] == delimiter:
                    i += 1
                else:
                    return -1, False, n_hard
        if i < stop and buf[i] == 13:
            i += 1
        if i >= stop or buf[i] != 10:
            return -1, False, n_hard
        i += 1
        rows += 1
    if rows == 0:
        return -1, False, n_hard
    return rows, any_clear or not any_mark, n_hard


@njit(cache=True, nogil=True)
def parse_files(
    buf: Bytes,
    starts: Ints,
    stops: Ints,
    delimiter: int,
    mark: int,
    kinds: Ints,
    words: Bytes,
    bounds: Ints,
    sure: bool,
    out: Floats,
    codes: NDArray[np.int16],
    hard: Ints,
) -> tuple[Ints, int]:
    """Parse many tables of one shape out of one buffer, one behind the other into ``out``.

    Returns
    -------
    rows : array of int
        Rows of each table, 0 where it was given up: another shape, or (unless ``sure``) a mark
        that could be one between thousands.
    n_hard : int
        Numbers that are left to the caller: (slot, row, first byte, last byte) in ``hard``.
    """
    rows = np.zeros(len(starts), dtype=np.int64)
    row = n_hard = 0
    for k in range(len(starts)):
        before = n_hard
        found, clear, n_hard = _one_file(
            buf, starts[k], stops[k], delimiter, mark, kinds, words, bounds, out, codes, row,
            hard, n_hard,
        )  # fmt: skip
        if found > 0 and (clear or sure):
            rows[k] = found
            row += found
        else:
            n_hard = before
    return rows, n_hard


@njit(cache=True, nogil=True)
def odd_clocks(time: Floats, offsets: Ints, longest: float) -> NDArray[np.bool_]:
    """Tests whose time must be looked at: it falls, stands still, or has a step of ``longest``
    times the shortest."""
    out = np.zeros(len(offsets) - 1, dtype=np.bool_)
    for t in range(len(offsets) - 1):
        a, b = offsets[t], offsets[t + 1]
        if a == b:
            out[t] = True
            continue
        low, high = math.inf, -math.inf
        broken = False
        for i in range(a + 1, b):
            step = time[i] - time[i - 1]
            if step != step:
                broken = True
                break
            low, high = min(low, step), max(high, step)
        if not broken and b - a > 1:
            out[t] = low < 0 or high == 0 or high > longest * low
    return out


@njit(cache=True, nogil=True)
def _run_at_top(a: Floats, top: int) -> int:
    n = top
    while n < len(a) and a[n] == a[top]:
        n += 1
    return n - top


@njit(cache=True, nogil=True)
def in_doubt(
    force: Floats,
    depth: Floats,
    offsets: Ints,
    min_samples: int,
    min_unloading: float,
    min_run: int,
    force_limits: tuple[float, float],
    depth_limits: tuple[float, float],
) -> NDArray[np.bool_]:
    """Tests that are not usable beyond doubt: few samples, odd sizes or signs, equal values at the
    top, no unloading."""
    out = np.ones(len(offsets) - 1, dtype=np.bool_)
    for t in range(len(offsets) - 1):
        f, h = force[offsets[t] : offsets[t + 1]], depth[offsets[t] : offsets[t + 1]]
        if len(f) < min_samples:
            continue
        top = deep = 0
        low = h[0]
        for i in range(len(f)):
            if f[i] > f[top]:
                top = i
            if h[i] > h[deep]:
                deep = i
            low = min(low, h[i])
        span = h[deep] - low
        fine = force_limits[0] <= f[top] <= force_limits[1]
        fine = fine and depth_limits[0] <= span <= depth_limits[1]
        fine = fine and h[top] >= h[0] - 0.5 * span
        fine = fine and _run_at_top(f, top) < min_run and _run_at_top(h, deep) < min_run
        if fine:
            least = f[top]
            for i in range(top, len(f)):
                least = min(least, f[i])
            out[t] = least > (1 - min_unloading) * f[top]
    return out


@njit(cache=True, nogil=True)
def _break_in(x: Floats, y: Floats, share: float) -> int:
    """First sample at which ``x`` leaps alone, by a fifth of its range and far more than it usually
    steps: there and back while ``y`` moves by less than a quarter as much (of its range), or by
    two orders of magnitude while it moves by less than ``share``."""
    span = np.max(x) - np.min(x)
    other = np.max(y) - np.min(y)
    usual = -1.0
    for i in range(1, len(x)):
        step = abs(x[i] - x[i - 1])
        if step <= 0.2 * span:
            continue
        if usual < 0:
            usual = float(np.median(np.abs(np.diff(x))))
        moved = abs(y[i] - y[i - 1]) * span
        a, b = abs(x[i - 1]), abs(x[i])
        apart = min(a, b) < 0.01 * max(a, b)
        if apart and step > 5 * usual and moved < share * step * other:
            return i
        back = i + 1 < len(x) and abs(x[i + 1] - x[i - 1]) < 0.1 * step
        if back and step > 20 * usual and moved < 0.25 * step * other:
            return i
    return -1


@njit(cache=True, nogil=True)
def first_breaks(force: Floats, depth: Floats, offsets: Ints) -> Ints:
    """First sample of each test at which force or depth leaps alone, -1 where there is none."""
    out: Ints = np.full(len(offsets) - 1, -1, dtype=np.int64)
    for t in range(len(offsets) - 1):
        f, h = force[offsets[t] : offsets[t + 1]], depth[offsets[t] : offsets[t + 1]]
        if len(f) < 3:
            continue
        i, k = _break_in(f, h, 0.5), _break_in(h, f, 0.15)
        out[t] = i if k < 0 or 0 <= i < k else k
    return out


#: Share of the largest force at which contact is taken as made, and the depth there as a share of
#: the whole for a force that grows with the square of the depth: for an order of size only.
_IN_CONTACT, _DEPTH_THERE = 0.05, 0.05**0.5


@njit(cache=True, nogil=True)
def depths_in_contact(force: Floats, depth: Floats, offsets: Ints) -> Floats:
    """Depth (m) that each record reaches in contact, without its approach; shape (n_tests,).

    From the last sample of the loading below a twentieth of the largest force, on the assumption
    that force grows with the square of depth. For an order of size, not for a result.
    """
    out = np.zeros(len(offsets) - 1)
    for t in range(len(out)):
        a, b = offsets[t], offsets[t + 1]
        if b <= a:
            continue
        top = a + int(np.argmax(force[a:b]))
        base = np.min(force[a : top + 1])
        least = base + _IN_CONTACT * (force[top] - base)
        at = top
        while at > a and force[at] > least:
            at -= 1
        if force[at] > least:  # in contact from the first sample on
            out[t] = np.max(depth[a:b]) - np.min(depth[a:b])
        else:
            out[t] = (np.max(depth[a:b]) - depth[at]) / (1.0 - _DEPTH_THERE)
    return out
