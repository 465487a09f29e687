"""Film and substrate: modulus against a/t with every model, hardness against relative depth."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter
from numpy.typing import NDArray

from drypoint.contact.film_models import MODELS
from drypoint.figures.labels import number, span
from drypoint.figures.picture import Picture
from drypoint.figures.style import colour, drawing, series_colour
from drypoint.films import FilmCurves
from drypoint.films.hardness import TITLES
from drypoint.run.coatings import FilmFound

Floats = NDArray[np.float64]

#: Colour of the unloadings.
POINTS = 4


def film_modulus(found: FilmFound, curves: FilmCurves) -> Picture:
    """Plane-strain modulus of film and substrate together against a/t: the unloadings, the exact
    solution with its band, the approximations, and below what the exact solution leaves."""
    picture = Picture(f"film-modulus-{found.specimen}", 4.3, invented=found.invented)
    t = found.coating.structure.layers[0].t.value
    x = found.tests.radius / t
    E = found.tests.E_star / 1e9
    with drawing():
        top, low = picture.subplots(2, 1, sharex=True, height_ratios=(3, 1))
        u = found.tests.u_random / 1e9
        top.vlines(x, E - u, E + u, color=series_colour(POINTS), linewidth=0.7)
        top.plot(
            x, E, "o", markersize=2.4, color=series_colour(POINTS), label="unloadings, random u"
        )
        top.plot(curves.x, curves.exact / 1e9, color=series_colour(0), linewidth=1.5, zorder=3,
                 label=MODELS["exact"].title)  # fmt: skip
        top.fill_between(curves.x, curves.low / 1e9, curves.high / 1e9, color=series_colour(0),
                         alpha=0.18, linewidth=0, label="its band (95 %)")  # fmt: skip
        _models(top, curves, found.solved.comparison.within)
        top.axhline(curves.substrate / 1e9, color=colour("soft"), linewidth=0.8,
                    linestyle=(0, (1, 2)), label="substrate")  # fmt: skip
        rest = 100 * (np.exp(found.exact.residual) - 1)
        low.axhline(0, color=colour("soft"), linewidth=0.8)
        share = 100 * u / E
        low.vlines(x, rest - share, rest + share, color=series_colour(POINTS), linewidth=0.7)
        low.plot(x, rest, "o", markersize=2.2, color=series_colour(POINTS))
        lo, hi = (v / t for v in found.exact.informative)
        for axes in (top, low):
            axes.axvspan(lo, hi, color=colour("rule"), alpha=0.35, linewidth=0,
                         label="middle 80 % of what is known")  # fmt: skip
        _log_axis(low)
        top.set_ylabel("Plane-strain modulus $E^{*}$ / GPa")
        low.set_ylabel("Residual / %")
        low.set_xlabel("Contact radius over thickness $a/t$")
        picture.align_ylabels([top, low])
        top.legend(loc="best", fontsize=6.4)
    picture.caption = (
        f"{found.specimen}: modulus of film and substrate together against contact radius over "
        "thickness, with the fitted curve of every model, and the residuals of the exact solution. "
        "Grey: the depths that carry the middle 80 % of the information."
    )
    picture.alt = (
        f"{len(x)} unloadings of {found.specimen}, a/t {span(x)}, modulus {span(E, 'GPa')}. "
        f"Residuals of the exact solution: {span(rest, '%')}."
    )
    return picture


def _log_axis(axes: Axes) -> None:
    """A logarithmic axis with plain numbers at 1, 2, 5."""
    axes.set_xscale("log")
    axes.xaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda v, _: f"{v:g}"))
    axes.xaxis.set_minor_formatter(NullFormatter())


def _models(axes: Axes, curves: FilmCurves, within: tuple[str, ...]) -> None:
    styles = ((0, (4, 2)), (0, (1, 1)), (0, (5, 1, 1, 1)))
    colours = [k for k in range(1, 6) if k != POINTS]
    for i, (key, y) in enumerate(curves.models.items()):
        axes.plot(curves.x, y / 1e9, color=series_colour(colours[i % len(colours)]),
                  linewidth=0.9, linestyle=styles[i % 3],
                  label=MODELS[key].title + ("" if key in within else " (not good here)")
                  )  # fmt: skip


def film_hardness(found: FilmFound, curves: FilmCurves) -> Picture:
    """Hardness against contact depth over thickness, with the plateau and the models."""
    picture = Picture(f"film-hardness-{found.specimen}", 2.8, invented=found.invented)
    h = found.hardness_tests
    assert h is not None
    with drawing():
        axes = picture.subplots()
        H, u = h.H / 1e9, h.u_random / 1e9
        axes.vlines(h.beta, H - u, H + u, color=series_colour(POINTS), linewidth=0.7)
        axes.plot(h.beta, H, "o", markersize=2.4, color=series_colour(POINTS),
                  label="unloadings, random u")  # fmt: skip
        p = found.solved.plateau
        if p is not None:
            lo, hi = (v / 1e9 for v in p.interval())
            axes.fill_between(p.beta, lo, hi, color=series_colour(0), alpha=0.2, linewidth=0)
            axes.plot(p.beta, (p.H / 1e9, p.H / 1e9), color=series_colour(0), linewidth=1.5,
                      label="plateau, ± U (95 %)")  # fmt: skip
        for i, (key, y) in enumerate(curves.hardness.items()):
            axes.plot(curves.beta, y / 1e9, color=series_colour(1 + i), linewidth=0.9,
                      linestyle=(0, (4, 2)), label=TITLES[key])  # fmt: skip
        _log_axis(axes)
        axes.set_xlabel("Contact depth over thickness $h_c/t$")
        axes.set_ylabel(r"$H_\mathrm{IT}$ / GPa")
        axes.legend(loc="best", fontsize=6.4)
    picture.caption = (
        f"{found.specimen}: hardness against contact depth over thickness"
        + (", with the plateau found" if p is not None else "; no plateau is found")
        + (" and the models of film hardness." if curves.hardness else ".")
    )
    words = "No stretch of depths shows a plateau."
    if p is not None:
        words = (
            f"Plateau {number(p.H / 1e9)} GPa at relative depths {number(p.beta[0], 2)} to "
            f"{number(p.beta[1], 2)}."
        )
    picture.alt = f"{len(h.H)} unloadings of {found.specimen}, hardness {span(H, 'GPa')}. {words}"
    return picture
