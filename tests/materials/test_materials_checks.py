"""The packaged reference materials against check values; source and mark beside each."""

from __future__ import annotations

from dataclasses import FrozenInstanceError
from typing import Any

import pytest

from drypoint.contact.unloading import (
    combined_modulus,
    force_over_stiffness_squared,
    plane_strain_modulus,
)
from drypoint.errors import DrypointError
from drypoint.materials import Material, load, names

OP = "Oliver & Pharr, J. Mater. Res. 7 (1992) 1564"
# name, E/GPa, nu, hardness/GPa, E/(1-nu^2), E_r with diamond 1141/0.07, source, mark. The last two
# numbers are computed (C); tolerances are half a unit of the last place printed.
ROWS = [
    ("fused silica", 72.0, 0.17, (9.0, 9.5), 74.143, 69.640, OP, "M-hi (E), M-lo (H)"),
    ("BK7 glass", 82.0, 0.206, (7.0, 7.6), 85.634, 79.683, "data sheet; ISO practice", "M"),
    ("soda-lime glass", 69.9, 0.227, (5.5, 6.0), 73.698, 69.247, OP, "M"),
    ("sapphire (0001)", 441.0, 0.234, (27.0, 30.0), 466.5, 331.6, OP, "M"),
    ("quartz (001)", 124.0, 0.077, (12.0, 14.0), 124.74, 112.5, OP, "M-lo"),
    ("tungsten", 411.0, 0.28, (3.4, 4.0), 445.96, 321.08, "pymatgen-core 2026.10.16", "S"),
    ("aluminium", 70.4, 0.347, (0.2, 0.5), 80.04, 74.8, "pymatgen: 70, 0.35", "S, rounded"),
    ("diamond", 1141.0, 0.07, None, 1146.6, None, OP, "M-hi"),
]


def last_place(number: float) -> float:
    return 0.51 * 10.0 ** -len(str(number).partition(".")[2])


@pytest.mark.parametrize("row", ROWS, ids=[r[0] for r in ROWS])
def test_reference_values(row: tuple[Any, ...]) -> None:
    name, E, nu, hardness, plane, reduced, source, mark = row
    m, d = load(name), load("diamond")
    where = (source, mark)
    assert pytest.approx(E * 1e9) == m.E and m.nu == nu, where
    assert m.hardness == (None if hardness is None else pytest.approx([h * 1e9 for h in hardness]))
    stiff = float(plane_strain_modulus(m.E, m.nu)) / 1e9
    assert stiff == pytest.approx(plane, abs=last_place(plane)), where
    if reduced is not None:
        E_r = float(combined_modulus(m.E, m.nu, d.E, d.nu)) / 1e9
        assert E_r == pytest.approx(reduced, abs=last_place(reduced)), where


def test_invariant_of_fused_silica() -> None:
    """F/S^2 = pi H/(4 beta^2 E_r^2), Joslin & Oliver 1990; H 9.25, E_r 69.64 GPa, beta 1 (C)."""
    value = float(force_over_stiffness_squared(9.25e9, 69.64e9)) * 1e9
    assert value == pytest.approx(1.4980e-3, abs=0.51e-7)


@pytest.mark.parametrize(
    ("E", "nu", "plane", "tolerance", "source"),
    [
        # Printed as 97.2; K 38.1 and G 44.9 themselves give 97.29.
        (
            9 * 38.1 * 44.9 / (3 * 38.1 + 44.9),
            0.077,
            97.2,
            0.1,
            "quartz average, burnman 2.1.0, S/C",
        ),
        (410.4, 0.280, 445.4, 0.15, "tungsten crystal, Featherston & Neighbours 1963, S/C"),
    ],
)
def test_averages_from_elasticity(
    E: float, nu: float, plane: float, tolerance: float, source: str
) -> None:
    assert float(plane_strain_modulus(E, nu)) == pytest.approx(plane, abs=tolerance), source


@pytest.mark.parametrize("name", names())
def test_every_material_says_where_it_comes_from(name: str) -> None:
    m = load(name)
    assert isinstance(m, Material) and m.name == name
    assert m.citation and m.keys and m.mark and m.u_mark
    assert m.u_E > 0 and m.u_nu > 0 and 20 * m.u_E < m.E and -1 < m.nu < 0.5
    if m.hardness is not None:
        assert 0 < m.hardness[0] < m.hardness[1] < m.E / 5
    for alias in m.aliases:
        assert load(alias) is m


def test_names_are_forgiving_and_unique() -> None:
    assert load("Fused-Silica") is load("  fused silica") is load("fused quartz")
    assert load("quartz").name == "quartz (001)"
    spellings = [s.casefold() for n in names() for s in (n, *load(n).aliases)]
    assert len(spellings) == len(set(spellings))
    with pytest.raises(FrozenInstanceError):
        load("BK7").E = 1.0  # type: ignore[misc]


def test_unknown_material_is_refused_with_a_hint() -> None:
    with pytest.raises(DrypointError) as caught:
        load("saphire")
    assert "sapphire (0001)" in caught.value.remedy and "fused silica" in caught.value.remedy
    with pytest.raises(DrypointError, match="no reference material"):
        load("unobtainium")
