"""Invented reference rows with known truth, fast: no records, only what a fit would have found."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drypoint.calibration import Calibration, Reference, ReferenceTests, rows_from_arrays
from drypoint.contact import unloading as un
from drypoint.reduction.options import AnalysisOptions, Options
from drypoint.tips.area import area
from drypoint.tips.build import blunted_tip, ideal_tip
from drypoint.tips.geometry import Geometry
from drypoint.tips.tip import Bench, Frame, Tip

Floats = NDArray[np.float64]

GLASS = Reference("fused silica", 72e9, 0.17, 0.6e9, 0.005)
SAPPHIRE = Reference("sapphire (0001)", 441e9, 0.234, 8e9, 0.01)
#: Hardness of each, Pa, and exponent of its unloading.
HARD = {GLASS.name: (9.2e9, 1.30), SAPPHIRE.name: (28e9, 1.45), "steel": (4e9, 1.40)}
#: Ten forces, five tests each, N.
FORCES = np.repeat(np.geomspace(0.3e-3, 30e-3, 10), 5)


def worn_tip(radius: float = 80e-9, angle: float = np.radians(65.27)) -> Tip:
    """The true tip: a modified Berkovich pyramid with a round end."""
    return blunted_tip(Geometry("modified Berkovich", angle=angle, radius=radius))


@dataclass(frozen=True)
class World:
    """What is true: tip, frame, shared inputs. The analysis assumes :func:`nominal`."""

    tip: Tip = field(default_factory=worn_tip)
    C_f: float = 0.25e-6
    beta: float = 1.0
    E_i: float = 1140e9
    force_scale: float = 1.0
    depth_scale: float = 1.0
    stiffness_scatter: float = 0.004
    hardness_scatter: float = 0.01
    u_h: float = 0.3e-9


def contact(w: World, E: float, nu: float, H: Floats | float, F: Floats, m: float) -> Any:
    """Contact depth, depth and stiffness under a force, hardness and modulus as stated."""
    grid = np.geomspace(1e-10, 3e-5, 4000)
    A = np.asarray(area(w.tip, {}, grid))
    h_c = np.exp(np.interp(np.log(F / H), np.log(A), np.log(grid)))
    E_r = un.combined_modulus(E, nu, w.E_i, w.tip.nu_i)
    S = un.contact_stiffness(E_r, area(w.tip, {}, h_c), w.beta)
    return h_c, h_c + un.epsilon(m) * F / S, S


def rows(
    w: World,
    refs: Mapping[Reference, float] | Reference,
    rng: np.random.Generator,
    forces: Floats = FORCES,
) -> ReferenceTests:
    """Reference tests; ``refs`` maps each material to its true modulus."""
    true = {refs: refs.E} if isinstance(refs, Reference) else dict(refs)
    parts = []
    for j, (ref, E) in enumerate(true.items()):
        H, m = HARD[ref.name]
        n = len(forces)
        scattered = H * (1 + w.hardness_scatter * rng.standard_normal(n))
        _, h, S = contact(w, E, ref.nu, scattered, forces, m)
        C = 1 / S * (1 + w.stiffness_scatter * rng.standard_normal(n)) + w.C_f
        seen = h + w.C_f * forces + w.u_h * rng.standard_normal(n)
        parts.append((forces / w.force_scale, seen / w.depth_scale,
                      C * w.force_scale / w.depth_scale, np.full(n, m), np.full(n, j)))  # fmt: skip
    F, h, C, m_all, which = (np.concatenate(p) for p in zip(*parts, strict=True))
    return rows_from_arrays(F, h, C, m_all, tuple(true), material=which.astype(np.int64), u_h=w.u_h)


def nominal(
    u_beta: float = 0.0, u_E_i: float = 0.0, u_scale: float = 0.0, **analysis: Any
) -> tuple[Bench, Options]:
    """Bench and options of the analysis."""
    tip = ideal_tip("modified Berkovich", name="B1", u_E_i=u_E_i)
    frame = Frame(u_force_scale=u_scale, u_depth_scale=u_scale)
    return Bench(tip, frame), Options(analysis=AnalysisOptions(u_beta=u_beta, **analysis))


def specimen(
    c: Calibration, w: World, E: float, nu: float, H: float, m: float, force: float
) -> dict[str, tuple[float, float]]:
    """E_IT and H_IT of a test without noise on another specimen, with u from the linked inputs."""
    _, h, S = contact(w, E, nu, H, np.array([force]), m)
    F0, h0 = force / w.force_scale, float(h[0] + w.C_f * force) / w.depth_scale
    C0 = float(1 / S[0] + w.C_f) * w.force_scale / w.depth_scale

    def both(theta: Mapping[str, Any]) -> tuple[Any, Any]:
        f, d = theta["force_scale"], theta["depth_scale"]
        F = f * F0
        C = d * C0 / f - theta["frame.C_f"]
        h_c = d * h0 - theta["frame.C_f"] * F - un.epsilon(m) * F * C
        A = area(c.tip, theta, h_c)
        E_r = un.reduced_modulus(1 / C, A, theta["beta"])
        return un.indentation_modulus(E_r, nu, theta["tip.E_i"], theta["tip.nu_i"]), F / A

    best = c.linked.as_dict()
    value = both({k: np.asarray(complex(v)) for k, v in best.items()})
    J = np.zeros((2, len(best)))
    for j, name in enumerate(c.linked.names):
        step = 1e-30 * (abs(best[name]) or 1.0)
        moved = {k: np.asarray(complex(v)) for k, v in best.items()}
        moved[name] = moved[name] + 1j * step
        J[:, j] = [float(np.imag(v)) / step for v in both(moved)]
    u = np.sqrt(np.diag(J @ c.linked.cov @ J.T))
    return {k: (float(np.real(v)), float(s)) for k, v, s in zip(("E", "H"), value, u, strict=True)}


def drawn(
    rng: np.random.Generator, w: World, *, u_beta: float, u_E_i: float, u_scale: float
) -> World:
    """A world whose shared inputs lie off their nominal values by their own uncertainties."""
    z = rng.standard_normal(4)
    return replace(
        w, beta=1 + u_beta * z[0], E_i=1140e9 + u_E_i * z[1], force_scale=1 + u_scale * z[2],
        depth_scale=1 + u_scale * z[3],
    )  # fmt: skip
