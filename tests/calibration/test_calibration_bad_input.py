"""Bad input: refusals and findings in plain words that say what to measure next."""

from __future__ import annotations

from dataclasses import replace

import calibration_cases as cases
import numpy as np
import pytest

from drypoint.calibration import (
    Calibration,
    CalibrationError,
    ConstantHardness,
    FixedLeading,
    Form,
    KnownCompliance,
    Reference,
    ReferenceTests,
    SecondMaterial,
    calibrate,
    rows_from_arrays,
)

KNOWN = KnownCompliance(0.25e-6, 0.01e-6)
BLUNTED = Form("blunted")


def rows(seed: int = 1, forces: np.ndarray = cases.FORCES, w: cases.World | None = None,
         *refs: Reference) -> ReferenceTests:  # fmt: skip
    chosen = {r: r.E for r in refs or (cases.GLASS,)}
    return cases.rows(w or cases.World(), chosen, np.random.default_rng(seed), forces)


def codes(c: Calibration) -> set[str]:
    return {f.code for f in c.findings}


def test_a_clean_calibration_has_no_findings() -> None:
    c = calibrate(rows(), *cases.nominal(), KNOWN, BLUNTED)
    assert codes(c) == set() and c.acceptable


@pytest.mark.parametrize("stated", [(), (SecondMaterial(),)])
@pytest.mark.parametrize("form", [Form("series"), Form("table"), BLUNTED])
def test_one_material_and_no_constraint_is_refused(stated: tuple, form: Form) -> None:
    with pytest.raises(CalibrationError, match="any frame compliance fits") as error:
        calibrate(rows(), *cases.nominal(), stated, form)
    assert "second material" in error.value.remedy and "certificate" in error.value.remedy


def test_two_materials_alike_do_not_identify() -> None:
    near = Reference("soda-lime glass", 69.9e9, 0.227)
    cases.HARD.setdefault(near.name, (6e9, 1.35))
    with pytest.raises(CalibrationError, match="differ by"):
        calibrate(rows(1, cases.FORCES, None, cases.GLASS, near), *cases.nominal(), ())


def test_two_materials_at_other_depths_do_not_identify() -> None:
    t = rows(1, cases.FORCES, None, cases.GLASS, cases.SAPPHIRE)
    far = (t.material == 0) & (t.F > 3e-3) | (t.material == 1) & (t.F < 2e-3)
    with pytest.raises(CalibrationError, match="hardly overlap"):
        calibrate(t.take(far), *cases.nominal(), ())


def test_too_few_depths() -> None:
    with pytest.raises(CalibrationError, match=r"reach 2 different depths") as error:
        calibrate(rows(1, np.repeat([1e-3, 10e-3], 10)), *cases.nominal(), KNOWN)
    assert "five forces" in error.value.remedy
    with pytest.raises(CalibrationError, match="8 terms need more"):
        calibrate(rows(1, np.repeat(np.geomspace(1e-3, 1e-2, 5), 4)), *cases.nominal(), KNOWN,
                  Form("series", 8))  # fmt: skip


def test_short_range_is_said() -> None:
    c = calibrate(
        rows(1, np.repeat(np.geomspace(5e-3, 12e-3, 5), 5)), *cases.nominal(), KNOWN, BLUNTED
    )
    assert "short range" in codes(c)


def test_no_tests() -> None:
    with pytest.raises(CalibrationError, match="no reference tests"):
        calibrate(rows().take(np.array([], dtype=int)), *cases.nominal(), KNOWN)


def test_negative_compliance() -> None:
    """E of the reference 10 % too high with a fixed leading term drives the compliance down."""
    wrong = replace(cases.GLASS, E=1.1 * cases.GLASS.E, u_E=0.0)
    t = replace(rows(), materials=(wrong,))
    with_low = cases.rows(cases.World(C_f=0.0), cases.GLASS, np.random.default_rng(0))
    t = replace(with_low, C=with_low.C - 0.2e-6, h=with_low.h - 0.2e-6 * with_low.F)
    c = calibrate(t, *cases.nominal(), ConstantHardness(), BLUNTED)
    (f,) = [f for f in c.findings if f.code == "negative compliance"]
    assert f.serious and "No frame is stiffer than rigid" in f.next_step and not c.acceptable


def test_compliance_above_the_total_is_refused() -> None:
    with pytest.raises(CalibrationError, match="is not below the total compliance"):
        calibrate(rows(), *cases.nominal(), KnownCompliance(0.25e-3))


def test_wrong_material_shows() -> None:
    """Sapphire taken for fused silica: hardness and area are both impossible."""
    true = cases.rows(cases.World(), cases.SAPPHIRE, np.random.default_rng(2))
    c = calibrate(replace(true, materials=(cases.GLASS,)), *cases.nominal(), KNOWN, BLUNTED)
    assert {"wrong material suspected", "area unlike the tip"} <= codes(c)
    assert not c.acceptable


