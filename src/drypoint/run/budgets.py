"""Budgets: where the uncertainty of any reported number comes from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from drypoint.reduction.result import Reduction
from drypoint.run.result import StudyResult
from drypoint.uncertainty.budget import Budget, budget
from drypoint.uncertainty.joint import Joint

if TYPE_CHECKING:
    from drypoint.run.coatings import FilmFound
    from drypoint.uncertainty.bins import Bin
    from drypoint.uncertainty.series import SeriesResult

#: Name of the random part of a mean.
BETWEEN = "between tests"
#: Name of the random part of a film's number.
TOGETHER = "all unloadings together"


def series_budget(result: StudyResult, specimen: str, symbol: str) -> Budget:
    """Budget of a specimen's mean: what is shared by all tests, and the spread between them.

    Raises
    ------
    KeyError
        When the specimen has no value of that symbol.
    """
    return _of_mean(result.series[specimen][symbol], result.tests, symbol)


def bin_budget(
    result: StudyResult, specimen: str, symbol: str, number: int, *, dynamic: bool = False
) -> Budget:
    """Budget of the mean in one bin of depth, counted from 0.

    With ``dynamic`` the bins along loading of records that oscillate.

    Raises
    ------
    KeyError
        When there is no such bin, or it holds no value.
    """
    mean, rows = bin_mean(result, specimen, symbol, number, dynamic=dynamic)
    return _of_mean(mean, rows, symbol)


def bin_mean(
    result: StudyResult, specimen: str, symbol: str, number: int, *, dynamic: bool = False
) -> tuple[SeriesResult, Reduction]:
    """The mean in one bin of depth, and the reduction that it comes from."""
    rows, all_bins = result.cycles, result.bins
    if dynamic:
        if result.dynamic is None:
            raise KeyError(specimen)
        rows, all_bins = result.dynamic.rows, result.dynamic.bins
    bins: Sequence[Bin] = all_bins[specimen][symbol]
    if not 0 <= number < len(bins):
        raise KeyError(number)
    mean = bins[number].result
    if mean is None:
        raise KeyError(number)
    return mean, rows


def _of_mean(s: SeriesResult, r: Reduction, symbol: str) -> Budget:
    return budget(
        s.mean,
        s.sensitivity,
        r.inputs,
        {BETWEEN: s.u_type_a},
        symbol=symbol,
        unit=r[symbol].unit,
        random_dof={BETWEEN: s.dof_type_a},
        level=s.level,
    )


def test_budget(result: StudyResult, test: str, symbol: str) -> Budget:
    """Budget of one test's value: its own parts (fit, reading, zero, drift) and the shared ones."""
    names = [result.batch.tests[int(t)].name for t in result.tests.test]
    return row_budget(result, result.tests, names.index(test), symbol)


test_budget.__test__ = False  # type: ignore[attr-defined]


def cycle_budget(result: StudyResult, test: str, cycle: int, symbol: str) -> Budget:
    """Budget of one unloading's value, unloadings counted from 1.

    Raises
    ------
    KeyError
        When the test has no such unloading.
    """
    r = result.cycles
    for row, (t, c) in enumerate(zip(r.test, r.cycle, strict=True)):
        if int(c) == cycle and result.batch.tests[int(t)].name == test:
            return row_budget(result, r, row, symbol)
    raise KeyError((test, cycle))


def film_budget(result: StudyResult, specimen: str, quantity: str) -> Budget:
    """Budget of a film's number by the exact solution, for example ``"film.E"``.

    Raises
    ------
    KeyError
        When the specimen has no film value of that name.
    """
    r = film_of(result, specimen).exact
    if quantity not in r.names:
        raise KeyError(quantity)
    i = r.names.index(quantity)
    inputs, sensitivity = r.given(quantity)
    return budget(
        float(r.value[i]),
        sensitivity,
        inputs,
        {TOGETHER: float(r.u_random[i])},
        symbol=quantity,
        unit={"E": "Pa", "t": "m"}.get(quantity.rpartition(".")[2], ""),
        random_dof={TOGETHER: r.dof},
        level=result.study.file.output.level_of_confidence,
    )


def film_of(result: StudyResult, specimen: str) -> FilmFound:
    """Film values of a specimen.

    Raises
    ------
    KeyError
        When it has none.
    """
    for found in result.films:
        if found.specimen == specimen:
            return found
    raise KeyError(specimen)


def row_budget(result: StudyResult, r: Reduction, row: int, symbol: str) -> Budget:
    """Budget of the value in one row of a reduction of the study."""
    q = r[symbol]
    parts = {k: float(v[row]) for k, v in q.random_parts.items() if v[row] > 0}
    return budget(
        float(q.value[row]),
        np.asarray(q.sensitivity[row]),
        r.inputs,
        parts,
        symbol=symbol,
        unit=q.unit,
        level=result.study.file.output.level_of_confidence,
    )


@dataclass(frozen=True)
class Pair:
    """Two correlated inputs: their correlation ``r``, and what it adds to the variance.

    ``share`` is ``2 r c_i u_i c_j u_j / u^2`` (GUM 5.2.2, [gum2008]); the shares of the rows of
    the budget hold half of it each.
    """

    first: str
    second: str
    r: float
    share: float


def pairs(b: Budget, joint: Joint) -> tuple[Pair, ...]:
    """Correlated inputs of a budget, those that matter most first.

    Parameters
    ----------
    b : Budget
    joint : Joint
        The distribution that it was made with.
    """
    rows: Mapping[str, float] = {r.name: r.contribution for r in b.rows if r.kind == "systematic"}
    sd, found = joint.sd, []
    known = [n for n in joint.names if n in rows and sd[joint.index(n)] > 0]
    for i, one in enumerate(known):
        for other in known[i + 1 :]:
            k, m = joint.index(one), joint.index(other)
            r = float(joint.cov[k, m] / (sd[k] * sd[m]))
            if r:
                share = 2 * r * rows[one] * rows[other] / b.u**2 if b.u > 0 else 0.0
                found.append(Pair(one, other, r, share))
    return tuple(sorted(found, key=lambda p: (-abs(p.share), -abs(p.r))))
