"""One joint distribution of everything that is systematic: shared by all tests of a batch."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from drypoint.errors import UncertaintyError

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Joint:
    """Named inputs with best values and joint covariance, in SI.

    Parameters
    ----------
    names : tuple of str
        For example ``("beta", "frame.C_f", "tip.C0", "nu.glass")``. Unique.
    mean : array, shape (k,)
        Best values, SI.
    cov : array, shape (k, k)
        Joint covariance; symmetric, positive semi-definite.
    origin : tuple of str
        For each input, where its value and uncertainty come from (a sentence for the report).
    dof : array, shape (k,)
        Degrees of freedom behind each standard uncertainty; ``inf`` where not stated.

    Raises
    ------
    UncertaintyError
        When shapes differ, a name repeats, or the covariance is not one.
    """

    names: tuple[str, ...]
    mean: Floats
    cov: Floats
    origin: tuple[str, ...] = ()
    dof: Floats = field(default_factory=lambda: np.empty(0))

    def __post_init__(self) -> None:
        k = len(self.names)
        if not self.origin:
            object.__setattr__(self, "origin", ("",) * k)
        if self.dof.size == 0 and k:
            object.__setattr__(self, "dof", np.full(k, np.inf))
        if len(set(self.names)) != k:
            raise UncertaintyError("An input is named twice in one joint distribution.")
        if self.mean.shape != (k,) or self.cov.shape != (k, k) or len(self.origin) != k:
            raise UncertaintyError("Names, values and covariance of the inputs differ in length.")
        if not (np.all(np.isfinite(self.mean)) and np.all(np.isfinite(self.cov))):
            raise UncertaintyError("An input or its covariance is not a finite number.")
        sd = np.sqrt(np.clip(np.diag(self.cov), 0.0, None))
        scale = np.where(sd > 0, sd, 1.0)
        corr = self.cov / np.outer(scale, scale)
        if k and (
            np.any(np.diag(self.cov) < 0)
            or np.max(np.abs(corr - corr.T)) > 1e-9
            or np.linalg.eigvalsh((corr + corr.T) / 2).min() < -1e-7
        ):
            raise UncertaintyError(
                "The covariance of the inputs is not symmetric and positive semi-definite.",
                remedy="Check the covariance of the tip and frame; correlations lie in [-1, 1].",
            )

    @property
    def sd(self) -> Floats:
        """Standard uncertainties, shape (k,)."""
        return np.sqrt(np.clip(np.diag(self.cov), 0.0, None))

    def __getitem__(self, name: str) -> float:
        return float(self.mean[self.names.index(name)])

    def index(self, name: str) -> int:
        """Position of an input."""
        return self.names.index(name)

    def as_dict(self) -> dict[str, float]:
        """Best values by name."""
        return {n: float(v) for n, v in zip(self.names, self.mean, strict=True)}

    def draw(self, rng: np.random.Generator, n: int) -> Floats:
        """Draws from the multivariate normal, shape (n, k); exact where an input has no spread."""
        sd = self.sd
        scale = np.where(sd > 0, sd, 1.0)
        corr = self.cov / np.outer(scale, scale)
        w, v = np.linalg.eigh((corr + corr.T) / 2)
        root = v * np.sqrt(np.clip(w, 0.0, None))
        z = rng.standard_normal((n, len(self.names)))
        out: Floats = self.mean + (z @ root.T) * sd
        return out

    def replace(self, other: Joint) -> Joint:
        """The same inputs with those of ``other`` put in their place (their covariance too)."""
        keep = [n for n in self.names if n not in other.names]
        return join([self.pick(keep), other])

    def pick(self, names: Iterable[str]) -> Joint:
        """The marginal distribution of some inputs, in the order given."""
        idx = [self.names.index(n) for n in names]
        return Joint(
            tuple(self.names[i] for i in idx),
            self.mean[idx],
            self.cov[np.ix_(idx, idx)],
            tuple(self.origin[i] for i in idx),
            self.dof[idx],
        )


def single(name: str, value: float, u: float, origin: str = "", dof: float = np.inf) -> Joint:
    """One input with its standard uncertainty ``u`` (same unit as ``value``)."""
    return Joint((name,), np.array([value]), np.array([[u * u]]), (origin,), np.array([dof]))


def join(parts: Iterable[Joint]) -> Joint:
    """Put independent groups of inputs into one distribution (block-diagonal covariance)."""
    items = [p for p in parts if p.names]
    k = sum(len(p.names) for p in items)
    cov = np.zeros((k, k))
    i = 0
    for p in items:
        j = i + len(p.names)
        cov[i:j, i:j] = p.cov
        i = j
    return Joint(
        tuple(n for p in items for n in p.names),
        np.concatenate([p.mean for p in items]) if items else np.empty(0),
        cov,
        tuple(o for p in items for o in p.origin),
        np.concatenate([p.dof for p in items]) if items else np.empty(0),
    )
