"""The report of a calibration: what it must say, offline, as PDF, the same each time."""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from bench_study import TIP

from drypoint.calibration import Finding, known_area, known_compliance
from drypoint.calibration.known import TESTS
from drypoint.figures.area import ideal_area
from drypoint.report import (
    gather_calibration,
    render_html,
    render_pdf,
    write_calibration_html,
    write_calibration_pdf,
)
from drypoint.report.calibration_words import three_depths, with_minus
from drypoint.report.model import (
    Code,
    Content,
    Facts,
    Heading,
    Items,
    Notice,
    Paragraph,
    Table,
)
from drypoint.run.bench_result import Acceptance, BenchResult, CheckedBlock
from drypoint.tips.area import area
from drypoint.uncertainty.rounding import round_pair

ACCEPTED = Acceptance("M. Example", "2026-02-04T09:00:00Z", "checked against last year", "ab" * 32)


@pytest.fixture(scope="session")
def content(bench: BenchResult) -> Content:
    return gather_calibration(bench, issued="2026-02-04")


def words(content: Content) -> str:
    out = [content.title, content.question, content.invented, content.statement, content.kind]
    out += [content.answer_note, *content.notices, *(w for p in content.front for w in p)]
    for a in content.answers:
        out += [a.specimen, a.about, a.basis, *(w for v in a.values for w in v)]
    for s in content.sections:
        out.append(s.title)
        for b in s.blocks:
            if isinstance(b, Table):
                out += [b.caption, b.note, *(c.head for c in b.columns)]
                out += [c for row in b.rows for c in row]
            elif isinstance(b, Facts):
                out += [w for p in b.pairs for w in p]
            elif isinstance(b, Items):
                out += b.items
            elif isinstance(b, (Paragraph, Heading, Notice, Code)):
                out.append(b.text)
    return "\n".join(out)


def table(content: Content, start: str) -> Table:
    return next(t for t in content.tables if t.caption.startswith(start))


def test_every_finding_with_its_next_step(content: Content, bench: BenchResult) -> None:
    assert len(bench.findings) >= 2 and len(bench.obstacles) == 1
    rows = table(content, "Findings").rows
    assert len(rows) == len(bench.findings)
    shown = {(r[0], r[2], r[3]): r[1] for r in rows}
    for f in bench.findings:
        weight = shown[f.code, with_minus(f.sentence), with_minus(f.next_step)]
        assert weight == ("serious" if f.serious else "remark")
    assert [r[1] for r in rows] == sorted((r[1] for r in rows), reverse=True)
    assert "L-3" in content.notices[0] and "stated reason" in content.notices[0]


def test_verdict_stands_first_with_numbers_and_rule(content: Content, bench: BenchResult) -> None:
    assert content.sections[0].key == "verdict" and bench.verdict == "pass"
    assert content.answers[0].specimen.startswith("Pass")
    text = words(content)
    for b in bench.blocks:
        v = b.verification
        assert v.rule in text
        assert with_minus(" ".join(v.reasons)) in text
        assert f"|E_n| = {abs(v.E_n):.2f}" in text
        error = " ± ".join(round_pair(100 * v.relative_error, 100 * v.U_error / v.block.value))
        assert error.replace("-", "−") in text


def test_truth_lies_within_what_the_report_says(content: Content, bench: BenchResult) -> None:
    """The bench is invented: 0.31 nm/mN and a 90 nm tip are known to be true."""
    tip = content.answers[1]
    values = [re.fullmatch(r"\((\S+) ± (\S+)\) (\S+)", v[1]) for v in tip.values]
    found = [(float(m[1]), float(m[2])) for m in values if m]
    assert len(found) == 4
    truth = [0.31, *(float(area(TIP, {}, h)) * 1e12 for h in three_depths(bench))]
    for (value, U), true in zip(found, truth, strict=True):
        assert abs(value - true) < 1.5 * U < 0.1 * true


@pytest.mark.parametrize(
    ("verdict", "start"), [("fail", "Fail"), ("undecided", "Undecided"), ("pass", "Pass")]
)
def test_each_verdict_in_words(verdict: str, start: str, bench: BenchResult) -> None:
    first = bench.blocks[0]
    changed = CheckedBlock(
        first.specimen, first.batch, first.reduced,
        replace(first.verification, verdict=verdict, reasons=(f"A reason to {verdict}.",)),
    )  # fmt: skip
    content = gather_calibration(replace(bench, blocks=(changed,)))
    assert content.answers[0].specimen.startswith(start)
    assert content.answers[0].values[0][2].startswith(f"{verdict}:")
    assert f"A reason to {verdict}." in words(content)
    assert table(content, "Blocks").rows[0][-1] == verdict


