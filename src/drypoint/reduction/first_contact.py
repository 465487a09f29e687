"""First contact: the stretches of loading curves from which zeros are found.

Only what the fits need is kept, so that the tests of a specimen can be fitted together however
their records were divided.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Samples that a fit of first contact needs to be trusted; fewer are flagged.
ENOUGH = 10
#: Fewer than these are no fit at all: the zero is then the first sample above the noise.
LEAST = 5


@dataclass(frozen=True)
class Windows:
    """First contact of each test, test behind test.

    ``force`` (N, base line taken off) and ``depth`` (m, frame taken off) have shape (n_samples,);
    ``offsets`` (n_tests + 1,). ``u_force`` and ``u_depth`` (n_tests,) are the standard deviations
    of single readings, ``u_base`` (N) the uncertainty of the base line.
    """

    force: Floats
    depth: Floats
    offsets: Ints
    u_force: Floats
    u_depth: Floats
    u_base: Floats

    def __len__(self) -> int:
        return len(self.offsets) - 1

    def take(self, tests: Ints) -> Windows:
        """Those of some tests."""
        counts = np.diff(self.offsets)[tests]
        offsets = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
        at = np.arange(offsets[-1]) + np.repeat(self.offsets[:-1][tests] - offsets[:-1], counts)
        return Windows(
            self.force[at], self.depth[at], offsets, self.u_force[tests], self.u_depth[tests],
            self.u_base[tests],
        )  # fmt: skip

    @property
    def test(self) -> Ints:
        """Test of each sample."""
        return np.repeat(np.arange(len(self)), np.diff(self.offsets))


def join_windows(parts: Sequence[Windows]) -> Windows:
    """Windows of several batches, in their order."""
    counts = np.concatenate([np.diff(p.offsets) for p in parts])
    return Windows(
        np.concatenate([p.force for p in parts]),
        np.concatenate([p.depth for p in parts]),
        np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
        np.concatenate([p.u_force for p in parts]),
        np.concatenate([p.u_depth for p in parts]),
        np.concatenate([p.u_base for p in parts]),
    )


@njit(cache=True, nogil=True)
def _reach(
    force: Floats, depth: Floats, contact: Ints, stop: Ints, base: Floats, window: Floats
) -> tuple[Ints, Ints]:
    """Samples after contact within each window, and those of them whose force is above zero."""
    n = len(contact)
    count, good = np.zeros(n, np.int64), np.zeros(n, np.int64)
    for t in range(n):
        if contact[t] < 0:
            continue
        i = contact[t]
        while i < stop[t] and depth[i] - depth[contact[t]] <= window[t]:
            if force[i] > base[t]:
                good[t] += 1
            i += 1
        count[t] = i - contact[t]
    return count, good


@njit(cache=True, nogil=True)
def _kept(
    force: Floats, depth: Floats, contact: Ints, count: Ints, base: Floats, total: int
) -> tuple[Floats, Floats]:
    """Readings of the windows whose force is above zero."""
    f, h = np.empty(total), np.empty(total)
    k = 0
    for t in range(len(contact)):
        for i in range(contact[t], contact[t] + count[t]):
            if force[i] > base[t]:
                f[k], h[k] = force[i] - base[t], depth[i]
                k += 1
    return f, h


def windows_of(
    force: Floats,
    depth: Floats,
    contact: Ints,
    stop: Ints,
    base: Floats,
    noise: tuple[Floats, Floats],
    u_base: Floats,
    reach: Floats,
) -> Windows:
    """Cut the first contact out of records.

    Parameters
    ----------
    force, depth : array, shape (n_samples,)
        N and m.
    contact, stop : array, shape (n_tests,)
        First sample above the noise (-1: none) and the end of the loading.
    base : array, shape (n_tests,)
        Force before contact, N.
    noise : pair of array, shape (n_tests,)
        Standard deviation of single readings of force and depth.
    u_base : array, shape (n_tests,)
    reach : array, shape (n_tests,)
        How far past the first sample the window goes, m. It does not stretch: where samples are
        few, few are taken.

    Returns
    -------
    Windows
    """
    count, good = _reach(force, depth, contact, stop, base, reach)
    offsets = np.concatenate([[0], np.cumsum(good)]).astype(np.int64)
    f, h = _kept(force, depth, contact, count, base, int(offsets[-1]))
    return Windows(f, h, offsets, noise[0], noise[1], u_base)


__all__ = ["ENOUGH", "LEAST", "Windows", "join_windows", "windows_of"]
