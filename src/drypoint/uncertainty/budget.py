"""The uncertainty budget of one number: every input's share, correlation included."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from drypoint.errors import UncertaintyError
from drypoint.uncertainty.joint import Joint
from drypoint.uncertainty.propagation import (
    block_components,
    coverage_factor,
    welch_satterthwaite,
)

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class BudgetRow:
    """One input.

    Parameters
    ----------
    name, group : str
    value : float
        Best value, SI; NaN for a random part (it is an error of mean zero).
    u : float
        Standard uncertainty, unit of ``value`` (random part: of the result).
    sensitivity : float
        Derivative of the result; 1 for a random part.
    contribution : float
        ``sensitivity * u``, signed, unit of the result.
    share : float
        ``c_i sum_j r_ij c_j / u_c^2``; all shares add up to 1. Negative where correlation makes
        this input take back what another adds.
    kind : {"random", "systematic"}
    dof : float
    origin : str
    """

    name: str
    group: str
    value: float
    u: float
    sensitivity: float
    contribution: float
    share: float
    kind: Literal["random", "systematic"]
    dof: float
    origin: str


@dataclass(frozen=True)
class Budget:
    """Rows in the order of the inputs, and what they come to. Units of the result, SI."""

    symbol: str
    unit: str
    value: float
    u: float
    u_random: float
    u_systematic: float
    dof: float
    level: float
    k: float
    rows: tuple[BudgetRow, ...]

    @property
    def expanded(self) -> float:
        """``U = k u``."""
        return self.k * self.u

    def sorted(self) -> tuple[BudgetRow, ...]:
        """Rows, largest share (by size) first."""
        return tuple(sorted(self.rows, key=lambda r: -abs(r.share)))

    def groups(self) -> dict[str, float]:
        """Share of variance by group, largest first; adds up to 1 (0 when ``u`` is 0)."""
        out: dict[str, float] = {}
        for row in self.rows:
            out[row.group] = out.get(row.group, 0.0) + row.share
        return dict(sorted(out.items(), key=lambda item: -abs(item[1])))


def group_of(name: str) -> str:
    """Group of an input: what stands before the first dot ("tip.C0" -> "tip")."""
    return name.split(".", 1)[0]


def budget(
    value: float,
    jac: Floats,
    joint: Joint,
    random_parts: Mapping[str, float],
    *,
    symbol: str = "",
    unit: str = "",
    random_dof: Mapping[str, float] | None = None,
    level: float = 0.95,
    group: Callable[[str], str] = group_of,
) -> Budget:
    """Budget of one result ([gum2008]).

    Parameters
    ----------
    value : float
        The result, SI.
    jac : array, shape (k,)
        Derivative with respect to each input of ``joint``.
    joint : Joint
    random_parts : mapping
        Name -> standard uncertainty already in the unit of the result; independent of each
        other and of ``joint``.
    random_dof : mapping, optional
        Degrees of freedom of a random part; infinite unless given.
    level : float
        Coverage probability.
    group : callable, optional
        From a name to its group.
    """
    jac = np.asarray(jac, dtype=float)
    if jac.shape != (len(joint.names),):
        raise UncertaintyError("Sensitivities and inputs differ in number.")
    random_u = np.array([float(u) for u in random_parts.values()])
    if np.any(random_u < 0):
        raise UncertaintyError("A random part is negative.")
    given = random_dof or {}
    unknown = set(given) - set(random_parts)
    if unknown:
        raise UncertaintyError(f"Degrees of freedom given for no part: {sorted(unknown)}.")
    random_nu = np.array([float(given.get(n, np.inf)) for n in random_parts])

    parts = jac * (joint.cov @ jac)
    systematic = max(float(parts.sum()), 0.0)
    total = systematic + float(np.sum(random_u**2))
    block_v, block_nu = block_components(jac, joint.cov, joint.dof)
    dof = welch_satterthwaite(
        np.concatenate([block_v, random_u**2]), np.concatenate([block_nu, random_nu])
    )
    shares = parts / total if total > 0 else np.zeros_like(parts)
    rows = [
        BudgetRow(
            name,
            group(name),
            float(joint.mean[i]),
            float(joint.sd[i]),
            float(jac[i]),
            float(jac[i] * joint.sd[i]),
            float(shares[i]),
            "systematic",
            float(joint.dof[i]),
            joint.origin[i],
        )
        for i, name in enumerate(joint.names)
    ]
    rows += [
        BudgetRow(
            name,
            group(name),
            np.nan,
            float(u),
            1.0,
            float(u),
            float(u * u / total) if total > 0 else 0.0,
            "random",
            float(nu),
            "this test",
        )
        for name, u, nu in zip(random_parts, random_u, random_nu, strict=True)
    ]
    return Budget(
        symbol,
        unit,
        float(value),
        float(np.sqrt(total)),
        float(np.sqrt(np.sum(random_u**2))),
        float(np.sqrt(systematic)),
        dof,
        level,
        coverage_factor(dof, level),
        tuple(rows),
    )
