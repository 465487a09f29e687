"""[[specimens.NAME.layers]]: what they mean in SI, and what is refused, with its key."""

from __future__ import annotations

import numpy as np
import pytest

from drypoint.recipe import StudyError, read_study, to_toml
from drypoint.recipe.convert import surroundings_of
from drypoint.recipe.to_films import coating_of
from drypoint.recipe.to_stress import stress_problem

FILM = """
[[specimens.glass.layers]]
name = "film"
thickness_nm = 400.0
u_thickness_nm = 8.0
residual_stress_GPa = -0.5

[specimens.glass.substrate]
name = "wafer"
E_GPa = 170.0
u_E_GPa = 3.0
nu = 0.22
u_nu = 0.02
hardness_GPa = 12.0
"""


def test_layers_become_a_structure(study_text: str) -> None:
    study = read_study(study_text + FILM, "study.toml")
    c = coating_of(study, "glass")
    assert c is not None
    (layer,), base = c.structure.layers, c.structure.substrate
    assert layer.E.sought and not layer.t.sought
    assert (layer.t.value, layer.t.u) == (400e-9, pytest.approx(8e-9))
    # The Poisson's ratio of the specimen: the same number, not a second one beside it.
    assert (layer.nu.value, layer.nu.u, layer.nu.shared) == (0.2, 0.01, "nu.glass")
    assert (base.E.value, base.E.u, base.nu.value) == (170e9, 3e9, 0.22)
    assert c.stresses[0].value == -0.5e9
    assert c.hardness is not None and c.hardness.value == 12e9
    assert (c.u_model, c.up_to_depth, c.steps) == (0.03, 1.0, 0)
    assert surroundings_of(study.specimen("glass")).film == 400e-9


def test_written_and_read_again(study_text: str) -> None:
    first = read_study(study_text + FILM, "s.toml")
    again = read_study(to_toml(first.file), "s.toml")
    assert again.file == first.file
    assert again.recipe_hash == first.recipe_hash


def test_a_specimen_without_layers_has_no_coating(study_text: str) -> None:
    assert coating_of(read_study(study_text, "study.toml"), "glass") is None


def test_two_layers_and_a_prior(study_text: str) -> None:
    text = study_text + FILM.replace(
        "[specimens.glass.substrate]",
        """[[specimens.glass.layers]]
name = "bond coat"
E_GPa = 280.0
u_E_GPa = 30.0
nu = 0.21
thickness_nm = 50.0
sought = ["E", "thickness"]
interface = "slipping"

[specimens.glass.substrate]""",
    ).replace('name = "film"', 'name = "film"\nE_GPa = 300.0')
    c = coating_of(read_study(text, "study.toml"), "glass")
    assert c is not None
    top, bond = c.structure.layers
    assert not top.E.sought  # the other layer is asked for
    assert bond.slips and bond.E.sought and bond.E.u == pytest.approx(30e9)
    assert bond.t.sought and np.isinf(bond.t.u)


def test_a_stress_run_takes_the_layers(study_text: str) -> None:
    """Thickness, residual stress, substrate and its hardness come from the specimen."""
    run = """
[stress.film]
specimen = "glass"
force_mN = 5.0
layers = [{ E_GPa = 240.0, hardness_GPa = 18.0 }]
"""
    p = stress_problem(read_study(study_text + FILM + run, "study.toml"), "film")
    (layer,) = p.stack.layers
    assert (layer.thickness, layer.residual_stress) == (400e-9, -0.5e9)
    assert (layer.material.name, layer.material.nu) == ("film", 0.2)
    assert (p.stack.substrate.E, p.stack.substrate.nu) == (170e9, 0.22)
    assert 12e9 / 2.7 < p.stack.substrate.first_yield < 12e9 / 1.4


FAULTS = {
    "no substrate": (FILM[FILM.index("[specimens.glass.substrate]") :], "", "substrate", "carries"),
    "no thickness": ("thickness_nm = 400.0\n", "", "layers[1].thickness_nm", "missing"),
    "thickness 0": ("nm = 400.0", "nm = 0.0", "layers[1].thickness_nm", "above 0"),
    "no modulus": ("E_GPa = 170.0\n", "", "substrate.E_GPa", "missing"),
    "two sources": ("E_GPa = 170.0\n", 'E_GPa = 170.0\nreference = "fused silica"\n',
                    "substrate.E_GPa", "reference is given too"),
    "unknown": ("E_GPa = 170.0\nu_E_GPa = 3.0\nnu = 0.22\nu_nu = 0.02\n", 'reference = "cheese"\n',
                "substrate.reference", "cheese"),
    "same name": ('name = "wafer"', 'name = "film"', "layers", "share a name"),
    "word": ("residual_stress_GPa", 'interface = "glued"\nresidual_stress_GPa',
             "layers[1].interface", "bonded"),
    "sought": ("residual_stress_GPa", 'sought = ["H"]\nresidual_stress_GPa',
               "layers[1].sought[1]", "thickness"),
}  # fmt: skip


@pytest.mark.parametrize("name", FAULTS)
def test_faults_say_where(study_text: str, name: str) -> None:
    old, new, key, words = FAULTS[name]
    assert old in FILM
    with pytest.raises(StudyError) as caught:
        read_study(study_text + FILM.replace(old, new, 1), "study.toml")
    assert f"specimens.glass.{key}" in {where.key for where, _, _ in caught.value.problems}
    assert words in str(caught.value)


def test_a_thickness_is_stated_once(study_text: str) -> None:
    text = study_text.replace("nu = 0.2\n", "nu = 0.2\nthickness_nm = 250.0\n")
    with pytest.raises(StudyError, match="stated with the layers"):
        read_study(text + FILM, "study.toml")
    once = FILM.replace("thickness_nm = 400.0\n", "")
    c = coating_of(read_study(text + once, "study.toml"), "glass")
    assert c is not None and c.structure.layers[0].t.value == 250e-9


def test_a_substrate_without_layers_is_refused(study_text: str) -> None:
    bare = FILM[FILM.index("[specimens.glass.substrate]") :]
    with pytest.raises(StudyError, match="no layer"):
        read_study(study_text + bare, "study.toml")


def test_a_reference_gives_modulus_and_ratio(study_text: str) -> None:
    numbers = "E_GPa = 170.0\nu_E_GPa = 3.0\nnu = 0.22\nu_nu = 0.02\n"
    text = study_text + FILM.replace(numbers, 'reference = "fused silica"\n')
    c = coating_of(read_study(text, "study.toml"), "glass")
    assert c is not None
    # Fused silica: 72 GPa and 0.17 to 0.18, as handbooks have it (from memory).
    assert c.structure.substrate.E.value == pytest.approx(72e9, rel=0.02)
