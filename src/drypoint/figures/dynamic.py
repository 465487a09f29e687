"""Properties along loading, from records with an oscillation."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from numpy.typing import NDArray

from drypoint.figures.labels import axis_label, in_units, number, plural, plus_minus, span
from drypoint.figures.picture import Picture, nothing_to_show
from drypoint.figures.style import colour, drawing, series_colour
from drypoint.run.columns import unit_text
from drypoint.run.dynamic import DynamicResult
from drypoint.run.result import StudyResult
from drypoint.uncertainty.bins import Bin
from drypoint.uncertainty.series import SeriesResult

Floats = NDArray[np.float64]
Filled = tuple[Bin, SeriesResult]

#: Fewest tests in a bin for its mean and band to be drawn.
MEAN_OF = 2


def dynamic_rows(result: StudyResult, specimen: str) -> NDArray[np.int64]:
    """Rows along loading that belong to a specimen; none where no record of it oscillates."""
    if result.dynamic is None:
        return np.empty(0, dtype=np.int64)
    mine = [result.batch.tests[int(t)].specimen == specimen for t in result.dynamic.rows.test]
    return np.flatnonzero(np.array(mine, dtype=bool))


def along_loading(
    result: StudyResult, specimen: str, symbols: Sequence[str] = ("H_IT", "E_IT")
) -> Picture:
    """Properties against contact depth along loading: a line a test, and, where there are two
    tests or more, the mean in bins of depth with the band of its expanded uncertainty. Depths at
    which values are withheld stay empty."""
    picture = Picture(f"along-loading-{specimen}", 3.2, invented=result.invented)
    rows = dynamic_rows(result, specimen)
    d = result.dynamic
    depth = d.rows["h_c"].value[rows] * 1e9 if d is not None else np.empty(0)
    if d is None or not np.isfinite(depth).any():
        return nothing_to_show(picture, f"No depth of {specimen} along loading has a value.")
    tests = len(np.unique(d.rows.test[rows]))
    words = []
    with drawing():
        panels = np.atleast_1d(picture.subplots(1, len(symbols)))
        for axes, symbol in zip(panels, symbols, strict=True):
            _lines(axes, d, symbol, rows)
            steps = _filled(d, specimen, symbol)
            if steps:
                _band(axes, symbol, steps)
            axes.set_xscale("log")
            axes.set_xlabel(axis_label("h_c"))
            axes.set_ylabel(axis_label(symbol, short=True))
            axes.autoscale_view()
            axes.margins(y=0.1)
            words.append(_words(d, symbol, rows, steps))
        panels[0].legend(loc="best", fontsize=6.8)
    picture.caption = (
        f"{specimen}: {' and '.join(symbols)} along loading, against contact depth. "
        + (
            "Line and band: mean in bins of depth with its expanded uncertainty."
            if _filled(d, specimen, symbols[0])
            else "Thin bars: combined standard uncertainty."
        )
    )
    picture.alt = (
        f"{plural(tests, 'test')} of {specimen} with an oscillation, contact depth "
        f"{span(depth, 'nm')}. " + " ".join(words)
    )
    return picture


def _lines(axes: Axes, d: DynamicResult, symbol: str, rows: NDArray[np.int64]) -> None:
    """Each test's windows as one line; excluded tests pale."""
    x = d.rows["h_c"].value[rows] * 1e9
    y = in_units(symbol, d.rows[symbol].value[rows])
    tests = d.rows.test[rows]
    several = len(np.unique(tests)) >= MEAN_OF
    if not several:
        u = in_units(symbol, d.rows.u(symbol)[rows])
        axes.vlines(x, y - u, y + u, color=series_colour(0), linewidth=0.7, alpha=0.7)
    for gone, ink, label in (
        (False, series_colour(4 if several else 0), "tests" if several else "windows, ± u"),
        (True, colour("ghost"), "excluded"),
    ):
        mine = d.excluded[rows] == gone
        lines = [
            np.column_stack([x[mine & (tests == t)], y[mine & (tests == t)]])
            for t in np.unique(tests[mine])
        ]
        if lines:
            axes.add_collection(
                LineCollection(lines, colors=ink, linewidths=0.8, alpha=0.8, label=label)
            )


def _filled(d: DynamicResult, specimen: str, symbol: str) -> tuple[Filled, ...]:
    bins = d.bins.get(specimen, {}).get(symbol, ())
    return tuple((b, b.result) for b in bins if b.result is not None and b.result.n >= MEAN_OF)


def _band(axes: Axes, symbol: str, steps: tuple[Filled, ...]) -> None:
    at = np.array([b.depth * 1e9 for b, _ in steps])
    mean = in_units(symbol, [s.mean for _, s in steps])
    wide = in_units(symbol, [s.expanded for _, s in steps])
    sure = np.isfinite(wide)
    axes.fill_between(at[sure], (mean - wide)[sure], (mean + wide)[sure], color=series_colour(1),
                      alpha=0.25, linewidth=0, label="mean ± U")  # fmt: skip
    axes.plot(at, mean, "-", color=series_colour(1), linewidth=1.3, label="mean")


def _words(
    d: DynamicResult, symbol: str, rows: NDArray[np.int64], steps: tuple[Filled, ...]
) -> str:
    if not steps:
        values = in_units(symbol, d.rows[symbol].value[rows])
        return f"{symbol}: {span(values, unit_text(symbol))}."
    parts = []
    for i in (0, -1):
        b, s = steps[i]
        parts.append(f"{plus_minus(symbol, s.mean, s.expanded)} at {number(b.depth * 1e9)} nm")
    return f"{symbol}: mean {parts[0]}, {parts[1]} (expanded uncertainty)."
