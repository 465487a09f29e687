"""A calibration study from raw files to an accepted bench. The data of the demo are invented.

Outside checks of the fit itself stand in tests/calibration; here the whole way is checked against
the truth behind the records, and against what must never happen.
"""

from __future__ import annotations

import json
import shutil
import tomllib
from pathlib import Path

import numpy as np
import pytest

from drypoint.calibration import CalibrationError
from drypoint.errors import RecipeError
from drypoint.ledger import (
    CalibrationBody,
    CertificateBody,
    HealthBody,
    Ledger,
    StudyBody,
    VerificationBody,
)
from drypoint.recipe import Decision, append, load_study
from drypoint.run import run_study
from drypoint.run.bench_result import BenchResult
from drypoint.run.bench_tables import write_bench
from drypoint.run.calibrating import calibrate_study
from drypoint.run.registering import accept_calibration, calibration_text
from drypoint.run.remembering import health_of, study_body
from drypoint.store.results import read_results
from drypoint.tips.area import area
from drypoint.tips.build import blunted_tip
from drypoint.tips.geometry import Geometry


@pytest.fixture(scope="module")
def bench_file(demo_study: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's calibration study without an accepted calibration."""
    folder = tmp_path_factory.mktemp("bench") / "bench"
    shutil.copytree(demo_study.parent / "bench", folder)
    (folder / "calibration.toml").unlink()
    return folder / "bench.toml"


@pytest.fixture(scope="module")
def found(bench_file: Path) -> BenchResult:
    return calibrate_study(bench_file)


def edited(bench_file: Path, folder: Path, *changes: tuple[str, str]) -> Path:
    """A copy of the calibration study with other words in its recipe."""
    shutil.copytree(bench_file.parent, folder / "bench")
    path = folder / "bench" / "bench.toml"
    text = path.read_text(encoding="utf-8")
    for old, new in changes:
        assert text.count(old) >= 1, old
        text = text.replace(old, new)
    path.write_text(text, encoding="utf-8")
    return path


def test_truth_lies_within_three_standard_uncertainties(
    found: BenchResult, bench_file: Path
) -> None:
    true = json.loads(bench_file.with_name("truth.json").read_text(encoding="utf-8"))["true"]
    c = found.calibrated.calibration
    C_f = true["compliance_nm_per_mN"] * 1e-6
    assert abs(c.frame.compliance - C_f) < 3 * c.frame.u_compliance
    tip = blunted_tip(
        Geometry(
            "modified Berkovich",
            angle=np.radians(true["face_angle_deg"]),
            radius=true["radius_nm"] * 1e-9,
        )
    )
    h = np.geomspace(c.tip.area.h_min, c.tip.area.h_max, 7)
    A, u = c.area(h)
    assert np.all(np.abs(A - np.real(area(tip, {}, h))) < 3 * u)
    assert np.all(u < 0.06 * A)  # a bench that anybody would trust


def test_verdict_rests_on_a_block_that_the_calibration_did_not_use(found: BenchResult) -> None:
    assert found.verdict == "pass"
    assert {b.specimen for b in found.blocks} == {"block"}
    assert {r.name for r in found.calibrated.calibration.tests.materials} == {"reference"}
    assert not found.obstacles
    for b in found.blocks:
        assert abs(b.verification.relative_error) < b.verification.limits.error
        assert abs(b.verification.E_n) <= 1


def test_certificates_go_into_the_joint_distribution(found: BenchResult) -> None:
    linked = found.calibrated.calibration.linked
    assert linked.sd[linked.index("force_scale")] == pytest.approx(0.001)
    assert "invented M-2207" in linked.origin[linked.index("force_scale")]


def test_nothing_is_registered_until_accepted(found: BenchResult, bench_file: Path) -> None:
    write_bench(found, found.study.results)
    assert not bench_file.with_name("calibration.toml").exists()
    results = read_results(found.study.results)
    assert not results.faults()
    proposal = tomllib.loads(results.path("proposal.toml").read_text(encoding="utf-8"))
    assert proposal["provenance"]["state"].startswith("proposed")
    assert len(results.table("reference_tests")) == len(found.calibrated.calibration.tests)
    assert results.json("summary.json")["verdict"] == "pass"


def test_same_input_gives_the_same_bytes(found: BenchResult, bench_file: Path) -> None:
    assert calibration_text(found) == calibration_text(calibrate_study(bench_file))


def test_accepted_file_brings_the_same_bench_to_the_last_bit(
    found: BenchResult, bench_file: Path, tmp_path: Path
) -> None:
    ledger = Ledger.open(tmp_path / "ledger.sqlite")
    done = accept_calibration(found, who="B. Example", why="residuals looked at", ledger=ledger)
    try:
        table = tomllib.loads(done.path.read_text(encoding="utf-8"))
        linked = found.calibrated.calibration.linked
        assert table["inputs"]["covariance_SI"] == linked.cov.tolist()
        assert table["provenance"]["accepted_by"] == "B. Example"
        (entry,) = ledger.current(CalibrationBody)
        assert entry.body.sha256 == done.acceptance.sha256
        assert entry.body.text == done.path.read_text(encoding="utf-8")
        assert {v.body.verdict for v in ledger.current(VerificationBody)} == {"pass"}
        assert len(ledger.current(CertificateBody)) == 5
        (health,) = ledger.current(HealthBody)
        assert health.body.area_m2 == pytest.approx(
            float(found.calibrated.calibration.area(150e-9)[0][0])
        )
        assert not ledger.verify()
        with pytest.raises(CalibrationError, match="accepted already, by B"):
            accept_calibration(found, who="B. Example", why="second look", ledger=ledger)
        # The tip, the frame, the block and their papers are known now.
        done.path.unlink()
        again = accept_calibration(found, who="B. Example", why="second look", ledger=ledger)
        assert again.entries == 4
        assert len(ledger.current(CertificateBody)) == 5
    finally:
        done.path.unlink()


def test_study_is_entered_with_its_calibration_and_its_days(
    demo_study: Path, found: BenchResult, tmp_path: Path
) -> None:
    result = run_study(demo_study)
    ledger = Ledger.open(tmp_path / "ledger.sqlite")
    body = study_body(result, "2025-04-01")
    ledger.accept(ledger.propose(body), who="B. Example", why="released")
    (entry,) = ledger.current(StudyBody)
    (used,) = entry.body.used
    assert used.calibration == result.study.benches["B1"].sha256
    assert (entry.body.measured_from, entry.body.measured_to) == ("2025-03-10", "2025-03-13")


def test_chart_of_a_chipped_tip_names_the_studies_since(tmp_path: Path, demo_study: Path) -> None:
    ledger = Ledger.open(tmp_path / "ledger.sqlite")
    rng = np.random.default_rng(5)
    from drypoint.ledger import FrameBody, TipBody

    ledger.accept_all(
        [
            ledger.propose(TipBody(name="B1", shape="modified Berkovich")),
            ledger.propose(FrameBody(name="frame")),
        ],
        "B. Example",
        "first use",
    )
    for i in range(14):
        value = 0.60e-12 * (1.0 if i < 10 else 1.08) * (1 + 0.004 * rng.standard_normal())
        body = HealthBody(
            tip="B1", frame="frame", on=f"2025-{1 + i // 2:02d}-{1 + 14 * (i % 2):02d}",
            depth_m=150e-9, area_m2=value, u_area_m2=0.002e-12, tests=5,
        )  # fmt: skip
        ledger.accept(ledger.propose(body), "B. Example", "monthly check")
    result = run_study(demo_study)
    ledger.accept(ledger.propose(study_body(result, "2025-07-20")), "B. Example", "released")
    health, since = health_of(ledger, "B1")
    assert health.state == "changed"
    assert health.between is not None
    assert health.between[0].isoformat() == "2025-05-15"
    assert [s.name for s in since.studies] == [result.study.name]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        # A stiff reference measured in place of the glass: the recipe says 410 GPa.
        ("E_GPa = 71.8", "E_GPa = 410.0", "not accepted"),
        ('valid_until = "2026-01-14"', 'valid_until = "2025-02-14"', "ended on"),
        ("health_h_c_nm = 150.0", "health_h_c_nm = 5.0", "a guess"),
        # The certificate of the block says something else than the bench finds.
        ("value_GPa = 206.0", "value_GPa = 160.0", "error"),
    ],
)
def test_what_a_careful_person_would_refuse(
    bench_file: Path, tmp_path: Path, old: str, new: str, words: str
) -> None:
    result = calibrate_study(edited(bench_file, tmp_path, (old, new)))
    assert result.obstacles
    with pytest.raises(CalibrationError, match=words):
        accept_calibration(result, who="B. Example")
    assert not (tmp_path / "bench" / "calibration.toml").exists()
    done = accept_calibration(result, who="B. Example", despite="trial of the bench only")
    table = tomllib.loads(done.path.read_text(encoding="utf-8"))
    assert table["provenance"]["accepted_despite"] == "trial of the bench only"


