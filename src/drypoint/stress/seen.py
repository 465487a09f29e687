"""What an instrument would make of a run, beside what is true; and the run as a record."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar

from drypoint.contact.unloading import contact_depth, epsilon, reduced_modulus
from drypoint.errors import StressError
from drypoint.stress.solution import Solution

Floats = NDArray[np.float64]

#: Shares of the peak force between which the unloading is fitted (common practice).
WINDOW = (0.2, 0.98)


@dataclass(frozen=True)
class Seen:
    """A quantity as the instrument finds it and as it is.

    ``S`` (N/m) and ``m`` of the unloading; ``h_c`` (m) with the epsilon of ``m`` [pharr2002];
    ``area`` (m^2) by the tip's shape at ``h_c`` beside ``true_area``; ``H_IT`` beside
    ``true_hardness`` (Pa); ``E_r`` beside ``true_E_r`` (Pa, NaN for a layered stack).
    """

    S: float
    m: float
    h_c: float
    area: float
    true_area: float
    H_IT: float
    true_hardness: float
    E_r: float
    true_E_r: float


def _unloading(run: Solution) -> tuple[Floats, Floats, float, float]:
    peak = run.peak
    after = np.arange(len(run.force)) > peak
    down = after & (run.leg == run.leg[after][0]) if after.any() else after
    if down.any() and run.force[down][0] == run.force[peak]:  # a hold: take what follows it
        later = after & (run.leg > run.leg[down][0])
        down = later & (run.leg == run.leg[later][0]) if later.any() else later
    F, h = run.force[down], run.depth[down]
    share = F / run.force[peak]
    use = (share >= WINDOW[0]) & (share <= WINDOW[1])
    if np.sum(use) < 4:
        raise StressError(
            "The run has no unloading to read a stiffness from.",
            remedy="End the protocol with a leg to zero force, in eight steps or more.",
        )
    return h[use], F[use], float(run.force[peak]), float(run.depth[peak])


def power_law(h: Floats, F: Floats) -> tuple[float, float, float]:
    """F = alpha (h - h_p)^m through an unloading: (alpha, h_p, m), SI [oliver1992].

    Least squares in the logarithm, weighted by force, which is least squares in force where the fit
    is close; h_p from a search.
    """
    span = float(h.max() - h.min())

    def line(below: float) -> tuple[Floats, float]:
        x, y = np.log((h - h.min()) / span + below), np.log(F)
        fit = np.polyfit(x, y, 1, w=F)
        return fit, float(np.sum((F * (np.polyval(fit, x) - y)) ** 2))

    scale = float(np.sum(F**2))
    best = minimize_scalar(
        lambda b: line(np.exp(b))[1] / scale, bounds=(-6.0, 2.0), method="bounded",
        options={"xatol": 1e-8},
    )  # fmt: skip
    below = float(np.exp(best.x))
    m, level = line(below)[0]
    return float(np.exp(level) / span**m), float(h.min() - below * span), float(m)


def as_seen(run: Solution) -> Seen:
    """The run reduced as a test is: stiffness, contact depth, hardness and modulus.

    S is the slope at the peak of the power law through the unloading [oliver1992], beta is 1.

    Raises
    ------
    StressError
        Where the run has no unloading after its peak.
    """
    h, F, F_max, _ = _unloading(run)
    alpha, h_p, m = power_law(h, F)
    h_top = h_p + (F_max / alpha) ** (1 / m)
    S = alpha * m * (h_top - h_p) ** (m - 1)
    eps = float(epsilon(m)) if m > 1 else 1.0
    h_c = float(contact_depth(h_top, F_max, S, eps))
    area = run.profile.area(h_c)
    true_area = float(run.area[run.peak])
    star = run.stack.substrate.plane_strain_modulus
    return Seen(
        S=S,
        m=m,
        h_c=h_c,
        area=area,
        true_area=true_area,
        H_IT=F_max / area,
        true_hardness=run.hardness,
        E_r=float(reduced_modulus(S, area)),
        true_E_r=np.nan if run.stack.layers else 1 / (1 / star + 1 / run.profile.E_star_tip),
    )


def record(run: Solution, samples: int = 500) -> tuple[Floats, Floats, Floats]:
    """The run as a test record: time (s), force (N), depth (m), each (samples,).

    Evenly spaced in time from the first contact, straight between the load steps.
    """
    time = np.concatenate([[0.0], run.time])
    force = np.concatenate([[0.0], run.force])
    depth = np.concatenate([[0.0], run.depth])
    t = np.linspace(0.0, time[-1], samples)
    return t, np.interp(t, time, force), np.interp(t, time, depth)
