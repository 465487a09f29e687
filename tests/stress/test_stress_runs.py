"""A whole test: what the instrument sees of it, control, cycles, fields, watching, refusals."""

from __future__ import annotations

import base64
import xml.etree.ElementTree as ET

import numpy as np
import pytest

import drypoint.stress as stress
from drypoint.errors import StressError
from drypoint.records.batch import UNDECLARED, Batch, Source, TestInfo
from drypoint.reduction.options import DriftOptions, Options, ZeroOptions
from drypoint.reduction.reduce import reduce_batch
from drypoint.tips.area import area, series_from_nm
from drypoint.tips.build import ideal_tip, series_tip
from drypoint.tips.tip import Bench

PSI = float(np.radians(70.3))
SOLID = stress.Material(72e9, 0.17, 5.5e9, name="glass-like")
STACK = stress.Stack(SOLID)
COARSE = stress.Effort(8, 24, 20)


@pytest.fixture(scope="module")
def run() -> stress.Solution:
    protocol = stress.Protocol.to_force(5e-3, hold=5.0)
    return stress.solve(STACK, stress.cone(PSI), protocol, mesh=COARSE)


def test_the_record_is_reduced_like_any_other(run: stress.Solution) -> None:
    """The main reduction, given the record alone, finds what the run's own reading finds."""
    t, F, h = stress.record(run, 600)
    batch = Batch(
        tests=(TestInfo("T01", "glass", Source("invented", "0" * 64)),),
        offsets=np.array([0, len(t)], dtype=np.int64), time=t, force=F, depth=h,
        segment=np.full(len(t), UNDECLARED, np.int16),
    )  # fmt: skip
    options = Options(zero=ZeroOptions(method="as recorded"), drift=DriftOptions(method="none"))
    rigid = Bench(ideal_tip("cone", angle=PSI, E_i=1e20, nu_i=0.0))
    reduced = reduce_batch(batch, rigid, options, {"glass": (0.17, 0.0)})
    values = {symbol: float(q.value[0]) for symbol, q in reduced.tests.quantities.items()}
    seen = stress.as_seen(run)
    assert values["S"] == pytest.approx(seen.S, rel=0.03)
    assert values["H_IT"] == pytest.approx(seen.H_IT, rel=0.02)


def test_force_control_is_depth_control(run: stress.Solution) -> None:
    """The same curve, whichever is prescribed."""
    deep = stress.Protocol.to_depth(float(run.depth[run.peak]), unload=False)
    other = stress.solve(STACK, stress.cone(PSI), deep, mesh=COARSE, errors=False, fields=False)
    assert other.force[-1] == pytest.approx(run.force[run.peak], rel=0.004)


def test_a_hold_adds_time_only(run: stress.Solution) -> None:
    held = np.flatnonzero(run.leg == 1)
    assert run.time[held[0]] - run.time[held[0] - 1] == pytest.approx(5.0)
    assert run.depth[held[0]] == run.depth[held[0] - 1]


def test_energy_is_kept(run: stress.Solution) -> None:
    """Work put in is stored, dissipated or given back; a residual impression remains."""
    assert run.errors is not None
    assert abs(run.errors.balance) < 0.02
    assert run.balance == pytest.approx(run.errors.balance)
    lost = run.work - run.stored - run.dissipated
    assert np.abs(lost).max() < 0.02 * run.work.max()
    assert np.all(np.diff(run.dissipated) > -1e-9 * run.work.max())
    assert 0 < run.depth[-1] < 0.8 * run.depth.max()
    assert run.impression.z.min() < 0


def test_the_same_input_gives_the_same_bits() -> None:
    runs = [
        stress.solve(
            STACK, stress.sphere(1e-6), stress.Protocol.to_depth(20e-9, unload=False),
            mesh=stress.Effort(5, 5, 4), errors=False,
        )
        for _ in range(2)
    ]  # fmt: skip
    assert runs[0].force.tobytes() == runs[1].force.tobytes()
    assert runs[0].sigma.tobytes() == runs[1].sigma.tobytes()


