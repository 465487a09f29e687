"""Sensitivities: the complex step against differences of the algebra, and against running all of
the reduction again with another input. Uncertainties: against the spread of invented records."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from reduction_cases import QUIET, Options, Reduced, bare, batch, glass, reduced, with_

from drypoint.records.batch import Batch
from drypoint.reduction.derive import LOCAL, UNITS, derive, jacobians
from drypoint.simulation import simulate_batch, single
from drypoint.tips.area import area, series_from_nm
from drypoint.tips.build import blunted_tip, series_tip, table_parameters, table_tip
from drypoint.tips.geometry import Geometry
from drypoint.tips.tip import Frame, Tip

RADIUS, ANGLE, E_I, NU_I = 80e-9, np.radians(65.27), 1140e9, 0.07
C_F = 0.25e-6


def tip(radius: float = RADIUS, angle: float = ANGLE, E_i: float = E_I, nu_i: float = NU_I) -> Tip:
    geometry = Geometry("modified Berkovich", angle=angle, radius=radius)
    return blunted_tip(geometry, name="B1", E_i=E_i, nu_i=nu_i)


def tips() -> dict[str, Tip]:
    """The same tip in three ways of writing its area."""
    geometry = Geometry("modified Berkovich", radius=RADIUS)
    h = np.geomspace(20e-9, 2e-6, 9)
    table = table_parameters(area(tip(), {}, h))
    series = series_from_nm([24.5, 380.0, 120.0])
    return {
        "blunted": tip(),
        "table": table_tip(geometry, h.tolist(), table),
        "series": series_tip(geometry, series, h_min=10e-9, h_max=3e-6),
    }


@pytest.fixture(scope="module")
def record() -> Batch:
    truth = glass(
        tip=tip(),
        noise=QUIET,
        zero_offset=300e-9,
        force_offset=5e-6,
        compliance=C_F,
        drift_rate=0.02e-9,
    )
    return bare(simulate_batch([truth], single(10e-3, shape=2.0), 3))


def run(
    b: Batch,
    *,
    tip_: Tip | None = None,
    nu: float = 0.17,
    frame: dict[str, float] | None = None,
    **sections: dict[str, object],
) -> Reduced:
    options = with_(Options(), **sections) if sections else Options()
    stated = Frame(**{"compliance": C_F, **(frame or {})})  # type: ignore[arg-type]
    r = reduced(b, tip_ or tip(), options, nu=(nu, 0.0), frame=stated)
    assert not r.faults
    return r


# ------------------------------------------------------------------- complex step, differences

#: Local inputs that are zero at their best value -> a step of their usual size.
STEPS = {"zero": 1e-12, "drift": 1e-14}
CHOICES: dict[str, dict[str, object]] = {
    "epsilon from m": {},
    "epsilon fixed": {"epsilon": 0.75},
    "radial": {"radial_correction": True},
}


@pytest.mark.parametrize("choice", CHOICES)
@pytest.mark.parametrize("kind", ["blunted", "table", "series"])
def test_the_complex_step_is_the_derivative(record: Batch, kind: str, choice: str) -> None:
    """Every symbol by every input, against central differences (another method; C)."""
    r = run(record, tip_=tips()[kind], analysis=CHOICES[choice])
    local, ctx = dict(r.locals.values), r.context
    theta = r.cycles.inputs.as_dict()
    _, by_local, by_theta = jacobians(local, theta, ctx)
    for j, name in enumerate(LOCAL):
        step = STEPS.get(name) or 1e-6 * abs(float(local[name][0]))
        up = derive({**local, name: local[name] + step}, theta, ctx)
        down = derive({**local, name: local[name] - step}, theta, ctx)
        _compare(by_local, up, down, j, step, name)
    for j, (name, best) in enumerate(theta.items()):
        step = 1e-6 * abs(best) if best else 1e-6
        up = derive(local, {**theta, name: best + step}, ctx)
        down = derive(local, {**theta, name: best - step}, ctx)
        _compare(by_theta, up, down, j, step, name)


def _compare(
    exact: dict[str, np.ndarray],
    up: dict[str, np.ndarray],
    down: dict[str, np.ndarray],
    j: int,
    step: float,
    name: str,
) -> None:
    for symbol in UNITS:
        difference = (up[symbol][0] - down[symbol][0]) / (2 * step)
        rounding = 1e-9 * abs(up[symbol][0]) / step
        assert exact[symbol][0, j] == pytest.approx(difference, rel=1e-4, abs=rounding), (
            symbol, name,
        )  # fmt: skip


def test_every_input_moves_something(record: Batch) -> None:
    """No input is carried along in vain (of those that this analysis uses)."""
    r = run(record)
    moved = {
        name
        for j, name in enumerate(r.tests.inputs.names)
        if any(q.sensitivity[0, j] != 0 for q in r.tests.quantities.values())
    }
    assert moved == set(r.tests.inputs.names)


# --------------------------------------------------------------- running everything once again

#: Input -> step, and how a run with a changed input is made.
AGAIN: dict[str, tuple[float, Callable[[Batch, float], Reduced]]] = {
    "frame.C_f": (1e-8, lambda b, x: run(b, frame={"compliance": C_F + x})),
    "force_scale": (1e-3, lambda b, x: run(b, frame={"force_scale": 1 + x})),
    "depth_scale": (1e-3, lambda b, x: run(b, frame={"depth_scale": 1 + x})),
    "beta": (1e-3, lambda b, x: run(b, analysis={"beta": 1 + x})),
    "nu.glass": (1e-3, lambda b, x: run(b, nu=0.17 + x)),
    "zero.exponent": (1e-2, lambda b, x: run(b, zero={"exponent": 1.5 + x})),
    "tip.radius": (1e-9, lambda b, x: run(b, tip_=tip(radius=RADIUS + x))),
    "tip.angle": (1e-4, lambda b, x: run(b, tip_=tip(angle=ANGLE + x))),
    "tip.E_i": (1e9, lambda b, x: run(b, tip_=tip(E_i=E_I + x))),
    "tip.nu_i": (2e-2, lambda b, x: run(b, tip_=tip(nu_i=NU_I + x))),
}


@pytest.mark.parametrize("name", AGAIN)
def test_running_again_with_another_input(record: Batch, name: str) -> None:
    """What the sensitivity foretells is what a new run gives, within 3 %: also where the input
    acts before the fit (compliance, scales)."""
    step, again = AGAIN[name]
    base = run(record)
    j = base.tests.inputs.index(name)
    up, down = again(record, step), again(record, -step)
    seen = 0
    for symbol in UNITS:
        value = base.tests[symbol].value[0]
        if not np.isfinite(value):
            continue
        change = (up.tests[symbol].value[0] - down.tests[symbol].value[0]) / 2
        told = base.tests[symbol].sensitivity[0, j] * step
        if max(abs(change), abs(told)) > 2e-5 * abs(value):
            seen += 1
        assert told == pytest.approx(change, rel=0.03, abs=1e-6 * abs(value)), symbol
    assert seen > 0


def test_a_fixed_epsilon_is_an_input(record: Batch) -> None:
    base = run(record, analysis={"epsilon": 0.75, "u_epsilon": 0.01})
    up = run(record, analysis={"epsilon": 0.751})
    j = base.tests.inputs.index("epsilon")
    told = base.tests["h_c"].sensitivity[0, j] * 1e-3
    change = up.tests["h_c"].value[0] - base.tests["h_c"].value[0]
    assert told == pytest.approx(change, rel=1e-4)
    assert base.tests.inputs.sd[j] == 0.01


@pytest.mark.parametrize("rate", [0.02e-9, -0.02e-9])
def test_a_drift_that_is_wrong_does_what_its_sensitivity_says(record: Batch, rate: float) -> None:
    """The local input “drift” against a run with another declared rate, zero left as recorded."""
    zero = {"method": "as recorded"}
    base = run(record, zero=zero, drift={"method": "declared", "rate": 0.02e-9})
    other = run(record, zero=zero, drift={"method": "declared", "rate": 0.02e-9 + rate})
    by_local = jacobians(base.locals.values, base.cycles.inputs.as_dict(), base.context)[1]
    j = LOCAL.index("drift")
    for symbol in ("h_max", "h_c", "h_p", "S", "m", "E_IT", "H_IT", "W_total", "W_elast", "HM_s"):
        value = base.tests[symbol].value[0]
        change = other.tests[symbol].value[0] - value
        told = by_local[symbol][0, j] * rate
        assert told == pytest.approx(change, rel=0.05, abs=2e-6 * abs(value)), symbol


# ------------------------------------------------------------------------- spread, uncertainty


def test_random_uncertainty_is_the_spread_of_repeated_records() -> None:
    """100 invented records that differ in their noise only: the stated random uncertainty is the
    spread within a factor of two, and not one value in 20 lies outside three of them."""
    n = 100
    truths = [
        glass(name=f"T{i:03d}", noise=QUIET, zero_offset=300e-9, drift_rate=0.01e-9)
        for i in range(n)
    ]
    r = reduced(bare(simulate_batch(truths, single(10e-3, shape=2.0), 5)))
    assert len(r.tests) == n
    for symbol in ("S", "m", "h_max", "h_c", "h_p", "H_IT", "E_IT", "HM", "W_total", "W_elast"):
        q = r.tests[symbol]
        ratio = float(np.median(q.u_random) / np.std(q.value, ddof=1))
        assert 0.5 < ratio < 2.0, (symbol, ratio)
        off = np.abs(q.value - np.median(q.value)) > 3 * q.u_random
        assert off.mean() < 0.05, symbol


def test_parts_of_the_random_uncertainty_add_up(record: Batch) -> None:
    r = run(record)
    assert set(r.tests["E_IT"].random_parts) == {"fit", "reading", "zero", "drift", "measured area"}
    for q in r.tests.quantities.values():
        whole = np.sqrt(sum(p**2 for p in q.random_parts.values()))
        if np.isfinite(q.value[0]):
            np.testing.assert_allclose(q.u_random, whole, rtol=1e-12)


def test_systematic_uncertainty_of_what_is_stated(record: Batch) -> None:
    """First order, by GUM (C): u(E_r)/E_r = u_A/2A and u(H)/H = u_A/A, from the angle."""
    geometry = Geometry("modified Berkovich", radius=RADIUS, u_angle=np.radians(0.3))
    r = run(record, tip_=blunted_tip(geometry, name="B1"))
    part = {s: r.tests.u_systematic(s)[0] / r.tests[s].value[0] for s in ("A_p", "E_r", "H_IT")}
    zero_law = run(record).tests
    other = {s: zero_law.u_systematic(s)[0] / zero_law[s].value[0] for s in part}
    own = {s: np.sqrt(part[s] ** 2 - other[s] ** 2) for s in part}
    assert own["E_r"] == pytest.approx(own["A_p"] / 2, rel=1e-6)
    assert own["H_IT"] == pytest.approx(own["A_p"], rel=1e-6)


def test_a_record_without_time_has_results(record: Batch) -> None:
    F, h = record.force, record.depth
    r = reduced(batch([(F, h, None)]), tip(), Options(), frame=Frame(compliance=C_F))
    assert not r.faults
    assert np.isfinite(r.tests["H_IT"].value[0])
    assert np.all(np.isfinite(r.tests["H_IT"].sensitivity))


def test_poissons_ratio_belongs_to_the_specimen(record: Batch) -> None:
    two = replace(
        record.take([0, 0]),
        tests=(record.tests[0], replace(record.tests[0], name="T02", specimen="other")),
    )
    r = reduced(two, tip(), Options(), nu=(0.17, 0.01), frame=Frame(compliance=C_F))
    names = r.tests.inputs.names
    s = r.tests["E_IT"].sensitivity
    assert s[0, names.index("nu.glass")] != 0
    assert s[0, names.index("nu.other")] == 0
    assert s[1, names.index("nu.other")] == s[0, names.index("nu.glass")]
