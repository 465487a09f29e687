"""What looks wrong in a calibration: plain findings that say what to measure next.

Limits are this project's own choices unless a source stands beside them; they are written in
:data:`LIMITS`. A finding never changes a number.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from drypoint import materials
from drypoint.calibration.problems import Finding
from drypoint.calibration.result import Calibration, area_jacobian
from drypoint.errors import DrypointError
from drypoint.notices import CLEANING

Floats = NDArray[np.float64]

#: Limit -> value. ``row`` in standard uncertainties; ``pile_up`` is h_p/h_max [bolshakov1998];
#: ``family`` relative deviation of a row's F/S^2 from its material's median; ``leading``: of the
#: area's growth at depth from the ideal tip's; ``hardness``: beyond the material's usual range;
#: ``correlation`` and ``area``: poorly determined; ``trend`` and ``jump`` in standard
#: uncertainties; ``depth_ratio``: greatest over smallest depth.
LIMITS = {
    "row": 4.0,
    "pile_up": 0.7,
    "family": 0.15,
    "leading": 0.08,
    "hardness": 0.12,
    "correlation": 0.99,
    "area": 0.03,
    "trend": 4.0,
    "jump": 4.5,
    "jump_area": 0.01,
    "depth_ratio": 3.0,
    "scatter": 0.03,
}


def findings(c: Calibration) -> tuple[Finding, ...]:
    """Everything that a careful reader of the calibration would ask about."""
    checks = (
        _negative, _few, _outliers, _family, _hardness, _piled, _leading, _jump, _trend,
        _undetermined, _scatter,
    )  # fmt: skip
    return tuple(f for check in checks for f in check(c))


def _negative(c: Calibration) -> Iterator[Finding]:
    C, u = c.frame.compliance, c.frame.u_compliance
    if 0.5 * u < -C and 1e-5 * float(c.tests.C.min()) < -C:
        sure = -2 * u > C
        yield Finding(
            "negative compliance",
            f"The frame compliance comes out negative: {C * 1e6:.3g} nm/mN (u = {u * 1e6:.2g}).",
            "No frame is stiffer than rigid. Check the reference's E and nu, the force and depth "
            "scales and the zero points, and measure at larger forces."
            if sure
            else "Zero lies within its uncertainty; measure at larger forces to see it.",
            serious=sure,
        )


def _few(c: Calibration) -> Iterator[Finding]:
    ratio = c.rows.h_c.max() / c.rows.h_c.min()
    if ratio < LIMITS["depth_ratio"]:
        yield Finding(
            "short range",
            f"The contact depths span a factor of {ratio:.2g} only, "
            f"{c.rows.h_c.min() * 1e9:.0f} to {c.rows.h_c.max() * 1e9:.0f} nm; frame and tip are "
            "hard to tell apart over it.",
            "Measure at smaller and larger forces.",
        )


def _outliers(c: Calibration) -> Iterator[Finding]:
    rows = np.flatnonzero(np.abs(c.rows.standardised) > LIMITS["row"])
    if len(rows):
        worst = rows[np.argsort(-np.abs(c.rows.standardised[rows]))]
        listed = ", ".join(
            f"{c.tests.label(int(i))} ({c.rows.standardised[i]:+.1f} u)" for i in worst[:5]
        )
        yield Finding(
            "tests out of family",
            f"{len(rows)} of {len(c.tests)} unloadings lie more than {LIMITS['row']:g} standard "
            f"uncertainties off the fit: {listed}.",
            "Look at these records; exclude them with a reason, or repeat them.",
            rows=tuple(int(i) for i in worst),
        )


def _family(c: Calibration) -> Iterator[Finding]:
    """F/S^2 needs no area function: a test on another material shows at once [joslin1990]."""
    q = c.rows.force_over_stiffness_squared
    for j in np.unique(c.tests.material):
        rows = np.flatnonzero(c.tests.material == j)
        if len(rows) < 4:
            continue
        # A slow course with depth is allowed: neighbours in force are compared.
        order = rows[np.argsort(c.tests.F[rows])]
        log = np.log(np.maximum(q[order], 1e-300))
        near = np.array([
            np.median(log[max(0, i - 4) : i + 5]) for i in range(len(order))
        ])  # fmt: skip
        off = order[np.abs(log - near) > LIMITS["family"]]
        if len(off):
            tests = ", ".join(c.tests.label(int(i)) for i in off[:5])
            yield Finding(
                "another material",
                f"F/S² of {len(off)} unloadings differs by more than "
                f"{100 * LIMITS['family']:.0f} % from their neighbours on "
                f"{c.tests.materials[j].name}: {tests}.",
                "They may be on another material, on an edge or on dirt: look at the place, and "
                "leave them out or repeat them.",
                serious=len(off) > 0.1 * len(rows),
                rows=tuple(int(i) for i in off),
            )


def _hardness(c: Calibration) -> Iterator[Finding]:
    for j in np.unique(c.tests.material):
        name = c.tests.materials[j].name
        try:
            usual = materials.load(name).hardness
        except DrypointError:
            continue
        if usual is None:
            continue
        rows = np.flatnonzero((c.tests.material == j) & (c.rows.h_c > 100e-9))
        if not len(rows):
            continue
        H, more = float(np.median(c.rows.hardness[rows])), 1 + LIMITS["hardness"]
        if not usual[0] / more <= H <= usual[1] * more:
            yield Finding(
                "wrong material suspected",
                f"The hardness that follows for {name}, {H / 1e9:.2f} GPa, lies outside its usual "
                f"range, {usual[0] / 1e9:.3g} to {usual[1] / 1e9:.3g} GPa.",
                "Make sure of the block and of its E and nu; test a second reference material.",
                serious=not usual[0] / more**3 <= H <= usual[1] * more**3,
            )


def _piled(c: Calibration) -> Iterator[Finding]:
    for j in np.unique(c.tests.material):
        ratio = c.tests.ratio[c.tests.material == j]
        if np.isfinite(ratio).any() and np.nanmedian(ratio) > LIMITS["pile_up"]:
            yield Finding(
                "reference piles up",
                f"On {c.tests.materials[j].name} h_p/h_max is {np.nanmedian(ratio):.2f}, above "
                f"{LIMITS['pile_up']:g}: the material may pile up, and the area found would hold "
                "that in it.",
                "Calibrate on a material that does not pile up, such as fused silica.",
                serious=True,
            )


def _leading(c: Calibration) -> Iterator[Finding]:
    """sqrt(A) grows with depth as sqrt(C0) once the round end is left behind."""
    ideal = c.tip.geometry.projected_coefficient
    high = c.tip.area.h_max
    if not np.isfinite(ideal) or c.tip.geometry.sides == 0 or high < 150e-9:
        return
    h = np.linspace(0.6 * high, high, 30)
    A, u = c.area(h)
    slope = float(np.polyfit(h, np.sqrt(A), 1)[0])
    rel = slope * slope / ideal - 1
    u_rel = float(np.median(u / A))
    if abs(rel) > LIMITS["leading"] + 2 * u_rel:
        yield Finding(
            "area unlike the tip",
            f"At depth the area grows as {slope * slope:.3g} h², {100 * rel:+.0f} % against the "
            f"{c.tip.geometry.shape}'s {ideal:.3g} h².",
            "Either the reference material is not what it is said to be (the area goes as 1/E_r²), "
            "or the tip is not this shape, or scales or frame are wrong. Test a second reference "
            "material; have the angle measured.",
            serious=abs(rel) > 3 * LIMITS["leading"],
        )


def _jump(c: Calibration) -> Iterator[Finding]:
    """A sudden change of the area in the order of the tests: a chip, or dirt picked up."""
    z = _per_test(c)
    if len(z) < 8:
        return
    n = np.arange(2, len(z) - 1)
    gap = np.array([z[:k].mean() - z[k:].mean() for k in n])
    rest = np.median(np.abs(z - np.median(z))) * 1.4826 or 1.0
    score = np.abs(gap) / np.sqrt(1 / n + 1 / (len(z) - n)) / min(rest, 1.0)
    k = int(np.argmax(score))
    change = _area_change(c, int(n[k]))
    if score[k] > LIMITS["jump"] and abs(change) > LIMITS["jump_area"]:
        tests = np.unique(c.tests.test)
        first = int(np.flatnonzero(c.tests.test == tests[n[k]])[0])
        yield Finding(
            "tip changed",
            f"From {c.tests.label(first)} on, the area at equal depth is {100 * change:+.1f} % "
            f"({score[k]:.1f} u), in the order in which the tests stand.",
            "The tip may have been chipped or picked up dirt. Clean and look at it, and repeat the "
            "reference tests; if the order of the tests is not that of time, sort them. "
            f"{CLEANING}",
            serious=True,
        )


def _per_test(c: Calibration) -> Floats:
    tests = np.unique(c.tests.test)
    sums = np.array([c.rows.standardised[c.tests.test == t].mean() for t in tests])
    counts = np.array([np.sum(c.tests.test == t) for t in tests])
    return np.asarray(sums * np.sqrt(counts))


def _area_change(c: Calibration, k: int) -> float:
    tests = np.unique(c.tests.test)
    log = 2 * np.log(c.rows.predicted / c.rows.contact_compliance)
    late = np.isin(c.tests.test, tests[k:])
    return float(np.median(log[late]) - np.median(log[~late]))


def _trend(c: Calibration) -> Iterator[Finding]:
    """Residuals in order of depth should change sign at random: mean of neighbours' products."""
    z = c.rows.standardised[np.argsort(c.rows.h_c, kind="stable")]
    if len(z) < 12:
        return
    score = float(np.sum(z[1:] * z[:-1]) / np.sqrt(len(z) - 1) / max(np.mean(z * z), 1e-12))
    if score > LIMITS["trend"]:
        yield Finding(
            "form does not fit",
            f"Neighbours in depth leave like residuals ({score:.1f} u): the form of the area "
            "function does not follow the tip.",
            "Allow more terms, or use a table."
            if c.form.kind == "series"
            else "Use a series with several terms, or a table with more knots.",
        )


