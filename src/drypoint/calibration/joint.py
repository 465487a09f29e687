"""Joint calibration of frame compliance and area function in one weighted fit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drypoint.calibration import start
from drypoint.calibration.choices import (
    SERIES,
    ConstantHardness,
    Constraint,
    FixedLeading,
    ForceOverStiffnessSquared,
    Form,
    KnownCompliance,
)
from drypoint.calibration.compliance import compliance_from_force
from drypoint.calibration.fit import Fitted, fit
from drypoint.calibration.identify import check, different_depths
from drypoint.calibration.model import Problem
from drypoint.calibration.problems import CalibrationError
from drypoint.calibration.result import Calibration
from drypoint.calibration.rows import ReferenceTests
from drypoint.calibration.select import by_cross_validation
from drypoint.calibration.summary import summarise
from drypoint.contact import unloading as un
from drypoint.reduction.options import SOURCES, Options
from drypoint.tips.geometry import AREA_FACTOR
from drypoint.tips.tip import Bench
from drypoint.uncertainty.joint import Joint, join, single

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Setting:
    """Everything of a calibration but the number of terms."""

    tests: ReferenceTests
    bench: Bench
    options: Options
    form: Form
    constraints: tuple[Constraint, ...]
    given: Joint
    half_angle: float
    k: Floats
    eps: Floats
    C_f: float
    h: Floats
    r2_rows: NDArray[np.int64]


def calibrate(
    tests: ReferenceTests,
    bench: Bench,
    options: Options,
    constraints: Sequence[Constraint] | Constraint = (),
    form: Form = SERIES,
    *,
    date: str = "",
) -> Calibration:
    """Find tip and frame together from reference tests.

    Parameters
    ----------
    tests : ReferenceTests
    bench : Bench
        The indenter's geometry and elastic constants, and the frame's scales with their
        uncertainties. Its area function and compliance are not used.
    options : Options
        The rule: beta, epsilon, radial correction, as in the reduction of the tests.
    constraints : Constraint or sequence of them
        What identifies frame and tip. Not needed where there is a second material.
    form : Form
    date : str
        Kept in the rule under which the tip was found.

    Returns
    -------
    Calibration

    Raises
    ------
    CalibrationError
        When the tests cannot identify frame and tip, are too few, or the fit does not settle.
    """
    if isinstance(constraints, tuple | list):
        stated: tuple[Constraint, ...] = tuple(constraints)
    else:
        stated = (constraints,)  # type: ignore[assignment]
    s = _setting(tests, bench, options, stated, form)
    by = check(tests, form, stated, s.k, s.h, bench.tip.geometry.shape)
    fits = _candidates(s)
    return summarise(s.bench, s.options, form, stated, s.given, fits, by, date)


def _setting(
    t: ReferenceTests,
    bench: Bench,
    options: Options,
    constraints: tuple[Constraint, ...],
    form: Form,
) -> Setting:
    a, tip = options.analysis, bench.tip
    psi = tip.geometry.equivalent_half_angle
    if a.radial_correction and not np.isfinite(psi):
        raise CalibrationError(
            "The radial correction needs the half angle of a cone; a "
            f"{tip.geometry.shape} has none.",
            remedy="Switch the radial correction off, or state a pyramid or cone.",
        )
    if form.kind == "ideal" and tip.geometry.shape == "flat punch":
        raise CalibrationError(
            "A flat punch has one area, and no depth changes it.",
            remedy="Give its radius from a certificate.",
        )
    if form.kind == "blunted" and (not np.isfinite(psi) or tip.geometry.shape == "sphero-cone"):
        raise CalibrationError(
            f"A {tip.geometry.shape} cannot be calibrated as a blunted pyramid.",
            remedy="Use its ideal form, a series or a table.",
        )
    if len(t) == 0:
        raise CalibrationError(
            "There are no reference tests.",
            remedy="Name the specimens that are reference materials.",
        )
    k = start.contact_constant(t, tip.E_i, tip.nu_i, a.beta, a.radial_correction, psi)
    eps = np.full(len(t), a.epsilon) if a.epsilon is not None else np.real(un.epsilon(t.m))
    C_f = _first_compliance(t, constraints)
    h, _ = start.implied(t, k, eps, C_f)
    if not np.all(h > 0):
        worst = int(np.argmin(h))
        raise CalibrationError(
            f"The contact depth of {t.label(worst)} comes out at {h[worst] * 1e9:.3g} nm.",
            remedy="Check the units of force and depth, the zero point and the compliance stated.",
        )
    return Setting(
        t, bench, options, form, constraints, _given(t, bench, options, constraints, form), psi,
        k, eps, C_f, h, _held_constant(t, constraints, h),
    )  # fmt: skip


def _first_compliance(t: ReferenceTests, constraints: tuple[Constraint, ...]) -> float:
    for c in constraints:
        if isinstance(c, KnownCompliance):
            if c.value >= t.C.min():
                raise CalibrationError(
                    f"The stated frame compliance, {c.value * 1e6:.4g} nm/mN, is not below the "
                    f"total compliance of {t.label(int(np.argmin(t.C)))} "
                    f"({t.C.min() * 1e6:.4g} nm/mN).",
                    remedy="Check its unit; 1 nm/mN is 1e-6 m/N.",
                )
            return c.value
    found = []
    for j in np.unique(t.material):
        rows = t.material == j
        deep = rows & (np.median(t.F[rows]) / 2 <= t.F)
        try:
            found.append(compliance_from_force(t.F[deep], t.C[deep]).C_f)
        except CalibrationError:
            continue
    guess = float(np.median(found)) if found else 0.0
    return float(np.clip(guess, 0.0, 0.6 * t.C.min()))


def _held_constant(
    t: ReferenceTests, constraints: tuple[Constraint, ...], h: Floats
) -> NDArray[np.int64]:
    mask = np.zeros(len(t), dtype=bool)
    names = [t.materials[j].name for j in np.unique(t.material)]
    for c in constraints:
        if isinstance(c, ConstantHardness | ForceOverStiffnessSquared):
            if c.material is not None and c.material not in names:
                raise CalibrationError(
                    f"No reference test is on “{c.material}”, whose hardness is said to be "
                    "constant.",
                    remedy=f"Name one of: {', '.join(names)}.",
                )
            if isinstance(c, ConstantHardness):
                inside = (h >= c.h_min) & (h <= c.h_max)
            else:
                inside = (c.F_min <= t.F) & (c.F_max >= t.F)
            if c.material is not None:
                inside &= np.array([t.materials[j].name == c.material for j in t.material])
            if different_depths(t.take(inside)) < 3:
                raise CalibrationError(
                    "Fewer than three different depths lie in the range over which hardness is "
                    "said to be constant.",
                    remedy="Widen the range, or measure at more forces within it.",
                )
            mask |= inside
    return np.flatnonzero(mask)


def _given(
    t: ReferenceTests,
    bench: Bench,
    options: Options,
    constraints: tuple[Constraint, ...],
    form: Form,
) -> Joint:
    """What the fit takes as given, with its uncertainty: the systematic inputs."""
    a, z, tip, fr = options.analysis, options.zero, bench.tip, bench.frame
    u_n = z.u_exponent if z.method == "first contact" and not t.laws else 0.0
    constants = f"elastic constants of the indenter, tip “{tip.name}”"
    parts = [
        single("beta", a.beta, a.u_beta, SOURCES["analysis.beta"]),
        single("tip.E_i", tip.E_i, tip.u_E_i, constants),
        single("tip.nu_i", tip.nu_i, tip.u_nu_i, constants),
        single("force_scale", fr.force_scale, fr.u_force_scale, fr.origin),
        single("depth_scale", fr.depth_scale, fr.u_depth_scale, fr.origin),
        single("zero.exponent", z.exponent, u_n, SOURCES["zero.u_exponent"]),
    ]
    parts += [single(name, 0.0, 1.0, SOURCES["zero.law"]) for name in t.laws]
    if a.epsilon is not None:
        parts.append(single("epsilon", a.epsilon, a.u_epsilon, "fixed in the recipe"))
    for ref in t.materials:
        origin = f"reference material {ref.name}"
        names, mean = (f"ref.{ref.name}.E", f"ref.{ref.name}.nu"), np.array([ref.E, ref.nu])
        parts.append(Joint(names, mean, ref.covariance, (origin, origin)))
    for c in constraints:
        if isinstance(c, KnownCompliance):
            parts.append(single("frame.C_f", c.value, c.u, c.origin))
        if isinstance(c, FixedLeading):
            origin = "leading term held fixed"
            if form.kind in ("blunted", "ideal"):
                parts.append(single("tip.angle", *_angle(c, bench), origin))
            else:
                parts.append(single("tip.C0", c.value, c.u, origin))
    return join(parts)


def _angle(c: FixedLeading, bench: Bench) -> tuple[float, float]:
    """Face angle from C0 = factor tan^2(angle)."""
    factor = AREA_FACTOR[bench.tip.geometry.sides]
    angle = float(np.arctan(np.sqrt(c.value / factor)))
    return angle, c.u / (2 * factor * np.tan(angle) / np.cos(angle) ** 2)


def problem(s: Setting, n: int) -> tuple[Problem, Floats, tuple[Floats, Floats]]:
    """The fit with ``n`` terms: equations, start, inequalities."""
    t = s.tests
    h, A = start.implied(t, s.k, s.eps, s.C_f)
    leading = next((c.value for c in s.constraints if isinstance(c, FixedLeading)), None)
    b = start.begin(s.bench.tip.geometry, s.form.kind, n, s.bench.tip, h, A, leading)
    free = [i for i, name in enumerate(b.names) if name not in s.given.names]
    unknown: list[str] = []
    scale: list[Any] = []
    x0: list[Any] = []
    if "frame.C_f" not in s.given.names:
        unknown, scale = ["frame.C_f"], [0.05 * float(t.C.min())]
        x0 = [s.C_f / scale[0]]
    unknown += [b.names[i] for i in free]
    scale += [b.scale[i] for i in free]
    x0 += [b.value[i] / b.scale[i] for i in free]
    first = len(unknown) - len(free)
    for j in np.unique(t.material[s.r2_rows]):
        rows = s.r2_rows[t.material[s.r2_rows] == j]
        unknown.append(f"lnH.{t.materials[j].name}")
        scale.append(1.0)
        x0.append(float(np.mean(np.log(t.F[rows] / A[rows]))))
    G, g = start.inequalities(b.template, b.names, b.scale, s.bench.tip.geometry,
                              (float(h.min()), float(h.max())), A)  # fmt: skip
    fixed = [i for i in range(len(b.names)) if i not in free]
    # tip.angle as given, or C0: their part of the inequalities is known.
    bound: Floats = g - G[:, fixed] @ (b.value[fixed] / b.scale[fixed])
    wide = np.zeros((len(bound), len(unknown)))
    wide[:, first : first + len(free)] = G[:, free]
    p = Problem(
        t, b.template, s.options.analysis.radial_correction, s.half_angle,
        s.options.analysis.epsilon is not None, tuple(unknown), np.array(scale, dtype=float),
        s.given.names, s.given.mean, s.r2_rows,
    )  # fmt: skip
    if "tip.angle" in s.given.names:
        return p, np.array(x0, dtype=float), (wide[:1], bound[:1])  # its bounds bind nothing
    return p, np.array(x0, dtype=float), (wide, bound)


def _candidates(s: Setting) -> list[tuple[Fitted, float]]:
    """A fit for each number of terms with its criterion, the best first."""
    most = max(different_depths(s.tests) - 1, 1)
    if s.form.kind in ("blunted", "ideal"):
        tried = [0]
    elif s.form.terms is not None:
        tried = [s.form.terms]
        if s.form.terms > most + 1:
            raise CalibrationError(
                f"{s.form.terms} terms need more than {s.form.terms} different depths; there are "
                f"{most + 1}.",
                remedy="Measure at more depths, or take fewer terms.",
            )
    else:
        low = 3 if s.form.kind == "table" else 1
        tried = list(range(low, max(low, min(s.form.most, most)) + 1))
    fits, fault = [], None
    for n in tried:
        try:
            p, x0, ineq = problem(s, n)
            f = fit(p, x0, ineq)
        except CalibrationError as error:
            fault = error
            continue
        if s.form.select == "cross-validation" and len(tried) > 1:
            fits.append((f, by_cross_validation(f, ineq, s.form.folds)))
        else:
            fits.append((f, f.aicc))
    if not fits:
        raise fault or CalibrationError("No form of the area function could be fitted.")
    return sorted(fits, key=lambda pair: pair[1])


def leading_from_angle(sides: int, angle: float, u_angle: float = 0.0) -> FixedLeading:
    """C0 = c tan^2(angle) of a certified face angle (rad) [iso14577-1-2015]; c by the sides."""
    tan, factor = float(np.tan(angle)), AREA_FACTOR[sides]
    return FixedLeading(factor * tan * tan, 2 * factor * tan / float(np.cos(angle)) ** 2 * u_angle)


__all__ = ["Setting", "calibrate", "leading_from_angle", "problem"]
