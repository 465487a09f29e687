"""Walk a cycle over the envelope: force and depth of the specimen alone, without disturbances.

Loading runs on the loading branch (see :mod:`drypoint.simulation.envelope`), or on the last
unloading curve while that is the deeper one: a reload follows the unloading curve back. A hold
creeps with ln(1 + t / tau) and ends on the envelope, where the truth is defined; at constant depth
the force relaxes in the same manner. Unloading follows F ((h - h_p) / (h_max - h_p))^m.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import nan

import numpy as np
from numpy.typing import NDArray

from drypoint.errors import Where
from drypoint.records.segments import Kind
from drypoint.simulation.cycles import Cycle, Leg
from drypoint.simulation.envelope import Envelope, State, state
from drypoint.simulation.truth import Expected, SimulationError, Truth
from drypoint.tips.area import surface_area

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Curve:
    """An unloading curve: its top and what it comes down to."""

    F: float
    h: float
    h_p: float
    m: float

    def depth(self, force: Floats) -> Floats:
        """Depth on the curve (also above its top: elastic reload)."""
        out: Floats = self.h_p + (self.h - self.h_p) * (force / self.F) ** (1 / self.m)
        return out

    def force(self, depth: Floats) -> Floats:
        """Force on the curve; zero above the residual depth."""
        part = np.maximum(depth - self.h_p, 0.0) / (self.h - self.h_p)
        out: Floats = self.F * part**self.m
        return out


@dataclass(frozen=True)
class Path:
    """Force (N) and depth (m) of the specimen at even times (s); ``contact`` is the index of the
    sample at which the tip touches. ``segment`` holds :class:`~drypoint.records.segments.Kind`."""

    time: Floats
    force: Floats
    depth: Floats
    segment: NDArray[np.int16]
    contact: int
    expected: tuple[Expected, ...]


class _Walk:
    """The state of a walk: where it stands, the last unloading curve, what has been passed."""

    def __init__(self, truth: Truth, cycle: Cycle) -> None:
        self.truth, self.by_force = truth, cycle.control == "force"
        self.first = cycle.legs[0].end
        self.logs = [self._log_after(cycle, i) for i in range(len(cycle.legs))]
        reach = {"force": cycle.peak} if self.by_force else {"depth": cycle.peak}
        self.env = Envelope(truth, creep_log=max(self.logs), **reach)
        self.curve: Curve | None = None
        self.F = self.h = 0.0
        self.before_hold = (0.0, 0.0)
        self.expected: list[Expected] = []
        self.pop_in = self._pop_in()

    def _log_after(self, cycle: Cycle, i: int) -> float:
        follows = cycle.legs[i + 1] if i + 1 < len(cycle.legs) else None
        if follows is None or follows.kind is not Kind.HOLD:
            return 0.0
        return float(self.truth.creep.log(round(follows.duration * cycle.rate) / cycle.rate))

    def _pop_in(self) -> tuple[float, float]:
        """Force and depth at which the contact yields at once; zero without a pop-in."""
        force = self.truth.pop_in_force
        if force is None:
            return 0.0, 0.0
        h = float(self.env.elastic_depth(np.array([force]))[0])
        after = float(self.env.branch(self.env.at_force(force), self.logs[0])[0])
        level = force if self.by_force else after
        if level >= self.first or h >= after:
            raise SimulationError(
                "The pop-in lies above the first peak, or would not jump.",
                where=Where(test=self.truth.name),
                remedy="Choose another pop_in_force.",
            )
        return force, h

    def load(self, leg: Leg, part: Floats, log: float) -> tuple[Floats, Floats]:
        """A loading leg at the shares ``part`` of its time."""
        if self.by_force:
            F = self.F + (leg.end - self.F) * part**leg.shape
            h = self.env.branch(self.env.at_force(F), log)
            if self.curve is not None:
                h = np.maximum(h, self.curve.depth(F))
            elif self.pop_in[0] > 0:
                h = np.where(self.pop_in[0] > F, self.env.elastic_depth(F), h)
        else:
            h = self.h + (leg.end - self.h) * part**leg.shape
            F = self.env.at_depth(h, log).F
            if self.curve is not None:
                F = np.minimum(F, self.curve.force(h))
            elif self.pop_in[0] > 0:
                F = np.where(h < self.pop_in[1], self.env.elastic_force(h), F)
        self.before_hold = (float(F[-1]), float(h[-1]))
        return F, h

    def peak(self, log: float) -> None:
        """The end of the hold: a new unloading curve starts on the envelope."""
        F, h = self.before_hold
        level = F if self.by_force else h
        last = None
        if self.curve is not None:
            last = self.curve.F if self.by_force else self.curve.h
        if last is None or level > last * (1 + 1e-12):
            s = self.env.at_force(F) if self.by_force else self.env.at_depth(h)
            self.curve = Curve(float(s.F[0]), float(s.h[0]), float(s.h_p[0]), float(s.m[0]))
            self.expected.append(self._expect(s, log))
        else:
            same = self.expected[-1].as_dict()
            again = {"cycle": len(self.expected) + 1, "W_total": nan, "eta_IT": nan}
            self.expected.append(Expected(**{**same, **again}))  # type: ignore[arg-type]
        assert self.curve is not None
        self.F, self.h = self.curve.F, self.curve.h

    def hold(self, part: Floats, seconds: float) -> tuple[Floats, Floats]:
        """Creep or relaxation from the end of loading to the peak."""
        log = self.truth.creep.log
        share = log(part * seconds) / log(seconds)
        F, h = self.before_hold
        return F + (self.F - F) * share, h + (self.h - h) * share

    def unload(self, leg: Leg, part: Floats) -> tuple[Floats, Floats]:
        """An unloading leg along the curve, linear in the controlled signal."""
        assert self.curve is not None
        end = leg.end * self.curve.F
        if self.by_force:
            F = self.F + (end - self.F) * part**leg.shape
            return F, self.curve.depth(F)
        h_end = float(self.curve.depth(np.array(end)))
        h = self.h + (h_end - self.h) * part**leg.shape
        return self.curve.force(h), h

    def _expect(self, s: State, log: float) -> Expected:
        F, h, m, h_p = (float(v[0]) for v in (s.F, s.h, s.m, s.h_p))
        first = not self.expected
        W_elast = F * (h - h_p) / (m + 1)
        W_total = self._work(s, log) if first else nan
        h_c = float(s.h_c[0])
        F_1, h_1 = self.before_hold
        return Expected(
            cycle=len(self.expected) + 1,
            F_max=F,
            h_max=h,
            h_c=h_c,
            h_p=h_p,
            h_r=h - F / float(s.S[0]),
            A_p=float(s.A_p[0]),
            S=float(s.S[0]),
            m=m,
            epsilon=float(s.eps[0]),
            H_IT=F / float(s.A_p[0]),
            HM=F / float(surface_area(self.truth.tip, {}, h)),
            E_r=float(s.E_r[0]),
            E_IT=float(self.truth.E.at(h_c)),
            W_elast=W_elast,
            W_total=W_total,
            eta_IT=W_elast / W_total,
            C_IT=(h - h_1) / h_1 if self.by_force else nan,
            R_IT=nan if self.by_force else (F_1 - F) / F_1,
            plastic_share=float(s.plastic[0]),
        )

    def _work(self, s: State, log: float) -> float:
        """Area under the first loading and its hold."""
        top = s if self.by_force else self.env.at_depth(s.h, log)
        row = state(self.truth, np.geomspace(1e-12, float(top.h_c[0]), 4000, dtype=np.float64))
        F, h = row.F, self.env.branch(row, log)
        F_pop, h_pop = self.pop_in
        if F_pop > 0:
            elastic = row.F_el < F_pop
            rest = F_pop < F if self.by_force else h > h_pop
            F = np.concatenate([row.F_el[elastic], [F_pop], F[rest]])
            h = np.concatenate([row.h_el[elastic], [h_pop], h[rest]])
        creep = float(s.F[0]) * (float(s.h[0]) - self.before_hold[1]) if self.by_force else 0.0
        return float(np.trapezoid(F, h)) + creep


def walk(truth: Truth, cycle: Cycle) -> Path:
    """Force and depth of the specimen along a cycle."""
    w = _Walk(truth, cycle)
    n = round(cycle.gap / cycle.approach_speed * cycle.rate)
    force: list[Floats] = [np.zeros(n + 1)]
    depth: list[Floats] = [
        -(cycle.approach_speed / cycle.rate) * np.arange(n, -1, -1, dtype=np.float64)
    ]
    kinds = [np.full(n, Kind.APPROACH), np.full(1, Kind.LOADING)]
    for i, leg in enumerate(cycle.legs):
        k = round(leg.duration * cycle.rate)
        part = np.arange(1, k + 1) / max(k, 1)
        held = i > 0 and cycle.legs[i - 1].kind is Kind.LOADING and leg.kind is Kind.HOLD
        if leg.kind is Kind.LOADING:
            if k == 0:
                raise SimulationError("A loading leg is shorter than one sample.")
            F, h = w.load(leg, part, w.logs[i])
            w.F, w.h = float(F[-1]), float(h[-1])
        elif held:
            w.peak(w.logs[i - 1])
            F, h = w.hold(part, k / cycle.rate) if k else (np.empty(0), np.empty(0))
        elif leg.kind is Kind.UNLOADING:
            F, h = w.unload(leg, part)
            w.F, w.h = (float(F[-1]), float(h[-1])) if k else (w.F, w.h)
        else:
            F, h = np.full(k, w.F), np.full(k, w.h)
        follows = cycle.legs[i + 1].kind if i + 1 < len(cycle.legs) else None
        if leg.kind is Kind.LOADING and follows is not Kind.HOLD:
            w.peak(0.0)
        force.append(F)
        depth.append(h)
        kinds.append(np.full(k, leg.kind))
    total = np.concatenate(force)
    return Path(
        time=np.arange(len(total)) / cycle.rate,
        force=total,
        depth=np.concatenate(depth),
        segment=np.concatenate(kinds).astype(np.int16),
        contact=n,
        expected=tuple(w.expected),
    )
