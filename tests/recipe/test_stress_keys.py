"""[stress.NAME]: what it means in SI, and what is refused with the key that is wrong."""

from __future__ import annotations

import numpy as np
import pytest

from drypoint.recipe import StudyError, read_study
from drypoint.recipe.to_stress import stress_problem

FILM = """
[stress.film]
specimen = "glass"
force_mN = 5.0
layers = [{ name = "film", E_GPa = 240.0, nu = 0.25, yield_GPa = 7.0, thickness_nm = 400.0, LATER }]
substrate = { E_GPa = 170.0, nu = 0.22, hardness_GPa = 12.0 }
""".replace("LATER", "residual_stress_GPa = -0.5")


def test_a_table_becomes_a_problem(study_text: str) -> None:
    """Units, order of the solids, tip of the records with its own modulus, and the defaults."""
    p = stress_problem(read_study(study_text + FILM, "study.toml"), "film")
    (layer,) = p.stack.layers
    assert (layer.material.E, layer.material.nu, layer.material.yield_stress) == (240e9, 0.25, 7e9)
    assert (layer.thickness, layer.residual_stress) == (400e-9, -0.5e9)
    assert p.stack.substrate.E == 170e9
    assert 12e9 / 2.7 < p.stack.substrate.first_yield < 12e9 / 1.4
    assert [leg.force for leg in p.protocol.legs] == [5e-3, 0.0]
    assert p.profile.E_i == pytest.approx(1140e9)
    # Berkovich: 3 sqrt(3) tan^2(65.03 degrees) is 23.97, by geometry.
    assert p.profile.radius(1e-7) ** 2 * np.pi == pytest.approx(23.97e-14, rel=2e-3)
    assert (p.mesh, p.friction, p.name) == ("quick", 0.0, "film")


def test_what_is_left_out_comes_from_the_specimen(study_text: str) -> None:
    text = study_text.replace("nu = 0.2\n", "nu = 0.2\nthickness_nm = 250.0\n")
    film = FILM.replace(" nu = 0.25,", "").replace(" thickness_nm = 400.0,", "")
    p = stress_problem(read_study(text + film, "study.toml"), "film")
    assert p.stack.layers[0].thickness == 250e-9
    assert p.stack.layers[0].material.nu == 0.2
    bare = "[stress.bulk]\nspecimen = 'glass'\ndepth_nm = 50.0\nsubstrate = { E_GPa = 72.0 }\n"
    p = stress_problem(read_study(study_text + bare, "study.toml"), "bulk")
    assert (p.stack.substrate.nu, p.protocol.depth) == (0.2, 50e-9)


def test_cycles_and_a_tip_of_its_own(study_text: str) -> None:
    more = FILM.replace(
        "force_mN = 5.0",
        "force_mN = 6.0\ncycles = 3\ncycle_forces = 'rising'\nback_to = 0.2\nhold_s = 2.0\n"
        "rigid = true\nshape = { shape = 'sphere', radius_nm = 5000.0 }",
    )
    p = stress_problem(read_study(study_text + more, "study.toml"), "film")
    goals = [leg.force for leg in p.protocol.legs if not leg.hold]
    assert goals == pytest.approx([2e-3, 0.4e-3, 4e-3, 0.8e-3, 6e-3, 0.0])
    assert sum(leg.hold for leg in p.protocol.legs) == 3
    assert p.profile.E_i is None
    assert p.profile.radius(1e-9) == pytest.approx(np.sqrt(2 * 5e-6 * 1e-9), rel=1e-3)


