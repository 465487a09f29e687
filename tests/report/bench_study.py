"""An invented calibration study: a reference glass, a block, a blunted tip in a compliant frame.

The truths obey the rule of the analysis: with the radial correction on, S is
2 beta gamma(nu, psi) / sqrt(pi) E_r sqrt(A_p) [hay1999].
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from drypoint.contact.unloading import radial_factor
from drypoint.simulation import Creep, Law, Noise, Truth, simulate, single
from drypoint.simulation.formats import style_a
from drypoint.tips.build import blunted_tip
from drypoint.tips.geometry import Geometry

TIP = blunted_tip(Geometry("modified Berkovich", radius=90e-9), name="B1")
BASE = Truth(
    tip=TIP, E=Law.constant(72e9), H=Law.constant(9.2e9), nu=0.17, m=1.3, specimen="glass",
    creep=Creep(0.004), compliance=0.31e-6, drift_walk=0.004e-9,
    noise=Noise(0.3e-6, 0.1e-6, 0.15e-9, 0.06e-9, 0.3),
)  # fmt: skip
FORCES = np.linspace(1.0, 7.0, 10) ** 2 * 1e-3


def write_bench_study(
    folder: Path, *, per_force: int = 4, blocks: int = 8, keys: str = "", seed: int = 3
) -> Path:
    """Write raw files and ``study.toml``; ``keys`` replaces what tells frame and tip apart.

    One glass record never touches the surface.
    """
    rng = np.random.default_rng(seed)
    raw = folder / "raw"
    raw.mkdir(parents=True)
    tests = [("glass", f"R-{i + 1:02d}", float(FORCES[i // per_force]))
             for i in range(per_force * len(FORCES))]  # fmt: skip
    tests += [("glass", f"R-{len(tests) + 1:02d}", float(FORCES[0]))]
    tests += [("steel-like", f"K-{i + 1:02d}", 20e-3) for i in range(blocks)]
    lost = f"R-{per_force * len(FORCES) + 1:02d}"
    for n, (specimen, name, force) in enumerate(tests):
        truth = replace(
            BASE, name=name, specimen=specimen,
            drift_rate=float(0.015e-9 * rng.standard_normal()),
            zero_offset=float(rng.uniform(150e-9, 900e-9)),
            fault="no contact" if name == lost else None,
            declared={"Specimen": specimen, "Date": "2026-02-03", "Operator": "A. Example",
                      "Temperature": f"{22.8 + 0.1 * rng.standard_normal():.1f} °C"},
        )  # fmt: skip
        if specimen == "steel-like":
            truth = replace(truth, E=Law.constant(210e9), nu=0.29,
                            H=Law.constant(7e9 * (1 + 0.008 * rng.standard_normal())))  # fmt: skip
        gamma = float(radial_factor(truth.nu, TIP.geometry.equivalent_half_angle))
        truth = replace(truth, beta=gamma)
        record = simulate(truth, single(force, shape=2.0, gap=100e-9), (seed, n))
        (raw / f"{name}.txt").write_bytes(style_a(record))
    path = folder / "study.toml"
    path.write_text(TEXT.replace("KEYS", keys or KEYS), encoding="utf-8")
    return path


KEYS = """identified_by = ["constant hardness"]
h_range_nm = [150, 1000]
"""

TEXT = """drypoint = 1

[study]
name = "Bench 1, tip B1 (invented)"
report_number = "C-2026-01"
question = "May the bench be used?"
laboratory = "invented laboratory"
operator = "A. Example"
invented = true

[[records]]
files = ["raw/R-*.txt"]
specimen = "glass"
delimiter = ";"
decimal = ","
split = "one"
[records.columns]
time = { name = "Time", unit = "s" }
force = { name = "Force", unit = "mN" }
depth = { name = "Depth", unit = "nm" }

[[records]]
files = ["raw/K-*.txt"]
specimen = "steel-like"
delimiter = ";"
decimal = ","
split = "one"
[records.columns]
time = { name = "Time", unit = "s" }
force = { name = "Force", unit = "mN" }
depth = { name = "Depth", unit = "nm" }

[specimens.glass]
description = "reference glass, invented"
nu = 0.17
u_nu = 0.005

[specimens.steel-like]
description = "hardness block of steel, invented"
nu = 0.29
u_nu = 0.005

[tips.B1]
shape = "modified Berkovich"
u_E_i_GPa = 10
u_nu_i = 0.01
serial = "B1-07 (invented)"

[analysis]
radial_correction = true

[[certificates]]
of = "frame"
kind = "force scale"
value = 1.0
U = 0.002
issued = 2025-11-03
valid_until = 2026-11-02
laboratory = "invented laboratory F"
number = "F-17"

[[certificates]]
of = "frame"
kind = "depth scale"
value = 1.0
U = 0.002
issued = 2024-11-03
valid_until = 2026-01-31
laboratory = "invented laboratory L"
number = "L-3"

[calibration]
name = "B1 in frame, February 2026"
day = 2026-02-03
valid_until = 2026-08-02
KEYS
[[calibration.references]]
specimen = "glass"
E_GPa = 72
u_E_GPa = 0.4
nu = 0.17
u_nu = 0.005
certificate = "invented certificate G-4"

[[calibration.blocks]]
specimen = "steel-like"
quantity = "H_IT"
value_GPa = 7.0
U_GPa = 0.14
number = "K-200"
issued = 2025-01-10
valid_until = 2030-01-09

[[calibration.blocks]]
specimen = "steel-like"
quantity = "E_IT"
value_GPa = 210
U_GPa = 4.0
number = "K-200"
issued = 2025-01-10
valid_until = 2030-01-09
"""