@pytest.mark.parametrize(
    "name", ["raw/block/V-08.txt", "bench.toml", "raw", "results/x.toml", "truth.json"]
)
def test_a_calibration_never_takes_the_place_of_anything(
    bench_file: Path, tmp_path: Path, name: str
) -> None:
    path = edited(bench_file, tmp_path, ('file = "calibration.toml"', f'file = "{name}"'))
    before = {p: p.read_bytes() for p in sorted(path.parent.rglob("*")) if p.is_file()}
    result = calibrate_study(path, use_cache=False)
    ledger = Ledger.open(tmp_path / "ledger.sqlite")
    with pytest.raises(CalibrationError, match="something else is there"):
        accept_calibration(result, who="B. Example", ledger=ledger)
    assert {p: p.read_bytes() for p in sorted(path.parent.rglob("*")) if p.is_file()} == before
    assert ledger.head().id == 0


def test_a_compliance_that_nobody_stated_is_not_known(bench_file: Path, tmp_path: Path) -> None:
    path = edited(bench_file, tmp_path, ('["constant hardness"]', '["known compliance"]'))
    with pytest.raises(CalibrationError, match="no value with an uncertainty is stated"):
        calibrate_study(path)


def test_a_time_of_acceptance_is_a_time(found: BenchResult) -> None:
    with pytest.raises(CalibrationError, match="no time"):
        accept_calibration(found, who="B. Example", when="yesterday")


