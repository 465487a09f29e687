"""The demo's scenario: an invented laboratory, three invented specimens, what is stated of them.

What a study file states (tip radius, frame compliance and so on) is fixed below. What is true is
drawn from the seed, within one stated standard uncertainty of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from drypoint.simulation.cycles import Cycle, single, stepped
from drypoint.simulation.layered import on_layers
from drypoint.simulation.truth import Creep, Law, Noise, Truth
from drypoint.tips.build import blunted_tip
from drypoint.tips.geometry import Geometry
from drypoint.tips.tip import Tip

#: Stated value and standard uncertainty, in the units of the study file.
STATED: Mapping[str, tuple[float, float]] = {
    "radius_nm": (80.0, 4.0),
    "face_angle_deg": (65.27, 0.03),
    "compliance_nm_per_mN": (0.25, 0.02),
    "nu.glass": (0.17, 0.0),
    "nu.film": (0.25, 0.03),
    "nu.steel": (0.29, 0.01),
}

#: What is stated of film and wafer besides. Drawn apart, so that the other specimens do not change.
FILM_STATED: Mapping[str, tuple[float, float]] = {
    "film.thickness_nm": (400.0, 8.0),
    "wafer.E_GPa": (170.0, 3.0),
    "wafer.nu": (0.22, 0.02),
}
#: The film's own modulus, which a study is to find.
FILM_E = 240e9
#: Hardness of film on wafer: deep + (surface - deep) exp(-h_c / length).
FILM_H = Law(surface=18e9, deep=12e9, length=400e-9)
GLASS_E, GLASS_H = 72e9, 9.2e9
GLASS_FORCES = (3e-3, 7e-3, 15e-3)
STEEL_E = 210e9
#: Phase -> hardness, its relative scatter, unloading exponent.
PHASES: Mapping[str, tuple[float, float, float]] = {
    "ferrite-like": (2.6e9, 0.05, 1.33),
    "martensite-like": (6.0e9, 0.07, 1.38),
}
#: Phase -> lowest and highest force at which the elastic contact yields with a jump, N.
POP_IN: Mapping[str, tuple[float, float]] = {
    "ferrite-like": (0.08e-3, 0.14e-3),
    "martensite-like": (0.05e-3, 0.09e-3),
}
STEEL_GRID = (8, 5)
#: Distance of neighbours on the steels, m: more than five diameters of the largest impression.
STEEL_PITCH = 15e-6
#: The same steel after tempering (invented): one phase; hardness, its relative scatter, exponent.
TEMPERED = (3.3e9, 0.04, 1.35)
_TEMPERED_TESTS = 12

_NOISE = Noise(
    force_white=0.3e-6,
    force_coloured=0.1e-6,
    depth_white=0.15e-9,
    depth_coloured=0.06e-9,
    memory=0.3,
)
_GLASS_TESTS, _FILM_TESTS = 24, 16


@dataclass(frozen=True)
class Planned:
    """One test of the scenario: the file it goes to, its truth, its cycle; ``phase`` for steel.

    ``cut`` is set where the file is to be broken off.
    """

    file: str
    truth: Truth
    cycle: Cycle
    phase: str = ""
    cut: bool = False


@dataclass(frozen=True)
class Scenario:
    """All tests, and the true values behind what is stated."""

    seed: int
    tip: Tip
    true: Mapping[str, float]
    tests: tuple[Planned, ...]


def scenario(seed: int) -> Scenario:
    """The demo's scenario for a seed."""
    rng = np.random.default_rng(np.random.SeedSequence((seed, 1)))
    true = {k: v + u * float(rng.uniform(-1, 1)) for k, (v, u) in STATED.items()}
    apart = np.random.default_rng(np.random.SeedSequence((seed, 5)))
    true |= {k: v + u * float(apart.uniform(-1, 1)) for k, (v, u) in FILM_STATED.items()}
    angle = float(np.radians(true["face_angle_deg"]))
    tip = blunted_tip(
        Geometry("modified Berkovich", angle=angle, radius=true["radius_nm"] * 1e-9), name="B1"
    )
    base = base_truth(tip, true)
    tests = [
        *_glass(base, rng),
        *_film(base, true, rng),
        *_steel(base, true, rng),
        *_tempered(base, true, rng),
    ]
    return Scenario(seed, tip, true, tuple(tests))


def base_truth(tip: Tip, true: Mapping[str, float]) -> Truth:
    """What is common to all tests of the demo: tip, frame, noise, wandering drift."""
    return Truth(
        tip=tip,
        E=Law.constant(GLASS_E),
        H=Law.constant(GLASS_H),
        nu=true["nu.glass"],
        compliance=true["compliance_nm_per_mN"] * 1e-6,
        drift_walk=0.004e-9,
        noise=_NOISE,
    )


def disturbed(truth: Truth, rng: np.random.Generator) -> Truth:
    """The same test with a drift rate and a zero offset of its own."""
    return replace(
        truth,
        drift_rate=float(np.clip(0.015e-9 * rng.standard_normal(), -0.04e-9, 0.04e-9)),
        zero_offset=float(rng.uniform(150e-9, 900e-9)),
    )


