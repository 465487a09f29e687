"""Down to which depth a dynamic record says something, and what is withheld above it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from drypoint.reduction.dynamic_windows import Windows
from drypoint.reduction.options import Options
from drypoint.reduction.result import Flag, Reduction
from drypoint.reduction.zero import Zero
from drypoint.tips.tip import Bench

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
#: Which rows a code marks, and the sentence for one of them.
Mark = tuple[Bools, Callable[[int], str]]

#: Code -> grounds. Those before "still elastic" close a row but for force and depth; that one and
#: the next withhold the hardness; the last two are remarks.
GROUNDS: dict[str, str] = {
    "no exponent": "epsilon and the chord of the swing need the exponent of the unloading",
    "stiffness uncertain": "our own choice: E_IT is at least as uncertain as S",
    "zero uncertain": "our own choice: an error of the zero moves hardness by twice its share of "
    "h_c",
    "swing too large": "Pharr, Strader and Oliver 2009: with a swing that is not small against "
    "the force the means are those of no one contact",
    "tip range": "the area function was not determined at this contact depth",
    "shallow": "one good window among bad ones is luck",
    "still elastic": "mean pressure of an elastic contact is no hardness",
    "hardness uncertain": "relative uncertainty above the limit set in the recipe",
    "swing unknown": "Pharr, Strader and Oliver 2009: means lie below the largest force",
    "constants not given": "Pethica and Oliver 1989: spring and mass add to the stiffness",
}
#: Codes that withhold nothing.
REMARKS = ("swing unknown", "constants not given")
#: So many good windows in a row are wanted before the first is believed.
IN_A_ROW = 3
#: Exponent of the unloading of a paraboloid (Hertz): all of its depth comes back.
_PARABOLOID = 1.5
#: What a closed row still shows.
KEPT = ("F", "h")


def withhold(
    r: Reduction,
    swing: Floats,
    m: Floats,
    windows: Windows,
    zero: Zero,
    bench: Bench,
    options: Options,
) -> Reduction:
    """The rows with what is not honest taken out, and flags that say why.

    Parameters
    ----------
    r : Reduction
        One row a window, in the order of tests, cycles and depth.
    swing : array, shape (n,)
        Swing of the contact force as a share of the force, NaN where not known.
    m : array, shape (n,)
        Exponent used, NaN where it is needed and not known.
    """
    shallow = _shallow(r, swing, m, zero, bench, options)
    bad = np.any([where for where, _ in shallow.values()], axis=0)
    lone = _before_the_first(bad, r.test) & ~bad
    closed = bad | lone
    hardness = _hardness(r, closed, options)
    no_H = np.any([where for where, _ in hardness.values()], axis=0)
    remarks: dict[str, Mark] = {
        **shallow,
        "shallow": (lone, lambda i: f"Not {IN_A_ROW} windows in a row could be used from here on."),
        **hardness,
        **_remarks(windows, bench, options),
    }
    quantities = {}
    for s, q in r.quantities.items():
        where = np.zeros(len(r), bool) if s in KEPT else closed | (no_H & (s == "H_IT"))
        value, u = np.where(where, np.nan, q.value), np.where(where, np.nan, q.u_random)
        quantities[s] = replace(q, value=value, u_random=u)
    flags = tuple(
        tuple(Flag(c, say(i), GROUNDS[c]) for c, (where, say) in remarks.items() if where[i])
        for i in range(len(r))
    )
    return replace(r, quantities=quantities, flags=flags)


def _shallow(
    r: Reduction, swing: Floats, m: Floats, zero: Zero, bench: Bench, options: Options
) -> dict[str, Mark]:
    """What closes a window altogether."""
    d, area = options.dynamic, bench.tip.area
    u_zero = zero.u_whole(options.zero)[r.test]
    h_c = r["h_c"].value
    with np.errstate(divide="ignore", invalid="ignore"):
        S = r["S"].value
        rel_S = np.where(S > 0, r.u("S") / S, np.inf)
        outside = (h_c < area.h_min) | (h_c > area.h_max)
        large = swing > d.swing_limit
    no_m = ~np.isfinite(m)
    return {
        "no exponent": (no_m, lambda i: "The unloading that follows has no fit."),
        "stiffness uncertain": (
            ~(rel_S <= d.u_stiffness_limit) & ~no_m & ~large,
            lambda i: (
                f"The standard uncertainty of S is {100 * rel_S[i]:.0f} % (limit "
                f"{100 * d.u_stiffness_limit:.0f} %)."
                if np.isfinite(rel_S[i])
                else "The stiffness that is left for the contact is not above zero, or not known."
            ),
        ),
        "zero uncertain": (
            ~(u_zero <= d.zero_share * h_c) & ~no_m & ~large,
            lambda i: (
                f"The zero is known to {u_zero[i] * 1e9:.1f} nm at h_c = "
                f"{h_c[i] * 1e9:.1f} nm (limit {100 * d.zero_share:.0f} %)."
            ),
        ),
        "swing too large": (
            large,
            lambda i: (
                f"The swing is {100 * swing[i]:.0f} % of the force (limit "
                f"{100 * d.swing_limit:.0f} %)."
            ),
        ),
        "tip range": (
            outside,
            lambda i: (
                f"h_c = {h_c[i] * 1e9:.1f} nm lies outside the range of the area function "
                f"({area.h_min * 1e9:.1f} to {area.h_max * 1e9:.1f} nm)."
            ),
        ),
    }


def _hardness(r: Reduction, closed: Bools, options: Options) -> dict[str, Mark]:
    """What closes the hardness alone."""
    a = options.analysis
    with np.errstate(divide="ignore", invalid="ignore"):
        rel_H = r.u("H_IT") / r["H_IT"].value
        elastic = _PARABOLOID * r["F"].value / (r["S"].value * r["h"].value)
        no_plastic = (elastic > a.elastic_work_limit) & ~closed
        unsure = (rel_H > a.u_hardness_limit) & ~closed & ~no_plastic
    return {
        "still elastic": (
            no_plastic,
            lambda i: (
                f"Hardness withheld: {100 * min(elastic[i], 1.0):.0f} % of the depth is "
                "elastic, as under a paraboloid that has not yielded."
            ),
        ),
        "hardness uncertain": (
            unsure,
            lambda i: (
                f"Hardness withheld: its standard uncertainty is {100 * rel_H[i]:.0f} % "
                f"(limit {100 * a.u_hardness_limit:.0f} %)."
            ),
        ),
    }


def _remarks(windows: Windows, bench: Bench, options: Options) -> dict[str, Mark]:
    """What a reader should know of rows that stand."""
    frame = bench.frame
    missing = frame.support_spring is None or frame.moving_mass is None
    return {
        "swing unknown": (
            ~np.isfinite(windows.swing) & (options.dynamic.quoted_at == "peak"),
            lambda i: "No amplitude of the depth is recorded: values are means over the swing.",
        ),
        "constants not given": (
            windows.by_amplitude & missing,
            lambda i: (
                "Support spring or moving mass of the frame is not given, and counts as none."
            ),
        ),
    }


def _before_the_first(bad: Bools, test: NDArray[np.int64]) -> Bools:
    """Rows of each test before the first run of :data:`IN_A_ROW` good ones (of a test with fewer
    rows: before a run of all)."""
    out = np.ones(len(bad), dtype=bool)
    edges = np.concatenate([[0], np.flatnonzero(np.diff(test)) + 1, [len(bad)]])
    for a, b in pairwise(edges.tolist()):
        run = min(IN_A_ROW, b - a)
        upto = np.concatenate([[0], np.cumsum(~bad[a:b])])
        starts = np.flatnonzero(upto[run:] - upto[: len(upto) - run] == run)
        if run and len(starts):
            out[a + starts[0] : b] = False
    return out