def test_the_same_test_at_another_scale_is_the_same_test() -> None:
    """A cone on a solid without a length: force goes with depth squared, from nm to mm."""
    runs = [
        stress.solve(
            STACK, stress.cone(PSI), stress.Protocol.to_depth(h), mesh=stress.Effort(5, 8, 5),
            errors=False, fields=False,
        )
        for h in (1e-9, 1e-4)
    ]  # fmt: skip
    assert runs[0].force / 1e-18 == pytest.approx(runs[1].force / 1e-8, rel=1e-6)
    assert runs[0].depth / 1e-9 == pytest.approx(runs[1].depth / 1e-4, rel=1e-6)


def test_a_calibrated_area_function_presses_as_it_says() -> None:
    """A tip by a series C0 h^2 + C1 h: the tip's area at every depth; its end is blunt, so that it
    presses harder than the sharp cone, and by less the deeper it goes."""
    geometry = ideal_tip("modified Berkovich").geometry
    joint = series_from_nm([24.49, 1500.0])
    tip = series_tip(geometry, joint, h_min=1e-9, h_max=2e-6, name="B1")
    profile = stress.from_tip(tip, 200e-9)
    for h in (5e-9, 50e-9, 200e-9):
        assert profile.area(h) == pytest.approx(float(area(tip, {}, h)), rel=1e-3)
    protocol = stress.Protocol.to_depth(200e-9, unload=False)
    mesh = stress.Effort(6, 20, 5)
    blunt, sharp = (
        stress.solve(STACK, p, protocol, mesh=mesh, errors=False, fields=False)
        for p in (profile, stress.from_tip(ideal_tip("modified Berkovich"), 200e-9))
    )
    more = blunt.force / np.interp(blunt.depth, sharp.depth, sharp.force)
    assert more[5] > more[10] > more[-1] > 1.1


def test_cycles_reload_along_their_unloading() -> None:
    protocol = stress.Protocol.cycles([2e-3, 4e-3], back=0.1)
    cycles = stress.solve(
        STACK, stress.cone(PSI), protocol, mesh=stress.Effort(6, 16, 10), errors=False
    )
    assert cycles.stopped == ""
    assert cycles.force[cycles.leg == 1][-1] == pytest.approx(0.2e-3, rel=1e-4)
    assert cycles.force.max() == pytest.approx(4e-3, rel=1e-4)
    down, up = cycles.leg == 1, cycles.leg == 2
    back = np.interp(1e-3, cycles.force[down][::-1], cycles.depth[down][::-1])
    again = np.interp(1e-3, cycles.force[up], cycles.depth[up])
    assert again == pytest.approx(back, rel=0.02)


def test_fields_hold_together(run: stress.Solution) -> None:
    f = stress.field(run, run.peak)
    assert f.principal.sum(axis=-1) / 3 == pytest.approx(f.hydrostatic, rel=1e-6, abs=1.0)
    spread = (f.principal[..., 0] - f.principal[..., 2]) / f.von_mises
    assert np.all((spread > 0.99) & (spread < 2 / np.sqrt(3) * 1.01))
    assert f.von_mises.max() < 5.5e9 * 1.02
    assert f.plastic_strain.max() > 0.1


def test_vtu_holds_the_arrays(run: stress.Solution) -> None:
    """Read back by hand: 8 bytes of length, then the numbers (VTK's XML format)."""
    root = ET.fromstring(stress.vtu_bytes(run, run.peak))
    found = {}
    for element in root.iter("DataArray"):
        raw = base64.b64decode(element.text or "")
        assert int.from_bytes(raw[:8], "little") == len(raw) - 8
        found[element.get("Name")] = (element.get("type"), raw[8:])
    z = np.frombuffer(found["Points"][1]).reshape(-1, 3)[:, 1]
    assert z == pytest.approx((run.mesh.X + run.displacement[run.peak])[:, 1])
    mises = np.frombuffer(found["von Mises stress"][1])
    assert mises == pytest.approx(stress.field(run, run.peak).von_mises.mean(axis=1))
    assert set(np.frombuffer(found["types"][1], np.uint8)) == {9}


