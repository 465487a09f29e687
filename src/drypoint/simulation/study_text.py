"""Words of the demo folder: its README and its study file."""

from __future__ import annotations

from drypoint.simulation.scenario import FILM_STATED, STATED

#: First line of the demo's README; a folder without it is never overwritten.
MARK = "Invented by the demo of Drypoint: nothing in this folder is a measurement."

README = f"""{MARK}

The laboratory, the instrument, the specimens and every number are invented, with seed {{seed}}.
Each record was computed backwards from a truth: modulus, hardness, tip and frame first, then
force and depth, then drift, noise and faults on top.

bench/       the calibration of tip and frame; make it with: drypoint calibrate bench/bench.toml,
             look at its report, and accept it (--accept --who NAME)
study.toml   the study, which uses that calibration; run it with: drypoint run study.toml
raw/glass    {{glass}} files, one test each: window glass, single cycles at three forces
raw/film     {{film}} files: a 400 nm film on a wafer, stepped loading, several tests a file
raw/steel    {{steel}} files: a two-phase steel, a grid of 8 x 5 tests, one row of the grid a file
raw/tempered {{tempered}} file: the same steel after tempering, a row of 12 tests
scratch/     scratch tracks on two coatings with a study of their own; run it with:
             drypoint run scratch/scratch.toml
truth.csv    the truth, one row an unloading (invented; the program never reads it)
truth.json   the truth with everything behind it (invented; the program never reads it)

Three records are bad on purpose: G-25 never touches the surface, the file of G-26 breaks off in
the middle of a line, and in F-17 the force runs into the end of its range. A run must set them
aside with the reason and go on.

Values from this folder say nothing about any real material.
"""


def _nu(specimen: str) -> str:
    value, u = STATED[f"nu.{specimen}"]
    return f"nu = {value}\nu_nu = {u}"


def _film(name: str, key: str) -> str:
    value, u = FILM_STATED[name]
    return f"{key} = {value}\nu_{key} = {u}"


def study_toml(seed: int) -> str:
    """The demo's study file."""
    return f"""# {MARK}
drypoint = 1

[study]
name = "Demo: glass, film and steel (invented)"
question = "Does the bench find what is known to be true?"
laboratory = "invented laboratory"
operator = "invented operator A"
standard = "ISO 14577-1 practice"
remarks = "All records are invented. The truth stands in truth.csv."
invented = true
seed = {seed}

[[records]]
files = ["raw/glass/*.txt"]
specimen = "glass"
delimiter = ";"
decimal = ","
split = "one"
[records.columns]
time = {{ name = "Time", unit = "s" }}
force = {{ name = "Force", unit = "mN" }}
depth = {{ name = "Depth", unit = "nm" }}

[[records]]
files = ["raw/film/*.txt.gz"]
specimen = "film"
split = "blank lines"

[[records]]
files = ["raw/steel/*.txt"]
specimen = "steel"
split = "column"

[[records]]
files = ["raw/tempered/*.txt"]
specimen = "tempered"
split = "column"

[specimens.glass]
description = "window glass, invented"
{_nu("glass")}

[specimens.film]
description = "400 nm film on a wafer, invented"
{_nu("film")}

# The film's own modulus is sought, from all its unloadings together.
[[specimens.film.layers]]
name = "film"
{_film("film.thickness_nm", "thickness_nm")}
residual_stress_GPa = -0.5

[specimens.film.substrate]
name = "wafer"
{_film("wafer.E_GPa", "E_GPa")}
{_film("wafer.nu", "nu")}
hardness_GPa = 12.0

[specimens.steel]
description = "two-phase steel, invented"
{_nu("steel")}
material_class = "iron alloy"

[specimens.tempered]
description = "the same steel after tempering, invented"
nu_of = "steel"
material_class = "iron alloy"

# Tip and frame as the calibration in bench/bench.toml found them.
[benches.B1]
file = "bench/calibration.toml"

[corrections.zero]
method = "first contact"

[corrections.drift]
method = "drift hold"

[analysis]
unloading = "power law"
epsilon = "exponent"
beta = 1.0
radial_correction = true

# Does tempering change the hardness? And does the modulus stay, within 10 GPa?
[[comparisons]]
specimens = ["steel", "tempered"]
quantity = "H_IT"
kind = "ratio"

[[comparisons]]
specimens = ["steel", "tempered"]
quantity = "E_IT"
margin = 10.0

# What happens below the surface of the film, by finite elements. Modulus and hardness are what the
# film is thought to have; all else of film and wafer is that of the specimen.
[stress.film]
specimen = "film"
force_mN = 15.0
layers = [{{ E_GPa = 240.0, hardness_GPa = 18.0 }}]

[uncertainty]
monte_carlo_trials = 20000
"""
