"""Loading and unloading curves of blunted tips on many solids, from our own finite elements.

    python benchmarks/make_blunted_solids.py FOLDER [COUNT]     (about 9 s a solid; resumes)

None of the solids is in the table of drypoint.contact.blunted; the mesh, its grading and the steps
differ from those of the table. Everything is scaled: h/R and F/(E* R^2). The result,
benchmarks/data/blunted_solids.npz, is computed, not measured.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

import drypoint.stress as stress
from drypoint.stress.protocol import Leg

R, E = 1e-5, 100e9
#: Deepest h/R of the shallower runs.
SHALLOW = (0.3, 0.04)
EFFORT = stress.Effort(17, 20, 12)
POINTS, BACK = 160, 60
#: Values from memory: Young's modulus GPa, Poisson's ratio, yield stress GPa, hardening exponent.
NAMED = {
    "silica-like": (72.0, 0.17, 6.0, 0.0),
    "hardened steel-like": (210.0, 0.29, 2.0, 0.08),
    "annealed copper-like": (125.0, 0.34, 0.10, 0.42),
    "aluminium-like": (70.0, 0.34, 0.28, 0.08),
    "tungsten-like": (410.0, 0.28, 1.3, 0.06),
    "silicon-like": (165.0, 0.22, 5.2, 0.0),
}


def solids(count: int) -> list[dict[str, float | str]]:
    """Drawn at random (seeded), the named ones first; lengths in units of R, moduli of E."""
    rng = np.random.default_rng(20260)
    out: list[dict[str, float | str]] = []
    for name, (modulus, nu, Y, n) in NAMED.items():
        out.append(dict(name=name, nu=nu, y=Y / modulus, n=n, deep=1.8, angle=70.3, kind="power"))
    while len(out) < count:
        y = float(np.exp(rng.uniform(np.log(6e-4), np.log(0.1))))
        nu, n = float(rng.uniform(0.15, 0.42)), float(rng.uniform(0.0, 0.45))
        deep = float(rng.uniform(1.2, 2.2))
        kind = ("power", "power", "power", "power", "linear", "saturating")[int(rng.integers(6))]
        angle = float(rng.choice([70.3, 70.3, 70.3, 69.6, 71.0]))
        name = f"solid {len(out)}"
        out.append(dict(name=name, nu=nu, y=y, n=n, deep=deep, angle=angle, kind=kind))
    return out


def material(s: dict[str, float | str]) -> stress.Material:
    """Flow stress by a power, a straight line, or one that saturates."""
    nu, n, Y = float(s["nu"]), float(s["n"]), float(s["y"]) * E
    if s["kind"] == "linear":
        return stress.Material(E=E, nu=nu, yield_stress=Y, slope=0.02 * n * E)
    if s["kind"] == "saturating":
        strain = np.concatenate([[0.0], np.geomspace(2e-4, 2.0, 50)])
        flow = Y * (1.0 + 2.0 * n * (1.0 - np.exp(-12.0 * strain)))
        return stress.Material(E=E, nu=nu, table=tuple(zip(strain, flow, strict=True)))
    return stress.Material(E=E, nu=nu, yield_stress=Y, exponent=n)


def press(s: dict[str, float | str], deepest: float, unload: bool) -> tuple[np.ndarray, int]:
    """h/R and F/(E* R^2), and how many of the points are loading."""
    E_star = E / (1.0 - float(s["nu"]) ** 2)
    legs = [Leg(depth=float(x * R)) for x in np.geomspace(0.09, 1.0, 6) * deepest]
    if unload:
        legs.append(Leg(force=0.0))
    tip = stress.cone(float(np.radians(float(s["angle"]))), radius=R)
    run = stress.solve(
        stress.Stack(material(s)), tip, stress.Protocol(tuple(legs)), mesh=EFFORT, errors=False,
        fields=False,
    )  # fmt: skip
    curve = np.column_stack([run.depth / R, run.force / (E_star * R**2)])
    return curve, int(np.argmax(curve[:, 0])) + 1


def curves(s: dict[str, float | str]) -> tuple[np.ndarray, np.ndarray]:
    """Loading on POINTS depths (geometric), unloading on BACK, each h/R and F/(E* R^2)."""
    whole, top = press(s, float(s["deep"]), True)
    up, back = whole[:top], whole[top - 1 :]
    parts = [press(s, d, False)[0] for d in SHALLOW]
    # Each run counts from where contact has many nodes to where the next deeper one does.
    edges = [0.0, SHALLOW[1] * 0.8, SHALLOW[0] * 0.8, np.inf]
    ln_h, ln_g = [], []
    for run, low, high in zip((parts[1], parts[0], up), edges[:-1], edges[1:], strict=True):
        good = (run[:, 0] > max(low, 0.15 * run[-1, 0])) & (run[:, 0] <= high) & (run[:, 1] > 0)
        if low == 0.0:
            good = (run[:, 0] <= high) & (run[:, 1] > 0) & (run[:, 0] > 0.12 * run[-1, 0])
        ln_h += list(np.log(run[good, 0]))
        ln_g += list(np.log(run[good, 1]) - 1.5 * np.log(run[good, 0]))
    order = np.argsort(ln_h)
    at = np.linspace(np.log(0.006), np.log(float(s["deep"])), POINTS)
    # A spline through noise of single nodes: smoothed over a few points (0.1 %).
    from scipy.interpolate import make_smoothing_spline

    x, v = np.array(ln_h)[order], np.array(ln_g)[order]
    keep = np.concatenate([[True], np.diff(x) > 1e-6])
    ratio = make_smoothing_spline(x[keep], v[keep], lam=3e-5)(at)
    load = np.column_stack([np.exp(at), np.exp(ratio + 1.5 * at)])
    f = np.linspace(back[0, 1], 0.05 * back[0, 1], BACK)
    h = np.interp(f, back[::-1, 1], back[::-1, 0])
    return load, np.column_stack([h, f])


def main() -> None:
    """Solve what is missing, then write what is there."""
    folder, count = Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 206
    folder.mkdir(parents=True, exist_ok=True)
    listed = solids(count)
    for i, s in enumerate(listed):
        place = folder / f"{i}.npz"
        if not place.exists():
            try:
                load, back = curves(s)
            except Exception as error:
                print(i, s, error, flush=True)
                continue
            np.savez(place, load=load, back=back)
            print(i, s["name"], flush=True)
    done = [i for i in range(count) if (folder / f"{i}.npz").exists()]
    runs = [np.load(folder / f"{i}.npz") for i in done]
    numbers = [[float(listed[i][k]) for k in ("nu", "y", "n", "deep", "angle")] for i in done]
    out = Path(__file__).with_name("data") / "blunted_solids.npz"
    out.parent.mkdir(exist_ok=True)
    np.savez_compressed(
        out, load=np.array([r["load"] for r in runs], np.float32),
        back=np.array([r["back"] for r in runs], np.float32), numbers=np.array(numbers),
        names=np.array([str(listed[i]["name"]) for i in done]),
        kinds=np.array([str(listed[i]["kind"]) for i in done]),
    )  # fmt: skip
    print(f"{len(done)} solids in {out} ({out.stat().st_size / 1e3:.0f} kB)")


if __name__ == "__main__":
    main()
