"""Properties test by test with their uncertainties, and against depth."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from drypoint.figures.labels import as_words, axis_label, in_units, number, plural, plus_minus, span
from drypoint.figures.picture import Picture, nothing_to_show
from drypoint.figures.rows import cycle_rows, name_of, rows_of
from drypoint.figures.style import colour, drawing, series_colour
from drypoint.reduction.result import Reduction
from drypoint.run.columns import unit_text
from drypoint.run.result import StudyResult
from drypoint.uncertainty.bins import Bin
from drypoint.uncertainty.series import SeriesResult

Floats = NDArray[np.float64]
Filled = tuple[Bin, SeriesResult]

#: Most tests whose names stand under the axis; of more, the number of the test stands there.
MOST_NAMES = 40


def per_test(
    result: StudyResult, specimen: str, symbols: Sequence[str] = ("H_IT", "E_IT")
) -> Picture:
    """Values test by test, with the mean of the series and the band of its expanded uncertainty.

    Thick bars: random part alone (standard uncertainty); thin bars: combined. Excluded tests are
    grey crosses and do not count in the mean.
    """
    picture = Picture(f"per-test-{specimen}", 1.1 + 1.9 * len(symbols), invented=result.invented)
    rows, gone = rows_of(result, specimen)
    if not len(rows):
        return nothing_to_show(picture, f"No test of {specimen} gave a value.")
    names = [name_of(result, r) for r in rows]
    known = result.series.get(specimen, {})
    words = []
    with drawing():
        panels = np.atleast_1d(picture.subplots(len(symbols), 1, sharex=True))
        for axes, symbol in zip(panels, symbols, strict=True):
            mean = known.get(symbol)
            _values(axes, result.tests, symbol, rows, gone)
            if mean is not None:
                _mean_band(axes, symbol, mean)
            axes.set_ylabel(axis_label(symbol, short=True))
            words.append(_mean_words(result, symbol, rows[~gone], mean))
        last = panels[-1]
        last.set_xlim(0.3, len(rows) + 0.7)
        if len(rows) <= MOST_NAMES:
            words_at = [as_words(n) for n in names]
            last.set_xticks(np.arange(1, len(rows) + 1), words_at, rotation=90, fontsize=6.5)
        else:
            last.xaxis.set_major_locator(MaxNLocator(integer=True))
            last.set_xlabel("Number of the test")
        picture.align_ylabels(list(panels))
        handles, texts = panels[0].get_legend_handles_labels()
        picture.legend(handles, texts, loc="outside upper center", ncols=len(texts), fontsize=6.8)
    picture.caption = (
        f"{specimen}: {' and '.join(symbols)} test by test. Thick bars: random standard "
        "uncertainty; thin bars: combined standard uncertainty; band: mean with its expanded "
        "uncertainty."
    )
    tail = f" {plural(int(gone.sum()), 'test')} excluded." if gone.any() else ""
    picture.alt = f"{plural(len(rows), 'test')} of {specimen}. " + " ".join(words) + tail
    return picture


def _values(
    axes: Axes, r: Reduction, symbol: str, rows: NDArray[np.int64], gone: NDArray[np.bool_]
) -> None:
    x = np.arange(1, len(rows) + 1)
    y = in_units(symbol, r[symbol].value[rows])
    inner = in_units(symbol, r[symbol].u_random[rows])
    outer = in_units(symbol, r.u(symbol)[rows])
    good = np.isfinite(y) & ~gone
    axes.vlines(x[good], (y - outer)[good], (y + outer)[good], color=series_colour(0),
                linewidth=0.8, label="combined u")  # fmt: skip
    axes.vlines(x[good], (y - inner)[good], (y + inner)[good], color=series_colour(0),
                linewidth=3.2, alpha=0.6, label="random u")  # fmt: skip
    axes.plot(x[good], y[good], "o", markersize=2.8, color=series_colour(0), label="value")
    out = np.isfinite(y) & gone
    if out.any():
        axes.plot(x[out], y[out], "x", markersize=5, color=colour("ghost"), label="excluded")
    axes.margins(y=0.12)


def _mean_band(axes: Axes, symbol: str, mean: SeriesResult) -> None:
    m, u = (float(in_units(symbol, v)) for v in (mean.mean, mean.expanded))
    axes.axhspan(m - u, m + u, color=series_colour(1), alpha=0.2, linewidth=0,
                 label=f"mean ± U (k = {mean.k:.2f})")  # fmt: skip
    axes.axhline(m, color=series_colour(1), linewidth=1.2)


def _mean_words(
    result: StudyResult, symbol: str, rows: NDArray[np.int64], mean: SeriesResult | None
) -> str:
    unit = unit_text(symbol)
    values = span(in_units(symbol, result.tests[symbol].value[rows]), unit)
    if mean is None:
        return f"{symbol}: no value."
    whole = plus_minus(symbol, mean.mean, mean.expanded)
    return f"{symbol}: {values}, mean with expanded uncertainty {whole}."


def filled_bins(result: StudyResult, specimen: str, symbol: str) -> tuple[Filled, ...]:
    """Depth bins of a specimen that hold a mean, with it; none where the study has no bins."""
    bins = result.bins.get(specimen, {}).get(symbol, ())
    return tuple((b, b.result) for b in bins if b.result is not None)


def by_depth(
    result: StudyResult, specimen: str, symbols: Sequence[str] = ("H_IT", "E_IT")
) -> Picture:
    """Properties against contact depth, all unloadings; where the study has depth bins, with the
    mean of each bin and the band of its expanded uncertainty."""
    picture = Picture(f"depth-{specimen}", 3.2, invented=result.invented)
    rows = cycle_rows(result, specimen)
    depth = result.cycles["h_c"].value[rows] * 1e9
    if not np.isfinite(depth).any():
        return nothing_to_show(picture, f"No contact depth of {specimen} is known.")
    words = []
    with drawing():
        panels = np.atleast_1d(picture.subplots(1, len(symbols)))
        for axes, symbol in zip(panels, symbols, strict=True):
            q = result.cycles[symbol]
            y = in_units(symbol, q.value[rows])
            steps = filled_bins(result, specimen, symbol)
            if not steps:
                u = in_units(symbol, result.cycles.u(symbol)[rows])
                axes.vlines(depth, y - u, y + u, color=series_colour(0), linewidth=0.7, alpha=0.7)
            axes.plot(depth, y, "o", markersize=2.4 if steps else 3.0, alpha=0.75,
                      color=series_colour(4 if steps else 0),
                      label="unloadings" if steps else "unloadings, ± u")  # fmt: skip
            if steps:
                _band(axes, symbol, steps)
            axes.set_xlim(left=0)
            axes.set_xlabel(axis_label("h_c"))
            axes.set_ylabel(axis_label(symbol, short=True))
            axes.margins(y=0.1)
            words.append(_depth_words(symbol, y, steps))
        panels[0].legend(loc="best", fontsize=6.8)
    picture.caption = f"{specimen}: {' and '.join(symbols)} against contact depth." + (
        " Line and band: mean in each bin of depth with its expanded uncertainty."
        if filled_bins(result, specimen, symbols[0])
        else ""
    )
    picture.alt = (
        f"{plural(len(rows), 'unloading')} of {specimen}, contact depth {span(depth, 'nm')}. "
        + " ".join(words)
    )
    return picture


def _band(axes: Axes, symbol: str, steps: tuple[Filled, ...]) -> None:
    at = np.array([b.depth * 1e9 for b, _ in steps])
    mean = in_units(symbol, [s.mean for _, s in steps])
    wide = in_units(symbol, [s.expanded for _, s in steps])
    sure = np.isfinite(wide)
    axes.fill_between(at[sure], (mean - wide)[sure], (mean + wide)[sure], color=series_colour(1),
                      alpha=0.25, linewidth=0, label="mean ± U")  # fmt: skip
    axes.plot(at, mean, "-o", color=series_colour(1), markersize=3.0, linewidth=1.2, label="mean")


def _depth_words(symbol: str, y: Floats, steps: tuple[Filled, ...]) -> str:
    unit = unit_text(symbol)
    if not steps:
        return f"{symbol}: {span(y, unit)}."
    parts = []
    for i in (0, -1):
        b, s = steps[i]
        parts.append(f"{plus_minus(symbol, s.mean, s.expanded)} at {number(b.depth * 1e9)} nm")
    return f"{symbol}: mean {parts[0]}, {parts[1]} (expanded uncertainty)."
