"""What identifies what: refusals before the fit, and what the fit could not tell apart.

Tests on one material give one number each (the contact compliance) for two unknown curves (area
and frame compliance at that depth): for any C_f the area A = (k/(C - C_f))^2 fits exactly. So one
more statement is needed, and the result says which one it was.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from drypoint.calibration.choices import (
    ConstantHardness,
    Constraint,
    FixedLeading,
    ForceOverStiffnessSquared,
    Form,
    KnownCompliance,
    SecondMaterial,
    words,
)
from drypoint.calibration.fit import Fitted
from drypoint.calibration.model import by_inputs
from drypoint.calibration.problems import CalibrationError
from drypoint.calibration.result import Direction, Identification
from drypoint.calibration.rows import ReferenceTests

Floats = NDArray[np.float64]

#: Two reduced moduli that differ by less than this share do not identify a frame.
LEAST_CONTRAST = 0.15
#: Fewest different depths (forces more than 5 % apart) of a calibration.
FEWEST_DEPTHS = 3


def different_depths(t: ReferenceTests) -> int:
    """Number of forces that differ by more than 5 %, the most on any one material."""
    most = 0
    for j in range(len(t.materials)):
        F = np.sort(t.F[t.material == j])
        count, last = 0, 0.0
        for f in F:
            if f > 1.05 * last:
                count, last = count + 1, f
        most = max(most, count)
    return most


def check(
    t: ReferenceTests,
    form: Form,
    constraints: Sequence[Constraint],
    k: Floats,
    h: Floats,
    shape: str,
) -> tuple[str, ...]:
    """Refuse what cannot be identified; else say in words what identifies the rest.

    ``k`` is sqrt(pi)/(2 beta gamma E_r) and ``h`` a contact depth of each row.
    """
    used = np.unique(t.material)
    names = [t.materials[j].name for j in used]
    depths = different_depths(t)
    if depths < FEWEST_DEPTHS:
        raise CalibrationError(
            f"The reference tests reach {depths} different depth{'s' if depths != 1 else ''}; an "
            f"area function needs {FEWEST_DEPTHS} or more.",
            remedy="Measure at five forces or more, from the smallest to the largest you will "
            "use, in equal steps of the square root of force.",
        )
    stated = [c for c in constraints if not isinstance(c, SecondMaterial)]
    second = any(isinstance(c, SecondMaterial) for c in constraints)
    if len(used) == 1 and not stated:
        more = "A second material was named, but all tests are on one. " if second else ""
        raise CalibrationError(
            f"{more}With tests on one material ({names[0]}) and a free area function any frame "
            "compliance fits exactly.",
            remedy="Say what identifies it: a second material of another modulus (measure it over "
            "the same depths), a known frame compliance, a leading term from the angle's "
            "certificate, or a range over which hardness or F/S² is constant.",
        )
    if any(isinstance(c, FixedLeading) for c in stated) and (
        form.kind == "table" or shape in ("sphere", "flat punch")
    ):
        raise CalibrationError(
            f"A {shape if form.kind != 'table' else 'table'} has no leading term to fix.",
            remedy="Use a series or a blunted pyramid, or another constraint.",
        )
    by = [words(c) for c in stated]
    if len(used) > 1:
        by += _second(t, used, k, h, needed=not stated)
    return tuple(by)


def _second(
    t: ReferenceTests, used: NDArray[np.int64], k: Floats, h: Floats, *, needed: bool
) -> list[str]:
    each = {int(j): float(k[t.material == j][0]) for j in used}
    soft, hard = max(each, key=lambda j: each[j]), min(each, key=lambda j: each[j])
    contrast = each[soft] / each[hard] - 1
    lows = [h[t.material == j].min() for j in (soft, hard)]
    highs = [h[t.material == j].max() for j in (soft, hard)]
    overlap = min(highs) / max(lows)
    a, b = t.materials[soft].name, t.materials[hard].name
    if needed and contrast < LEAST_CONTRAST:
        raise CalibrationError(
            f"The reduced moduli of {a} and {b} differ by {100 * contrast:.0f} % only; that does "
            "not tell the frame from the tip.",
            remedy="Take a second material whose reduced modulus differs by half or more, for "
            "example sapphire beside fused silica.",
        )
    if needed and overlap < 1.2:
        raise CalibrationError(
            f"The contact depths on {a} and {b} hardly overlap "
            f"({lows[0] * 1e9:.0f} to {highs[0] * 1e9:.0f} nm and {lows[1] * 1e9:.0f} to "
            f"{highs[1] * 1e9:.0f} nm).",
            remedy="Measure both over the same contact depths.",
        )
    return [f"a second material: reduced moduli of {a} and {b} differ by {100 * contrast:.0f} %"]


def identification(
    f: Fitted, by: tuple[str, ...], constraints: Sequence[Constraint], u_C_f: float
) -> Identification:
    """Directions that the tests alone determine, the condition of the fit, and plain sentences."""
    p, n = f.problem, len(f.problem.tests)
    names = [u for u in p.unknown if not u.startswith("lnH")]
    columns = [p.unknown.index(u) for u in names]
    size = np.array([_size(f, u) for u in names]) / p.scale[columns]
    jac, _ = by_inputs(p, f.x)
    alone = f.whiten(np.vstack([jac[:n], np.zeros((f.n - n, jac.shape[1]))]))[:, columns] * size
    directions = []
    _, sv, vt = np.linalg.svd(alone, full_matrices=False)
    for s, v in zip(sv[::-1], vt[::-1], strict=True):
        order = np.argsort(-np.abs(v))
        parts = tuple((names[i], float(v[i])) for i in order if abs(v[i]) > 0.1)
        directions.append(Direction(float(1 / s) if s > 0 else np.inf, parts))
    whole = f.jac * np.array([_size(f, u) for u in p.unknown]) / p.scale
    singular = np.linalg.svd(whole, compute_uv=False)
    condition = float(singular[0] / singular[-1]) if singular[-1] > 0 else np.inf
    return Identification(by, tuple(directions), condition, _sentences(f, by, constraints, u_C_f))


def _size(f: Fitted, name: str) -> float:
    """What counts as the whole of an input: the contact compliance, or all of the area."""
    p = f.problem
    if name == "frame.C_f":
        return float(f.seen.C_c.min())
    if name.startswith("lnH"):
        return 1.0
    i = p.unknown.index(name)
    if p.template.area.kind in ("blunted", "ideal"):
        return float(abs(f.x[i] * p.scale[i])) or float(p.scale[i])
    return float(p.scale[i])


def _sentences(
    f: Fitted, by: tuple[str, ...], constraints: Sequence[Constraint], u_C_f: float
) -> tuple[str, ...]:
    p = f.problem
    said = ["Frame and tip are told apart by " + "; and by ".join(by) + "."]
    deep = int(np.argmin(f.seen.C_c))
    contact = float(f.seen.C_c[deep])
    one = len(np.unique(p.tests.material)) == 1
    if one:
        said.append(
            "Tests on one material say nothing of the area unless the frame compliance is given, "
            f"and nothing of the compliance unless the area is: 0.01 nm/mN more of it would pass "
            f"for {2e-8 / contact * 1e2:.2g} % more area at the greatest depth "
            f"({f.seen.h_c[deep] * 1e9:.0f} nm)."
        )
    if any(isinstance(c, ConstantHardness | ForceOverStiffnessSquared) for c in constraints):
        said.append(
            "If hardness or modulus in truth changes with depth over that range, the change is "
            "now in the frame compliance and in the area, and no residual will show it."
        )
    if any(isinstance(c, KnownCompliance) for c in constraints):
        said.append("The stated compliance was not tested by these data.")
    if any(isinstance(c, FixedLeading) for c in constraints):
        said.append(
            "The compliance rests on the form: the area is taken to tend to the stated leading "
            "term at great depth."
        )
    said.append(
        f"The uncertainty of the compliance is {100 * u_C_f / contact:.2g} % of the contact "
        "compliance at the largest force."
    )
    return tuple(said)
