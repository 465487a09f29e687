"""Zero point and drift of one test, as they were found."""

from __future__ import annotations

import numpy as np

from drypoint.figures.labels import number
from drypoint.figures.load_depth import thinned
from drypoint.figures.picture import Picture, nothing_to_show
from drypoint.figures.style import colour, drawing, series_colour
from drypoint.reduction.options import Options
from drypoint.run.result import StudyResult

#: The zoom on first contact reaches this many times the window of the zero's fit to both sides.
REACH = 3.0


def options_of(result: StudyResult, test: str) -> Options:
    """Choices under which a test was reduced."""
    for group in result.groups:
        if any(info.name == test for info in group.batch.tests):
            return group.options
    raise KeyError(test)


def first_contact(result: StudyResult, test: str) -> Picture:
    """Zoom on first contact: force against depth around the zero point, with its uncertainty."""
    curve = result.curve(test)
    reach = REACH * options_of(result, test).zero.depth_window * 1e9
    h, f = curve.zeroed_depth * 1e9, curve.force * 1e6
    past = np.flatnonzero(h > reach)
    first = int(past[0]) if len(past) else len(h)
    near = np.flatnonzero((np.abs(h) <= reach) & (np.arange(len(h)) < first))
    picture = Picture(f"first-contact-{test}", 2.7, width=3.3, invented=result.invented)
    if not len(near):
        return nothing_to_show(picture, f"Test {test} has no samples near first contact.")
    pick = near[thinned(len(near), 400)]
    u = curve.u_zero_depth * 1e9
    with drawing():
        axes = picture.add_subplot()
        axes.axvspan(-u, u, color=series_colour(1), alpha=0.28, linewidth=0, label="zero ± u")
        axes.axvline(0.0, color=series_colour(1), linewidth=1.2)
        axes.plot(h[pick], f[pick], ".", markersize=2.4, color=series_colour(0), label="samples")
        axes.set_xlabel("Depth from the zero point $h$ / nm")
        axes.set_ylabel("Force $F$ / µN")
        axes.legend(loc="upper left")
    picture.caption = f"Test {test}: first contact and zero point with its standard uncertainty."
    before = int(np.sum(h[near] < 0))
    picture.alt = (
        f"Force against depth near first contact of test {test}: {before} samples before and "
        f"{len(near) - before} after the zero point, force up to {number(float(f[near].max()))} "
        f"µN; standard uncertainty of the zero {number(u, 2)} nm."
    )
    return picture


def drift_hold(result: StudyResult, test: str) -> Picture:
    """Depth during the drift hold, with the rate that was found and the window that was used."""
    curve = result.curve(test)
    picture = Picture(f"drift-{test}", 2.7, width=3.3, invented=result.invented)
    holds = [(a, b) for kind, a, b, _ in curve.segments if kind == "drift hold"]
    if not holds or not np.isfinite(curve.time).all():
        return nothing_to_show(picture, f"Test {test} has no drift hold.")
    a, b = holds[-1]
    t, h = curve.time[a:b], curve.zeroed_depth[a:b] * 1e9
    t = t - t[0]
    low, high = options_of(result, test).drift.window
    used = slice(int(low * len(t)), max(int(high * len(t)), 1))
    rate, u = curve.drift_rate * 1e9, curve.u_drift_rate * 1e9
    middle = float(np.mean(t[used]))
    level = float(np.median(h[used] - rate * (t[used] - middle)))
    lag = t - middle
    pick = thinned(len(t), 400)
    with drawing():
        axes = picture.add_subplot()
        axes.axvspan(t[used][0], t[used][-1], color=colour("ghost"), alpha=0.18, linewidth=0,
                     label="window used")  # fmt: skip
        axes.plot(t[pick], h[pick] - level, ".", markersize=2.2, color=series_colour(0),
                  label="samples")  # fmt: skip
        axes.fill_between(t, rate * lag - 2 * u * np.abs(lag), rate * lag + 2 * u * np.abs(lag),
                          color=series_colour(1), alpha=0.3, linewidth=0)  # fmt: skip
        axes.plot(t, rate * lag, color=series_colour(1), linewidth=1.4, label="rate, with ± 2u")
        axes.set_xlabel("Time in the drift hold $t$ / s")
        axes.set_ylabel("Change of depth $h$ / nm")
        axes.margins(y=0.18)
        axes.legend(loc="best", fontsize=6.8)
    picture.caption = f"Test {test}: depth during the drift hold and the drift rate found."
    picture.alt = (
        f"Depth during the drift hold of test {test}, {number(float(t[-1]))} s long: drift rate "
        f"{number(rate)} nm/s, standard uncertainty {number(u, 2)} nm/s, from "
        f"{100 * low:.0f} % to {100 * high:.0f} % of the hold."
    )
    return picture
