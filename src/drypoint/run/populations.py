"""Specimens whose values look like two populations, level of force by level of force."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from drypoint.recipe import Study
from drypoint.records.batch import Batch
from drypoint.reduction.result import Reduction
from drypoint.reduction.strays import levels
from drypoint.run.columns import factor_of, unit_text
from drypoint.run.series import rows_of
from drypoint.uncertainty.populations import TwoPopulations, two_populations

#: Quantities that are looked at.
SYMBOLS = ("H_IT", "E_IT")


@dataclass(frozen=True)
class Populations:
    """Two populations in one quantity of a specimen, at one level of force (N; ``None`` where the
    specimen has one level)."""

    specimen: str
    symbol: str
    force: float | None
    found: TwoPopulations

    @property
    def words(self) -> str:
        """What was found, in one sentence."""
        f, unit = factor_of(self.symbol), unit_text(self.symbol)
        (a, b), (low, high) = self.found.n, (m / f for m in self.found.means)
        at = "" if self.force is None else f" at {self.force * 1e3:.3g} mN"
        return (
            f"{self.symbol}{at}: two populations. {a} tests near {low:.3g} {unit} and {b} near "
            f"{high:.3g} {unit} describe the values better than one mean; look for phases, grains, "
            "a trend over the tests, or a change of the tip."
        )

    def values(self) -> dict[str, Any]:
        """As plain values, lab units."""
        f = factor_of(self.symbol)
        return {
            "quantity": self.symbol,
            "F_mN": None if self.force is None else self.force * 1e3,
            "unit": unit_text(self.symbol),
            "n": list(self.found.n),
            "means": [m / f for m in self.found.means],
            "spread": self.found.spread / f,
            "between": self.found.between / f,
            "statistic": self.found.statistic,
            "limit": self.found.limit,
            "words": self.words,
        }


def populations_of(
    study: Study, batch: Batch, tests: Reduction
) -> Mapping[str, tuple[Populations, ...]]:
    """Specimen -> quantities and levels with two populations; specimens without are left out.

    ``tests`` has one row per test, without the excluded ones.
    """
    out: dict[str, tuple[Populations, ...]] = {}
    for specimen in study.file.specimens:
        rows = rows_of(batch, tests, specimen)
        force = tests["F_max"].value[rows]
        level = levels(force)
        several = len(np.unique(level)) > 1
        found = []
        for symbol in SYMBOLS:
            for one in np.unique(level):
                here = level == one
                two = two_populations(tests[symbol].value[rows[here]])
                if two is not None:
                    at = float(np.median(force[here])) if several else None
                    found.append(Populations(specimen, symbol, at, two))
        if found:
            out[specimen] = tuple(found)
    return out


def with_population_columns(
    table: pl.DataFrame, found: Mapping[str, tuple[Populations, ...]]
) -> pl.DataFrame:
    """The table of tests with the group of each test: 1 (low), 2 (high), empty where there is one
    population."""
    out = table
    force = table["F_max_mN"].to_numpy() if len(table) else np.empty(0)
    for symbol in SYMBOLS:
        values = table[f"{symbol}_GPa"].to_numpy() if len(table) else np.empty(0)
        group: list[int | None] = [None] * len(table)
        for specimen, every in found.items():
            mine = np.array([s == specimen for s in table["specimen"]], dtype=bool)
            for p in every:
                if p.symbol != symbol:
                    continue
                near = mine if p.force is None else mine & _near(force, p.force * 1e3)
                for i in np.flatnonzero(near & np.isfinite(values)):
                    group[int(i)] = 1 if values[i] < p.found.between / factor_of(symbol) else 2
        column = pl.Series(f"population_{symbol}", group, dtype=pl.Int64)
        out = out.insert_column(out.columns.index("tip"), column)
    return out


def _near(force: np.ndarray, level: float) -> np.ndarray:
    with np.errstate(invalid="ignore"):
        near: np.ndarray = np.abs(force / level - 1.0) < 0.05
    return near