def test_not_verified_and_nothing_to_judge_noise_by(bench: BenchResult) -> None:
    finding = Finding("not verified", "No block verifies the calibration.", "Measure one.")
    bare = replace(bench, blocks=(), noise=None, certificates=(), findings=(finding,))
    content = gather_calibration(bare)
    text = words(content)
    assert content.answers[0].specimen.startswith("Not verified") and not content.notices
    assert "No block was tested" in text and "states no certificate" in text
    assert "quiet for long enough" in text
    assert render_pdf(content).startswith(b"%PDF-") and "<svg" in render_html(content)


def test_nothing_found_is_said(bench: BenchResult) -> None:
    assert "Nothing was found" in words(gather_calibration(replace(bench, findings=())))


def test_acceptance_is_named(content: Content, bench: BenchResult) -> None:
    assert ("Acceptance", "not accepted by anybody yet") in content.front
    text = words(gather_calibration(bench, accepted=ACCEPTED))
    for word in (ACCEPTED.who, ACCEPTED.when, ACCEPTED.why, ACCEPTED.sha256):
        assert word in text


def test_what_identified_tip_and_frame(content: Content, bench: BenchResult) -> None:
    i = bench.calibrated.calibration.identification
    text = words(content)
    for sentence in i.sentences:
        assert with_minus(sentence) in text
    assert all(by in text for by in i.by)
    assert len(table(content, "Combinations of inputs").rows) == len(i.directions)


def test_parameters_candidates_and_references(content: Content, bench: BenchResult) -> None:
    c = bench.calibrated.calibration
    shown = table(content, "Parameters of the area function").rows
    assert len(shown) == len(c.tip.area.parameters.names)
    tried = table(content, "Numbers of terms").rows
    assert len(tried) == len(c.candidates)
    taken = [r for r in tried if r[-1] == "taken"]
    assert [r[0] for r in taken] == [str(len(c.tip.area.parameters.names))]
    assert taken[0][1] == "0.0"
    weights = [float(r[2].removeprefix("< ")) for r in tried]
    assert sum(weights) == pytest.approx(1.0, abs=0.006)
    (reference,) = table(content, "Reference materials").rows
    # E/(1 - nu^2) by hand: 72/0.9711, and u from 0.40/0.9711 and 2 * 0.17 * 72 * 0.005/0.9711^2.
    assert reference == ("glass", "glass", "–", "72.00 ± 0.40", "0.1700 ± 0.0050", "74.14 ± 0.43",
                         "invented certificate G-4")  # fmt: skip


def test_areas_of_the_table_are_those_of_the_tip(content: Content, bench: BenchResult) -> None:
    c = bench.calibrated.calibration
    for row in table(content, "Area at chosen").rows:
        h = float(row[0]) * 1e-9
        A, u = (float(v[0]) for v in c.area(h))
        assert row[1:3] == round_pair(A * 1e12, u * 1e12)
        assert float(row[5]) == pytest.approx(A / ideal_area(c.tip, np.array([h]))[0], abs=6e-4)


def test_shares_of_the_uncertainty_add_up(content: Content, bench: BenchResult) -> None:
    c = bench.calibrated.calibration
    rows = table(content, "Shares of the variance").rows
    for column in range(1, 5):
        assert sum(float(r[column]) for r in rows) == pytest.approx(100, abs=0.6)
    C, A = known_compliance(c), known_area(c, 200e-9)
    assert C.u == pytest.approx(c.frame.u_compliance, rel=1e-9)
    assert A.u == pytest.approx(float(c.area(200e-9)[1][0]), rel=1e-9)
    for k in (C, A):
        assert sum(k.shares.values()) == pytest.approx(1.0, abs=1e-9)
        assert min(k.shares.values()) >= 0
    # Constant hardness tells the compliance by scatter alone; the area rests on the reference's E:
    # A goes as 1/E_r^2 [oliver1992], and u(E)/E = 0.4/72.
    assert C.shares[TESTS] > 0.9
    E, E_i = 72e9 / (1 - 0.17**2), 1140e9 / (1 - 0.07**2)
    part = 2 * (0.4 / 72) * (1 / E) / (1 / E + 1 / E_i)
    assert A.shares["ref.glass.E"] == pytest.approx((part * A.value / A.u) ** 2, rel=0.05)


def test_certificates_with_their_dates(content: Content) -> None:
    rows = table(content, "Certificates").rows
    assert [(r[1], r[4], r[-1]) for r in rows] == [
        ("force scale", "F-17", "valid"),
        ("depth scale", "L-3", "past its date"),
    ]
    assert rows[0][2] == "1.0000 ± 0.0020" and rows[1][7] == "2026-01-31"


