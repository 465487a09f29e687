"""Budgets: where the uncertainty of any reported number comes from."""

from __future__ import annotations

import numpy as np

from drypoint.run.result import StudyResult
from drypoint.uncertainty.budget import Budget, budget

#: Name of the random part of a mean.
BETWEEN = "between tests"


def series_budget(result: StudyResult, specimen: str, symbol: str) -> Budget:
    """Budget of a specimen's mean: what is shared by all tests, and the spread between them.

    Raises
    ------
    KeyError
        When the specimen has no value of that symbol.
    """
    s = result.series[specimen][symbol]
    return budget(
        s.mean,
        s.sensitivity,
        result.tests.inputs,
        {BETWEEN: s.u_type_a},
        symbol=symbol,
        unit=result.tests[symbol].unit,
        random_dof={BETWEEN: s.dof_type_a},
        level=s.level,
    )


def test_budget(result: StudyResult, test: str, symbol: str) -> Budget:
    """Budget of one test's value: its own parts (fit, reading, zero, drift) and the shared ones."""
    names = [result.batch.tests[int(t)].name for t in result.tests.test]
    row = names.index(test)
    q = result.tests[symbol]
    parts = {k: float(v[row]) for k, v in q.random_parts.items() if v[row] > 0}
    return budget(
        float(q.value[row]),
        np.asarray(q.sensitivity[row]),
        result.tests.inputs,
        parts,
        symbol=symbol,
        unit=q.unit,
        level=result.study.file.output.level_of_confidence,
    )


test_budget.__test__ = False  # type: ignore[attr-defined]
