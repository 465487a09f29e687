"""Units at the edges, against factors that stand outside: NIST SP 811 (2008), appendix B."""

from __future__ import annotations

import math

import pytest

from drypoint import units
from drypoint.errors import UnitError

# NIST SP 811, appendix B.8 and B.9 (gram-force by the conventional g_n = 9.806 65 m/s² exactly).
NIST = [
    ("gf", "force", 9.80665e-3),
    ("kgf", "force", 9.80665),
    ("pond", "force", 9.80665e-3),
    ("dyn", "force", 1e-5),
    ("Å", "length", 1e-10),
    ("A", "length", 1e-10),
    ("micron", "length", 1e-6),
    ("min", "time", 60.0),
    ("deg", "angle", math.pi / 180),
    ("kgf/mm^2", "pressure", 9.80665e6),
    ("mN", "force", 1e-3),
    ("µN", "force", 1e-6),
    ("μN", "force", 1e-6),
    ("uN", "force", 1e-6),
    ("nm", "length", 1e-9),
    ("um", "length", 1e-6),
    ("N/mm²", "pressure", 1e6),
    ("GPa", "pressure", 1e9),
    ("mN/nm", "stiffness", 1e6),
    ("uN/nm", "stiffness", 1e3),
    ("nm/mN", "compliance", 1e-6),
    ("nm·s⁻¹", "velocity", 1e-9),
    ("µm²", "area", 1e-12),
    ("%", "dimensionless", 0.01),
]


@pytest.mark.parametrize(("unit", "dimension", "value"), NIST)
def test_factors(unit: str, dimension: str, value: float) -> None:
    assert units.factor(unit, dimension) == pytest.approx(value, rel=1e-14)
    assert units.dimension_of(unit) == dimension


def test_temperatures_have_an_offset() -> None:
    assert units.factor("°C", "temperature") == 1.0
    assert units.offset("deg C", "temperature") == pytest.approx(273.15)
    assert units.show(296.15, "degC", "temperature") == pytest.approx(23.0)
    assert units.offset("mN", "force") == 0.0


@pytest.mark.parametrize(
    ("unit", "dimension"),
    [
        ("mN", "length"), ("nm", "force"), ("V", "force"), ("", "angle"), ("%", "angle"),
        ("count", "angle"), ("g", "force"), ("NM", "length"), ("mn", "force"), ("10", "length"),
        ("9**9**9**9", "force"), ("mN; nm", "force"), ("x" * 500, "length"),
        ("m" + "/m" * 200, "length"), ("__import__", "length"),
    ],
)  # fmt: skip
def test_what_is_no_unit(unit: str, dimension: str) -> None:
    with pytest.raises(UnitError) as caught:
        units.factor(unit, dimension)
    assert caught.value.remedy.startswith("Write one such as")


def test_likely_slips_are_named() -> None:
    for unit, dimension, hint in [
        ("g", "force", "gf"), ("NM", "length", "nm"), ("mn", "force", "millinewton")
    ]:  # fmt: skip
        with pytest.raises(UnitError, match=hint):
            units.factor(unit, dimension)


def test_same_unit_in_other_letters() -> None:
    assert units.same("um", "µm") and units.same("μN", "uN") and units.same("[nm]", "nm")
    assert not units.same("mN", "MN") and not units.same("mN", "nm") and not units.same("V", "a")


@pytest.mark.parametrize("text", ["", "Load", "a.u.", "B", "V"])
def test_words_have_no_dimension(text: str) -> None:
    assert units.dimension_of(text) in (None, "dimensionless")


@pytest.mark.parametrize("unit", ["m", "s", "N", "Pa", "J", "Hz", "rad", "N/m", "m/N", "m/s"])
@pytest.mark.parametrize("prefix", ["", "n", "µ", "m", "k", "M", "G"])
def test_the_short_list_agrees_with_the_whole_one(prefix: str, unit: str) -> None:
    """Pint's own list is the reference; the short one only loads faster."""
    name = prefix + unit
    whole = units._registry().Quantity(1.0, name).to(unit).magnitude
    assert units._usual().Quantity(1.0, name).to(unit).magnitude == pytest.approx(whole, rel=1e-15)


def test_degrees_and_grams_of_the_short_list() -> None:
    for name, target in (("deg", "rad"), ("kg", "N*s**2/m")):
        whole = units._registry().Quantity(1.0, name).to(target).magnitude
        assert units._usual().Quantity(1.0, name).to(target).magnitude == pytest.approx(whole)
