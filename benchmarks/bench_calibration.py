"""Does 95 % cover 95 %? Round trip of simulated calibrations, at least 1,000 seeds a case.

Each seed draws what is true (reference moduli, indenter, beta, scales, certificate) within the
stated uncertainties, invents reference rows, calibrates, and asks whether the truth lies within
95 % of: frame compliance, area at 0.1, 0.4 and 0.9 of the depth range, modulus and hardness of a
steel tested with that bench. "shared" draws all inputs; in "alone" beta,
references, indenter and scales are exact, so that the form of the area function and the weights
stand alone. Prints one line a case: coverage in %, and in brackets the root mean square of error
over standard uncertainty (1 when exact). Arguments: number of seeds, then words that a case must
have (for example ``1000 series alone``). ``--quick``: 5 seeds a case.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests" / "calibration"))
import calibration_cases as cases

from drypoint.calibration import (
    CalibrationError,
    ConstantHardness,
    Constraint,
    FixedLeading,
    Form,
    KnownCompliance,
)
from drypoint.tips.area import area
from drypoint.uncertainty.propagation import coverage_factor

U_BETA, U_E_I, U_SCALE = 0.01, 10e9, 0.002
QUANTITIES = ("C_f", "A 10%", "A 40%", "A 90%", "E steel", "H steel")

Result = dict[str, float]


def one(seed: int, form: Form, constraint: str, two: bool, shared: bool) -> Result:
    """Error over standard uncertainty (scaled so that 1.96 is the 95 % limit) of each quantity."""
    rng = np.random.default_rng((seed, 17))
    on = 1.0 if shared else 0.0
    u = {"u_beta": on * U_BETA, "u_E_i": on * U_E_I, "u_scale": on * U_SCALE}
    w = cases.drawn(rng, cases.World(), **u)
    w = replace(
        w, C_f=rng.uniform(0.1e-6, 0.5e-6),
        tip=cases.worn_tip(rng.uniform(40e-9, 150e-9), np.radians(rng.uniform(65.1, 65.4))),
    )  # fmt: skip
    refs = {}
    for ref in (cases.GLASS, cases.SAPPHIRE) if two else (cases.GLASS,):
        ref = replace(ref, u_E=on * ref.u_E, u_nu=0.0)
        refs[ref] = ref.E + ref.u_E * rng.standard_normal()
    tests = cases.rows(w, refs, rng)
    bench, options = cases.nominal(**u)
    c0 = 3 * np.sqrt(3.0) * np.tan(w.tip.geometry.angle or 0.0) ** 2
    made: dict[str, Callable[[], tuple[Constraint, ...]]] = {
        "hardness": lambda: (ConstantHardness(),),
        "compliance": lambda: (KnownCompliance(w.C_f + 0.02e-6 * rng.standard_normal(), 0.02e-6),),
        "leading": lambda: (FixedLeading(c0 + 0.1 * rng.standard_normal(), 0.1),),
        "second": lambda: (),
    }
    c = cases_calibrate(tests, bench, options, made[constraint](), form)
    low, high = c.tip.area.h_min, c.tip.area.h_max
    h = low + np.array([0.1, 0.4, 0.9]) * (high - low)
    A, u_A = c.area(h)
    u_C = c.frame.u_compliance
    k = coverage_factor(max(float(c.linked.dof.min()), 3.0)) / 1.96
    out = {"C_f": (c.frame.compliance - w.C_f) / u_C}
    for name, a, u, t in zip(QUANTITIES[1:4], A, u_A, area(w.tip, {}, h), strict=True):
        out[name] = float((a - t) / u)
    found = cases.specimen(c, w, 210e9, 0.29, 4e9, 1.40, 5e-3)
    out["E steel"] = (found["E"][0] - 210e9) / found["E"][1]
    out["H steel"] = (found["H"][0] - 4e9) / found["H"][1]
    return {q: v / k for q, v in out.items()} | {"terms": c.candidates[0].terms}


def cases_calibrate(tests, bench, options, constraints, form):  # type: ignore[no-untyped-def]
    """Here so that the profile shows the calibration alone."""
    from drypoint.calibration import calibrate

    return calibrate(tests, bench, options, constraints, form)


def run(
    form: Form, constraint: str, two: bool, shared: bool, seeds: int
) -> tuple[dict[str, np.ndarray], int, float]:
    """All seeds of a case: z by quantity, failures, seconds each."""
    found: list[Result] = []
    failed, start = 0, time.perf_counter()
    for s in range(seeds):
        try:
            found.append(one(s, form, constraint, two, shared))
        except CalibrationError:
            failed += 1
    each = (time.perf_counter() - start) / seeds
    return {q: np.array([f[q] for f in found]) for q in (*QUANTITIES, "terms")}, failed, each


FORMS = (("blunted", Form("blunted")), ("series", Form("series")), ("table", Form("table")))
CASES = tuple(
    (name, form, constraint, constraint == "second", shared)
    for shared in (True, False)
    for name, form in FORMS
    for constraint in ("hardness", "compliance", "leading", "second")
    if not (name == "table" and constraint == "leading")
)


def main(seeds: int = 1000, words: tuple[str, ...] = ()) -> None:
    """Print the table; only the cases whose line holds all of ``words``."""
    called = {True: "shared", False: "alone"}
    print(f"{seeds} seeds a case; coverage of 95 % intervals in %, (rms of error/u)")
    print(f"{'form':8} {'identified by':13}{'':7}" + "".join(f"{q:>14}" for q in QUANTITIES)
          + "   terms failed  ms each")  # fmt: skip
    for name, form, constraint, two, shared in CASES:
        if not set(words) <= {name, constraint, called[shared]}:
            continue
        z, failed, each = run(form, constraint, two, shared, seeds)
        cells = "".join(
            f"{100 * np.mean(np.abs(z[q]) < 1.96):7.1f} ({np.sqrt(np.mean(z[q] ** 2)):4.2f})"
            for q in QUANTITIES
        )
        tail = f"{z['terms'].mean():8.2f}{failed:7d}{1e3 * each:9.0f}"
        print(f"{name:8} {constraint:13}{called[shared]:7}{cells}{tail}", flush=True)


if __name__ == "__main__":
    if sys.argv[1:] == ["--quick"]:
        main(5)
    else:
        main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000, tuple(sys.argv[2:]))
