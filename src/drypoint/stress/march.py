"""From leg to leg: load steps that adapt themselves, and what is kept of each."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from drypoint.stress.give import give
from drypoint.stress.newton import Control, Step, newton
from drypoint.stress.protocol import Leg, Protocol
from drypoint.stress.surface import Surface, surface
from drypoint.stress.system import Place, System

Floats = NDArray[np.float64]
#: Called with the share done (0 to 1) and words; what it raises ends the run.
Watch = Callable[[float, str], None]

#: Share of the force at its start below which an unloading to zero lifts the tip off.
LIFT_OFF = 0.02
_SMALLEST = 2.0**-10
_EASY = 8
#: An elastic tip: most passes of a step, and the changes that end them, over the depth: of what it
#: gives as a whole, and of its shape at any place.
_PASSES, _SETTLED, _SHAPED = 12, 3e-4, 5e-4


@dataclass(frozen=True)
class Row:
    """One solved step. Depths in m, force in N, energies in J."""

    leg: int
    time: float
    force: float
    depth: float
    tip_depth: float
    surface: Surface
    ratios: Floats
    work: float
    stored: float
    plastic_work: float
    iterations: int
    place: Place
    sigma: NDArray[np.float32]
    strain: NDArray[np.float32]


@dataclass
class March:
    """Walks a system through a protocol. ``words`` says why it stopped early, or is empty."""

    system: System
    E_star_tip: float
    steps: int
    back_steps: int
    guess: float
    force_scale: float
    watch: Watch
    keep: bool
    rows: list[Row] = field(default_factory=list)
    words: str = ""
    given: float = 0.0
    given_at: float = 0.0
    grown: tuple[float, Floats] | None = None
    work: float = 0.0
    cuts: int = 0
    iterations: int = 0

    def __post_init__(self) -> None:
        self.at = Place(np.zeros(2 * len(self.system.mesh.X)), 0.0, 0.0)
        self.last: Place | None = None
        self.force = self.time = self.depth = 0.0
        self.most = self.force_scale
        # Newton's step for a give that answers in proportion: the specimen over the tip.
        self.share = 1 / (1 + self.system.solids[0, 5] / self.E_star_tip)
        self.system.evaluate(self.at, with_K=False)
        self.at_start = float(self.system.ends[2])

    def run(self, protocol: Protocol) -> None:
        """Walk through all legs, or as far as they can be solved."""
        for number, leg in enumerate(protocol.legs):
            self.span = (number / len(protocol.legs), 1 / len(protocol.legs))
            self.leg, self.goal = number, leg
            self.last = None
            if leg.hold:
                self.time += leg.seconds
                if self.rows:
                    self._again()
            elif leg.depth is not None:
                self._walk(self.at.h + self.given, leg.depth, False, leg)
            else:
                self._to_force(float(leg.force or 0.0), leg)
            if self.words:
                return

    def _to_force(self, goal: float, leg: Leg) -> None:
        if goal >= self.force:
            if self.force <= 1e-9 * self.most:
                self._touch_down(goal, leg)
            self._walk(self.force, goal, True, leg)
            return
        start = self.force
        bottom = max(goal, LIFT_OFF * start)
        if bottom < start:
            self._walk(start, bottom, True, leg, self.back_steps)
        if goal < bottom and not self.words:
            self._lift_off(leg)

    def _touch_down(self, goal: float, leg: Leg) -> None:
        """Steps in depth until there is a force to steer by."""
        self.system.touching = True
        dh = self.guess / self.steps
        leg = replace(leg, seconds=leg.seconds / self.steps)
        while self.force < 0.3 * goal / self.steps and not self.words:
            h = self.at.h + self.given + dh
            old = len(self.rows)
            self._walk(self.at.h + self.given, h, False, leg, 1, most=goal)
            dh *= 1.5 if len(self.rows) > old else 1.0

    def _walk(
        self, start: float, goal: float, load: bool, leg: Leg, steps: int = 0, most: float = np.inf
    ) -> None:
        """From one depth (or force) to another in steps that halve when they fail."""
        self.system.touching = True
        n = steps or self.steps
        whole = goal - start
        if whole == 0:
            return
        largest = size = abs(whole) / n
        done, before, began = start, 0.0, self.time
        while abs(goal - done) > 1e-9 * abs(whole):
            left = abs(goal - done)
            step = np.copysign(left if left < 1.01 * size else size, whole)
            found = self._solve(done + step, step / before if before else 0.0, load)
            if found.words or (not load and self.system.force > most):
                self.cuts += 1
                size = abs(step) / 2
                if size < _SMALLEST * largest:
                    self.words = found.words or "the force grows too fast for the steps"
                    return
                continue
            done, before = done + step, step
            self.time = began + leg.seconds * abs(done - start) / abs(whole)
            self._accept(found, abs(done - start) / abs(whole))
            size = min(largest, size * (1.5 if found.iterations <= _EASY else 1.0))

    def _control(self, target: float, load: bool) -> Control:
        if load or not np.isfinite(self.E_star_tip) or not self.rows:
            return Control(target, load, 0.0, self.given, self.force)
        c = 1 / (2 * self.E_star_tip * max(self.rows[-1].surface.radius, self.system.mesh.edge))
        return Control(target, False, c, self.given, self.given_at)

    def _solve(self, target: float, ratio: float, load: bool) -> Step:
        """A step, again with the tip's new give until that no longer changes."""
        if not np.isfinite(self.E_star_tip):
            return self._once(target, ratio, load)
        s = self.system
        before = (self.given, self.given_at, s.lift)
        at, last = self.at, self.last
        if self.grown is not None and last is not None and 0 < ratio <= 2.1:
            more, lift = self.grown
            self.given += ratio * more
            s.set_lift(s.lift + ratio * lift)
        step = self._once(target, ratio, load)
        for _ in range(_PASSES):
            if step.words:
                break
            r = s.mesh.X[s.mesh.top, 0] + (step.at.U[2 * s.mesh.top] if s.finite else 0.0)
            lift, mean = give(r, s.pressure, self.E_star_tip)
            depth = step.at.h + mean
            reshaped = float(np.max(np.abs(lift - s.lift)))
            settled = abs(mean - self.given) < _SETTLED * depth and reshaped < _SHAPED * depth
            self.given, self.given_at = mean, s.force
            s.set_lift(s.lift + self.share * (lift - s.lift))
            if settled:
                break
            self.at, self.last = step.at, None
            step = self._once(target, 0.0, load)
            self.at, self.last = at, last
        if step.words:
            self.given, self.given_at, lift = before
            s.set_lift(lift)
        else:
            self.grown = (self.given - before[0], s.lift - before[2])
        return step

    def _once(self, target: float, ratio: float, load: bool) -> Step:
        control = self._control(target, load)
        scale = 1e-3 * self.most
        starts = [self.at]
        if self.last is not None and 0 < ratio <= 2.1:
            starts.insert(0, self.at.plus(self.last, ratio))
        step = Step(self.at, 0, np.inf, "")
        for place in starts:
            if not load and control.c == 0:
                place = Place(place.U, place.q, target - self.given)
            step = newton(self.system, place, control, scale)
            self.iterations += step.iterations
            if not step.words:
                return step
        return step

    def _accept(self, step: Step, share: float) -> None:
        s = self.system
        F = s.force
        there = surface(s, step.at)
        here = step.at.h + self.given
        self.work += 0.5 * (F + self.force) * (here - self.depth)
        self.depth = here
        self.last = step.at.minus(self.at)
        self._keep(step, F, there)
        self.watch(
            self.span[0] + self.span[1] * share,
            f"{(self.at.h + self.given) * 1e9:.4g} nm, {F * 1e3:.4g} mN",
        )

    def _keep(self, step: Step, F: float, there: Surface) -> None:
        s = self.system
        stored = float(s.ends[2]) - self.at_start + float(s.contact[3])
        stored += 0.5 * F * self.given  # the tip's own
        stored += 0.5 * s.outside * step.at.q**2 - s.at_rest * step.at.q
        s.accept(step.at)
        self.at, self.force, self.most = step.at, F, max(self.most, F)
        sigma = s.sigma.astype(np.float32) if self.keep else np.zeros((0, 4, 4), np.float32)
        strain = s.strain.astype(np.float32) if self.keep else np.zeros((0, 4), np.float32)
        row = Row(
            leg=self.leg,
            time=self.time,
            force=F,
            depth=self.at.h + self.given,
            tip_depth=self.at.h,
            surface=there,
            ratios=s.ratios.copy(),
            work=self.work,
            stored=stored,
            plastic_work=s.plastic_work + s.friction_work,
            iterations=step.iterations,
            place=self.at,
            sigma=sigma,
            strain=strain,
        )
        self.rows.append(row)

    def _again(self) -> None:
        """The last row once more, at the end of a hold."""
        last = self.rows[-1]
        self.rows.append(replace(last, leg=self.leg, time=self.time, iterations=0))

    def _lift_off(self, leg: Leg) -> None:
        """Take the tip away; the depth is where it last touches the impression."""
        s = self.system
        s.touching = False
        s.set_lift(np.zeros_like(s.lift))
        step = newton(s, self.at, Control(self.at.h), self.most)
        self.iterations += step.iterations
        if step.words:
            self.words = step.words
            return
        there = surface(s, step.at)
        step.at.h += float(np.min(there.gap))
        self.work += 0.5 * self.force * (step.at.h - self.depth)
        self.depth = step.at.h
        self.time += leg.seconds * LIFT_OFF
        self.given = self.given_at = 0.0
        self._keep(step, 0.0, there)
