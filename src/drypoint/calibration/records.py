"""From raw records of reference tests to tip and frame, reduced again until nothing moves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from drypoint.calibration.choices import SERIES, Constraint, Form, KnownCompliance
from drypoint.calibration.joint import calibrate
from drypoint.calibration.problems import CalibrationError, Finding
from drypoint.calibration.result import Calibration
from drypoint.calibration.rows import Reference, reference_tests
from drypoint.records.batch import Batch
from drypoint.reduction.options import Options
from drypoint.reduction.reduce import NO_OVERRIDES, Overrides, Reduced, reduce_batch
from drypoint.reduction.zero_laws import by_law
from drypoint.tips.build import ideal_tip
from drypoint.tips.geometry import Geometry
from drypoint.tips.tip import Bench

_ROUNDS = 6
#: Tests that are named for each reason of a finding.
_NAMED = 10


@dataclass(frozen=True)
class Calibrated:
    """A calibration, the last reduction behind it, and how the compliance settled (m/N)."""

    calibration: Calibration
    reduced: Reduced
    course: tuple[float, ...]


def bare_bench(bench: Bench) -> Bench:
    """The bench with an ideal tip and no frame compliance: what a calibration starts from."""
    t, g = bench.tip, bench.tip.geometry
    plain = Geometry(g.shape, g.angle, g.radius if g.sides == 0 else None)
    tip = ideal_tip(
        g.shape, name=t.name, angle=plain.angle, radius=plain.radius,
        E_i=t.E_i, nu_i=t.nu_i, u_E_i=t.u_E_i, u_nu_i=t.u_nu_i,
    )  # fmt: skip
    frame = replace(
        bench.frame, compliance=0.0, u_compliance=0.0, mount_compliance=0.0, u_mount_compliance=0.0
    )
    return Bench(tip, frame)


def calibrate_batch(
    batch: Batch,
    bench: Bench,
    options: Options,
    materials: Mapping[str, Reference],
    constraints: Sequence[Constraint] | Constraint = (),
    form: Form = SERIES,
    *,
    cycles: bool = True,
    overrides: Overrides = NO_OVERRIDES,
    date: str = "",
) -> Calibrated:
    """Calibrate from raw records.

    The exponent of the unloading fit, and with it epsilon, bends with the frame compliance that
    was taken off the record. So the records are reduced, frame and tip found, and the records
    reduced again with that frame, until the compliance moves by less than a hundredth of its
    uncertainty (or 1e-5 of the smallest total compliance).

    Parameters are those of :func:`~drypoint.calibration.joint.calibrate`; ``materials`` maps the
    batch's specimens to their reference materials, ``cycles`` takes every unloading.

    Raises
    ------
    CalibrationError
        As :func:`calibrate`, or when the compliance does not settle.
    """
    plain = bare_bench(bench)
    kept = batch.take([i for i, t in enumerate(batch.tests) if t.specimen in materials])
    if len(kept) == 0:
        raise CalibrationError(
            "No test is on a reference material.",
            remedy="Say which specimens are which reference materials.",
        )
    poisson = {s: (r.nu, r.u_nu) for s, r in materials.items()}
    options = replace(options, analysis=replace(options.analysis, recalibrate_tip=False))
    course: list[float] = []
    stated = constraints if isinstance(constraints, tuple | list) else (constraints,)
    known = [c.value for c in stated if isinstance(c, KnownCompliance)]
    C_f = known[0] if known else 0.0
    tip, zero = plain.tip, None
    for _ in range(_ROUNDS):
        now = Bench(tip, replace(plain.frame, compliance=C_f))
        reduced = reduce_batch(kept, now, options, poisson, overrides=overrides)
        tests = reference_tests(reduced, kept, materials, cycles=cycles)
        c = calibrate(tests, plain, options, constraints, form, date=date)
        found = c.frame.compliance
        course.append(found)
        close = max(0.01 * c.frame.u_compliance, 1e-5 * float(tests.C.min()))
        # A law of first contact takes the radius of the tip that was just found.
        settled = not by_law(options.zero) or (zero is not None and _still(zero, reduced))
        if abs(found - C_f) <= close and settled:
            break
        C_f, zero = found, reduced
        if by_law(options.zero):
            tip = c.tip
    else:
        if np.ptp(course[-2:]) > c.frame.u_compliance:
            raise CalibrationError(
                "Frame compliance and unloading fits did not settle together.",
                remedy="Take a narrower unloading window or larger forces.",
            )
    return Calibrated(c.with_findings(*_set_aside(reduced, kept)), reduced, tuple(course))


def _still(before: Reduced, now: Reduced) -> bool:
    """Whether zeros have settled, to a tenth of their uncertainty."""
    a, b = before.corrected.zero, now.corrected.zero
    both = np.isfinite(a.u_depth) & np.isfinite(b.u_depth)
    moved = np.abs(a.depth - b.depth)[both]
    u = b.u_depth if b.by_law is None else np.hypot(b.u_depth, b.by_law.per_law)
    return bool(np.all(moved <= 0.1 * u[both] + 1e-12))


def _set_aside(reduced: Reduced, batch: Batch) -> list[Finding]:
    """The reference tests without a result: every reason, with its tests."""
    reasons: dict[tuple[str, str], list[str]] = {}
    for f in reduced.faults:
        reasons.setdefault((f.reason, f.remedy), []).append(batch.tests[f.test].name)
    if not reasons:
        return []
    said = []
    for (reason, _), names in reasons.items():
        more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
        said.append(f"{', '.join(names[:_NAMED])}{more}: {reason}")
    return [
        Finding(
            "tests set aside",
            f"{len(reduced.faults)} of {len(batch)} reference tests gave no result. "
            + " ".join(said),
            " ".join(dict.fromkeys(remedy for _, remedy in reasons)),
        )
    ]