def declared(specimen: str, date: str, minute: int, rng: np.random.Generator) -> dict[str, str]:
    """Header words of one test, with a decimal comma."""
    return {
        "Specimen": specimen,
        "Date": date,
        "Start time": f"{8 + minute // 60:02d}:{minute % 60:02d}",
        "Operator": "invented operator A",
        "Indenter": "B1",
        "Temperature": f"{22.8 + 0.2 * rng.standard_normal():.1f} °C".replace(".", ","),
        "Humidity": f"{round(42 + 2 * rng.standard_normal())} %",
        "Control": "force",
    }


def _glass(base: Truth, rng: np.random.Generator) -> list[Planned]:
    """Single cycles at three forces; one test that never touches, one file that breaks off."""
    planned = []
    for i in range(_GLASS_TESTS + 2):
        name = f"G-{i + 1:02d}"
        truth = replace(
            disturbed(base, rng),
            name=name,
            specimen="glass",
            m=1.30,
            creep=Creep(0.004),
            position_m=(25e-6 * (i % 8), 25e-6 * (i // 8)),
            declared=declared("window glass, invented", "2025-03-10", 4 * i, rng),
            fault="no contact" if i == _GLASS_TESTS else None,
        ).with_radial_factor()
        cycle = single(GLASS_FORCES[i // 8 % 3], shape=2.0, gap=120e-9)
        planned.append(Planned(f"raw/glass/{name}.txt", truth, cycle, cut=i == _GLASS_TESTS + 1))
    return planned


def _film(base: Truth, true: Mapping[str, float], rng: np.random.Generator) -> list[Planned]:
    """Stepped loading on the film; the last test runs into the end of the force range."""
    modulus = on_layers(
        FILM_E, true["nu.film"], true["film.thickness_nm"] * 1e-9,
        true["wafer.E_GPa"] * 1e9, true["wafer.nu"], base.tip,
    )  # fmt: skip
    planned = []
    for i in range(_FILM_TESTS + 1):
        truth = replace(
            disturbed(base, rng),
            name=f"F-{i + 1:02d}",
            specimen="film",
            E=modulus,
            H=FILM_H,
            nu=true["nu.film"],
            m=1.35,
            creep=Creep(0.003),
            position_m=(20e-6 * (i % 4), 20e-6 * (i // 4)),
            fault="saturated force" if i == _FILM_TESTS else None,
        ).with_radial_factor()
        cycle = stepped(15e-3, load=5.0, hold=3.0, unload=5.0, gap=100e-9, rate=15.0)
        planned.append(Planned(f"raw/film/part-{min(i // 4, 3) + 1}.txt.gz", truth, cycle))
    return planned


def _steel(base: Truth, true: Mapping[str, float], rng: np.random.Generator) -> list[Planned]:
    """A grid over two phases; each test starts elastic, up to a pop-in."""
    nx, ny = STEEL_GRID
    hard = _islands(rng, nx, ny)
    planned = []
    for i in range(nx * ny):
        ix, iy = i % nx, i // nx
        phase = "martensite-like" if hard[iy, ix] else "ferrite-like"
        H, scatter, m = PHASES[phase]
        lowest, highest = POP_IN[phase]
        truth = replace(
            disturbed(base, rng),
            name=f"S-{i + 1:02d}",
            specimen="steel",
            E=Law.constant(STEEL_E * (1 + 0.015 * _within_two(rng))),
            H=Law.constant(H * (1 + scatter * _within_two(rng))),
            nu=true["nu.steel"],
            m=m,
            creep=Creep(0.006),
            pop_in_force=float(rng.uniform(lowest, highest)),
            position_m=(STEEL_PITCH * ix, STEEL_PITCH * iy),
        ).with_radial_factor()
        cycle = single(5e-3, load=25.0, unload=12.0, drift_hold=40.0, shape=2.0, gap=100e-9)
        planned.append(Planned(f"raw/steel/row-{iy + 1}.txt", truth, cycle, phase))
    return planned


def _tempered(base: Truth, true: Mapping[str, float], rng: np.random.Generator) -> list[Planned]:
    """The steel after tempering: the modulus stays, the hardness differs; a row of tests."""
    H, scatter, m = TEMPERED
    planned = []
    for i in range(_TEMPERED_TESTS):
        truth = replace(
            disturbed(base, rng),
            name=f"T-{i + 1:02d}",
            specimen="tempered",
            E=Law.constant(STEEL_E * (1 + 0.015 * _within_two(rng))),
            H=Law.constant(H * (1 + scatter * _within_two(rng))),
            nu=true["nu.steel"],
            m=m,
            creep=Creep(0.006),
            pop_in_force=float(rng.uniform(*POP_IN["ferrite-like"])),
            position_m=(STEEL_PITCH * i, 0.0),
        ).with_radial_factor()
        cycle = single(5e-3, load=25.0, unload=12.0, drift_hold=40.0, shape=2.0, gap=100e-9)
        planned.append(Planned("raw/tempered/line.txt", truth, cycle))
    return planned


def _within_two(rng: np.random.Generator) -> float:
    """A normal deviate kept within two standard deviations."""
    return float(np.clip(rng.standard_normal(), -2, 2))


def _islands(
    rng: np.random.Generator, nx: int, ny: int
) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
    """Where the hard phase lies: the highest 40 % of a smoothed random field."""
    field = rng.standard_normal((ny + 2, nx + 2))
    near = sum(field[a : a + ny, b : b + nx] for a in range(3) for b in range(3))
    smooth = near + 2 * field[1:-1, 1:-1]
    hard: np.ndarray[tuple[int, ...], np.dtype[np.bool_]] = smooth > np.quantile(smooth, 0.6)
    return hard
