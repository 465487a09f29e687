"""Records with an oscillation, along loading: invented records whose truth is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from reduction_cases import QUIET, Options, Reduced, glass, invented_tip, reduced, with_

from drypoint.records.batch import Batch, join
from drypoint.reduction.dynamic import LOCAL, UNITS, Dynamic
from drypoint.reduction.dynamic_limits import IN_A_ROW, KEPT, REMARKS
from drypoint.reduction.options import DriftOptions, ZeroOptions
from drypoint.simulation import Creep, Law, Oscillation, simulate_batch, single
from drypoint.simulation.envelope import Envelope
from drypoint.simulation.truth import Truth
from drypoint.store.codec import decode, encode
from drypoint.tips.build import blunted_tip
from drypoint.tips.geometry import Geometry
from drypoint.tips.tip import Frame, Tip

C_F = 0.2e-6
FRAME = Frame(compliance=C_F, support_spring=100.0, moving_mass=1e-4, damping=2.0)
SWING = Oscillation(amplitude=1e-9)
NOISY = replace(SWING, force_noise=0.1e-6, depth_noise=0.01e-9, phase_noise=1e-3)
#: Zero as it truly is: what is looked at is the oscillation.
KNOWN = Options(zero=ZeroOptions(method="as recorded"), drift=DriftOptions(method="none"))
CYCLE = single(10e-3, shape=2.0, load=60.0, drift_hold=0.0, gap=0.0)


def truth(**changes: object) -> Truth:
    base = {"compliance": C_F, "oscillation": SWING, "creep": Creep()}
    return glass(**{**base, **changes})


def dynamic(r: Reduced) -> Dynamic:
    assert not r.faults
    assert r.dynamic is not None
    return r.dynamic


def run(t: Truth | None = None, options: Options = KNOWN, seed: int = 1, **more: object) -> Dynamic:
    b = simulate_batch([t or truth()], CYCLE, seed)
    return dynamic(reduced(b, frame=FRAME, options=options, **more))  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def quiet() -> Dynamic:
    return run()


@pytest.fixture(scope="module")
def batch_() -> Batch:
    return simulate_batch([truth()], CYCLE, 1)


def test_truth_comes_back(quiet: Dynamic) -> None:
    """Without noise: H and E at every depth within 0.5 %, down to where the swing is 30 %."""
    r = quiet.rows
    deep = np.isfinite(r["H_IT"].value)
    # The unloading exponent is that of the whole test (1.3); near the apex it is 3/2.
    plastic = r["h_c"].value > 25e-9
    assert deep.sum() > 30
    np.testing.assert_allclose(r["E_IT"].value[deep & plastic], 72e9, rtol=5e-3)
    np.testing.assert_allclose(r["H_IT"].value[deep & plastic], 9.2e9, rtol=5e-3)
    np.testing.assert_allclose(r["E_IT"].value[deep], 72e9, rtol=2e-2)
    assert np.all(quiet.swing[deep] < 0.3)
    np.testing.assert_allclose(r["loss_factor"].value[deep], 0.0, atol=1e-6)


def test_stiffness_and_contact_depth_are_those_of_the_envelope(quiet: Dynamic) -> None:
    """Against the contact that the record was built from, at the force of each window."""
    r = quiet.rows
    deep = r["h_c"].value > 25e-9
    s = Envelope(truth(), force=11e-3).at_force(r["F"].value[deep])
    np.testing.assert_allclose(r["S"].value[deep], s.S, rtol=3e-3)
    np.testing.assert_allclose(r["h_c"].value[deep], s.h_c, rtol=3e-3)
    np.testing.assert_allclose(r["h"].value[deep], s.h, rtol=3e-3)


def test_at_the_largest_force_it_is_what_the_unloading_says(batch_: Batch) -> None:
    """The deepest window goes over into the unloading: S / sqrt(A) is one and the same."""
    r = reduced(batch_, frame=FRAME, options=KNOWN)
    d, row = dynamic(r).rows, -1
    assert d["E_r"].value[row] == pytest.approx(r.tests["E_r"].value[0], rel=3e-3)
    assert d["H_IT"].value[row] == pytest.approx(r.tests["H_IT"].value[0], rel=3e-3)


def test_means_lie_below_the_top_of_the_swing(quiet: Dynamic) -> None:
    """Quoted at the mean, H is too small by about the swing's share of the force (and E hardly
    moves): why the top is the default. Pharr, Strader and Oliver 2009."""
    mean = run(options=with_(KNOWN, dynamic={"quoted_at": "mean"}))
    r = mean.rows
    rows = np.flatnonzero((r["h_c"].value > 25e-9) & (mean.swing > 0.02))
    assert len(rows) > 10
    missing = 1 - r["H_IT"].value[rows] / 9.2e9
    ratio = missing / mean.swing[rows]
    assert np.all((ratio > 0.3) & (ratio < 1.1))


def test_laws_in_depth_are_followed() -> None:
    """A film: H falls from 12 to 8 GPa over 60 nm."""
    law = Law(12e9, 8e9, 60e-9)
    d = run(truth(H=law, E=Law.constant(90e9))).rows
    h_c, H = d["h_c"].value, d["H_IT"].value
    deep = np.isfinite(H) & (h_c > 25e-9)
    np.testing.assert_allclose(H[deep], law.at(h_c[deep]), rtol=6e-3)


def test_damping_of_the_contact_comes_back() -> None:
    d = run(truth(oscillation=replace(SWING, loss_factor=0.05))).rows
    deep = d["h_c"].value > 25e-9
    # At the top of the swing S is a little more than over the swing.
    np.testing.assert_allclose(d["loss_factor"].value[deep], 0.05, rtol=2e-2)
    w = 2 * np.pi * 75.0
    np.testing.assert_allclose(
        d["D_c"].value[deep], d["loss_factor"].value[deep] * d["S"].value[deep] / w, rtol=1e-9
    )


def test_a_stiffness_column_says_the_same(batch_: Batch, quiet: Dynamic) -> None:
    """The stiffness that an instrument makes of amplitudes and phase, in place of them, as that of
    the contact and as that of contact and frame."""
    c = batch_.channels
    w = 2 * np.pi * c["frequency"]
    K = c["force_amplitude"] / c["amplitude"] * np.cos(c["phase"]) - (100.0 - 1e-4 * w * w)
    for kind, stiffness in (("contact", 1 / (1 / K - C_F)), ("with frame", K)):
        b = replace(batch_, channels={"stiffness": stiffness, "amplitude": c["amplitude"]})
        options = with_(KNOWN, dynamic={"stiffness": kind})
        r = dynamic(reduced(b, frame=Frame(compliance=C_F), options=options)).rows
        good = np.isfinite(quiet.rows["E_IT"].value)
        for s in ("S", "h_c", "H_IT", "E_IT"):
            np.testing.assert_allclose(
                r[s].value[good], quiet.rows[s].value[good], rtol=1e-5, err_msg=kind
            )


def test_which_source_is_taken(batch_: Batch) -> None:
    """With both, the amplitudes where the spring is given, else the column; or as asked for."""
    n = len(batch_.force)
    b = replace(batch_, channels={**batch_.channels, "stiffness": np.full(n, 5e4)})

    def S_of(frame: Frame, source: str = "auto") -> float:
        options = with_(KNOWN, dynamic={"source": source, "quoted_at": "mean"})
        return float(dynamic(reduced(b, frame=frame, options=options)).rows["S"].value[-1])

    bare = Frame(compliance=C_F)
    assert S_of(bare) == pytest.approx(5e4)
    assert S_of(FRAME) != pytest.approx(5e4, rel=0.01)
    assert S_of(FRAME, "stiffness") == pytest.approx(5e4)
    assert S_of(bare, "amplitude and phase") != pytest.approx(5e4, rel=0.01)


def test_root_mean_square_amplitudes(batch_: Batch, quiet: Dynamic) -> None:
    c = dict(batch_.channels)
    for name in ("amplitude", "force_amplitude"):
        c[name] = c[name] / np.sqrt(2)
    options = with_(KNOWN, dynamic={"amplitude": "rms"})
    r = dynamic(reduced(replace(batch_, channels=c), frame=FRAME, options=options)).rows
    np.testing.assert_allclose(r["H_IT"].value, quiet.rows["H_IT"].value, rtol=1e-9)


def test_units_do_not_matter_but_the_scale_does(batch_: Batch, quiet: Dynamic) -> None:
    """All lengths doubled and all forces fourfold (stiffness doubled, springs too): a self-similar
    test of the same moduli. The blunt end is doubled with the rest."""
    c = dict(batch_.channels)
    big = replace(
        batch_,
        force=4 * batch_.force,
        depth=2 * batch_.depth,
        channels={
            **c,
            "amplitude": 2 * c["amplitude"],
            "force_amplitude": 4 * c["force_amplitude"],
        },
    )
    tip = blunted_tip(Geometry("modified Berkovich", radius=160e-9), name="B1")
    frame = replace(FRAME, compliance=C_F / 2, support_spring=200.0, moving_mass=2e-4, damping=4.0)
    r = dynamic(reduced(big, tip, frame=frame, options=KNOWN)).rows
    for s in ("H_IT", "E_IT", "loss_factor"):
        np.testing.assert_allclose(r[s].value, quiet.rows[s].value, rtol=1e-6, atol=1e-9)
    np.testing.assert_allclose(r["h_c"].value, 2 * quiet.rows["h_c"].value, rtol=1e-6)


def test_no_oscillation_no_rows(batch_: Batch) -> None:
    assert reduced(replace(batch_, channels={}), frame=FRAME, options=KNOWN).dynamic is None
    # One amplitude alone says nothing.
    only = {"amplitude": batch_.channels["amplitude"]}
    assert reduced(replace(batch_, channels=only), frame=FRAME, options=KNOWN).dynamic is None


def test_a_test_without_oscillation_beside_one_with(batch_: Batch, quiet: Dynamic) -> None:
    plain = simulate_batch([truth(name="T02", oscillation=None)], CYCLE, 1)
    r = reduced(join([batch_, plain]), frame=FRAME, options=KNOWN)
    d = dynamic(r).rows
    assert set(d.test) == {0}
    np.testing.assert_array_equal(d["H_IT"].value, quiet.rows["H_IT"].value)
    assert len(r.tests) == 2


def test_it_survives_the_cache(quiet: Dynamic) -> None:
    tree, arrays = encode(quiet)
    again = decode(tree, arrays)
    assert again.rows.flags == quiet.rows.flags
    np.testing.assert_array_equal(again.rows["H_IT"].value, quiet.rows["H_IT"].value)
    np.testing.assert_array_equal(again.swing, quiet.swing)


# -------------------------------------------------------------------------------- uncertainty


def tip_with(radius: float = 80e-9, E_i: float = 1140e9) -> Tip:
    return blunted_tip(Geometry("modified Berkovich", radius=radius), name="B1", E_i=E_i)


#: Input -> step, and the tip, frame and options of a run with it moved.
AGAIN = {
    "frame.C_f": (1e-9, lambda x: (tip_with(), replace(FRAME, compliance=C_F + x), {})),
    "frame.K_s": (1.0, lambda x: (tip_with(), replace(FRAME, support_spring=100 + x), {})),
    "frame.mass": (1e-6, lambda x: (tip_with(), replace(FRAME, moving_mass=1e-4 + x), {})),
    "frame.D_i": (0.01, lambda x: (tip_with(), replace(FRAME, damping=2 + x), {})),
    "force_scale": (1e-4, lambda x: (tip_with(), replace(FRAME, force_scale=1 + x), {})),
    "depth_scale": (1e-4, lambda x: (tip_with(), replace(FRAME, depth_scale=1 + x), {})),
    "beta": (1e-3, lambda x: (tip_with(), FRAME, {"beta": 1 + x})),
    "tip.radius": (1e-10, lambda x: (tip_with(radius=80e-9 + x), FRAME, {})),
    "tip.E_i": (1e9, lambda x: (tip_with(E_i=1140e9 + x), FRAME, {})),
}


@pytest.mark.parametrize("name", AGAIN)
def test_sensitivities_are_what_a_new_run_gives(name: str) -> None:
    step, make = AGAIN[name]
    b = simulate_batch([truth(oscillation=replace(SWING, loss_factor=0.05))], CYCLE, 1)

    def once(x: float) -> Dynamic:
        tip, frame, analysis = make(x)
        # By number, so that no window moves by a sample.
        options = with_(
            KNOWN, analysis=analysis, dynamic={"window_samples": 20, "window_share": 0.0}
        )
        return dynamic(reduced(b, tip, options, frame=frame))

    base, up, down = once(0.0), once(step), once(-step)
    j = base.rows.inputs.index(name)
    rows = np.array([20, -1])
    for s in UNITS:
        told = base.rows[s].sensitivity[rows, j] * step
        change = (up.rows[s].value[rows] - down.rows[s].value[rows]) / 2
        size = np.abs(base.rows[s].value[rows])
        # The exponent answers to compliance and scales by its own unloading's fit.
        np.testing.assert_allclose(
            told, change, rtol=0.03, atol=1e-6 * float(size.max()), err_msg=s
        )


def test_parts_of_the_random_uncertainty_add_up() -> None:
    d = run(truth(oscillation=NOISY, noise=QUIET)).rows
    for q in d.quantities.values():
        whole = np.sqrt(sum(p**2 for p in q.random_parts.values()))
        ok = np.isfinite(q.value)
        np.testing.assert_allclose(q.u_random[ok], whole[ok], rtol=1e-12)
    assert set(d["H_IT"].random_parts) == {"reading", "exponent", "zero", "drift"}
    assert set(LOCAL) == {"F", "h", "in_phase", "out_of_phase", "m", "zero", "drift"}


def test_intervals_cover() -> None:
    """200 invented tests with noise: of all windows that stand, 95 % intervals of the random part
    hold the truth (of the same tests without noise) in 92 % to 99 %."""
    n = 200
    cycle = single(5e-3, shape=2.0, load=40.0, drift_hold=0.0, gap=0.0)
    noisy = [truth(name=f"T{i:03d}", noise=QUIET, oscillation=NOISY) for i in range(n)]
    tip = invented_tip()
    d = dynamic(reduced(simulate_batch(noisy, cycle, 5), tip, KNOWN, frame=FRAME))
    clean = dynamic(reduced(simulate_batch([truth()], cycle, 5), tip, KNOWN, frame=FRAME)).rows
    for s in ("S", "E_IT", "H_IT"):
        q = d.rows[s]
        true = np.interp(d.rows["h"].value, clean["h"].value, clean[s].value)
        ok = np.isfinite(q.value) & np.isfinite(true) & (d.rows["h"].value > 40e-9)
        inside = np.abs(q.value - true)[ok] < 1.96 * q.u_random[ok]
        assert ok.sum() > 5000
        assert 0.92 < inside.mean() < 0.99, (s, inside.mean())


# ------------------------------------------------------------------------------- honest depths


def codes(d: Dynamic, i: int) -> set[str]:
    return {f.code for f in d.rows.flags[i]} - set(REMARKS)


def test_what_is_withheld_says_why() -> None:
    options = with_(Options(), dynamic={"u_stiffness_limit": 0.02})
    noisy = replace(SWING, amplitude=0.3e-9, force_noise=1e-6, depth_noise=0.02e-9)
    b = simulate_batch(
        [truth(noise=QUIET, zero_offset=300e-9, oscillation=noisy)],
        single(10e-3, shape=2.0, load=60.0), 3,
    )  # fmt: skip
    d = dynamic(reduced(b, frame=FRAME, options=options))
    stands = np.isfinite(d.rows["E_IT"].value)
    assert 0 < stands.sum() < len(stands)
    for i in range(len(d.rows)):
        assert bool(codes(d, i) - {"still elastic", "hardness uncertain"}) == (not stands[i])
        assert all(np.isfinite(d.rows[s].value[i]) for s in KEPT)
        for f in d.rows.flags[i]:
            assert f.sentence.endswith(".") and f.grounds
    first = int(np.flatnonzero(stands)[0])
    assert np.all(stands[first : first + IN_A_ROW])
    assert {"stiffness uncertain"} <= set.union(*(codes(d, i) for i in range(first)))


def test_the_area_function_bounds_the_depths() -> None:
    tip = blunted_tip(Geometry("modified Berkovich", radius=80e-9), name="B1", h_min=50e-9)
    b = simulate_batch([truth()], CYCLE, 1)
    d = dynamic(reduced(b, tip, KNOWN, frame=FRAME))
    h_c = d.rows["h_c"].value
    assert np.nanmin(h_c) >= 50e-9
    assert any("tip range" in codes(d, i) for i in range(len(d.rows)))


def test_an_elastic_contact_has_no_hardness() -> None:
    """Hard as nothing else: all elastic under the blunt end, hence E and no H."""
    d = run(truth(H=Law.constant(60e9), oscillation=replace(SWING, amplitude=0.3e-9)))
    elastic = [i for i in range(len(d.rows)) if "still elastic" in codes(d, i)]
    assert len(elastic) > 5
    assert not np.isfinite(d.rows["H_IT"].value[elastic]).any()
    assert np.isfinite(d.rows["E_IT"].value[elastic]).all()


def test_missing_constants_and_amplitude_are_remarked(batch_: Batch) -> None:
    d = dynamic(reduced(batch_, frame=Frame(compliance=C_F), options=KNOWN))
    assert all("constants not given" in {f.code for f in row} for row in d.rows.flags)
    assert not np.isfinite(d.rows["D_c"].value).any()
    b = replace(batch_, channels={"stiffness": np.full(len(batch_.force), 5e4)})
    d = dynamic(reduced(b, frame=FRAME, options=KNOWN))
    assert all("swing unknown" in {f.code for f in row} for row in d.rows.flags)
    without = replace(
        batch_, channels={k: v for k, v in batch_.channels.items() if k != "frequency"}
    )
    assert dynamic(reduced(without, frame=FRAME, options=KNOWN)).rows.test.size == 0
    declared = with_(KNOWN, dynamic={"frequency": 75.0})
    assert dynamic(reduced(without, frame=FRAME, options=declared)).rows.test.size > 30


def test_more_stiffness_than_the_frame_has_leaves_none(batch_: Batch) -> None:
    """A column stiffer than the frame alone: nothing is left for the contact, and rows say so."""
    b = replace(batch_, channels={"stiffness": np.full(len(batch_.force), 1e9)})
    options = with_(KNOWN, dynamic={"stiffness": "with frame"})
    d = dynamic(reduced(b, frame=FRAME, options=options))
    assert not np.isfinite(d.rows["E_IT"].value).any()
    assert any("not above zero" in f.sentence for f in d.rows.flags[-1])


@pytest.mark.parametrize("seed", range(6))
def test_odd_channels_never_raise(seed: int, batch_: Batch) -> None:
    """Zeros, gaps, infinities and wrong signs in what oscillates: rows are withheld, no more."""
    rng = np.random.default_rng(seed)
    channels = {}
    for name, values in batch_.channels.items():
        odd = values.copy()
        for bad in (0.0, np.nan, np.inf, -1.0):
            odd[rng.random(len(odd)) < 0.1 * rng.integers(0, 4)] = bad
        channels[name] = odd
    r = reduced(replace(batch_, channels=channels), frame=FRAME, options=KNOWN)
    if r.dynamic is not None:
        for row in r.dynamic.rows.flags:
            assert all("nan" not in f.sentence and f.grounds for f in row)


@pytest.mark.parametrize("kind", ["samples", "depth", "share"])
def test_windows_are_as_wide_as_declared(kind: str, batch_: Batch) -> None:
    asked = {
        "samples": {"window_samples": 25, "window_share": 0.0},
        "depth": {"window_depth": 20e-9, "window_samples": 4, "window_share": 0.0},
        "share": {"window_share": 0.2, "window_samples": 4},
    }[kind]
    d = dynamic(reduced(batch_, frame=FRAME, options=with_(KNOWN, dynamic=asked)))
    h = batch_.depth
    width = h[d.last] - h[d.first]
    if kind == "samples":
        assert np.all(d.samples == 25)
    if kind == "depth":
        assert np.all((width > 19.5e-9) & (width < 24e-9))
    if kind == "share":
        assert np.all(width[3:] > 0.19 * h[d.last][3:])
    assert np.all(d.first[1:] > d.last[:-1])
    assert list(d.number) == list(range(1, len(d.number) + 1))
