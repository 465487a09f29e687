"""A calibration on a face of a crystal: the face is named, the value is from elastic constants,
and a study that was written for the former value says what changed. The data are the demo's,
invented; only the name of the reference material is another."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import numpy as np
import pytest

from drypoint.calibration import Reference
from drypoint.cli.calibrate import verdict_lines
from drypoint.materials import load
from drypoint.recipe import load_study, read_study
from drypoint.report.calibration_found import references
from drypoint.report.model import Table
from drypoint.run.bench_result import BenchResult
from drypoint.run.calibrating import calibrate_study
from drypoint.run.registering import calibration_text


@pytest.fixture(scope="module")
def on(demo_study: Path, tmp_path_factory: pytest.TempPathFactory):  # type: ignore[no-untyped-def]
    """The demo's calibration with a packaged material as its reference."""
    done: dict[str, BenchResult] = {}

    def calibrate(name: str) -> BenchResult:
        if name not in done:
            folder = tmp_path_factory.mktemp("crystal") / "bench"
            shutil.copytree(demo_study.parent / "bench", folder)
            path = folder / "bench.toml"
            text = path.read_text(encoding="utf-8")
            head, _, rest = text.partition("[specimens.reference]\n")
            own, mark, rest = rest.partition("[specimens.block]")
            own = re.sub(r"^(nu|u_nu) = .*\n", "", own, flags=re.M) + f'reference = "{name}"\n'
            rest = re.sub(r"^(E_GPa|u_E_GPa) = .*\n", "", rest, flags=re.M)
            whole = f"{head}[specimens.reference]\n{own}\n{mark}{rest}"
            path.write_text(whole, encoding="utf-8")
            done[name] = calibrate_study(path)
        return done[name]

    return calibrate


def test_the_face_is_named(on) -> None:  # type: ignore[no-untyped-def]
    """By the command line, the table of the report and the calibration file."""
    result = on("sapphire, c plane")
    words = "sapphire, c plane (crystal, face c (0001))"
    assert f"Reference materials: {words}." in verdict_lines(result)
    (table,) = [b for b in references(result).blocks if isinstance(b, Table)]
    (row,) = table.rows
    cells = dict(zip((c.head for c in table.columns), row, strict=True))
    assert cells["Crystal face"] == "c (0001)"
    assert "432.8" in cells["E/(1 − nu²) ± u / GPa"]
    assert "elastic constants" in row[-1]
    assert 'face = "c (0001)"' in calibration_text(result)
    assert not [f for f in result.findings if f.code == "superseded reference value"]
    assert result.study.notes == ()


def test_the_former_value_moves_the_area_as_the_note_says(on) -> None:  # type: ignore[no-untyped-def]
    """The same records under both values: 11 % in the area, as (E_r before / E_r now)^2 has it."""
    now, before = on("sapphire (0001)"), on("sapphire-0001-1992")
    areas = [r.calibrated.calibration.area(300e-9)[0][0] for r in (now, before)]
    assert areas[0] / areas[1] == pytest.approx(1.114, abs=0.01)
    (note,) = now.study.notes
    assert "“sapphire (0001)” is now called “sapphire, c plane”" in note and "11 % larger" in note
    (finding,) = [f for f in before.findings if f.code == "superseded reference value"]
    assert "7.8 % above" in finding.sentence and "reference" in finding.next_step
    assert any("7.8 % above" in n for n in before.study.notes)


def test_nu_adds_nothing_to_what_is_known_as_one_modulus() -> None:
    """u(M) of a face by hand: E and nu are correlated so that M keeps its own uncertainty."""
    ref = Reference.of(load("quartz, a plane"))
    assert pytest.approx(88.65e9) == ref.M and ref.u_M == pytest.approx(2e9)
    loose = Reference(ref.name, ref.E, ref.nu, ref.u_E, ref.u_nu)
    assert loose.u_M > ref.u_M
    assert np.all(np.linalg.eigvalsh(ref.covariance) > 0)


STUDY = """\
drypoint = 1
study = { name = "Old" }
[[records]]
files = ["raw/*.txt"]
specimen = "film"
[specimens.film]
nu = 0.2
[[specimens.film.layers]]
thickness_nm = 100.0
[specimens.film.substrate]
reference = "NAME"
[tips.B1]
shape = "Berkovich"
"""


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("quartz (001)", "124.7 GPa"),
        ("quartz (001), 1992", "18.7 % above"),
        ("borosilicate crown", ""),
        ("fused silica", ""),
    ],
)
def test_a_substrate_says_it_too(name: str, words: str) -> None:
    notes = read_study(STUDY.replace("NAME", name), "s.toml").notes
    assert len(notes) == bool(words)
    assert all(n.startswith("Substrate of “film”: ") and words in n for n in notes)


def test_a_bench_found_with_the_former_value_says_so(tmp_path: Path, on) -> None:  # type: ignore[no-untyped-def]
    text = calibration_text(on("sapphire, c plane"))
    study = STUDY[: STUDY.index("[[specimens")] + '[benches.b]\nfile = "b.toml"\n'
    study += "[analysis]\nradial_correction = true\n"
    (tmp_path / "s.toml").write_text(study, encoding="utf-8")
    (tmp_path / "b.toml").write_text(text, encoding="utf-8")
    assert load_study(tmp_path / "s.toml").notes == ()
    old = re.sub(r'(name = )"sapphire, c plane"', r'\1"sapphire (0001)"', text)
    old = re.sub(r"(\[\[references\]\][^\[]*?E_GPa = )[\d.]+", r"\g<1>441.0", old)
    assert old != text
    (tmp_path / "b.toml").write_text(old, encoding="utf-8")
    (note,) = load_study(tmp_path / "s.toml").notes
    assert note.startswith("Bench “b” was calibrated on a value that has changed since.")