FAULTS = {
    "thickness 0": ("nm = 400.0", "nm = 0.0", "layers[1].thickness_nm", "above 0"),
    "no thickness": ("thickness_nm = 400.0,", "", "layers[1].thickness_nm", "missing"),
    "modulus": ("E_GPa = 170.0", "E_GPa = -170.0", "substrate.E_GPa", "above 0"),
    "no modulus": ("E_GPa = 170.0, ", "", "substrate.E_GPa", "missing"),
    "nu 0.5": ("nu = 0.22", "nu = 0.5", "substrate", "incompressible"),
    "two yields": ("yield_GPa = 7.0", "yield_GPa = 7.0, hardness_GPa = 18.0",
                   "layers[1].hardness_GPa", "one of the two"),
    "hard": ("hardness_GPa = 12.0", "hardness_GPa = 60.0", "substrate.hardness_GPa", "hardly"),
    "residual": ("GPa = -0.5", "GPa = -7.5", "layers[1].residual_stress_GPa", "below the yield"),
    "both": ("force_mN = 5.0", "force_mN = 5.0\ndepth_nm = 9.0", "depth_nm", "force_mN is given"),
    "neither": ("force_mN = 5.0", "", "force_mN", "missing"),
    "cycles": ("force_mN = 5.0", "depth_nm = 90.0\ncycles = 2", "cycles", "force_mN"),
    "specimen": ('specimen = "glass"', 'specimen = "glas"', "specimen", "glass"),
    "tip": ("force_mN = 5.0", "force_mN = 5.0\ntip = 'B7'", "tip", "B1"),
    "two tips": ("force_mN = 5.0", "force_mN = 5.0\ntip = 'B1'\nshape = { shape = 'cone' }",
                 "shape", "tip is given too"),
    "cone": ("force_mN = 5.0", "force_mN = 5.0\nshape = { shape = 'cone' }",
             "shape.half_angle_deg", "missing"),
    "ball": ("force_mN = 5.0", "depth_nm = 95.0\nshape = { shape = 'sphere', radius_nm = 100.0 }",
             "depth_nm", "known for"),
    "crushed": ("force_mN = 5.0", "depth_nm = 390.0", "depth_nm", "soft layer"),
    "word": ("force_mN = 5.0", "force_mN = 5.0\nquality = 'best'", "quality", "quick"),
    "friction": ("force_mN = 5.0", "force_mN = 5.0\nfriction = 1.5", "friction", "not above 1"),
}  # fmt: skip


@pytest.mark.parametrize("name", FAULTS)
def test_faults_say_where(study_text: str, name: str) -> None:
    """A sentence with the key, whatever is impossible."""
    old, new, key, words = FAULTS[name]
    assert old in FILM
    text = FILM.replace(old, new, 1)
    if name == "crushed":
        text = text.replace("yield_GPa = 7.0", "yield_GPa = 0.5")
        text = text.replace("residual_stress_GPa = -0.5", "residual_stress_GPa = 0.0")
    with pytest.raises(StudyError) as caught:
        read_study(study_text + text, "study.toml")
    assert f"stress.film.{key}" in {where.key for where, _, _ in caught.value.problems}
    assert words in str(caught.value)


def test_uncertainties_are_the_runs_own_or_come_with_the_specimens_numbers(
    study_text: str,
) -> None:
    own = FILM.replace("thickness_nm = 400.0", "thickness_nm = 400.0, u_thickness_nm = 6.0")
    own = own.replace("E_GPa = 170.0", "E_GPa = 170.0, u_hardness_GPa = 0.3, u_E_GPa = 2.0")
    doubts = stress_problem(read_study(study_text + own, "study.toml"), "film").doubts
    (thick,) = [d for d in doubts if d.what == "thickness"]
    assert (thick.solid, thick.u) == (0, pytest.approx(6e-9))
    (hard,) = [d for d in doubts if d.what == "yield stress"]
    # A hardness of H/2.62 to H/1.4 (rule of thumb to hard solids): its uncertainty likewise.
    assert hard.solid == 1 and 0.3e9 / 2.7 < hard.u < 0.3e9
    (soft,) = [d for d in doubts if d.what == "modulus"]
    # The same hardness with a larger modulus stands for a lower yield stress.
    assert (soft.solid, soft.u) == (1, 2e9) and soft.yields < 0


def test_an_uncertainty_of_what_is_not_given_is_refused(study_text: str) -> None:
    text = study_text + FILM.replace("E_GPa = 170.0", "E_GPa = 170.0, u_yield_GPa = 0.1")
    with pytest.raises(StudyError, match="u_yield_GPa"):
        stress_problem(read_study(text, "study.toml"), "film")