def _undetermined(c: Calibration) -> Iterator[Finding]:
    h = np.geomspace(c.tip.area.h_min, c.tip.area.h_max, 40)
    A, u = c.area(h)
    k = int(np.argmax(u / A))
    corr = _largest_correlation(c)
    if u[k] / A[k] > LIMITS["area"]:
        yield Finding(
            "area poorly determined",
            f"The area has a standard uncertainty of {100 * u[k] / A[k]:.1f} % at "
            f"{h[k] * 1e9:.0f} nm.",
            "Measure more tests near that depth; a reference with a smaller uncertainty of E, or a "
            "compliance from a certificate, would help where those lead.",
        )
    if corr[0] > LIMITS["correlation"]:
        yield Finding(
            "hard to tell apart",
            f"Frame compliance and area at {corr[1] * 1e9:.0f} nm are correlated by {corr[0]:.3f}; "
            "only their combination is known well.",
            "Use both together, as they are given here; never one of them with another partner.",
        )


def _largest_correlation(c: Calibration) -> tuple[float, float]:
    h = np.asarray(np.geomspace(c.tip.area.h_min, c.tip.area.h_max, 20), dtype=np.float64)
    J = area_jacobian(c.tip, c.linked, h)
    cov = c.linked.cov
    with_f = J @ cov[:, c.linked.index("frame.C_f")]
    u = np.sqrt(np.clip(np.einsum("ij,jk,ik->i", J, cov, J), 1e-300, None))
    sd = float(c.linked.sd[c.linked.index("frame.C_f")])
    if not sd > 0:
        return 0.0, float(h[0])
    rho = np.abs(with_f / (u * sd))
    return float(rho.max()), float(h[int(np.argmax(rho))])


def _scatter(c: Calibration) -> Iterator[Finding]:
    s = float(np.hypot(c.scatter.row, c.scatter.test))
    if s > LIMITS["scatter"]:
        yield Finding(
            "tests scatter",
            f"The contact compliance scatters by {100 * s:.1f} % beyond what the records' own "
            "noise explains.",
            "Look for drift, vibration, rough or dirty places; more tests make the mean better, "
            "not each test.",
        )
