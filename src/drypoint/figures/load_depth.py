"""Load-depth curves of a specimen."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from drypoint.figures.labels import plural, span
from drypoint.figures.picture import Picture, nothing_to_show
from drypoint.figures.rows import name_of, rows_of
from drypoint.figures.style import colour, drawing, series_colour
from drypoint.run.result import StudyResult

Floats = NDArray[np.float64]

#: Most curves in one figure; of more, evenly chosen ones are drawn, and the caption says so.
MOST_CURVES = 120
#: Most points of one curve as drawn (numbers are never thinned, only ink).
MOST_POINTS = 500


def thinned(n: int, most: int) -> NDArray[np.int64]:
    """Indices of at most ``most`` of ``n`` samples, evenly chosen, the last one among them."""
    if n <= most:
        return np.arange(n)
    return np.unique(np.linspace(0, n - 1, most).round().astype(np.int64))


def curves(result: StudyResult, specimen: str) -> Picture:
    """Corrected load-depth curves of all tests of a specimen; excluded ones grey and dashed.

    Parameters
    ----------
    result : StudyResult
    specimen : str
        Its name in the study.

    Returns
    -------
    Picture
        A Matplotlib figure with ``caption`` and ``alt``.
    """
    picture = Picture(f"curves-{specimen}", 3.3, invented=result.invented)
    rows, excluded = rows_of(result, specimen)
    names = [name_of(result, r) for r in rows]
    if not names:
        return nothing_to_show(picture, f"No test of {specimen} gave a curve.")
    shown = [names[i] for i in thinned(len(names), MOST_CURVES)]
    out = [n for n, gone in zip(names, excluded, strict=True) if gone]
    reach = [drawn(result, n) for n in shown]
    with drawing():
        axes = picture.add_subplot()
        seen: set[bool] = set()
        for name, (h, f) in zip(shown, reach, strict=True):
            gone = name in out
            axes.plot(
                h,
                f,
                color=colour("ghost") if gone else series_colour(0),
                linestyle=(0, (4, 2)) if gone else "-",
                linewidth=0.9 if gone else 0.8,
                alpha=1.0 if gone else 0.75,
                zorder=1 if gone else 2,
                label=None if gone in seen else ("excluded" if gone else "tests"),
            )
            seen.add(gone)
        depth = max(float(h.max()) for h, _ in reach)
        force = max(float(f.max()) for _, f in reach)
        axes.set_xlim(-0.03 * depth, 1.04 * depth)
        axes.set_ylim(-0.04 * force, 1.05 * force)
        axes.set_xlabel("Depth $h$ / nm")
        axes.set_ylabel("Force $F$ / mN")
        if True in seen:
            axes.legend(loc="upper left")
    thin = f" {plural(len(shown), 'curve')} of {len(names)} are drawn." * (len(shown) < len(names))
    gone_words = f" Excluded: {', '.join(out)} (grey, dashed)." if out else ""
    picture.caption = (
        f"{specimen}: corrected load–depth curves of {plural(len(names), 'test')}."
        + gone_words
        + thin
    )
    picture.alt = (
        f"Load-depth curves of {plural(len(names), 'test')} of {specimen}: largest force "
        f"{span(result.tests['F_max'].value[rows] * 1e3, 'mN')}, depth there "
        f"{span(result.tests['h_max'].value[rows] * 1e9, 'nm')}, residual depth "
        f"{span(result.tests['h_p'].value[rows] * 1e9, 'nm')}."
        + (f" {plural(len(out), 'test')} excluded." if out else "")
    )
    return picture


def drawn(result: StudyResult, name: str, most: int = MOST_POINTS) -> tuple[Floats, Floats]:
    """Depth (nm) and force (mN) of a test from first contact on, thinned for drawing."""
    curve = result.curve(name)
    h, f = curve.depth * 1e9, curve.force * 1e3
    from_contact = h > -0.03 * np.nanmax(h)
    h, f = h[from_contact], f[from_contact]
    pick = thinned(len(h), most)
    # The peak is kept whatever the thinning does.
    pick = np.unique(np.append(pick, [int(np.argmax(f)), int(np.argmax(h))]))
    return h[pick], f[pick]
