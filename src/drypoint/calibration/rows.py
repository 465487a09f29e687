"""Reference tests: what a calibration sees of each unloading, before any frame or tip is known.

Depth and compliance are kept at frame compliance zero, h0 = h + C_f F and C0 = C + C_f, so that
it does not matter with which frame compliance the records were reduced, except for the exponent
m of the fit, which bends a little with it (:func:`drypoint.calibration.calibrate_batch` reduces
again for that reason).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from drypoint.calibration.problems import CalibrationError
from drypoint.materials import Material
from drypoint.records.batch import Batch
from drypoint.reduction.derive import LOCAL
from drypoint.reduction.reduce import Reduced

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Local inputs of a row, in the order of ``ReferenceTests.cov``.
OWN = ("F_max", "h_max", "C_t", "m")


@dataclass(frozen=True)
class Reference:
    """A reference material as certified: E (Pa), nu, and their standard uncertainties.

    ``stated`` is ``"M"`` where E/(1 - nu^2) and nu are known independently of each other, not E and
    nu; ``u_E`` then includes the part of nu. ``face`` names the face of an anisotropic crystal.
    """

    name: str
    E: float
    nu: float
    u_E: float = 0.0
    u_nu: float = 0.0
    stated: str = "E"
    face: str = ""

    def __post_init__(self) -> None:
        if not (0 < self.E < np.inf and -1 < self.nu < 0.5 and self.u_E >= 0 and self.u_nu >= 0):
            raise CalibrationError(
                f"The reference material “{self.name}” cannot have E = {self.E:.4g} Pa, "
                f"nu = {self.nu:.4g} and uncertainties {self.u_E:.4g} Pa, {self.u_nu:.4g}.",
                remedy="E is above zero, nu between -1 and 0.5, uncertainties from zero up.",
            )

    @classmethod
    def of(cls, material: Material) -> Reference:
        """A packaged reference material."""
        return cls(
            material.name, material.E, material.nu, material.u_E, material.u_nu, material.stated,
            material.face,
        )  # fmt: skip

    @property
    def covariance(self) -> Floats:
        """Covariance of E and nu, shape (2, 2)."""
        off = -2 * self.nu * self.M * self.u_nu**2 if self.stated == "M" else 0.0
        return np.array([[self.u_E**2, off], [off, self.u_nu**2]])

    @property
    def M(self) -> float:
        """Indentation modulus E/(1 - nu^2), Pa."""
        return self.E / (1 - self.nu**2)

    @property
    def u_M(self) -> float:
        """Standard uncertainty of :attr:`M`, Pa."""
        plane = 1 - self.nu**2
        slope = np.array([1 / plane, 2 * self.nu * self.E / plane**2])
        return float(np.sqrt(max(slope @ self.covariance @ slope, 0.0)))

    @property
    def words(self) -> str:
        """Its name, with the face of a crystal."""
        return f"{self.name} (crystal, face {self.face})" if self.face else self.name


@dataclass(frozen=True)
class ReferenceTests:
    """Rows of reference tests, SI, arrays of shape (n,) at frame compliance zero.

    ``cov`` (n, 4, 4) is the covariance of a row's own errors in the order :data:`OWN`. ``u_zero``
    (m) and ``u_drift`` (m/s) are errors that all rows of a ``test`` share; drift moves the depth
    by -``t_max`` and the compliance by ``per_rate`` = 1/(dF/dt) for each unit of rate.
    ``per_exponent`` (m) is how far the zero moves with the exponent of the contact law, ``per_law``
    (m) with the law of its specimen, input ``law`` of ``laws``, where specimens have their own.
    ``material`` indexes ``materials``; ``ratio`` is h_p/h_max, NaN where not known. The nominal
    ``force_scale``, ``depth_scale``, ``zero_exponent`` are those of the reduction.
    """

    F: Floats
    h: Floats
    C: Floats
    m: Floats
    cov: Floats
    test: Ints
    material: Ints
    materials: tuple[Reference, ...]
    u_zero: Floats
    u_drift: Floats
    t_max: Floats
    per_rate: Floats
    per_exponent: Floats
    ratio: Floats
    names: tuple[str, ...] = ()
    force_scale: float = 1.0
    depth_scale: float = 1.0
    zero_exponent: float = 1.5
    laws: tuple[str, ...] = ()
    law: Ints = field(default_factory=lambda: np.empty(0, np.int64))
    per_law: Floats = field(default_factory=lambda: np.empty(0))

    def __len__(self) -> int:
        return len(self.F)

    def take(self, rows: ArrayLike) -> ReferenceTests:
        """The chosen rows (indices or a mask)."""
        idx = np.arange(len(self))[np.asarray(rows)]
        cut = {
            k: getattr(self, k)[idx]
            for k in ("F", "h", "C", "m", "cov", "test", "material", "u_zero", "u_drift",
                      "t_max", "per_rate", "per_exponent", "ratio",
                      *(("law", "per_law") if self.laws else ()))
        }  # fmt: skip
        names = tuple(self.names[i] for i in idx) if self.names else ()
        return replace(self, **cut, names=names)

    def label(self, row: int) -> str:
        """How a message names a row."""
        return self.names[row] if self.names else f"test {int(self.test[row]) + 1}"


def rows_from_arrays(
    F: ArrayLike,
    h: ArrayLike,
    C: ArrayLike,
    m: ArrayLike,
    materials: Sequence[Reference] | Reference,
    *,
    material: ArrayLike = 0,
    test: ArrayLike | None = None,
    u_F: ArrayLike = 0.0,
    u_h: ArrayLike = 0.0,
    u_C: ArrayLike = 0.0,
    u_m: ArrayLike = 0.0,
    u_zero: ArrayLike = 0.0,
    names: Sequence[str] = (),
) -> ReferenceTests:
    """Reference tests from plain columns: force (N), depth (m), 1/S (m/N), exponent.

    Depth and compliance as the instrument shows them, without any frame correction. Standard
    uncertainties are independent, except ``u_zero`` (m), which rows of one ``test`` share.
    """
    columns = [np.asarray(a, dtype=np.float64) for a in (F, h, C, m)]
    n = columns[0].size
    if any(a.shape != (n,) for a in columns[:3]):
        raise CalibrationError(
            "Force, depth and compliance of the reference tests differ in number.",
            remedy="Give one value of each for every unloading.",
        )

    def spread(a: ArrayLike) -> Floats:
        return np.broadcast_to(np.asarray(a, dtype=np.float64), (n,)).copy()

    cov = np.zeros((n, 4, 4))
    for i, u in enumerate((u_F, u_h, u_C, u_m)):
        cov[:, i, i] = spread(u) ** 2
    refs = (materials,) if isinstance(materials, Reference) else tuple(materials)
    zero = np.zeros(n)
    return _checked(
        ReferenceTests(
            F=columns[0], h=columns[1], C=columns[2], m=spread(m), cov=cov,
            test=np.arange(n) if test is None else np.asarray(test, dtype=np.int64),
            material=np.broadcast_to(np.asarray(material, dtype=np.int64), (n,)).copy(),
            materials=refs, u_zero=spread(u_zero), u_drift=zero, t_max=zero, per_rate=zero,
            per_exponent=zero, ratio=np.full(n, np.nan), names=tuple(names),
        )
    )  # fmt: skip


def reference_tests(
    reduced: Reduced,
    batch: Batch,
    materials: Mapping[str, Reference],
    *,
    cycles: bool = True,
) -> ReferenceTests:
    """Reference tests from a reduction.

    ``materials`` maps each specimen of the batch to its reference material; other specimens are
    left out. ``cycles`` takes every unloading of stepped tests, else the largest force only. The
    frame compliance of the reduction is undone.
    """
    refs = tuple(dict.fromkeys(materials.values()))
    bad = {f.test for f in reduced.faults}
    all_rows = np.arange(len(reduced.readings.test)) if cycles else reduced.tests_rows
    keep, which = [], []
    for r in all_rows:
        t = int(reduced.readings.test[r])
        ref = materials.get(batch.tests[t].specimen)
        if ref is not None and t not in bad and reduced.fits.status[r] == 0:
            keep.append(int(r))
            which.append(refs.index(ref))
    rows = np.array(keep, dtype=np.int64)
    local, ctx = reduced.locals, reduced.context
    at = [LOCAL.index(name) for name in OWN]
    cov: Floats = np.zeros((len(rows), 4, 4))
    for source in ("fit", "reading"):
        cov += local.parts[source][rows][:, at][:, :, at]
    back = np.eye(4)
    back[1, 0] = ctx.C_f
    cov = back @ cov @ back.T
    z, d = LOCAL.index("zero"), LOCAL.index("drift")
    tests = reduced.readings.test[rows]
    F, v = local.values["F_max"][rows], local.values
    with np.errstate(divide="ignore", invalid="ignore"):
        per_rate = np.where(np.isfinite(ctx.force_rate), 1 / ctx.force_rate, 0.0)[rows]
        ratio = v["h_p"][rows] / v["h_max"][rows]
    names = tuple(
        f"{batch.tests[int(t)].name}" + (f", unloading {int(c)}" if np.sum(tests == t) > 1 else "")
        for t, c in zip(tests, reduced.readings.cycle[rows], strict=True)
    )
    return _checked(
        ReferenceTests(
            F=F, h=v["h_max"][rows] + ctx.C_f * F, C=v["C_t"][rows] + ctx.C_f, m=v["m"][rows],
            cov=cov, test=tests.astype(np.int64), material=np.array(which, dtype=np.int64),
            materials=refs, u_zero=np.sqrt(local.parts["zero"][rows, z, z]),
            u_drift=np.sqrt(local.parts["drift"][rows, d, d]), t_max=ctx.t_max[rows],
            per_rate=per_rate, per_exponent=ctx.zero_per_exponent[rows], ratio=ratio,
            **_laws(reduced, rows),
            names=names, force_scale=ctx.force_scale, depth_scale=ctx.depth_scale,
            zero_exponent=ctx.zero_exponent,
        )
    )  # fmt: skip


def _laws(reduced: Reduced, rows: Ints) -> dict[str, Any]:
    """How the zeros move with the laws of their specimens. The radius of the tip, which is being
    found, counts as a part of each law."""
    ctx, own = reduced.context, reduced.corrected.zero.by_law
    if own is None:
        return {}
    test = reduced.readings.test[rows]
    per = np.hypot(own.per_law, own.per_radius * own.u_radius)[test]
    return {"laws": ctx.zero_laws, "law": ctx.zero_law_of_row[rows], "per_law": per}


def _checked(t: ReferenceTests) -> ReferenceTests:
    if len(t) and not (t.material.min() >= 0 and t.material.max() < len(t.materials)):
        raise CalibrationError(
            "A reference test names a material that was not given.",
            remedy="Give the reference material of every test.",
        )
    with np.errstate(invalid="ignore"):
        good = (t.F > 0) & (t.h > 0) & (t.C > 0) & (t.m >= 1) & np.isfinite(t.h + t.C + t.F)
    if not np.all(good):
        worst = int(np.argmin(good))
        raise CalibrationError(
            f"{t.label(worst)} has no sensible force, depth, stiffness or exponent "
            f"(F = {t.F[worst]:.4g} N, h = {t.h[worst]:.4g} m, 1/S = {t.C[worst]:.4g} m/N, "
            f"m = {t.m[worst]:.4g}).",
            remedy="Look at its unloading curve; leave the test out or repeat it.",
        )
    return t
