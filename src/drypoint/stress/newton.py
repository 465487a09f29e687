"""One step: Newton's method with a line search on the incremental energy."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drypoint.stress.system import Place, System

#: Unbalanced force over the contact force at which a step counts as solved.
TOLERANCE = 1e-4
#: Most Newton iterations a step may take.
MOST = 25
#: Unbalanced force below which the next iteration is expected to be the last.
NEARLY = 1e-2
_HALVINGS = 6


@dataclass(frozen=True)
class Control:
    """What holds the tip: h + c (F - F_0) + d = target (depth), or F = target (load).

    ``c`` is the tip's own compliance at the present contact, m/N, ``given`` what it had given way
    at the force ``F_0``.
    """

    target: float
    load: bool = False
    c: float = 0.0
    given: float = 0.0
    F_0: float = 0.0

    def miss(self, h: float, F: float) -> float:
        """How far the control is from its target, m or N."""
        if self.load:
            return F - self.target
        return h + self.given + self.c * (F - self.F_0) - self.target

    def slopes(self) -> tuple[float, float]:
        """Derivatives of the miss by h and by F."""
        return (0.0, 1.0) if self.load else (1.0, self.c)


@dataclass(frozen=True)
class Step:
    """A solved step, or why it was not: ``words`` is empty where it was."""

    at: Place
    iterations: int
    residual: float
    words: str = ""


def _direction(s: System, at: Place, control: Control) -> Place | None:
    """The Newton step from a place whose residual and tangent were just evaluated."""
    X = s.solve(np.column_stack([-s.f, s.border, s.column]))
    if not np.all(np.isfinite(X)):
        return None
    to_q, to_F = s.border @ X, s.row @ X
    g_h, g_F = control.slopes()
    A = np.array(
        [
            [s.ends[1] - to_q[1], -to_q[2]],
            [-g_F * to_F[1], g_h + g_F * (s.contact[1] - to_F[2])],
        ]
    )
    b = np.array([-s.ends[0] - to_q[0], -control.miss(at.h, s.force) - g_F * to_F[0]])
    if not np.all(np.isfinite(A)) or np.linalg.det(A) == 0.0:
        return None
    dq, dh = np.linalg.solve(A, b)
    return s.place(X[:, 0] - X[:, 1] * dq - X[:, 2] * dh, float(dq), float(dh))


def _work(s: System, d: Place, at: Place, control: Control) -> float:
    """Work of the unbalanced forces along a direction, J."""
    work = float(d.U[s.free] @ s.f) + d.q * float(s.ends[0])
    if control.load:
        return work + d.h * (s.force - control.target)
    if control.c > 0:
        return work + d.h * control.miss(at.h, s.force) / control.c
    return work


def _unbalanced(s: System, at: Place, control: Control, scale: float) -> float:
    """Largest of: unbalanced over contact force, ten times the control's miss over its target."""
    load = max(s.force, scale)
    whole = load if control.load else max(abs(control.target), 1e-30)
    f = np.hypot(np.linalg.norm(s.f), s.ends[0] / s.ends[1])
    return float(max(f / load, 10 * abs(control.miss(at.h, s.force)) / whole))


def _search(s: System, at: Place, d: Place, control: Control, start: float, at_end: float) -> float:
    """Share of the direction to take: a rough zero of the work along it, found without tangents.

    ``at_end`` is the work at the direction's end, NaN where an element is turned inside out there.
    """
    low, work_low, high, work_high = 0.0, start, 1.0, at_end
    x = -start / (at_end - start) if np.isfinite(at_end) else 0.5
    x = min(0.9, max(0.1, x))
    for _ in range(_HALVINGS - 1):
        there = at.plus(d, x)
        whole = s.evaluate(there, with_K=False)
        work = _work(s, d, there, control) if whole else np.nan
        if whole and abs(work) <= 0.8 * abs(start):
            return x
        if whole and work < 0:
            if not np.isfinite(work_high):
                return x
            low, work_low = x, work
        else:
            high, work_high = x, work
        slope = -work_low / (work_high - work_low) if np.isfinite(work_high) else 0.5
        x = low + (high - low) * min(0.9, max(0.1, slope))
    return x


def newton(s: System, at: Place, control: Control, scale: float) -> Step:
    """Solve a step from a predicted place.

    ``scale`` is a force (N) below which the contact force does not count as a measure.
    """
    if not s.evaluate(at):
        return Step(at, 0, np.inf, "an element is turned inside out by the prediction")
    size = np.inf
    for k in range(MOST + 1):
        size = _unbalanced(s, at, control, scale)
        if size < TOLERANCE and (k > 0 or size < 0.1 * TOLERANCE):
            return Step(at, k, size)
        if k == MOST:
            break
        d = _direction(s, at, control)
        if d is None:
            return Step(at, k, size, "the tangent cannot be solved")
        start = _work(s, d, at, control)
        there = at.plus(d, 1.0)
        # The next is most likely the last: a tangent would be for nothing.
        if size < NEARLY and s.evaluate(there, with_K=False):
            size = _unbalanced(s, there, control, scale)
            if size < TOLERANCE:
                return Step(there, k + 1, size)
        whole = s.evaluate(there)
        at_end = _work(s, d, there, control) if whole else np.nan
        if start < 0 and not at_end <= 0.8 * abs(start):
            x = _search(s, at, d, control, start, at_end)
            there = at.plus(d, x)
            whole = s.evaluate(there)
        if not whole:
            return Step(at, k, size, "an element is turned inside out")
        at = there
    return Step(at, MOST, size, f"no balance after {MOST} iterations")
