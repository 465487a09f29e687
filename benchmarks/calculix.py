"""The same problem for CalculiX (Debian package calculix-ccx): deck, run, record.

An outside check of the finite elements: another program, another element, another contact. The
specimen ends at a wall far away, the tip is a strip of stiff elements that is pushed down.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from drypoint.stress import Material
from drypoint.stress.mesh import Mesh, steps, tensor_mesh

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Lengths are written in units of the depth, stresses in GPa: the solver's tolerances like that.
_GPA = 1e9
#: Axisymmetric reaction forces are for a sector of 2 degrees.
_SECTOR = 180.0


def program() -> str | None:
    """Path of the program, or ``None``."""
    return shutil.which("ccx")


@dataclass(frozen=True)
class Run:
    """What a run gave: depth (m), force (N), seconds on the clock and of the processor, iterations,
    unknowns; ``whole`` is False where it stopped before the end."""

    depth: Floats
    force: Floats
    seconds: float
    processor: float
    iterations: int
    unknowns: int
    whole: bool


def wide_mesh(a: float, elements: int, reach: float, columns: int = 1, growth: float = 1.2) -> Mesh:
    """Even under the contact, growing to a wall at ``reach`` contact radii."""
    edge = a / elements
    r = steps(edge / columns, 1.35 * a, reach * a, growth)
    return tensor_mesh(r, steps(edge, 0.6 * a, reach * a, growth), np.empty(0), edge)


def _with_middles(X: Floats, quads: Ints) -> tuple[Floats, Ints]:
    """Nodes on the middles of the edges added."""
    known: dict[tuple[int, int], int] = {}
    nodes = [tuple(x) for x in X]
    out = []
    for quad in quads:
        middles = []
        for i in range(4):
            a, b = int(quad[i]), int(quad[(i + 1) % 4])
            key = (min(a, b), max(a, b))
            if key not in known:
                known[key] = len(nodes)
                nodes.append(tuple(0.5 * (X[a] + X[b])))
            middles.append(known[key])
        out.append([*map(int, quad), *middles])
    return np.array(nodes), np.array(out)


def _lines(name: str, numbers: Ints) -> str:
    return f"*{name}\n" + "".join(f"{k + 1},\n" for k in numbers)


def deck(
    mesh: Mesh,
    solid: Material,
    height: Callable[[Floats], Floats],
    depth: float,
    tip_radius: float,
    *,
    element: str = "CAX4",
    large: bool = True,
    load_steps: int = 40,
    stiffness: float = 50.0,
) -> tuple[str, int]:
    """A deck for loading to ``depth`` (m), and its number of unknowns.

    ``height`` is the tip's above its lowest point; ``stiffness`` of the contact is in units of
    Young's modulus over the length of an element.
    """
    X, quads = mesh.X / depth, mesh.quads
    if "8" in element:
        X, quads = _with_middles(X, quads)
    r = np.linspace(0, tip_radius, 40) / depth
    low = np.column_stack([r, height(r * depth) / depth])
    tip = np.vstack([low, low + np.array([0, 0.4])])
    n, m = len(X), len(quads)
    text = ["*NODE\n"]
    text += [f"{i + 1},{x:.12g},{y:.12g},0\n" for i, (x, y) in enumerate(np.vstack([X, tip]))]
    text.append(f"*ELEMENT,TYPE={element},ELSET=SOLID\n")
    text += [f"{e + 1},{','.join(str(k + 1) for k in q)}\n" for e, q in enumerate(quads)]
    text.append("*ELEMENT,TYPE=CAX4,ELSET=TIP\n")
    k = len(low)
    text += [
        f"{m + 1 + i},{n + 1 + i},{n + 2 + i},{n + k + 2 + i},{n + k + 1 + i}\n"
        for i in range(k - 1)
    ]
    text.append(_lines("NSET,NSET=NTIP", np.arange(n, n + 2 * k)))
    small = 1e-9 * mesh.reach / depth
    for name, which in (
        ("NAXIS", np.abs(X[:, 0]) < small),
        ("NFLOOR", X[:, 1] < X[:, 1].min() + small),
        ("NWALL", X[:, 0] > X[:, 0].max() - small),
    ):
        text.append(_lines(f"NSET,NSET={name}", np.flatnonzero(which)))
    top = [
        e for e, q in enumerate(quads)
        if abs(X[q[2], 1]) < small and abs(X[q[3], 1]) < small and X[q[3], 0] < r[-1]
    ]  # fmt: skip
    text.append("*SURFACE,NAME=STOP,TYPE=ELEMENT\n" + "".join(f"{e + 1},S3\n" for e in top))
    text.append("*SURFACE,NAME=STIP,TYPE=ELEMENT\n")
    text.append("".join(f"{m + 1 + i},S1\n" for i in range(k - 1)))
    E = solid.E / _GPA
    text.append(f"*MATERIAL,NAME=M\n*ELASTIC\n{E:.8g},{solid.nu:.8g}\n")
    if np.isfinite(solid.first_yield):
        strain = np.concatenate([[0.0], np.geomspace(1e-5, 3, 60)])
        rows = strain[:1] if not (solid.exponent or solid.slope) else strain
        text.append("*PLASTIC\n")
        text += [f"{solid.flow_stress(float(x)) / _GPA:.8g},{x:.8g}\n" for x in rows]
    text.append("*SOLID SECTION,ELSET=SOLID,MATERIAL=M\n")
    text.append("*MATERIAL,NAME=MT\n*ELASTIC\n1000,0.3\n*SOLID SECTION,ELSET=TIP,MATERIAL=MT\n")
    press = stiffness * E / (mesh.edge / depth)
    text.append(
        "*SURFACE INTERACTION,NAME=SI\n*SURFACE BEHAVIOR,PRESSURE-OVERCLOSURE=LINEAR\n"
        f"{press:.6g},{press * 1e-6:.6g}\n"
        "*CONTACT PAIR,INTERACTION=SI,TYPE=SURFACE TO SURFACE\nSTOP,STIP\n"
        "*BOUNDARY\nNAXIS,1\nNFLOOR,1,2\nNWALL,1\n"
    )
    step = 1 / load_steps
    text.append(
        f"*STEP,INC=2000{',NLGEOM' if large else ''}\n*STATIC\n{step:.6g},1.0,1e-6,{step:.6g}\n"
        "*BOUNDARY\nNTIP,1\nNTIP,2,2,-1.0\n"
        "*NODE PRINT,NSET=NTIP,TOTALS=ONLY,FREQUENCY=1\nRF\n*END STEP\n"
    )
    return "".join(text), 2 * n


def _children() -> float:
    """Processor seconds of programs that were started and have ended."""
    used = os.times()
    return used.children_user + used.children_system


def solve(text: str, unknowns: int, depth: float, folder: Path, timeout: float = 600.0) -> Run:
    """Run a deck in a folder; a run that takes longer than ``timeout`` s is ended.

    Raises
    ------
    FileNotFoundError
        Where the program is not installed.
    """
    path = program()
    if path is None:
        raise FileNotFoundError("ccx (Debian package calculix-ccx) is not installed")
    (folder / "job.inp").write_text(text, encoding="ascii")
    threads = {"OMP_NUM_THREADS": "2", "CCX_NPROC_EQUATION_SOLVER": "2"}
    start, before = time.perf_counter(), _children()
    try:
        done = subprocess.run(
            [path, "job"], cwd=folder, capture_output=True, text=True, timeout=timeout,
            check=False, env={**os.environ, **threads},
        )  # fmt: skip
        log, code = done.stdout, done.returncode
    except subprocess.TimeoutExpired as late:
        log, code = (late.stdout or b"").decode("utf-8", "replace"), -1
    seconds = time.perf_counter() - start
    found = (folder / "job.dat").read_text() if (folder / "job.dat").exists() else ""
    rows = re.findall(r"total force.*time\s+([\dE.+-]+)\s*\n\s*\n\s*(\S+)\s+(\S+)", found)
    h = np.array([float(t) for t, _, _ in rows]) * depth
    F = -_SECTOR * np.array([float(fy) for _, _, fy in rows]) * _GPA * depth**2
    whole = code == 0 and len(h) > 0 and h[-1] > 0.999 * depth
    return Run(h, F, seconds, _children() - before, log.count("iteration "), unknowns, whole)
