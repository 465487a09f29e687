"""Tip health: area at a chosen depth (or hardness, modulus of a block) over the months."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from drypoint.calibration.charts import Change, Chart, change_point, ewma, individuals
from drypoint.calibration.problems import CalibrationError, Finding
from drypoint.notices import CLEANING

Floats = NDArray[np.float64]
T = TypeVar("T")


@dataclass(frozen=True)
class Point:
    """One check: the day, the value (any unit, one for all) and its standard uncertainty.

    ``u`` is what varies from check to check; what all checks share does not belong in it.
    """

    day: date
    value: float
    u: float = 0.0


@dataclass(frozen=True)
class Health:
    """Charts of a tip over time.

    ``state`` is ``"steady"``, ``"changed"`` or ``"too few checks"``. ``between`` are the last day
    before and the first day after the change; ``doubtful_since`` is the earliest day that the
    likelihood does not exclude. ``after`` are the points after the change. ``invented``: some of
    the points are from invented data.
    """

    points: tuple[Point, ...]
    shewhart: Chart
    ewma: Chart
    change: Change | None
    state: str
    between: tuple[date, date] | None
    doubtful_since: date | None
    after: tuple[int, ...]
    findings: tuple[Finding, ...]
    invented: bool = False


def tip_health(
    points: Sequence[Point],
    *,
    what: str = "area",
    base: int = 8,
    weight: float = 0.2,
    least_change: float = 0.0,
    p_limit: float = 0.01,
) -> Health:
    """Charts and the day of change.

    Parameters
    ----------
    points : sequence of Point
        Sorted by day if they are not (a finding says so).
    base : int
        Checks at the start from which centre and sigma come.
    least_change : float
        A change smaller than this share of the centre does not count: other people's tips wear
        too, and a wear below what matters is no alarm.
    p_limit : float
        A change counts when chance gives its like with less than this probability.

    Raises
    ------
    CalibrationError
        With fewer than three points.
    """
    if len(points) < 3:
        raise CalibrationError(
            f"{len(points)} checks are no course in time.",
            remedy="Check the tip on the same block before each study; charts begin with three.",
        )
    found = []
    ordered = tuple(sorted(points, key=lambda p: p.day))
    if list(ordered) != list(points):
        found.append(
            Finding(
                "checks out of order",
                "The checks did not stand in order of their days; they were sorted.",
                "Make sure that each day is right.",
            )
        )
    v = np.array([p.value for p in ordered])
    n = min(base, len(v))
    floor = float(np.sqrt(np.mean([p.u**2 for p in ordered[:n]])))
    chart = individuals(v, n)
    sigma = max(chart.sigma, floor)
    chart = individuals(v, n, sigma)
    average = ewma(v, weight, base=n, sigma=sigma)
    change = change_point(v)
    alarmed = bool(chart.signals or average.signals)
    real = (
        change is not None
        and abs(change.size) > least_change * abs(chart.centre)
        and (change.p < p_limit or (alarmed and change.p < 0.05))
    )
    if len(v) < 5:
        state = "changed" if chart.signals else "too few checks"
        first = chart.signals[0].at if chart.signals else len(v)
        lowest = first
    elif real and change is not None:
        state, first, lowest = "changed", change.first_after, change.lowest
    elif chart.signals and chart.signals[-1].at == len(v) - 1 and "3 sigma" in _rules_at(chart):
        # The very last check jumped: too late for a likelihood, early enough for the chart.
        state, first, lowest = "changed", len(v) - 1, len(v) - 1
    else:
        state, first, lowest = "steady", len(v), len(v)
    between = None
    if state == "changed":
        before = ordered[max(first - 1, 0)].day
        between = (before, ordered[first].day)
        size = float(v[first:].mean() / v[:first].mean() - 1) if first else np.nan
        found.append(
            Finding(
                "tip changed",
                f"The {what} changed by {100 * size:+.1f} % between {before.isoformat()} and "
                f"{ordered[first].day.isoformat()}.",
                "Clean the tip, look at it, calibrate it again, and look at the studies since. "
                f"{CLEANING}",
                serious=True,
            )
        )
    since = ordered[max(lowest - 1, 0)].day if state == "changed" else None
    return Health(
        ordered, chart, average, change, state, between, since,
        tuple(range(first, len(v))), tuple(found),
    )  # fmt: skip


def _rules_at(chart: Chart) -> str:
    return " ".join(s.rule for s in chart.signals if s.at == chart.signals[-1].at)


def used_since(health: Health, studies: Sequence[tuple[date, T]]) -> tuple[T, ...]:
    """Which studies fall after the last day on which the tip was surely unchanged."""
    if health.doubtful_since is None:
        return ()
    return tuple(name for day, name in studies if day > health.doubtful_since)
