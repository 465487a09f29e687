"""Words of the demo's calibration study."""

from __future__ import annotations

from drypoint.simulation.bench_scenario import CERTIFIED
from drypoint.simulation.scenario import STATED
from drypoint.simulation.study_text import MARK


def _pair(key: str, name: str, u_name: str) -> str:
    value, u = CERTIFIED[key]
    return f"{name} = {value}\n{u_name} = {u}"


def _block(quantity: str, key: str) -> str:
    value, u = CERTIFIED[key]
    return f"""[[calibration.blocks]]
specimen = "block"
quantity = "{quantity}"
value_GPa = {value}
U_GPa = {2 * u}
k = 2.0
number = "invented V3"
issued = "2024-09-02"
valid_until = "2029-09-02"
"""


def bench_toml(seed: int) -> str:
    """The study file of the demo's calibration."""
    angle, u_angle = STATED["face_angle_deg"]
    return f"""# {MARK}
drypoint = 1

[study]
name = "Demo: calibration of tip B1 in the frame (invented)"
question = "Which area function and frame compliance does this bench have, and can it be trusted?"
laboratory = "invented laboratory"
operator = "invented operator A"
standard = "ISO 14577-2 practice"
remarks = "All records are invented. The truth stands in truth.csv."
invented = true
seed = {seed}

[[records]]
files = ["raw/reference/*.txt"]
specimen = "reference"

[[records]]
files = ["raw/block/*.txt"]
specimen = "block"

[specimens.reference]
description = "reference glass R7, invented"
{_pair("nu.reference", "nu", "u_nu")}

[specimens.block]
description = "certified block V3, invented"
{_pair("nu.block", "nu", "u_nu")}

[tips.B1]
shape = "modified Berkovich"
serial = "invented B1"

[frame]

[[certificates]]
of = "B1"
kind = "angle"
value = {angle}
U = {2 * u_angle}
issued = "2024-11-20"
valid_until = "2026-11-20"
laboratory = "invented laboratory for geometry"
number = "invented G-118"

[[certificates]]
of = "frame"
kind = "force scale"
value = 1.0
U = 0.002
issued = "2025-01-14"
valid_until = "2026-01-14"
laboratory = "invented laboratory for mass"
number = "invented M-2207"

[[certificates]]
of = "frame"
kind = "depth scale"
value = 1.0
U = 0.002
issued = "2025-01-15"
valid_until = "2026-01-15"
laboratory = "invented laboratory for length"
number = "invented L-931"

[corrections.drift]
method = "drift hold"

# The same rule as in the study that uses the bench.
[analysis]
epsilon = "exponent"
beta = 1.0
radial_correction = true

[calibration]
name = "B1, March 2025 (invented)"
day = "2025-03-06"
valid_until = "2025-09-06"
file = "calibration.toml"
form = "blunted"
identified_by = ["constant hardness"]
h_range_nm = [60.0, 500.0]
health_h_c_nm = 150.0

[[calibration.references]]
specimen = "reference"
{_pair("E.reference", "E_GPa", "u_E_GPa")}
certificate = "invented R7"

{_block("E_IT", "E.block")}
{_block("H_IT", "H.block").rstrip()}
"""
