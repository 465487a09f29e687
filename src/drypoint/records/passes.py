"""Passes of a track: a scan before, the scratch, a scan after, repeats; in one file or in several.

In one file they are told apart by a column, by the distance that goes back, or by the force that
is near zero in between. Several files of one track are joined by their names, in which a word says
which pass each holds (``T03_pre.txt``, ``T03_scratch.txt``, ``T03_post.txt``).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numba import njit
from numpy.typing import NDArray

from drypoint.records.header import fold
from drypoint.records.names import words

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

KINDS = ("before", "scratch", "after")
#: In a declared order: a stretch that is no pass.
LEFT_OUT = "leave out"
BACK = 0.2  # share of the way that must be made back for a new pass
LIGHT = 0.3  # share of the largest force up to which a pass is a light scan
FEWEST = 16  # samples in a pass
_SEPARATORS = " _-.:/"


@dataclass(frozen=True)
class PassFound:
    """Samples ``start`` to ``stop`` of a record are a pass of a ``kind``; ``origin`` is taken off
    their positions (m), where the file counts the way on from pass to pass."""

    kind: str
    start: int
    stop: int
    origin: float = 0.0


@dataclass(frozen=True)
class PassesFound:
    """The passes of a record in order, how they were told apart, and what is to be said."""

    passes: tuple[PassFound, ...]
    by: str
    remarks: tuple[str, ...] = ()

    @property
    def counted(self) -> str:
        """``before, scratch, after`` or ``12 scratch``."""
        out: list[tuple[str, int]] = []
        for p in self.passes:
            if out and out[-1][0] == p.kind:
                out[-1] = (p.kind, out[-1][1] + 1)
            else:
                out.append((p.kind, 1))
        return ", ".join(k if n == 1 else f"{n} {k}" for k, n in out)


def kind_of_word(text: str) -> str | None:
    """Kind of pass that a word or phrase names: one of :data:`KINDS`, ``""`` for what is no pass
    (a return), ``None`` for any other word."""
    tokens = set(re.findall(r"[a-z]+", fold(text)))
    table: dict[str, list[str]] = words()["passes"]
    found = {k for k, known in table.items() if tokens & set(known)}
    if "scratch" in found and found & {"before", "after"}:
        found.discard("scratch")  # “pre-scratch scan”, “after scratch”
    if len(found) != 1:
        return None
    kind = found.pop()
    return "" if kind == "none" else kind


def track_and_kind(name: str, given: dict[str, str] | None = None) -> tuple[str, str | None]:
    """Name of the track, and kind of pass, from the name of a record.

    Parameters
    ----------
    name : str
    given : dict, optional
        Kind -> what stands in the names of its records; without it the words that are known.
    """
    if given:
        for kind, mark in given.items():
            if mark and mark in name:
                return name.replace(mark, "", 1).strip(_SEPARATORS) or name, kind
        return name, None
    parts = re.split(r"([ _\-.:/]+)", name)
    for i in range(len(parts) - 1, -1, -1):
        part = re.sub(r"\d+$", "", parts[i])
        found = kind_of_word(part) if part else None
        if found and len(parts) > 1:
            rest = "".join(parts[: max(i - 1, 0)] + parts[i + 1 :]) if i else "".join(parts[2:])
            return rest.strip(_SEPARATORS) or name, found
    return name, None


@njit(cache=True, nogil=True, error_model="numpy")
def turns(x: Floats, least: float) -> Ints:
    """Samples where x turns by ``least`` or more, with the first and the last one."""
    out = np.empty(len(x) + 2, dtype=np.int64)
    out[0] = 0
    n = 1
    sign = 0
    far = 0
    for i in range(len(x)):
        if not np.isfinite(x[i]):
            continue
        if not np.isfinite(x[far]):
            far = i
            continue
        step = x[i] - x[far]
        if sign == 0:
            if abs(step) >= least:
                sign = 1 if step > 0 else -1
                far = i
        elif step * sign >= 0:
            far = i
        elif -step * sign >= least:
            out[n] = far
            n += 1
            sign = -sign
            far = i
    out[n] = len(x)
    return out[: n + 1]


def find_passes(
    position: Floats,
    force: Floats,
    codes: NDArray[np.int16] | None = None,
    labels: Sequence[str] = (),
    order: Sequence[str] = (),
) -> PassesFound:
    """The passes of one record.

    Parameters
    ----------
    position, force : array (n,)
        m and N.
    codes, labels
        Declared pass of each sample as an index into ``labels``; none where codes are -1.
    order : sequence of str
        Kinds in the order of the passes, where the recipe declares it.
    """
    n = len(position)
    if codes is not None and labels and np.any(codes >= 0):
        cuts = np.flatnonzero(np.diff(codes)) + 1
        ends = np.concatenate([[0], cuts, [n]])
        runs = [(int(a), int(b)) for a, b in pairwise(ends)]
        named = [kind_of_word(labels[codes[a]]) if codes[a] >= 0 else "" for a, _ in runs]
        return _with_kinds(runs, named, force, order, "a column", [0.0] * len(runs))
    way = np.ptp(position[np.isfinite(position)]) if np.isfinite(position).any() else 0.0
    at = turns(position, BACK * way) if way > 0 else np.array([0, n])
    runs = [(int(a), int(b)) for a, b in pairwise(at)]
    if len(runs) > 1:
        return _with_kinds(runs, _returns(runs, force), force, order, "the distance going back",
                           [0.0] * len(runs))  # fmt: skip
    parts = _by_force(position, force, len([k for k in order if k != LEFT_OUT]))
    if parts:
        origins = [float(position[a]) for a, _ in parts]
        return _with_kinds(parts, [None] * len(parts), force, order, "the force near zero", origins)
    return _with_kinds(runs, [None], force, order, "", [0.0])


def _middle(force: Floats, a: int, b: int) -> float:
    part = force[a:b]
    part = part[np.isfinite(part)]
    return float(np.median(part)) if len(part) else 0.0


def _noise(force: Floats) -> float:
    step = np.diff(force)
    step = step[np.isfinite(step)]
    return 1.4826 * float(np.median(np.abs(step))) / float(np.sqrt(2)) if len(step) else 0.0


def _returns(runs: list[tuple[int, int]], force: Floats) -> list[str | None]:
    """Runs in the air, and single leaps back, are no passes."""
    top = float(np.nanmax(np.abs(force))) if np.isfinite(force).any() else 0.0
    out: list[str | None] = []
    for a, b in runs:
        least = max(_noise(force[a:b]), 1e-4 * top)
        out.append("" if b - a < FEWEST or abs(_middle(force, a, b)) <= least else None)
    return out


def _by_force(position: Floats, force: Floats, meant: int) -> list[tuple[int, int]]:
    """Stretches between gaps of force, where the way is counted on from pass to pass."""
    top = float(np.nanmax(np.abs(force))) if np.isfinite(force).any() else 0.0
    off = ~(np.abs(force) > max(4 * _noise(force), 1e-4 * top))
    edge = np.flatnonzero(np.diff(np.concatenate([[False], ~off, [False]]).astype(np.int8)))
    long = max(20, len(force) // 500)
    parts: list[tuple[int, int]] = []
    for a, b in zip(edge[::2].tolist(), edge[1::2].tolist(), strict=True):
        if parts and a - parts[-1][1] < long:
            parts[-1] = (parts[-1][0], b)
        elif b - a >= FEWEST:
            parts.append((a, b))
    if len(parts) < 2:
        return []
    length = np.array([abs(position[b - 1] - position[a]) for a, b in parts])
    peak = _peaks(parts, force)
    alike = bool(length.min() > 0.9 * length.max())
    # A tip that was lifted half-way leaves parts too: one of them must be a light scan.
    scans = bool(peak.min() <= 0.2 * peak.max())
    return parts if alike and (scans or meant == len(parts)) else []


def _peaks(runs: list[tuple[int, int]], force: Floats) -> Floats:
    out = []
    for a, b in runs:
        part = force[a:b]
        part = part[np.isfinite(part)]
        out.append(float(np.quantile(part, 0.95)) if len(part) else 0.0)
    return np.array(out)


def _with_kinds(
    runs: list[tuple[int, int]], named: Sequence[str | None], force: Floats, order: Sequence[str],
    by: str, origins: list[float],
) -> PassesFound:  # fmt: skip
    """Kinds as declared, else as named, else by force: the light ones before the first heavy one
    are scans before it, the others after."""
    remarks = []
    kept = [i for i, (r, k) in enumerate(zip(runs, named, strict=True))
            if k != "" and r[1] - r[0] >= FEWEST]  # fmt: skip
    out = len(runs) - len(kept) - sum(b - a < FEWEST for a, b in runs)
    if out > 0:
        some = "1 stretch" if out == 1 else f"{out} stretches"
        remarks.append(f"{some} without contact, or named as no pass, left out.")
    long = [i for i, (a, b) in enumerate(runs) if b - a >= FEWEST]
    if order and len(order) in (len(kept), len(long)):
        use = kept if len(order) == len(kept) else long
        found = [(runs[i], k, origins[i]) for i, k in zip(use, order, strict=True)]
        passes = tuple(PassFound(k, *r, o) for r, k, o in found if k != LEFT_OUT)
        return PassesFound(passes, by, tuple(remarks))
    if order:
        remarks.append(
            f"The recipe declares {len(order)} passes ({', '.join(order)}); {len(kept)} were "
            "found, and are taken as their forces say."
        )
    some_runs = [runs[i] for i in kept]
    kinds = [named[i] for i in kept]
    if order or any(k is None for k in kinds):
        kinds = list(_by_weight(some_runs, force))
    passes = tuple(
        PassFound(str(k), *r, origins[i]) for r, k, i in zip(some_runs, kinds, kept, strict=True)
    )
    return PassesFound(passes, by, tuple(remarks))


def _by_weight(runs: list[tuple[int, int]], force: Floats) -> list[str]:
    peak = _peaks(runs, force)
    heavy = peak > LIGHT * peak.max() if len(peak) else np.zeros(0, dtype=bool)
    out, seen = [], False
    for h in heavy:
        seen = seen or bool(h)
        out.append("scratch" if h else "after" if seen else "before")
    return out
