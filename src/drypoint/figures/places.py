"""Values by position on the specimen, and how they are distributed."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from drypoint.figures.labels import axis_label, in_units, number, plural, span
from drypoint.figures.picture import Picture, nothing_to_show
from drypoint.figures.rows import rows_of
from drypoint.figures.style import COLOUR_MAP, WIDTH, colour, drawing, series_colour
from drypoint.run.columns import unit_text
from drypoint.run.result import StudyResult

Floats = NDArray[np.float64]


def positions(result: StudyResult, specimen: str) -> tuple[NDArray[np.int64], Floats]:
    """Rows of ``tests`` with a position, and the positions in µm, shape (n, 2)."""
    rows, places = [], []
    for r in rows_of(result, specimen)[0]:
        at = result.batch.tests[int(result.tests.test[r])].position_m
        if at is not None:
            rows.append(int(r))
            places.append((at[0] * 1e6, at[1] * 1e6))
    return np.array(rows, dtype=np.int64), np.array(places, dtype=np.float64).reshape(-1, 2)


def is_map(result: StudyResult, specimen: str) -> bool:
    """Whether the tests of a specimen cover an area, so that a map says something."""
    _, xy = positions(result, specimen)
    return len(xy) >= 9 and min(len(np.unique(xy[:, 0].round(3))),
                                len(np.unique(xy[:, 1].round(3)))) >= 3  # fmt: skip


def position_map(result: StudyResult, specimen: str, symbol: str = "H_IT") -> Picture:
    """Map of positions coloured by a property; withheld values hollow, excluded tests crossed."""
    picture = Picture(f"map-{symbol}-{specimen}", 3.6, invented=result.invented)
    rows, xy = positions(result, specimen)
    if not len(rows):
        return nothing_to_show(picture, f"No test of {specimen} has a position.")
    value = in_units(symbol, result.tests[symbol].value[rows])
    gone = result.tests_table["excluded"].to_numpy()[rows]
    known = np.isfinite(value) & ~gone
    width, height = np.ptp(xy, axis=0) + 2 * _pitch(xy)
    panel = (0.78 * WIDTH, 3.0)
    scale = min(panel[0] / width, panel[1] / height)
    picture.set_height(min(3.9, height * scale + 0.75))
    side = min(22.0, 0.62 * _pitch(xy) * scale * 72.0)
    with drawing():
        axes = picture.add_subplot()
        shown = axes.scatter(
            xy[known, 0], xy[known, 1], c=value[known], cmap=COLOUR_MAP, marker="s", s=side**2,
            linewidths=0,
        )  # fmt: skip
        empty = ~known & ~gone
        if empty.any():
            axes.scatter(xy[empty, 0], xy[empty, 1], marker="s", s=side**2, facecolors="none",
                         edgecolors=colour("soft"), linewidths=0.8, label="no value")  # fmt: skip
        if gone.any():
            axes.scatter(xy[gone, 0], xy[gone, 1], marker="x", s=(0.6 * side) ** 2,
                         color=colour("ghost"), linewidths=1.2, label="excluded")  # fmt: skip
        axes.set_aspect("equal")
        axes.set_xlabel("Position $x$ / µm")
        axes.set_ylabel("Position $y$ / µm")
        axes.margins(0)
        pad = _pitch(xy)
        axes.set_xlim(xy[:, 0].min() - pad, xy[:, 0].max() + pad)
        axes.set_ylim(xy[:, 1].min() - pad, xy[:, 1].max() + pad)
        axes.grid(False)
        bar = picture.colorbar(shown, ax=axes, shrink=0.92, pad=0.02)
        bar.set_label(axis_label(symbol, short=True))
        bar.outline.set_linewidth(0.0)
        if empty.any() or gone.any():
            picture.legend(loc="outside upper right", ncols=2)
    picture.caption = f"{specimen}: {symbol} in {unit_text(symbol)} by position on the specimen."
    order = np.argsort(np.where(known, value, np.nan))
    low, high = order[0], order[int(known.sum()) - 1] if known.any() else order[0]
    picture.alt = (
        f"Map of {plural(len(rows), 'test')} of {specimen} over {number(float(np.ptp(xy[:, 0])))} "
        f"by {number(float(np.ptp(xy[:, 1])))} µm: {symbol} "
        f"{span(value[known], unit_text(symbol))}"
    )
    if known.any():
        picture.alt += (
            f", lowest at x {number(xy[low, 0])}, y {number(xy[low, 1])} µm, highest at x "
            f"{number(xy[high, 0])}, y {number(xy[high, 1])} µm"
        )
    picture.alt += "." + (f" {plural(int(gone.sum()), 'test')} excluded." if gone.any() else "")
    return picture


def _pitch(xy: Floats) -> float:
    """Typical distance from a test to its nearest neighbour, µm."""
    if len(xy) < 2:
        return 1.0
    pick = xy[:400]
    d = np.hypot(*(pick[:, None, :] - xy[None, :, :]).transpose(2, 0, 1))
    d[d == 0] = np.inf
    nearest = d.min(axis=1)
    nearest = nearest[np.isfinite(nearest)]
    return float(np.median(nearest)) if len(nearest) else 1.0


def distribution(result: StudyResult, specimen: str, symbol: str = "H_IT") -> Picture:
    """Histogram and cumulative share of a property over the tests that count."""
    picture = Picture(f"distribution-{symbol}-{specimen}", 2.6, invented=result.invented)
    rows, gone = rows_of(result, specimen)
    rows = rows[~gone]
    value = in_units(symbol, result.tests[symbol].value[rows])
    value = np.sort(value[np.isfinite(value)])
    if len(value) < 2:
        return nothing_to_show(picture, f"Fewer than two values of {symbol} for {specimen}.")
    with drawing():
        left, right = picture.subplots(1, 2)
        _histogram(left, value)
        right.step(np.append(value[0], value), np.linspace(0, 100, len(value) + 1), where="post",
                   color=series_colour(0))  # fmt: skip
        right.set_ylim(-2, 104)
        left.set_ylabel("Number of tests")
        right.set_ylabel("Share of tests up to here / %")
        for axes in (left, right):
            axes.set_xlabel(axis_label(symbol, short=True))
            axes.xaxis.set_major_locator(MaxNLocator(5))
    q = np.percentile(value, [25, 50, 75])
    unit = unit_text(symbol)
    picture.caption = (
        f"{specimen}: distribution of {symbol} over {plural(len(value), 'test')}; left counts, "
        "right cumulative share."
    )
    picture.alt = (
        f"Distribution of {symbol} of {specimen} over {plural(len(value), 'test')}: "
        f"{span(value, unit)}, median {number(float(q[1]))} {unit}, middle half from "
        f"{number(float(q[0]))} to {number(float(q[2]))} {unit}."
    )
    return picture


def _histogram(axes: Axes, value: Floats) -> None:
    edges = np.histogram_bin_edges(value, bins=int(np.clip(2 * len(value) ** 0.5, 5, 60)))
    axes.hist(value, bins=list(edges), color=series_colour(0), alpha=0.85,
              edgecolor=colour("paper"))  # fmt: skip
    axes.plot(value, np.zeros_like(value), "|", color=colour("ink"), markersize=6, clip_on=False)
    axes.yaxis.set_major_locator(MaxNLocator(integer=True))
