"""Flags, what is withheld, and tests that give no result: each on a record that deserves it."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from reduction_cases import (
    QUIET,
    Options,
    Reduced,
    bare,
    batch,
    glass,
    invented_tip,
    reduced,
    with_,
)

from drypoint.errors import ReductionError
from drypoint.records.batch import Batch
from drypoint.reduction.flags import GROUNDS
from drypoint.reduction.reduce import Overrides, reduce_batch
from drypoint.simulation import (
    Creep,
    Law,
    Noise,
    Record,
    batch_of,
    cyclic,
    plant,
    simulate,
    simulate_batch,
    single,
)
from drypoint.tips.build import blunted_tip, ideal_tip
from drypoint.tips.geometry import Geometry
from drypoint.tips.tip import Bench

DEFAULT = Options()
CYCLE = single(10e-3, shape=2.0)


def one(cycle: object = CYCLE, **changes: object) -> Batch:
    truth = glass(**{"noise": QUIET, "zero_offset": 300e-9, **changes})
    return bare(simulate_batch([truth], cycle, 8))  # type: ignore[arg-type]


def codes(r: Reduced) -> set[str]:
    return {f.code for row in r.tests.flags for f in row}


def bent() -> Batch:
    """An unloading with a wave of 4 % of the largest force."""
    b = one()
    force = b.force.copy()
    inside = slice(1110, 1360)
    force[inside] += 0.4e-3 * np.sin(np.linspace(0, 6 * np.pi, 250))
    return replace(b, force=force)


def few_samples() -> Batch:
    F_up = np.array([0.0, 2.5e-3, 5e-3, 7.5e-3, 10e-3])
    F = np.concatenate([F_up, 10e-3 * np.linspace(1, 0, 200)[1:]])
    h = np.concatenate(
        [300e-9 * np.sqrt(F_up / 10e-3), 150e-9 + 150e-9 * (F[5:] / 10e-3) ** (1 / 1.4)]
    )
    return batch([(F, h, np.arange(len(F)) / 20)])


def elastic() -> Batch:
    h = np.linspace(0, 30e-9, 400)
    F = 4 / 3 * 70e9 * np.sqrt(10e-6) * h**1.5
    return batch([(np.r_[F, F[-2::-1]], np.r_[h, h[-2::-1]], None)])


def narrow_tip() -> Reduced:
    tip = blunted_tip(Geometry("modified Berkovich", radius=80e-9), h_max=100e-9)
    return reduced(one(), tip)


def uncertain_zero() -> Reduced:
    zero = {"method": "declared", "depth": 300e-9, "u_zero": 40e-9}
    return reduced(one(), options=with_(DEFAULT, zero=zero))


def cycle_without_fit() -> Reduced:
    b = one(cyclic(10e-3, cycles=3))
    return reduced(b, overrides=Overrides(unloading_window={("T01", 1): (0.978, 0.98)}))


def planted(fault: Callable[[Record], Record], cycle: object = CYCLE) -> Reduced:
    truth = glass(noise=QUIET, zero_offset=300e-9)
    return reduced(bare(batch_of([fault(simulate(truth, cycle, 8))])))  # type: ignore[arg-type]


def by_law(b: Batch, **drift: bool) -> Reduced:
    zero = {"law": "auto", "base_line": "line"}
    return reduced(b, options=with_(DEFAULT, zero=zero, drift=drift))


def layered_contact() -> Reduced:
    """A soft film that gives way by 20 nm at the beginning of contact: no blunted tip does that."""
    truth = glass(noise=QUIET, zero_offset=300e-9)
    b = simulate_batch([truth], single(10e-3, shape=2.0, rate=100.0), 3)
    soft = 20e-9 * (1.0 - np.exp(-np.maximum(b.force, 0.0) / 0.1e-3))
    return by_law(bare(replace(b, depth=b.depth + soft)))


def decaying_drift() -> Reduced:
    """0.3 nm/s that decays in 100 s, as after a change of specimen."""
    b = one(single(10e-3, shape=2.0, drift_hold=60.0))
    gone = 0.3e-9 * 100.0 * (1.0 - np.exp(-b.time / 100.0))
    return by_law(replace(b, depth=b.depth + gone), curvature=True)


DESERVED: dict[str, Callable[[], Reduced]] = {
    "unsteady drift": decaying_drift,
    "first contact misfit": layered_contact,
    "few samples at contact": lambda: by_law(one(single(2e-3, load=5.0, shape=2.0, rate=3.0))),
    "no drift hold": lambda: reduced(one(single(10e-3, shape=2.0, drift_hold=0.0))),
    "drift": lambda: reduced(one(drift_rate=0.1e-9)),
    "zero by threshold": lambda: reduced(few_samples()),
    "contact lost": lambda: planted(lambda r: plant.first_touch(r, 60e-9, 10e-6, 1.0)),
    "pop-in": lambda: planted(lambda r: plant.pop_in(r, 0.3, 5e-9)),
    "pop-out": lambda: planted(lambda r: plant.pop_out(r, 0.3, 5e-9)),
    "step back": lambda: planted(lambda r: plant.pop_in(r, 0.4, -10e-9)),
    "noise": lambda: reduced(one(single(0.5e-3, shape=2.0), noise=Noise(1e-6, 0.0, 0.9e-9))),
    "fit failed": cycle_without_fit,
    "poor fit": lambda: reduced(bent()),
    "odd exponent": lambda: reduced(one(), options=with_(DEFAULT, flags={"exponent": (1.4, 1.6)})),
    "pile-up likely": lambda: reduced(one(H=Law.constant(0.5e9), creep=Creep(0.0002))),
    "tip range": narrow_tip,
    "still elastic": lambda: reduced(elastic(), ideal_tip("sphere", radius=10e-6)),
    "hardness uncertain": uncertain_zero,
    "creep at unloading": lambda: reduced(
        one(single(10e-3, shape=2.0, hold=2.0, unload=60.0), creep=Creep(0.05))
    ),
    "viscosity unknown": lambda: reduced(
        one(single(10e-3, shape=2.0, hold=0.0)),
        options=with_(DEFAULT, analysis={"viscous_correction": True}),
    ),
    "measured area": lambda: reduced(one(), overrides=Overrides(area={("T01", None): AREA})),
}
AREA = (1.2e-12, 0.03e-12)


def test_every_flag_has_its_record() -> None:
    """Those that need more than the record have theirs in tests/reduction/test_surroundings.py."""
    more = {"roughness", "film depth", "film radius", "thin specimen"}
    more |= {"neighbour near", "edge near", "outlier"}
    assert set(DESERVED) | more == set(GROUNDS)


@pytest.mark.parametrize("code", DESERVED)
def test_a_record_that_deserves_the_flag_gets_it(code: str) -> None:
    r = DESERVED[code]()
    rows = r.cycles.flags if code == "fit failed" else r.tests.flags
    found = [f for row in rows for f in row if f.code == code]
    assert found
    assert found[0].grounds == GROUNDS[code]
    assert found[0].sentence.endswith(".")
    assert "nan" not in found[0].sentence


@pytest.mark.parametrize("seed", range(5))
def test_a_clean_record_has_no_flag(seed: int) -> None:
    b = bare(simulate_batch([glass(noise=QUIET, zero_offset=300e-9)], CYCLE, seed))
    assert codes(reduced(b)) == set()


def test_each_flag_comes_alone() -> None:
    """What one record deserves is not flagged for another reason too."""
    for code, make in DESERVED.items():
        extra = codes(make()) - {code}
        allowed = {
            "zero by threshold": {"no drift hold", "hardness uncertain"},
            "still elastic": {"no drift hold"},
            "unsteady drift": {"drift"},
            "noise": {"poor fit", "hardness uncertain"},
        }.get(code, set())
        assert extra <= allowed, (code, extra)


def test_hardness_is_withheld_where_it_says_nothing() -> None:
    """Above the limit for its uncertainty: no H_IT, no conversion of it; the modulus stands."""
    r = uncertain_zero()
    for s in ("H_IT", "HV_conv"):
        assert np.isnan(r.tests[s].value[0])
        assert np.isnan(r.tests[s].u_random[0])
    assert np.isfinite(r.tests["E_IT"].value[0])
    sentence = next(f.sentence for f in r.tests.flags[0] if f.code == "hardness uncertain")
    assert "limit 25 %" in sentence
    loose = with_(DEFAULT, analysis={"u_hardness_limit": 2.0})
    zero = {"method": "declared", "depth": 300e-9, "u_zero": 40e-9}
    given = reduced(one(), options=with_(loose, zero=zero))
    H, u = given.tests["H_IT"].value[0], given.tests.u("H_IT")[0]
    assert u / H > 0.25


def test_a_measured_area_takes_the_place_of_the_area_function() -> None:
    """The remedy for pile-up: H = F/A, u(H)/H = u(A)/A by GUM (C), and no more pile-up."""
    b = one(H=Law.constant(0.5e9), creep=Creep(0.0002))
    plain = reduced(b)
    r = reduced(b, overrides=Overrides(area={("T01", None): AREA}))
    assert "pile-up likely" in codes(plain)
    assert codes(r) == {"measured area"}
    assert r.tests["A_p"].value[0] == AREA[0]
    assert r.tests["A_p"].u_random[0] == pytest.approx(AREA[1], rel=1e-12)
    H, F = r.tests["H_IT"], r.tests["F_max"]
    assert H.value[0] == pytest.approx(F.value[0] / AREA[0], rel=1e-14)
    assert H.random_parts["measured area"][0] / H.value[0] == pytest.approx(
        AREA[1] / AREA[0], rel=1e-9
    )
    E = r.tests["E_r"]
    assert E.random_parts["measured area"][0] / E.value[0] == pytest.approx(
        AREA[1] / AREA[0] / 2, rel=1e-9
    )
    # The shape of the tip does not enter any more.
    j = [r.tests.inputs.index(n) for n in ("tip.radius", "tip.angle")]
    assert r.tests["H_IT"].sensitivity[0, j].tolist() == [0.0, 0.0]


def test_a_measured_area_belongs_to_the_largest_force_unless_said() -> None:
    b = one(cyclic(10e-3, cycles=3))
    area = reduced(b, overrides=Overrides(area={("T01", None): AREA})).cycles["A_p"].value
    assert (area == AREA[0]).sum() == 1
    second = reduced(b, overrides=Overrides(area={("T01", 2): AREA})).cycles["A_p"].value
    assert (second == AREA[0]).tolist() == [False, True, False]


def test_outside_the_area_function_nothing_negative_is_told() -> None:
    """A series may turn negative outside its range: then there is no area, and no hardness."""
    from drypoint.tips.area import series_from_nm
    from drypoint.tips.build import series_tip

    tip = series_tip(
        Geometry("modified Berkovich"),
        series_from_nm([-24.5, 10000.0]),
        h_min=10e-9,
        h_max=100e-9,
    )
    r = reduced(one(single(100e-3, shape=2.0)), tip)
    assert "tip range" in codes(r)
    for s in ("A_p", "H_IT", "E_r", "E_IT", "HV_conv"):
        assert np.isnan(r.tests[s].value[0]), s
    assert np.isfinite(r.tests["S"].value[0])


# --------------------------------------------------------------------------------------- faults


def with_company(bad: Batch) -> Batch:
    from drypoint.records.batch import join

    good = one()
    renamed = replace(bad, tests=tuple(replace(t, name="BAD") for t in bad.tests))
    return join([good, renamed])


FAULTY: dict[str, tuple[Callable[[], Batch], str]] = {
    "no contact": (lambda: one(fault="no contact"), "No contact"),
    "no unloading": (lambda: one(fault="missing unloading"), "No unloading"),
    "too short": (lambda: one(fault="truncated", fault_level=0.99), "could not be fitted|No unl"),
    "lost in noise": (
        lambda: one(single(2e-6), noise=Noise(force_white=0.4e-6, depth_white=0.15e-9)),
        "hardly above the noise|No contact|No unloading|not be fitted",
    ),
}


@pytest.mark.parametrize("name", FAULTY)
def test_a_bad_test_is_set_aside_and_the_rest_goes_on(name: str) -> None:
    make, words = FAULTY[name]
    b = with_company(make())
    r = reduced(b)
    assert [f.test for f in r.faults] == [1]
    assert re.search(words, r.faults[0].reason)
    assert r.faults[0].remedy.endswith(".")
    assert r.tests.test.tolist() == [0]
    assert 1 not in r.cycles.test.tolist()
    alone = reduced(one())
    for s in ("H_IT", "E_IT", "W_total"):
        assert r.tests[s].value[0] == alone.tests[s].value[0]


def test_a_batch_of_bad_tests_only_has_no_rows() -> None:
    r = reduced(one(fault="no contact"))
    assert len(r.tests) == 0
    assert len(r.faults) == 1


def test_a_window_without_samples_is_a_fault_that_names_the_cure() -> None:
    over = Overrides(unloading_window={("T01", None): (0.9795, 0.98)})
    r = reduced(one(), overrides=over)
    assert "too few samples" in r.faults[0].reason
    assert "window" in r.faults[0].remedy


def test_a_specimen_without_poissons_ratio_is_refused() -> None:
    with pytest.raises(ReductionError, match="glass") as e:
        reduce_batch(one(), Bench(invented_tip()), DEFAULT, {"steel": (0.3, 0.0)})
    assert "nu" in e.value.remedy


def test_overrides_of_tests_that_are_not_here_are_of_no_account() -> None:
    over = Overrides(
        zero={"X": 0.0},
        zero_time={"X": 0.0},
        drift_window={"X": (0.1, 0.2)},
        unloading_window={("X", 1): (0.5, 0.6)},
        segments={"X": [("loading", 0, 5)]},
        area={("X", None): AREA},
    )
    a, b = reduced(one()), reduced(one(), overrides=over)
    assert a.tests["E_IT"].value.tolist() == b.tests["E_IT"].value.tolist()


def test_segments_by_hand_are_used() -> None:
    b = one()
    over = Overrides(segments={"T01": [("loading", 320, 880), ("unloading", 1150, 1360)]})
    r = reduced(b, overrides=over)
    assert r.readings.start.tolist() == [1150]
    assert r.tests["F_max"].value[0] < 9e-3
    assert "no drift hold" in codes(r)


def test_one_row_for_each_unloading_and_the_largest_for_the_test() -> None:
    from drypoint.simulation import stepped

    b = one(stepped(10e-3, steps=6, F_first=0.5e-3))
    r = reduced(b)
    assert r.cycles.cycle.tolist() == [1, 2, 3, 4, 5, 6]
    assert r.tests.cycle.tolist() == [6]
    F = r.cycles["F_max"].value
    want = (np.sqrt(0.5e-3) + (np.sqrt(10e-3) - np.sqrt(0.5e-3)) * np.arange(6) / 5) ** 2
    np.testing.assert_allclose(F, want, rtol=2e-3)
    assert r.tests["F_max"].value[0] == F[-1]
