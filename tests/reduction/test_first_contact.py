"""Zero by a law that the tests of a specimen share. Records are computed, none is measured."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from reduction_cases import batch

from drypoint.contact import blunted
from drypoint.records.batch import Batch
from drypoint.reduction.base_line import base_lines, in_air, peaks
from drypoint.reduction.contact_fit import fit_shared, zeros_of
from drypoint.reduction.contact_models import BluntedLaw, PowerLaw
from drypoint.reduction.first_contact import Windows, join_windows, windows_of
from drypoint.reduction.options import DriftOptions, Options, ZeroOptions
from drypoint.reduction.reduce import Reduced, reduce_batch, seed_batch
from drypoint.reduction.zero_laws import BLUNTED, POWER, find_laws, join_seeds
from drypoint.tips.build import blunted_tip, ideal_tip, series_tip
from drypoint.tips.geometry import Geometry
from drypoint.tips.radius import end_radius
from drypoint.tips.tip import Bench, Frame, Tip
from drypoint.uncertainty.joint import Joint

Floats = NDArray[np.float64]

SECOND = Options(zero=ZeroOptions(law="auto", base_line="line"), drift=DriftOptions(curvature=True))
R, E_R, Y, N, NU = 100e-9, 90e9, 0.02, 0.1, 0.25
SOLID = (float(np.log(Y)), N, NU)


def sphere_cone(radius: float = R, u: float = 0.05) -> Tip:
    return ideal_tip(
        "sphero-cone", name="S", angle=blunted.HALF_ANGLE, radius=radius, u_radius=u * radius
    )


def record(
    rng: np.random.Generator, *, rate: float = 50.0, spring: float = 0.0, zero: float = 0.0,
    noise_h: float = 0.1e-9, noise_F: float = 0.05e-6, exponent: float | None = None,
    stop: float = 1.4,
) -> tuple[Floats, Floats, Floats]:  # fmt: skip
    """Approach of 300 nm, loading to 1.4 R by the law (or a power), unloading, hold for drift."""
    top, seconds = stop * R, 12.0
    a = np.arange(-300e-9, 0.0, 30e-9 / rate)
    up = np.arange(0.0, top, top / seconds / rate)
    f_up = blunted.phi(up / R, *SOLID).value * E_R * R * R
    if exponent is not None:
        f_up = f_up[-1] * (up / up[-1]) ** exponent
    F, h = f_up[-1], up[-1]
    area = np.pi * np.tan(blunted.HALF_ANGLE) ** 2 * (0.82 * h + 0.062 * R) ** 2
    L = 1.4 * F / (2.0 * E_R * np.sqrt(area / np.pi))
    f_down = np.linspace(F, 0.1 * F, int(8 * rate))
    down = h - L + L * (f_down / F) ** (1 / 1.4)
    n = int(30 * rate)
    x = np.concatenate([a, up, np.full(int(3 * rate), h), down, np.full(n, down[-1])])
    f = np.concatenate([0 * a, f_up, np.full(int(3 * rate), F), f_down, np.full(n, f_down[-1])])
    f = f + spring * (x + 300e-9) + noise_F * rng.standard_normal(len(x))
    return f, x + zero + noise_h * rng.standard_normal(len(x)), np.arange(len(x)) / rate


def records(count: int, seed: int = 1, **more: float) -> tuple[Batch, Floats]:
    rng = np.random.default_rng(seed)
    zeros = rng.uniform(-100e-9, 400e-9, count)
    return batch([record(rng, zero=float(z), **more) for z in zeros]), zeros  # type: ignore[arg-type]


def second(b: Batch, tip: Tip | None = None, options: Options = SECOND) -> Reduced:
    return reduce_batch(b, Bench(tip or sphere_cone(), Frame()), options, {"glass": (NU, 0.01)})


def window(force: Floats, depth: Floats, u_h: float = 1e-10) -> Windows:
    n = len(force)
    return Windows(force, depth, np.array([0, n]), np.zeros(1), np.array([u_h]), np.zeros(1))


def test_hertz_is_recovered_by_the_power_law() -> None:
    """F = 4/3 E* R^(1/2) (h - h_0)^(3/2) [johnson1985], without noise."""
    h = np.linspace(0.5e-9, 15e-9, 60)
    F = 4 / 3 * 70e9 * np.sqrt(1e-5) * h**1.5
    w = window(F, h + 7e-9, 1e-12)
    law = PowerLaw(scale=float(F.max()))
    shared = fit_shared(law, w)
    assert shared.value[0] == pytest.approx(1.5, abs=2e-3)
    assert zeros_of(law, w, shared, None).depth[0] == pytest.approx(7e-9, abs=2e-12)


@given(
    y=st.floats(1e-3, 0.1), n=st.floats(0.0, 0.45), zero=st.floats(-50e-9, 50e-9),
    R=st.floats(30e-9, 500e-9),
)  # fmt: skip
@settings(max_examples=15, deadline=None)
def test_a_known_law_gives_the_zero_back(y: float, n: float, zero: float, R: float) -> None:
    x = np.linspace(0.01, 0.8, 80)
    F = blunted.phi(x, np.log(y), n, 0.25).value * 100e9 * R * R
    w = window(F, x * R + zero, 1e-4 * R)
    start = (np.log(R), np.log(100e9), np.log(y), n, 0.25)
    law = BluntedLaw(tuple(float(v) for v in start), (0.02, 0.02, 0.1, 0.02, 0.01))  # type: ignore[arg-type]
    found = zeros_of(law, w, fit_shared(law, w), None)
    assert abs(found.depth[0] - zero) < 2e-4 * R


def test_the_zero_moves_with_the_record() -> None:
    """Shift of depth and offset of force: the zero follows, nothing else moves."""
    b, _ = records(3)
    moved = second(replace(b, depth=b.depth + 40e-9, force=b.force + 3e-6))
    plain = second(b)
    np.testing.assert_allclose(
        moved.corrected.zero.depth - plain.corrected.zero.depth, 40e-9, atol=2e-14
    )
    for s in ("h_c", "H_IT", "E_IT"):
        np.testing.assert_allclose(
            moved.tests.quantities[s].value, plain.tests.quantities[s].value, rtol=1e-6
        )


@pytest.mark.parametrize("spring", [0.0, 50.0])
def test_a_residual_spring_does_not_move_the_zero(spring: float) -> None:
    b, zeros = records(4, spring=spring)
    found = second(b).corrected
    assert found.base_line is not None
    assert np.all(np.abs(found.base_line.spring - spring) < 4 * found.base_line.u_spring)
    assert np.max(np.abs(found.zero.depth - zeros)) < 0.35e-9
    first = reduce_batch(
        b, Bench(sphere_cone(), Frame()), Options(), {"glass": (NU, 0.01)}
    ).corrected.zero  # fmt: skip
    if spring:
        assert np.min(np.abs(first.depth - zeros)) > 1e-9  # what a constant makes of it


def test_air_ends_where_contact_begins() -> None:
    b, _ = records(6, seed=3, spring=20.0)
    air = in_air(b.force, b.depth, b.offsets, peaks(b.force, b.offsets))
    assert np.all(np.abs(air - 500) < 12)
    # A record that begins in contact has none.
    whole = b.take([0])
    cut = batch([(whole.force[505:], whole.depth[505:], whole.time[505:])])
    assert in_air(cut.force, cut.depth, cut.offsets, peaks(cut.force, cut.offsets))[0] == 0


def test_a_line_needs_travel() -> None:
    """A tip that stands still in air shows no slope."""
    rng = np.random.default_rng(2)
    n = 100
    force, depth = rng.standard_normal(n) * 1e-7, rng.standard_normal(n) * 1e-10
    from drypoint.uncertainty.noise import Quiet

    quiet = Quiet(force, np.array([0]), np.array([0]))
    found = base_lines(force, depth, np.array([0]), np.array([n]), quiet)
    assert not found.found[0] and found.spring[0] == 0.0


def test_the_law_does_not_depend_on_the_division() -> None:
    """Parts seeded one by one give the same laws, to the bit, and so the same zeros."""
    b, _ = records(6, seed=4)
    bench, nu = Bench(sphere_cone(), Frame()), {"glass": (NU, 0.01)}
    whole = second(b)
    parts = [b.take([0, 1]), b.take([2]), b.take([3, 4, 5])]
    inputs = whole.tests.inputs
    seeds = join_seeds([seed_batch(p, bench, SECOND, nu, inputs=inputs) for p in parts])
    laws = find_laws(seeds, bench.tip, inputs, SECOND.zero)
    assert laws["glass"].kind == BLUNTED
    pieces = [reduce_batch(p, bench, SECOND, nu, inputs=inputs, laws=laws) for p in parts]
    np.testing.assert_array_equal(
        np.concatenate([p.corrected.zero.depth for p in pieces]), whole.corrected.zero.depth
    )
    np.testing.assert_array_equal(
        np.concatenate([p.tests.quantities["H_IT"].u_random for p in pieces]),
        whole.tests.quantities["H_IT"].u_random,
    )


def test_one_test_is_enough() -> None:
    b, zeros = records(1, seed=5)
    zero = second(b).corrected.zero
    assert zero.by_law is not None and zero.by_law.blunted[0]
    u = float(np.hypot(zero.u_whole(SECOND.zero), zero.by_law.per_radius * zero.by_law.u_radius)[0])
    assert abs(zero.depth[0] - zeros[0]) < 3 * u < 1.5e-9


def test_differences_between_solids_feel_the_law() -> None:
    """The law's input belongs to the specimen: it does not cancel between two."""
    b, _ = records(4, seed=6)
    infos = tuple(replace(t, specimen="glass" if i < 2 else "other") for i, t in enumerate(b.tests))
    nu = {"glass": (NU, 0.01), "other": (NU, 0.01)}
    r = reduce_batch(replace(b, tests=infos), Bench(sphere_cone(), Frame()), SECOND, nu)
    inputs = r.tests.inputs
    at = [inputs.index(f"zero.law.{s}") for s in ("glass", "other")]
    assert inputs.cov[at[0], at[1]] == 0.0
    q = r.tests.quantities["h_c"].sensitivity
    assert q[0, at[0]] != 0 and q[0, at[1]] == 0 and q[3, at[1]] != 0 and q[3, at[0]] == 0


