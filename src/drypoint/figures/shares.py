"""The uncertainty budget as bars: what each input brings to the uncertainty of a mean."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes

from drypoint.figures.labels import as_words, axis_label, input_words, number
from drypoint.figures.picture import Picture, nothing_to_show
from drypoint.figures.style import colour, drawing, series_colour
from drypoint.run.budgets import series_budget
from drypoint.run.result import StudyResult
from drypoint.uncertainty.budget import Budget, BudgetRow

#: Smaller shares are summed up.
SMALLEST = 0.001
#: Most bars; the rest is summed up in one.
MOST_BARS = 8


def budget_bars(
    result: StudyResult, specimen: str, symbols: Sequence[str] = ("H_IT", "E_IT")
) -> Picture:
    """Share of each input in the variance of the mean, random and systematic told apart."""
    picture = Picture(f"budget-{specimen}", 2.6, invented=result.invented)
    known = result.series.get(specimen, {})
    budgets = [series_budget(result, specimen, s) for s in symbols if s in known]
    if not budgets:
        return nothing_to_show(picture, f"{specimen} has no mean, and so no budget.")
    bars = [_bars(b) for b in budgets]
    picture.set_height(1.0 + 0.22 * max(len(b) for b in bars))
    with drawing():
        panels = np.atleast_1d(picture.subplots(1, len(budgets)))
        for axes, b, rows in zip(panels, budgets, bars, strict=True):
            _draw(axes, rows)
            axes.set_title(axis_label(b.symbol, short=True).partition(" / ")[0])
            axes.set_xlabel("Share of the variance / %")
    picture.caption = (
        f"{specimen}: share of each input in the variance of the mean "
        f"{' and '.join(b.symbol for b in budgets)}. Orange: random; blue: systematic, shared by "
        "all tests. A negative share takes back, by correlation, what another input adds."
    )
    picture.alt = f"Uncertainty budget of {specimen}. " + " ".join(
        f"{b.symbol}: "
        + ", ".join(f"{name} {number(100 * share, 2)} %" for name, share, _ in rows[:4])
        + "."
        for b, rows in zip(budgets, bars, strict=True)
    )
    return picture


def shown_rows(b: Budget) -> tuple[BudgetRow, ...]:
    """Rows whose share is not below :data:`SMALLEST`, largest first; always the scatter's."""
    return tuple(r for r in b.sorted() if abs(r.share) >= SMALLEST or r.kind == "random")


def _bars(b: Budget) -> list[tuple[str, float, bool]]:
    rows = shown_rows(b)
    out = [(input_words(r.name), r.share, r.kind == "random") for r in rows[:MOST_BARS]]
    rest = rows[MOST_BARS:]
    if rest:
        out.append((f"{len(rest)} others", sum(r.share for r in rest), False))
    return out


def _draw(axes: Axes, rows: list[tuple[str, float, bool]]) -> None:
    y = np.arange(len(rows))[::-1]
    share = np.array([100 * s for _, s, _ in rows])
    tint = [series_colour(1 if random else 0) for *_, random in rows]
    axes.barh(y, share, color=tint, height=0.62)
    axes.axvline(0.0, color=colour("soft"), linewidth=0.7)
    axes.set_yticks(y, [as_words(name) for name, *_ in rows])
    axes.grid(False, axis="y")
    axes.spines["left"].set_visible(False)
    axes.tick_params(axis="y", length=0)
    low, high = min(0.0, float(share.min())), max(0.0, float(share.max()))
    room = 0.16 * (high - low or 1.0)
    axes.set_xlim(low - (room if low < 0 else 0), high + room)
    for at, value in zip(y, share, strict=True):
        axes.annotate(number(float(value), 2), (value, at), xytext=(3 if value >= 0 else -3, 0),
                      textcoords="offset points", va="center",
                      ha="left" if value >= 0 else "right", fontsize=6.8)  # fmt: skip
