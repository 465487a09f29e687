"""Writes src/drypoint/materials/blunted.npz: the table of a blunted tip and the errors it has.

python scripts/blunted_write.py FOLDER    (seconds; FOLDER as filled by blunted_table.py)
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from blunted_fit import (
    COUNT_Q,
    D_Q,
    SHEAR,
    Floats,
    Q,
    coefficients,
    design,
    discretisation,
    elastic_value,
    hertz,
    line,
    points,
)
from blunted_table import NU, Y_NODES, Solid, check, shapes
from scipy.optimize import least_squares

from drypoint.contact import blunted_kernels as kernels

#: ln(h/R) at which errors are stored.
ERROR_AT = np.linspace(np.log(1e-4), np.log(1.5), 33)


def kernel_of(data: dict[str, Floats]) -> tuple[Floats, Floats, Floats]:
    """The table as the kernels take it."""
    keys = ("elastic", "yielding", "numbers")
    e, w, at = (np.ascontiguousarray(data[key], dtype=np.float64) for key in keys)
    return e, w, at


@dataclass(frozen=True)
class Made:
    """A table and where its runs are."""

    folder: Path
    data: dict[str, Floats]

    def ln_depth(self, ln_f: Floats, y: float, n: float, nu: float) -> Floats:
        """ln X of the table."""
        table = kernel_of(self.data)
        return np.log(kernels.depth_many(ln_f, float(np.log(y)), float(n), nu, table)[:, 0])

    def true(self, solid: Solid, c: Floats, ln_f: Floats) -> Floats:
        """ln X of a solid from its own runs, smoothed to coefficients c."""
        q = np.maximum((ln_f - SHEAR * np.log(solid.y) - Q) / D_Q, 0)
        w = np.where(q > 0, design(q, COUNT_Q) @ c, 0)
        return elastic_value(self.data["elastic"], ln_f, solid.nu) + w + hertz(ln_f)

    def equivalent(self, solid: Solid, ln_f: Floats, ln_X: Floats) -> tuple[float, float]:
        """Y/E* and n of the table that come nearest to another hardening or an elastic tip."""
        use = (ln_X > np.log(3e-3)) & (ln_X < np.log(1.05))
        low, high = np.log(Y_NODES[0]), np.log(Y_NODES[-1])

        def miss(p: Floats) -> Floats:
            found = self.ln_depth(ln_f[use], float(np.exp(p[0])), p[1], solid.nu)
            return np.nan_to_num(found - ln_X[use])

        best = least_squares(miss, [np.log(solid.y), 0.15], bounds=([low, 0], [high, 0.5]))
        return float(np.exp(best.x[0])), float(best.x[1])

    def error(self, solid: Solid) -> Floats:
        """ln X of the solid less that of the table, at the forces of the table at ERROR_AT."""
        c, _ = line(self.folder, solid, self.data["elastic"])
        y, n = solid.y, solid.n
        if solid.hardening != "power" or np.isfinite(solid.tip):
            ln_f = points(self.folder, solid)[:, 0]
            y, n = self.equivalent(solid, ln_f, self.true(solid, c, ln_f))
            print(f"{solid.name}: nearest to Y/E* = {y:.5f}, n = {n:.3f}")
        table = kernel_of(self.data)
        f = kernels.phi_many(ERROR_AT, float(np.log(y)), n, solid.nu, table)[:, 0]
        return self.true(solid, c, np.log(f)) - ERROR_AT


#: Share of the correction of the discretisation that is taken as its standard uncertainty.
DOUBT = 0.3


def discretisation_modes(made: Made) -> tuple[list[str], Floats]:
    """Relative errors of X that the correction may have, at the forces of the table at ERROR_AT."""
    names, rows = [], []
    change = sum(discretisation(made.folder, made.data["elastic"]))
    for i, y in enumerate(Y_NODES[::3]):
        for j, n in enumerate((0.0, 0.25, 0.5)):
            ln_y = float(np.log(y))
            f = kernels.phi_many(ERROR_AT, ln_y, n, NU, kernel_of(made.data))[:, 0]
            q = np.maximum((np.log(f) - SHEAR * ln_y - Q) / D_Q, 0)
            names.append(f"discretisation_y{y:.6f}_n{n:.4f}")
            rows.append(DOUBT * np.where(q > 0, design(q, COUNT_Q) @ change[:, i, j], 0))
    return names, np.array(rows)


def percents(values: Floats) -> str:
    return " ".join(f"{100 * v:6.2f}" for v in values[::3])


def main(folder: Path, out: Path) -> None:
    """Two groups of errors, each row over the root of its group's size: the sum of the rows' outer
    products is the covariance of the relative error."""
    plain = Made(folder, coefficients(folder, corrected=False))
    made = Made(folder, coefficients(folder, corrected=True))
    solids = check()
    errors = np.array([plain.error(s) for s in solids])
    ends = np.array([plain.error(s) for s in shapes()])
    names, rows = discretisation_modes(made)
    scaled = np.concatenate([errors / np.sqrt(len(errors)), rows / np.sqrt(len(rows))])
    stored = {
        "error_at": ERROR_AT,
        "errors": scaled.astype(np.float32),
        "shape_errors": ends.astype(np.float32),
        "error_names": np.array([*(s.name for s in solids), *names]),
    }
    np.savez_compressed(out, **made.data, **stored)
    print(f"{out}: {out.stat().st_size} bytes")
    print(f"{'h/R':45s}", " ".join(f"{x:6.4f}" for x in np.exp(ERROR_AT[::3])))
    for name, e in zip([*(s.name for s in solids), *names], [*errors, *rows], strict=True):
        print(f"{name:45s}", percents(e))
    for s, e in zip(shapes(), ends, strict=True):
        print(f"{s.name:45s}", percents(e))
    for what, e in (("solids", errors), ("discretisation", rows)):
        print(f"{'rms of ' + what + ', %':45s}", percents(np.sqrt(np.mean(e**2, axis=0))))


if __name__ == "__main__":
    here = Path(__file__).resolve().parents[1]
    main(Path(sys.argv[1]), here / "src/drypoint/materials/blunted.npz")
