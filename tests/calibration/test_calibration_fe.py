"""Against finite elements: five solids that no formula of the analysis made, the tip unknown."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from drypoint.calibration import (
    Calibrated,
    ConstantHardness,
    Constraint,
    Form,
    KnownCompliance,
    Reference,
    calibrate_batch,
)
from drypoint.records.batch import UNDECLARED, Batch, Source, TestInfo
from drypoint.reduction.options import AnalysisOptions, DriftOptions, Options, ZeroOptions
from drypoint.reduction.reduce import Overrides, Reduced, reduce_batch
from drypoint.tips.build import ideal_tip
from drypoint.tips.tip import Bench

RULE = Options(
    zero=ZeroOptions(method="as recorded"), drift=DriftOptions(method="none"),
    analysis=AnalysisOptions(radial_correction=True),
)  # fmt: skip
#: The cone is self-similar: depth times k, force times k^2 is the same test at another depth.
SCALES = np.geomspace(0.25, 8.0, 9)


@dataclass(frozen=True)
class Solid:
    name: str
    E: float
    nu: float
    radius: float
    force: np.ndarray
    depth: np.ndarray

    def batch(self, scales: np.ndarray, C_f: float = 0.0) -> Batch:
        """The record at many depths, behind a frame."""
        n = len(self.force)
        force = [self.force * k * k for k in scales]
        depth = [self.depth * k + C_f * f for k, f in zip(scales, force, strict=True)]
        return Batch(
            tests=tuple(
                TestInfo(f"T{i + 1:02d}", self.name, Source(self.name, "0" * 64))
                for i in range(len(scales))
            ),
            offsets=np.arange(len(scales) + 1, dtype=np.int64) * n,
            time=np.full(n * len(scales), np.nan), force=np.concatenate(force),
            depth=np.concatenate(depth), segment=np.full(n * len(scales), UNDECLARED, np.int16),
        )  # fmt: skip


@pytest.fixture(scope="module")
def solids(open_data: Path) -> dict[str, Solid]:
    folder = open_data / "fe_records"
    out = {}
    with (folder / "truth.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            a = np.genfromtxt(folder / f"{row['record']}.csv", delimiter=",", skip_header=1)
            out[row["record"]] = Solid(
                row["record"], float(row["E_GPa"]) * 1e9, float(row["nu"]),
                float(row["true_contact_radius_nm"]) * 1e-9, a[:, 1] * 1e-3, a[:, 0] * 1e-9,
            )  # fmt: skip
    return out


def calibrated(
    solids: dict[str, Solid], constraint: Constraint, form: Form, C_f: float = 0.0
) -> Calibrated:
    glass = solids["silica_like"]
    rigid = Bench(ideal_tip("cone", angle=np.radians(70.0), E_i=1e20, nu_i=0.0))
    ref = Reference(glass.name, glass.E, glass.nu)
    return calibrate_batch(
        glass.batch(SCALES, C_f), rigid, RULE, {glass.name: ref}, constraint, form
    )


def read(c: Calibrated, s: Solid, C_f: float = 0.0, *, area: bool = False) -> Reduced:
    k = np.array([0.5, 1.0, 2.0])
    A = np.pi * (s.radius * k) ** 2
    seen = {(f"T{i + 1:02d}", None): (float(a), 0.04 * float(a)) for i, a in enumerate(A)}
    return reduce_batch(
        s.batch(k, C_f), c.calibration.bench, RULE, {s.name: (s.nu, 0.0)},
        overrides=Overrides(area=seen if area else {}),
    )  # fmt: skip


WAYS = [
    (ConstantHardness(), Form("series")),
    (ConstantHardness(), Form("table")),
    (KnownCompliance(0.0), Form("blunted")),
]


@pytest.mark.parametrize(("constraint", "form"), WAYS)
def test_silica_calibrates_sapphire_and_the_hard_alloy(
    solids: dict[str, Solid], constraint: Constraint, form: Form
) -> None:
    """Within 3 % with the radial correction on (found: +1.3 % and +1.0 %)."""
    c = calibrated(solids, constraint, form)
    assert c.calibration.frame.compliance == pytest.approx(0.0, abs=2e-9)
    for name in ("sapphire_like", "hard_alloy"):
        s = solids[name]
        E = read(c, s).tests["E_IT"].value
        assert pytest.approx(s.E, rel=0.03) == E


@pytest.mark.parametrize("name", ["aluminium_like", "tungsten_like"])
def test_pile_up_reads_high_and_is_flagged_not_mended(solids: dict[str, Solid], name: str) -> None:
    """Found: +19 % and +15 %; with the true contact area +6.9 % and +6.4 %, what epsilon, the
    elastic unloading of a dented surface and the area's own 2 % (in radius) leave."""
    c, s = calibrated(solids, ConstantHardness(), Form("series")), solids[name]
    found = read(c, s)
    assert np.all(found.tests["E_IT"].value > 1.10 * s.E)
    assert all("pile-up likely" in {f.code for f in row} for row in found.tests.flags)
    measured = read(c, s, area=True)
    assert pytest.approx(s.E, rel=0.08) == measured.tests["E_IT"].value


def test_a_frame_behind_the_records_is_found(solids: dict[str, Solid]) -> None:
    """0.3 nm/mN put behind the records comes back, and the moduli with it."""
    C_f = 0.3e-6
    c = calibrated(solids, ConstantHardness(), Form("series"), C_f)
    assert c.calibration.frame.compliance == pytest.approx(C_f, abs=2e-9)
    assert len(c.course) > 1
    for name in ("sapphire_like", "hard_alloy"):
        s = solids[name]
        assert pytest.approx(s.E, rel=0.03) == read(c, s, C_f).tests["E_IT"].value


def test_silica_and_sapphire_identify_each_other_where_the_model_holds(
    solids: dict[str, Solid],
) -> None:
    """Two materials without constraint: what the model misses of their ratio goes into C_f."""
    glass, sapphire = solids["silica_like"], solids["sapphire_like"]
    from drypoint.records.batch import join

    batch = join([glass.batch(SCALES), sapphire.batch(SCALES)])
    names = [TestInfo(f"{t.specimen}-{i}", t.specimen, t.source) for i, t in enumerate(batch.tests)]
    from dataclasses import replace

    rigid = Bench(ideal_tip("cone", angle=np.radians(70.0), E_i=1e20, nu_i=0.0))
    refs = {s.name: Reference(s.name, s.E, s.nu, 0.01 * s.E) for s in (glass, sapphire)}
    c = calibrate_batch(
        replace(batch, tests=tuple(names)), rigid, RULE, refs, (), Form("series", 1)
    )
    u = c.calibration.frame.u_compliance
    assert abs(c.calibration.frame.compliance) < max(3 * u, 0.02e-6)