def test_borosilicate_taken_for_silica_shows() -> None:
    """A glass of E 82 GPa, nu 0.206 read as fused silica: the area is 31 % too large."""
    other = Reference("crown glass", 82e9, 0.206)
    cases.HARD.setdefault(other.name, (7.3e9, 1.3))
    true = cases.rows(cases.World(), other, np.random.default_rng(2))
    c = calibrate(replace(true, materials=(cases.GLASS,)), *cases.nominal(), KNOWN, BLUNTED)
    assert {"wrong material suspected", "area unlike the tip"} <= codes(c)


def test_single_tests_on_another_material_are_named() -> None:
    t = rows()
    C = t.C.copy()
    C[[13, 31]] = 0.25e-6 + (C[[13, 31]] - 0.25e-6) * 0.6
    t = replace(t, C=C, names=tuple(f"G-{i + 1:02d}" for i in range(len(t))))
    c = calibrate(t, *cases.nominal(), KNOWN, BLUNTED)
    (f,) = [f for f in c.findings if f.code == "another material"]
    assert "G-14" in f.sentence and "G-32" in f.sentence
    assert {13, 31} == set(f.rows)


def test_chipped_tip_shows_with_its_day() -> None:
    """From the 26th test on the tip is blunter: same forces in turn, order is time."""
    forces = np.tile(np.geomspace(0.5e-3, 20e-3, 10), 5)
    before, after = (
        cases.rows(
            cases.World(tip=cases.worn_tip(r)), cases.GLASS, np.random.default_rng(5), forces
        )
        for r in (80e-9, 150e-9)
    )
    late = np.arange(50) >= 30
    t = replace(before, h=np.where(late, after.h, before.h), C=np.where(late, after.C, before.C))
    c = calibrate(t, *cases.nominal(), KNOWN, BLUNTED)
    (f,) = [f for f in c.findings if f.code == "tip changed"]
    assert "test 31" in f.sentence or "test 30" in f.sentence or "test 32" in f.sentence
    assert f.serious and "chipped" in f.next_step


def test_pile_up_on_the_reference() -> None:
    t = replace(rows(), ratio=np.full(50, 0.86))
    c = calibrate(t, *cases.nominal(), KNOWN, BLUNTED)
    assert "reference piles up" in codes(c)


def test_leading_term_of_a_table_is_refused() -> None:
    with pytest.raises(CalibrationError, match="no leading term"):
        calibrate(rows(), *cases.nominal(), FixedLeading(24.5), Form("table"))


def test_hardness_of_an_unknown_material() -> None:
    with pytest.raises(CalibrationError, match="No reference test is on"):
        calibrate(rows(), *cases.nominal(), ConstantHardness(material="gold"))
    with pytest.raises(CalibrationError, match="Fewer than three different depths"):
        calibrate(rows(), *cases.nominal(), ConstantHardness(h_min=300e-9))


@pytest.mark.parametrize(
    ("change", "words"),
    [({"F": -1.0}, "no sensible"), ({"C": np.nan}, "no sensible"), ({"m": 0.8}, "no sensible")],
)
def test_senseless_rows_are_named(change: dict, words: str) -> None:
    t = rows()
    columns = {k: getattr(t, k).copy() for k in ("F", "h", "C", "m")}
    for k, v in change.items():
        columns[k][7] = v
    with pytest.raises(CalibrationError, match=rf"test 8 has {words}"):
        rows_from_arrays(*columns.values(), cases.GLASS)


def test_wrong_form_leaves_a_trend() -> None:
    """One coefficient cannot follow a blunt tip."""
    c = calibrate(rows(), *cases.nominal(), KNOWN, Form("series", 1))
    assert "form does not fit" in codes(c)


def test_poor_determination_is_said() -> None:
    w = cases.World(stiffness_scatter=0.05)
    c = calibrate(
        rows(1, cases.FORCES[::3], w), *cases.nominal(), ConstantHardness(), Form("series", 3)
    )
    assert {"area poorly determined", "tests scatter"} <= codes(c)
    assert c.identification.condition > 1 and c.identification.directions[0].u > 0


def test_what_the_data_cannot_determine_is_said() -> None:
    c = calibrate(rows(), *cases.nominal(), ConstantHardness(h_min=100e-9), BLUNTED)
    text = " ".join(c.identification.sentences)
    assert "constant hardness for contact depths from 100 nm" in text
    assert "say nothing of the area unless the frame compliance is given" in text
    assert "no residual will show it" in text


def test_a_form_that_does_not_exist() -> None:
    with pytest.raises(CalibrationError, match="cannot be calibrated"):
        Form("polynomial")
    with pytest.raises(CalibrationError, match="terms"):
        Form("series", 12)
    with pytest.raises(CalibrationError, match="cannot have E"):
        Reference("x", -1.0, 0.2)