def test_every_record_is_accounted_for(content: Content, bench: BenchResult) -> None:
    text = words(content)
    for t in (*bench.batch.tests, *bench.blocks[0].batch.tests):
        assert t.name in text and t.source.path in text
    lost = [bench.batch.tests[f.test].name for f in bench.calibrated.reduced.faults]
    aside = table(content, "1 record that gave no result").rows
    assert [r[0] for r in aside] == lost == ["R-21"]
    left_out = replace(bench, excluded=(("R-03", "a door was slammed (M. Example, today)"),))
    assert table(gather_calibration(left_out), "Excluded tests").rows == left_out.excluded


def test_provenance_is_whole(content: Content, bench: BenchResult) -> None:
    text, p = words(content), bench.provenance
    for word in (p.version, p.recipe_hash, p.inputs_hash, bench.study.text.strip()):
        assert word in text
    for name, sha in p.inputs.items():
        assert name in text and sha in text
    for name, version in p.libraries.items():
        assert f"{name} {version}" in text
    rule = bench.calibrated.calibration.rule
    assert f"epsilon: {rule['epsilon']}" in text and "radial correction: true" in text
    assert rule["window"] in text and rule["depth_at_F_max"] in text


def test_cautions_and_invented_data(content: Content) -> None:
    assert content.invented.startswith("Invented data")
    last = content.sections[-1]
    assert last.key == "cautions"
    text = words(content)
    for word in ("diamond is fragile", "stage moves", "accredited laboratory",
                 "not an accredited certificate"):  # fmt: skip
        assert word in text


def test_tables_are_whole(content: Content) -> None:
    for t in content.tables:
        for row in t.rows:
            assert len(row) == len(t.columns), t.caption
            assert not any("nan" in cell.lower().split() for cell in row), row


def test_figures_speak(content: Content) -> None:
    names = [p.name for p in content.pictures]
    assert names == ["calibration-area", "calibration-correlation", "calibration-residuals",
                     "calibration-hardness", "calibration-noise",
                     "calibration-block-steel-like"]  # fmt: skip
    for p in content.pictures:
        assert p.caption and re.search(r"\d", p.alt), p.name


def test_no_clause_or_annex_is_printed(content: Content) -> None:
    assert not re.search(r"\b(annex|clause)\b", words(content), re.IGNORECASE)


def test_page_is_one_file_without_requests(bench: BenchResult, tmp_path: Path) -> None:
    path = write_calibration_html(bench, tmp_path / "deep" / "report.html", issued="2026-02-04")
    page = path.read_text(encoding="utf-8")
    assert not re.search(r"(src|href)\s*=\s*[\"'](?!#)", page)
    assert "<script" not in page and "url(http" not in page and "@import" not in page
    assert page.count("<svg") == 6 and "Report of a calibration" in page
    assert len(set(re.findall(r'\bid="([^"]+)"', page))) == len(re.findall(r'\bid="', page))


def test_pdf_reads(bench: BenchResult, content: Content, tmp_path: Path) -> None:
    tool = shutil.which("pdftotext")
    assert tool, "pdftotext is missing: install poppler-utils (make test does so on Debian)"
    path = write_calibration_pdf(bench, tmp_path / "report.pdf", issued="2026-02-04")
    done = subprocess.run([tool, "-layout", str(path), "-"], capture_output=True, check=True)
    pages = done.stdout.decode("utf-8").split("\f")[:-1]
    whole = "\n".join(pages)
    for word in ("Pass: the bench agrees with every block", "nm/mN", "C-2026-01", "serious",
                 "not accepted by anybody yet", "Made by"):  # fmt: skip
        assert word in pages[0], word
    for i, s in enumerate(content.sections, start=1):
        assert re.search(rf"{i}\s+{re.escape(s.title)}", whole), s.title
    assert all("Invented data" in page for page in pages)
    assert "Decision rule" in whole and "SHA-256" in whole and "�" not in whole


def test_same_input_same_bytes(bench: BenchResult, content: Content) -> None:
    again = gather_calibration(replace(bench), issued="2026-02-04")
    assert again is not content
    assert render_html(again) == render_html(content)
    assert render_pdf(again) == render_pdf(content)


def test_minus_signs() -> None:
    assert with_minus("The error, -0.31 %, of R-41 on 2026-01-31") == (
        "The error, −0.31 %, of R-41 on 2026-01-31"
    )


def test_day_inside_the_pdf_is_that_of_the_calibration(content: Content) -> None:
    assert content.day is not None and date(*content.day) == date(2026, 2, 3)