def test_excluded_reference_test_is_named_and_left_out(bench_file: Path, tmp_path: Path) -> None:
    path = edited(bench_file, tmp_path)
    study = load_study(path)
    why = "the door was open"
    append(study.decisions, Decision(who="B. Example", what="exclude", test="R-03", why=why))
    result = calibrate_study(path)
    assert [t for t, _ in result.excluded] == ["R-03"]
    assert not any(n.startswith("R-03") for n in result.calibrated.calibration.tests.names)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('specimen = "block"\nquantity = "E_IT"', 'specimen = "reference"\nquantity = "E_IT"',
         "is a reference of the calibration"),
        ('of = "frame"\nkind = "force scale"', 'of = "B1"\nkind = "force scale"', "is no frame"),
        ('issued = "2025-01-14"', 'issued = "14 January"', "a day as"),
        ('kind = "depth scale"', 'kind = "force scale"', "certified twice"),
        ('["constant hardness"]', "[]", "tests on one material never do"),
        ('valid_until = "2025-09-06"', 'valid_until = "2025-02-06"', "lies before the day"),
    ],
)  # fmt: skip
def test_faults_of_a_calibration_study_are_named(
    bench_file: Path, tmp_path: Path, old: str, new: str, words: str
) -> None:
    with pytest.raises(RecipeError, match=words):
        load_study(edited(bench_file, tmp_path, (old, new)))


