"""Force against depth, built backwards from what is true.

Everything hangs on the contact depth h_c. From it follow, in this order,

    A_p  = area function of the tip at h_c,
    a    = sqrt(A_p / pi)                                  contact radius,
    p_el = (8 / (3 pi)) beta E_r h_c / a                   elastic mean pressure,
    p    = H s(p_el / H)                                   mean pressure,
    F    = p A_p                                           force,
    S    = beta (2 / sqrt(pi)) E_r sqrt(A_p)               stiffness [oliver1992],
    h    = h_c + eps(m) F / S                              depth [oliver1992] [pharr2002],
    h_p  = h - m F / S                                     residual depth,

so that the unloading curve F ((x - h_p) / (h - h_p))^m has the slope S at its top and the contact
depth h_c that a perfect reduction finds.

``p_el`` is the pressure under the paraboloid that touches with the same area at the same contact
depth. With beta = 1 and a sphere of radius R it is that of Hertz, 4 E_r a / (3 pi R) [hertz1881]
[johnson1985], and for a blunted tip it passes to Hertz with the radius of the end. The passage s
from elastic to plastic is, with half width w,

    s(x) = x                            for x <= 1 - w   (elastic: Hertz, exactly),
    s(x) = x - (x - 1 + w)^2 / (4 w)    between,
    s(x) = 1                            for x >= 1 + w   (plastic: p is the hardness, exactly);

it and its slope are continuous. With w = 0.6 the first yield is at p = 0.4 H, about where
p = 1.1 Y and H = 2.8 Y put it [johnson1985]. Along the passage the unloading exponent goes
from 3/2 (a paraboloid) to the truth's own m, and h_p rises from zero.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drypoint.contact.unloading import contact_stiffness, epsilon
from drypoint.errors import Where
from drypoint.simulation.truth import SimulationError, Truth
from drypoint.tips.area import area as projected_area

Floats = NDArray[np.float64]

_POINTS = 800
_SHALLOWEST = 1e-13
_STEPS, _CLOSE = 8, 1e-13


@dataclass(frozen=True)
class State:
    """Contact at each contact depth ``h_c``: all arrays of one shape, SI.

    ``h_el`` and ``F_el`` are the elastic contact of the same ``h_c`` (before any yield);
    ``plastic`` says how far along the passage: 0 elastic, 1 fully plastic.
    """

    h_c: Floats
    A_p: Floats
    E_r: Floats
    F: Floats
    S: Floats
    m: Floats
    eps: Floats
    h: Floats
    h_p: Floats
    F_el: Floats
    h_el: Floats
    plastic: Floats


def _pressure(truth: Truth, h_c: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """A_p, E_r, elastic mean pressure, mean pressure, and how far along the passage."""
    area = projected_area(truth.tip, {}, h_c)
    hardness = truth.H.at(h_c)
    e_r = truth.reduced_modulus(h_c)
    elastic = 8 / (3 * np.pi) * truth.beta * e_r * h_c / np.sqrt(area / np.pi)
    w = truth.blend
    x = elastic / hardness
    share = np.clip((x - 1 + w) / (2 * w), 0.0, 1.0)
    s = np.where(share < 1, np.minimum(x, 1 + w) - w * share * share, 1.0)
    return area, e_r, elastic, hardness * s, share


def state(truth: Truth, h_c: Floats | float) -> State:
    """The construction above at contact depths ``h_c`` > 0 (m)."""
    depth = np.atleast_1d(np.asarray(h_c, dtype=np.float64))
    area, e_r, elastic, pressure, share = _pressure(truth, depth)
    force = pressure * area
    stiffness = contact_stiffness(e_r, area, truth.beta)
    m = np.where(share < 1, 1.5 + (truth.m - 1.5) * share * share * (3 - 2 * share), truth.m)
    eps = np.where(share < 1, 0.75, float(epsilon(truth.m)))
    between = (share > 0) & (share < 1)
    eps[between] = epsilon(m[between])
    h = depth + eps * force / stiffness
    return State(
        h_c=depth,
        A_p=area,
        E_r=e_r,
        F=force,
        S=stiffness,
        m=m,
        eps=eps,
        h=h,
        h_p=np.where(share > 0, h - m * force / stiffness, 0.0),
        F_el=elastic * area,
        h_el=depth + 0.75 * elastic * area / stiffness,
        plastic=share,
    )


class Envelope:
    """The curve on which every end of a hold lies, and the way back from force or depth to h_c.

    ``creep_log`` is ln(1 + hold / tau) of the hold that follows: the loading branch is shallower
    than the envelope by ``rate * creep_log * h_p``, and the hold makes up for it.
    ``force`` and ``depth`` say how far it has to reach.
    """

    def __init__(
        self, truth: Truth, *, force: float = 0.0, depth: float = 0.0, creep_log: float = 0.0
    ) -> None:
        self.truth = truth
        deep = 1e-8
        while True:
            end = state(truth, deep)
            if end.F[0] > 1.05 * force and self.branch(end, creep_log)[0] > 1.05 * depth:
                break
            deep *= 1.2
            if not (deep < 1e-2 and np.isfinite(end.F[0])):
                raise SimulationError(
                    "The force or depth asked for is not reached by this invented specimen.",
                    where=Where(test=truth.name),
                    remedy="Ask for less force, or check E, H and the tip.",
                )
        self._logs: dict[tuple[str, float], tuple[Floats, Floats]] = {}
        self.table = state(truth, np.geomspace(_SHALLOWEST, deep, _POINTS, dtype=np.float64))
        t = self.table
        if np.any(np.diff(t.F) <= 0) or np.any(np.diff(t.h) <= 0) or np.any(t.h_p < 0):
            raise SimulationError(
                "Force, depth or residual depth of this invented specimen do not grow as they "
                "must.",
                where=Where(test=truth.name),
                remedy="Lower H / E or the exponent m, or let the laws change more slowly.",
            )

    def at_force(self, force: Floats | float) -> State:
        """Contact on the envelope under a force (N)."""
        return self._solve(np.atleast_1d(np.asarray(force, dtype=np.float64)), 0.0, "F")

    def at_depth(self, h: Floats | float, creep_log: float = 0.0) -> State:
        """Contact of the loading branch at a depth (m). The force is ``State.F``."""
        return self._solve(np.atleast_1d(np.asarray(h, dtype=np.float64)), creep_log, "h")

    def elastic_depth(self, force: Floats) -> Floats:
        """Depth of the contact that has not yielded yet."""
        return self._solve(force, 0.0, "F_el").h_el

    def elastic_force(self, h: Floats) -> Floats:
        """Force of the contact that has not yielded yet."""
        return self._solve(h, 0.0, "h_el").F_el

    def branch(self, s: State, creep_log: float) -> Floats:
        """Depth of the loading branch for contacts on the envelope."""
        out: Floats = s.h - self.truth.creep.rate * creep_log * s.h_p
        return out

    def _value(self, h_c: Floats, creep_log: float, key: str) -> Floats:
        if key == "F":
            area, _, _, pressure, _ = _pressure(self.truth, h_c)
            return np.log(pressure * area)
        s = state(self.truth, h_c)
        return np.log(self.branch(s, creep_log) if key == "h" else getattr(s, key))

    def _known(self, key: str, creep_log: float) -> tuple[Floats, Floats]:
        """Logarithms of contact depth and of a value along the table, computed once."""
        found = self._logs.get((key, creep_log))
        if found is None:
            found = np.log(self.table.h_c), self._value(self.table.h_c, creep_log, key)
            if np.any(np.diff(found[1]) <= 0):
                raise SimulationError(
                    "The loading branch of this invented specimen turns back.",
                    where=Where(test=self.truth.name),
                    remedy="Lower the creep rate.",
                )
            self._logs[key, creep_log] = found
        return found

    def _solve(self, target: Floats, creep_log: float, key: str) -> State:
        """Newton on logarithms with the table's slopes; zero and below give the shallowest."""
        u, y = self._known(key, creep_log)
        goal = np.log(np.maximum(target, np.exp(y[0])))
        at = np.interp(goal, y, u)
        slope = np.interp(at, u, np.gradient(u, y))
        for _ in range(_STEPS):
            miss = goal - self._value(np.exp(at), creep_log, key)
            at = at + slope * miss
            if np.max(np.abs(miss), initial=0.0) < _CLOSE:
                break
        return state(self.truth, np.exp(at))