def test_the_radius_of_the_tip_is_felt_through_the_zero() -> None:
    b, _ = records(3, seed=7)
    r = second(b)
    own = r.corrected.zero.by_law
    assert own is not None and np.all(own.per_radius != 0)
    q, k = r.tests.quantities["h_c"], r.tests.inputs.index("tip.radius")
    np.testing.assert_allclose(q.sensitivity[:, k], -own.per_radius, rtol=1e-6)


def test_a_tip_without_radius_has_the_power_law() -> None:
    b, _ = records(4, seed=8)
    sharp = ideal_tip("Berkovich", angle=np.radians(65.27))
    r = second(b, sharp)
    own = r.corrected.zero.by_law
    assert own is not None and not own.blunted.any()
    assert r.tests.inputs.sd[r.tests.inputs.index("zero.exponent")] == 0.0


def test_the_radius_of_a_series_is_that_of_its_blunted_twin() -> None:
    """C0 h^2 + C1 h + C2 of a sphero-cone's cone, expanded: (h + d)^2 tan^2 psi pi."""
    psi = float(np.arctan(np.sqrt(24.5 / np.pi)))
    d = 80e-9 * (1 / np.sin(psi) - 1)
    terms = Joint(
        ("tip.C0", "tip.C1", "tip.C2"), np.array([24.5, 2 * 24.5 * d, 0.0]), np.zeros((3, 3))
    )
    tip = series_tip(Geometry("Berkovich"), terms, h_min=20e-9, h_max=1e-6)
    found = end_radius(tip, {})
    assert found is not None and float(found) == pytest.approx(80e-9, rel=0.08)
    twin = blunted_tip(Geometry("Berkovich", radius=80e-9))
    assert float(end_radius(twin, {}) or 0) == pytest.approx(80e-9)
    assert end_radius(ideal_tip("Berkovich"), {}) is None


