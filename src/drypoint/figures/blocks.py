"""Tests on certified blocks against their certificates."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from drypoint.figures.labels import as_words, axis_label, in_units, number, plural, plus_minus
from drypoint.figures.picture import Picture
from drypoint.figures.style import colour, drawing, series_colour
from drypoint.run.bench_result import CheckedBlock

#: Most tests whose names stand under the axis.
_MOST_NAMES = 14


def block_tests(blocks: Sequence[CheckedBlock]) -> Picture:
    """Values of one block test by test, a panel for each certified quantity (one or more)."""
    specimen = blocks[0].specimen
    height = 0.95 + 1.75 * len(blocks)
    invented = any(b.invented for b in blocks)
    picture = Picture(f"calibration-block-{specimen}", height, invented=invented)
    with drawing():
        panels = np.atleast_1d(picture.subplots(len(blocks), 1, sharex=True))
        for axes, b in zip(panels, blocks, strict=True):
            _panel(axes, b)
        _names(panels[-1], blocks[-1])
        picture.align_ylabels(list(panels))
        handles, texts = panels[0].get_legend_handles_labels()
        picture.legend(handles, texts, loc="outside upper center", ncols=len(texts), fontsize=7)
    picture.caption = (
        f"Block {specimen}: tests with their random standard uncertainty, their mean with its "
        "combined standard uncertainty, the certificate with its expanded uncertainty, and the "
        "limits of the error."
    )
    picture.alt = " ".join(_alt(b) for b in blocks)
    return picture


def _panel(axes: Axes, b: CheckedBlock) -> None:
    v = b.verification
    q, certified = v.block.quantity, v.block.value
    quantity = b.reduced.tests[q]
    x = np.arange(1, len(quantity.value) + 1)

    def unit(value: float) -> float:
        return float(in_units(q, value))

    U = v.block.U
    axes.axhspan(unit(certified - U), unit(certified + U), color=series_colour(2), alpha=0.22,
                 linewidth=0, label="certificate ± U")  # fmt: skip
    axes.axhline(unit(certified), color=series_colour(2), linewidth=1.2)
    for side in (-1, 1):
        axes.axhline(unit(certified * (1 + side * v.limits.error)), color=colour("ink"),
                     linestyle="--", linewidth=0.9,
                     label="limits of the error" if side < 0 else None)  # fmt: skip
    axes.errorbar(x, in_units(q, quantity.value), in_units(q, quantity.u_random), fmt="o",
                  markersize=3.4, color=series_colour(0), linewidth=0.9, label="test")  # fmt: skip
    axes.errorbar([len(x) + 1], [unit(v.mean)], [unit(v.u_mean)], fmt="D", markersize=5,
                  color=series_colour(1), linewidth=1.6, capsize=3,
                  label="mean ± u")  # fmt: skip
    axes.set_xlim(0.4, len(x) + 1.6)
    axes.margins(y=0.12)
    axes.yaxis.set_major_locator(MaxNLocator(5))
    axes.set_ylabel(axis_label(q, short=True))


def _names(axes: Axes, b: CheckedBlock) -> None:
    names = [as_words(b.batch.tests[int(t)].name) for t in b.reduced.tests.test]
    n = len(names)
    if n <= _MOST_NAMES:
        axes.set_xticks(range(1, n + 2), [*names, "mean"])
        if max(map(len, names), default=0) > 60 / max(n, 1):
            axes.tick_params(axis="x", rotation=90)
    else:
        ticks = [1, *range(5, n - 2, 5), n + 1]
        axes.set_xticks(ticks, [*map(str, ticks[:-1]), "mean"])
        axes.set_xlabel("Number of the test")


def _alt(b: CheckedBlock) -> str:
    v = b.verification
    q = v.block.quantity
    return (
        f"{q} of {plural(v.n, 'test')} on block {b.specimen}: mean with standard uncertainty "
        f"{plus_minus(q, v.mean, v.u_mean)}, certificate with expanded uncertainty "
        f"{plus_minus(q, v.block.value, v.block.U)}; error {number(100 * v.relative_error, 2)} %, "
        f"limit {number(100 * v.limits.error, 2)} %: {v.verdict}."
    )
