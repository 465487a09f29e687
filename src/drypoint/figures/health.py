"""Control charts of a tip over the months."""

from __future__ import annotations

from datetime import date

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.dates import AutoDateLocator, ConciseDateFormatter, date2num
from numpy.typing import NDArray

from drypoint.calibration import Health
from drypoint.calibration.charts import Chart
from drypoint.figures.labels import as_words, number, plural
from drypoint.figures.picture import Picture
from drypoint.figures.style import colour, drawing, series_colour

Floats = NDArray[np.float64]


def health_charts(
    health: Health, *, what: str = "Area", unit: str = "", factor: float = 1.0, name: str = "tip"
) -> Picture:
    """Single values with runs rules above, their weighted average below, and the day of change.

    Parameters
    ----------
    health : Health
    what, unit : str
        What was checked, for the axes, for example ``"Area at 200 nm"`` and ``"µm²"``.
    factor : float
        Values are multiplied by it for the axes (1e12 from m² to µm²).
    name : str
        For the file name of the figure.
    """
    days: Floats = np.asarray(date2num([p.day for p in health.points]), dtype=np.float64)
    picture = Picture(f"health-{name}", 4.2, invented=health.invented)
    label = what + (f" / {unit}" if unit else "")
    with drawing():
        above, below = picture.subplots(2, 1, sharex=True, height_ratios=(1.25, 1))
        _limits(above, days, health.shewhart, factor, lines=True)
        u = np.array([p.u for p in health.points]) * factor
        v = np.array([p.value for p in health.points]) * factor
        after = np.isin(np.arange(len(v)), health.after)
        above.vlines(days, v - u, v + u, color=colour("soft"), linewidth=0.9)
        above.plot(days, v, color=colour("ghost"), linewidth=0.7)
        above.plot(days[~after], v[~after], "o", markersize=4, color=series_colour(0),
                   label="check (± u)")  # fmt: skip
        if after.any():
            above.plot(days[after], v[after], "s", markersize=4, color=series_colour(1),
                       label="after the change")  # fmt: skip
        _signals(above, days, v, health.shewhart)
        _limits(below, days, health.ewma, factor, lines=False)
        z = health.ewma.value * factor
        below.plot(days, z, "o-", markersize=3.4, color=series_colour(3), label="weighted average")
        _signals(below, days, z, health.ewma)
        for axes in (above, below):
            _change(axes, health)
            axes.margins(y=0.1)
        above.set_ylabel(as_words(label))
        below.set_ylabel("Weighted average" + (as_words(f" / {unit}") if unit else ""))
        locator = AutoDateLocator(minticks=3, maxticks=9)
        below.xaxis.set_major_locator(locator)
        below.xaxis.set_major_formatter(ConciseDateFormatter(locator))
        handles: dict[str, Artist] = {}
        for axes in (above, below):
            artists, words = axes.get_legend_handles_labels()
            handles |= dict(zip(words, artists, strict=True))
        picture.legend(list(handles.values()), list(handles), loc="outside upper center",
                       ncols=4, fontsize=7)  # fmt: skip
        picture.align_ylabels([above, below])
    picture.caption = (
        f"{what} over time. Above: single checks with centre and 1, 2, 3 standard deviations of "
        "the first checks; below: exponentially weighted average with its limits. Ringed: a rule "
        "is broken."
    )
    picture.alt = _alt(health, what, unit, factor)
    return picture


def _limits(axes: Axes, days: Floats, chart: Chart, factor: float, *, lines: bool) -> None:
    c, s = chart.centre * factor, chart.sigma * factor
    axes.axhline(c, color=colour("soft"), linewidth=1.0, label="centre")
    if lines:
        for k in (1, 2):
            for side in (-1, 1):
                axes.axhline(c + side * k * s, color=colour("ghost"), linestyle=":", linewidth=0.8)
    for limit in (chart.lower, chart.upper):
        axes.plot(days, limit * factor, color=colour("ink"), linestyle="--", linewidth=0.9,
                  label="limits" if limit is chart.lower else None)  # fmt: skip


def _signals(axes: Axes, days: Floats, values: Floats, chart: Chart) -> None:
    at = sorted({s.at for s in chart.signals})
    if at:
        axes.plot(days[at], values[at], "o", markersize=8.5, markerfacecolor="none",
                  markeredgecolor=colour("plum"), markeredgewidth=1.1,
                  label="rule broken")  # fmt: skip


def _change(axes: Axes, health: Health) -> None:
    if health.between is None:
        return
    low, high = (float(date2num(d)) for d in health.between)
    since = low if health.doubtful_since is None else float(date2num(health.doubtful_since))
    if since < low:
        axes.axvspan(since, low, color=colour("orange"), alpha=0.10, linewidth=0,
                     label="doubtful")  # fmt: skip
    axes.axvspan(low, high, color=colour("orange"), alpha=0.30, linewidth=0,
                 label="the change lies here")  # fmt: skip


def _day(d: date) -> str:
    return d.isoformat()


def _alt(health: Health, what: str, unit: str, factor: float) -> str:
    first, last = health.points[0], health.points[-1]
    tail = f" {unit}" if unit else ""
    text = (
        f"{what} in {plural(len(health.points), 'check')} from {_day(first.day)} to "
        f"{_day(last.day)}: centre {number(health.shewhart.centre * factor)}{tail}, standard "
        f"deviation {number(health.shewhart.sigma * factor, 2)}{tail}. State: {health.state}."
    )
    if health.between is not None:
        text += f" The change lies between {_day(health.between[0])} and {_day(health.between[1])}."
    if health.doubtful_since is not None:
        text += f" Not surely unchanged since {_day(health.doubtful_since)}."
    rules = list(dict.fromkeys(s.rule for s in health.shewhart.signals))
    if rules:
        text += f" Rules broken: {'; '.join(rules)}."
    return text
