"""Put the reductions of several groups (other tips, other choices) into one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drypoint.reduction.reduce import take_rows
from drypoint.reduction.result import Quantity, Reduction
from drypoint.run.columns import COLUMNS
from drypoint.uncertainty.joint import Joint, join


@dataclass(frozen=True)
class Part:
    """One group's reduction, the place of its tests in the whole batch, and the names under
    which inputs that differ between groups are told apart."""

    reduction: Reduction
    where: NDArray[np.int64]
    tip: str
    frame: str
    group: str


def renamed(part: Part, several_tips: bool, several_frames: bool, taken: Joint) -> tuple[str, ...]:
    """Names of a part's inputs in the whole: inputs that are not the same get a suffix."""
    out = []
    for i, name in enumerate(part.reduction.inputs.names):
        if name.startswith(("tip.", "zero.law.")) and several_tips:
            name = f"{name}@{part.tip}"
        elif name.startswith(("frame.", "force_scale", "depth_scale")) and several_frames:
            name = f"{name}@{part.frame}"
        name = _told_apart(name, part, i, taken)
        out.append(name)
    return tuple(out)


def _told_apart(name: str, part: Part, i: int, taken: Joint) -> str:
    """The name under which the same input is known already, or a name of its own."""
    own = part.reduction.inputs
    for known in taken.names:
        if known == name or known.startswith(f"{name}@"):
            k = taken.index(known)
            if taken.mean[k] == own.mean[i] and taken.sd[k] == own.sd[i]:
                return known
    return name if name not in taken.names else f"{name}@{part.group}"


def _extend(whole: Joint, names: tuple[str, ...], part: Joint) -> Joint:
    """Add the inputs of ``part`` that are not yet there, with their covariance to the others."""
    named = Joint(names, part.mean, part.cov, part.origin, part.dof)
    new = [n for n in names if n not in whole.names]
    if not new:
        return whole
    grown = join([whole, named.pick(new)])
    cov = grown.cov.copy()
    for i, a in enumerate(names):
        for j, b in enumerate(names):
            if (a in new) != (b in new):
                cov[grown.index(a), grown.index(b)] = part.cov[i, j]
    return Joint(grown.names, grown.mean, cov, grown.origin, grown.dof)


def no_rows() -> Reduction:
    """The reduction of a study without indentation tests."""
    empty, none = np.empty(0), np.empty(0, dtype=np.int64)
    symbols = (*COLUMNS, "viscous_share")
    quantities = {s: Quantity(s, "", empty, empty, np.empty((0, 0)), {}) for s in symbols}
    return Reduction(none, none, quantities, join([]), ())


def merge(parts: Sequence[Part]) -> Reduction:
    """One reduction of all groups; inputs that groups share stay one input.

    Parameters
    ----------
    parts : sequence of Part
        At least one.

    Returns
    -------
    Reduction
        Rows in the order of the tests in the whole batch; ``test`` counts over it.
    """
    tips = len({p.tip for p in parts}) > 1
    frames = len({p.frame for p in parts}) > 1
    whole = join([])
    names = []
    for p in parts:
        own = renamed(p, tips, frames, whole)
        names.append(own)
        whole = _extend(whole, own, p.reduction.inputs)
    quantities = {}
    for symbol, first in parts[0].reduction.quantities.items():
        qs = [p.reduction.quantities[symbol] for p in parts]
        sens = []
        for q, own in zip(qs, names, strict=True):
            full = np.zeros((len(q.value), len(whole.names)))
            full[:, [whole.index(n) for n in own]] = q.sensitivity
            sens.append(full)
        quantities[symbol] = Quantity(
            symbol,
            first.unit,
            np.concatenate([q.value for q in qs]),
            np.concatenate([q.u_random for q in qs]),
            np.concatenate(sens),
            {k: np.concatenate([q.random_parts[k] for q in qs]) for k in first.random_parts},
        )
    test = np.concatenate([p.where[p.reduction.test] for p in parts])
    cycle = np.concatenate([p.reduction.cycle for p in parts])
    flags = tuple(f for p in parts for f in p.reduction.flags)
    order = np.lexsort((cycle, test))
    return take_rows(Reduction(test, cycle, quantities, whole, flags), order)
