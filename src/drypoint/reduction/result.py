"""What a reduction returns: quantities with random and systematic parts kept apart."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drypoint.uncertainty.joint import Joint

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Quantity:
    """One property for every row, in SI.

    Parameters
    ----------
    symbol : str
        The standard's symbol, for example ``"H_IT"``.
    unit : str
        SI unit text, for example ``"Pa"``; empty for a ratio.
    value : array, shape (n,)
        NaN where it could not be found or is withheld (the row's flags say why).
    u_random : array, shape (n,)
        Standard uncertainty from this test alone.
    sensitivity : array, shape (n, k)
        Derivative with respect to each systematic input of ``Reduction.inputs``.
    random_parts : mapping
        Name of a source within the test ("fit", "zero", "drift", "noise") -> its own standard
        uncertainty, shape (n,). Their squares add up to ``u_random`` squared.
    """

    symbol: str
    unit: str
    value: Floats
    u_random: Floats
    sensitivity: Floats
    random_parts: Mapping[str, Floats]


@dataclass(frozen=True)
class Flag:
    """A remark on one row: a short code, a plain sentence with its numbers, and its grounds."""

    code: str
    sentence: str
    grounds: str


@dataclass(frozen=True)
class Reduction:
    """Rows of properties. ``test`` indexes the batch; ``cycle`` counts unloadings from 1.

    ``inputs`` is the joint distribution of the systematic inputs, shared by all rows.
    """

    test: NDArray[np.int64]
    cycle: NDArray[np.int64]
    quantities: Mapping[str, Quantity]
    inputs: Joint
    flags: tuple[tuple[Flag, ...], ...]

    def __len__(self) -> int:
        return len(self.test)

    def __getitem__(self, symbol: str) -> Quantity:
        return self.quantities[symbol]

    def u_systematic(self, symbol: str) -> Floats:
        """Standard uncertainty of each row from the shared inputs, shape (n,)."""
        j = self.quantities[symbol].sensitivity
        return np.sqrt(np.clip(np.einsum("ij,jk,ik->i", j, self.inputs.cov, j), 0.0, None))

    def u(self, symbol: str) -> Floats:
        """Combined standard uncertainty of each row, shape (n,)."""
        return np.hypot(self.quantities[symbol].u_random, self.u_systematic(symbol))


def take_rows(r: Reduction, rows: NDArray[np.int64]) -> Reduction:
    """The chosen rows as a reduction of their own."""
    quantities = {
        s: Quantity(
            q.symbol, q.unit, q.value[rows], q.u_random[rows], q.sensitivity[rows],
            {k: v[rows] for k, v in q.random_parts.items()},
        )
        for s, q in r.quantities.items()
    }  # fmt: skip
    flags = tuple(r.flags[int(i)] for i in rows)
    return Reduction(r.test[rows], r.cycle[rows], quantities, r.inputs, flags)