def test_a_study_without_calibration_says_how_to_make_one(own_demo: Path) -> None:
    (own_demo.parent / "bench" / "calibration.toml").unlink()
    with pytest.raises(RecipeError, match="no calibration file") as error:
        load_study(own_demo)
    assert "drypoint calibrate" in str(error.value)


def test_a_bench_holds_only_under_its_rule(own_demo: Path) -> None:
    text = own_demo.read_text(encoding="utf-8")
    own_demo.write_text(text.replace("beta = 1.0", "beta = 1.05"), encoding="utf-8")
    with pytest.raises(RecipeError, match=r"found with beta = 1\.0"):
        load_study(own_demo)


def test_tests_after_the_last_day_of_a_calibration_are_remarked(own_demo: Path) -> None:
    place = own_demo.parent / "bench" / "calibration.toml"
    text = place.read_text(encoding="utf-8")
    place.write_text(text.replace("2025-09-06", "2025-03-11"), encoding="utf-8")
    notes = run_study(own_demo, write=False).notes
    assert any("after its calibration ended (2025-03-11)" in n for n in notes), notes


def test_a_proposal_used_in_a_study_is_remarked(own_demo: Path, found: BenchResult) -> None:
    place = own_demo.parent / "bench" / "calibration.toml"
    place.write_text(calibration_text(found), encoding="utf-8")
    notes = run_study(own_demo, write=False).notes
    assert any("nobody has accepted" in n for n in notes), notes


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("version = 1\n", "version = 9\n", "version"),
        ('valid_until = "2025-09-06"', 'valid_until = "soon"', "no day"),
        ('valid_until = "2025-09-06"', "valid_until = 2025-09-06", "not text"),
        ("\ncompliance_nm_per_mN = 0.", "\ncompliance_nm_per_mN = 1.", "changed by hand"),
    ],
)
def test_damaged_calibration_file_is_named_with_key(
    own_demo: Path, old: str, new: str, words: str
) -> None:
    place = own_demo.parent / "bench" / "calibration.toml"
    text = place.read_text(encoding="utf-8")
    assert old in text
    place.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(RecipeError, match=words) as error:
        load_study(own_demo)
    assert "calibration.toml" in str(error.value) and "key " in str(error.value)


def test_a_bench_beside_a_tip_is_never_left_unused_in_silence(own_demo: Path) -> None:
    text = own_demo.read_text(encoding="utf-8")
    own_demo.write_text(text + '\n[tips.B2]\nshape = "Berkovich"\n', encoding="utf-8")
    with pytest.raises(RecipeError, match="no records table uses the bench “B1”"):
        load_study(own_demo)


def test_tests_before_the_calibration_are_remarked(own_demo: Path) -> None:
    place = own_demo.parent / "bench" / "calibration.toml"
    text = place.read_text(encoding="utf-8")
    place.write_text(text.replace('day = "2025-03-06"', 'day = "2025-03-12"'), encoding="utf-8")
    notes = run_study(own_demo, write=False).notes
    assert any("before the day of its calibration (2025-03-12)" in n for n in notes), notes


def test_calibrated_bench_moves_results_jointly(demo_study: Path) -> None:
    """Beta, reference modulus and area hang together: they are no separate entries."""
    result = run_study(demo_study, write=False)
    inputs = result.tests.inputs
    i = [inputs.index(n) for n in ("frame.C_f", "tip.radius", "tip.angle")]
    sd = inputs.sd[i]
    corr = inputs.cov[i][:, i] / (sd[:, None] * sd)
    assert np.abs(corr - np.eye(3)).max() > 0.05