def test_few_samples_do_not_stretch_the_window() -> None:
    b, _ = records(3, seed=9, rate=4.0, stop=1.0)
    sharp = ideal_tip("Berkovich", angle=np.radians(65.27))
    r = second(b, sharp)
    assert np.all(r.corrected.zero.samples < 10)
    flags = {f.code for row in r.tests.flags for f in row}
    assert flags & {"few samples at contact", "zero by threshold"}


def test_a_threshold_says_how_late_it_may_be() -> None:
    """With almost no sample near contact the zero is the first one above the noise."""
    rng = np.random.default_rng(10)
    b = batch([record(rng, rate=1.5, zero=1e-7)])
    r = second(b, ideal_tip("Berkovich", angle=np.radians(65.27)))
    zero = r.corrected.zero
    assert abs(zero.depth[0] - 1e-7) < 1.96 * zero.u_depth[0]


@pytest.mark.parametrize("exponent", [1.5, 1.75, 2.0])
def test_a_power_that_no_blunted_tip_makes_is_flagged_or_found(exponent: float) -> None:
    b, zeros = records(5, seed=11, exponent=exponent)
    zero = second(b).corrected.zero
    own = zero.by_law
    assert own is not None
    u = np.hypot(zero.u_whole(SECOND.zero), own.per_radius * own.u_radius)
    held = np.abs(zero.depth - zeros) <= 1.96 * u
    assert np.mean(held) >= 0.8 and own.misfit.all()


def test_windows_keep_to_their_reach() -> None:
    h = np.arange(0.0, 50e-9, 1e-9)
    w = windows_of(
        h * 1e3, h, np.array([3]), np.array([len(h)]), np.zeros(1), (np.zeros(1), np.zeros(1)),
        np.zeros(1), np.array([10e-9]),
    )  # fmt: skip
    assert len(w.force) == 11 and w.depth[-1] - w.depth[0] <= 10.001e-9
    twice = join_windows([w, w])
    assert len(twice) == 2
    np.testing.assert_array_equal(twice.take(np.array([1])).depth, w.depth)


def test_kinds_have_names() -> None:
    assert (BLUNTED, POWER) == ("blunted tip", "power")