def test_cost_is_told_before(run: stress.Solution) -> None:
    """Unknowns as in the run that follows, within a fifth: its mesh is made for a guess."""
    protocol = stress.Protocol.to_force(5e-3, hold=5.0)
    cost = stress.estimate(STACK, stress.cone(PSI), protocol, mesh=COARSE)
    assert cost.unknowns == pytest.approx(run.estimate.unknowns, rel=0.2)
    assert 0.1 < cost.seconds < 20
    assert f"{cost.elements} elements" in cost.words()


def test_watching_and_stopping() -> None:
    class EnoughError(Exception):
        pass

    shares: list[float] = []

    def watch(share: float, words: str) -> None:
        shares.append(share)
        assert words
        if share > 0.4:
            raise EnoughError

    with pytest.raises(EnoughError):
        stress.solve(
            STACK, stress.cone(PSI), stress.Protocol.to_depth(1e-7),
            mesh=stress.Effort(5, 8, 4), watch=watch,
        )  # fmt: skip
    assert shares == sorted(shares)


def test_a_run_that_cannot_go_on_says_so_and_keeps_what_it_has(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from drypoint.stress import newton

    real = newton._direction

    def tired(s: object, at: object, control: newton.Control) -> object:
        return None if not control.load and control.target > 60e-9 else real(s, at, control)

    monkeypatch.setattr(newton, "_direction", tired)
    half = stress.solve(
        STACK, stress.cone(PSI), stress.Protocol.to_depth(1e-7), mesh=stress.Effort(5, 10, 4)
    )
    assert "cannot be solved" in half.stopped
    assert 50e-9 < half.depth.max() <= 60e-9


BAD = {
    "thickness": lambda: stress.Layer(SOLID, 0.0),
    "modulus": lambda: stress.Material(-1e9, 0.3),
    "Poisson": lambda: stress.Material(1e9, 0.5),
    "hardens but": lambda: stress.Material(1e9, 0.3, exponent=0.2),
    "yield stress of": lambda: stress.Material(1e9, 0.3, 0.0),
    "yield table": lambda: stress.Material(1e9, 0.3, table=((0.1, 1e6),)),
    "residual stress": lambda: stress.Stack(SOLID, residual_stress=6e9),
    "half angle": lambda: stress.cone(1.6),
    "not above zero": lambda: stress.sphere(0.0),
    "does not start with a loading": lambda: stress.Protocol((stress.Leg(force=0.0),)),
    "a force and a depth": lambda: stress.Leg(force=1.0, depth=1.0),
    "more than tip": lambda: stress.solve(
        STACK, stress.cone(PSI, height=5e-8), stress.Protocol.to_depth(1e-7)
    ),
    "deeper than": lambda: stress.solve(STACK, stress.sphere(1e-7), stress.Protocol.to_force(1.0)),
    "soft layer": lambda: stress.solve(
        stress.Stack(SOLID, (stress.Layer(stress.Material(70e9, 0.3, 1e8), 1e-7),)),
        stress.cone(PSI),
        stress.Protocol.to_depth(1e-7),
    ),
    "fineness": lambda: stress.solve(
        STACK, stress.cone(PSI), stress.Protocol.to_depth(1e-7), mesh="best"
    ),
    "too coarse": lambda: stress.Effort(0, 10, 10),
    "friction": lambda: stress.solve(
        STACK, stress.cone(PSI), stress.Protocol.to_depth(1e-7), friction=-0.1
    ),
}


@pytest.mark.parametrize("words", BAD)
def test_bad_input_is_refused_with_a_sentence(words: str) -> None:
    with pytest.raises(StressError, match=words) as caught:
        BAD[words]()
    assert caught.value.remedy
