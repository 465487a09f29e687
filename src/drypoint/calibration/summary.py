"""From a fit to a calibration: covariance of everything, tip and frame, rows, findings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from drypoint.calibration.choices import Constraint, Form
from drypoint.calibration.fit import Fitted
from drypoint.calibration.identify import identification
from drypoint.calibration.problems import CalibrationError
from drypoint.calibration.result import Calibration, Candidate, Rows
from drypoint.calibration.select import row_sd
from drypoint.calibration.spread import akaike_weights, between_candidates
from drypoint.calibration.suspicion import findings
from drypoint.errors import TipError
from drypoint.reduction.options import Options
from drypoint.reduction.rule import SCALE
from drypoint.tips.build import check_tip
from drypoint.tips.tip import AreaFunction, Bench, Tip
from drypoint.uncertainty.joint import Joint, join, single

Floats = NDArray[np.float64]

_SHARED = ("beta", "tip.E_i", "tip.nu_i", "force_scale", "depth_scale", "zero.exponent", "epsilon")


def summarise(
    bench: Bench,
    options: Options,
    form: Form,
    constraints: Sequence[Constraint],
    given: Joint,
    fits: list[tuple[Fitted, float]],
    by: tuple[str, ...],
    date: str,
) -> Calibration:
    """Everything a calibration returns, from its candidates (the best first)."""
    best = fits[0][0]
    p = best.problem
    names = ", ".join(dict.fromkeys(p.tests.materials[j].name for j in p.tests.material))
    weights = akaike_weights(np.array([c for _, c in fits]))
    spread = between_candidates(fits, weights)
    full, statistical = _full(best, given, spread, f"joint calibration on {names}")
    rule = _rule(options, names, date)
    tip = _tip(best, bench.tip, full, rule)
    linked = _linked(full, tip)
    u_C_f = float(full.sd[full.index("frame.C_f")])
    frame = replace(
        bench.frame, compliance=full["frame.C_f"], u_compliance=u_C_f, mount_compliance=0.0,
        u_mount_compliance=0.0, origin=full.origin[full.index("frame.C_f")],
    )  # fmt: skip
    rows = _rows(best)
    out = Calibration(
        tip=tip, frame=frame, linked=linked, full=full, statistical=statistical, form=form,
        candidates=_compared(fits, weights),
        identification=identification(best, by, constraints, u_C_f),
        scatter=best.scatter, chi_squared=float(best.residual @ best.residual), dof=best.dof,
        held=best.held, tests=p.tests, rows=rows, findings=(),
    )  # fmt: skip
    return out.with_findings(*findings(out))


def _full(f: Fitted, given: Joint, form: Floats, origin: str) -> tuple[Joint, Floats]:
    """Unknowns and given inputs; covariance cov_stat + cov_form + D Sigma D', D = d x/d given.

    D follows from the fit's normal equations, D = -(J'J)^-1 J' dr/d given (whitened), the implicit
    differentiation of its solution. Degrees of freedom after [welch1947], statistical part N - p.
    """
    p, k = f.problem, len(f.x)
    scale = p.scale
    stat = f.cov * np.outer(scale, scale)
    D = f.by_given * scale[:, None]
    top = D @ given.cov
    chosen = form * np.outer(scale, scale)
    cov = np.block([[stat + chosen + top @ D.T, top], [top.T, given.cov]])
    statistical = np.zeros_like(cov)
    statistical[:k, :k] = stat
    own = np.diag(stat)
    with np.errstate(divide="ignore", invalid="ignore"):
        dof = np.where(own > 0, np.diag(cov)[:k] ** 2 / (own**2 / max(f.dof, 1)), np.inf)
    joint = Joint(
        p.unknown + given.names, np.r_[f.x * scale, given.mean], (cov + cov.T) / 2,
        (origin,) * k + given.origin, np.r_[dof, given.dof],
    )  # fmt: skip
    return joint, statistical


def _rule(options: Options, names: str, date: str) -> tuple[tuple[str, str], ...]:
    a = options.analysis
    rule = [
        ("beta", repr(float(a.beta))),
        ("epsilon", "exponent" if a.epsilon is None else repr(float(a.epsilon))),
        ("radial_correction", "true" if a.radial_correction else "false"),
        ("depth_at_F_max", a.depth_at_F_max),
        ("window", f"{a.window[0]!r} to {a.window[1]!r}"),
        ("reference", names),
    ]
    if date:
        rule.append(("date", date))
    return tuple(rule)


def _tip(f: Fitted, base: Tip, full: Joint, rule: tuple[tuple[str, str], ...]) -> Tip:
    t = f.problem.template
    depths = f.seen.h_c
    function = AreaFunction(
        t.area.kind, full.pick(t.area.parameters.names), t.area.knots,
        float(depths.min()), float(depths.max()), rule,
    )  # fmt: skip
    tip = Tip(base.name, base.geometry, function, base.E_i, base.nu_i, base.u_E_i, base.u_nu_i)
    try:
        check_tip(tip)
    except TipError as error:
        raise CalibrationError(
            f"The calibrated area function makes no sense: {error.what}",
            remedy="Take fewer terms or another form, or measure at more depths.",
        ) from error
    return tip


def _linked(full: Joint, tip: Tip) -> Joint:
    names = ["frame.C_f", *tip.area.parameters.names]
    names += [n for n in _SHARED if n in full.names and n not in names]
    # The area's covariance holds the errors of beta and of the reference already: the scale that
    # the reduction gives a tip found under a rule is exactly one.
    return join([full.pick(names), single(SCALE, 1.0, 0.0, "in the area's own covariance")])


def _rows(f: Fitted) -> Rows:
    s, n = f.seen, len(f.problem.tests)
    with np.errstate(divide="ignore"):
        seen = s.A_p * (s.predicted / s.C_c) ** 2
    F = f.problem.tests.F
    return Rows(
        h_c=s.h_c, contact_compliance=s.C_c, predicted=s.predicted, residual=s.r1,
        standardised=s.r1 / row_sd(f)[:n], area_seen=seen, hardness=F / s.A_p,
        force_over_stiffness_squared=F * s.C_c**2,
    )  # fmt: skip


def _compared(fits: list[tuple[Fitted, float]], weights: Floats) -> tuple[Candidate, ...]:
    out = []
    for (f, c), w in zip(fits, weights, strict=True):
        names = f.problem.unknown
        i = names.index("frame.C_f") if "frame.C_f" in names else -1
        scale = f.problem.scale[i]
        C_f = float(f.x[i] * scale) if i >= 0 else f.problem.theta(f.x)["frame.C_f"]
        u = float(np.sqrt(f.cov[i, i]) * scale) if i >= 0 else 0.0
        terms = len(f.problem.template.area.parameters.names)
        out.append(Candidate(terms, float(c), float(w), C_f, u, f.held))
    return tuple(out)
