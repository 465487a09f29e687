"""The PDF: all pages numbered, fonts embedded, the same bytes each time."""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

from drypoint.errors import ReportError
from drypoint.report import gather, render_html, render_pdf, write_figures, write_pdf
from drypoint.report.model import Column, Section, Table
from drypoint.run import StudyResult, run_study


@pytest.fixture(scope="session")
def pdf(result: StudyResult, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_pdf(result, tmp_path_factory.mktemp("pdf") / "report.pdf")


def tool(name: str) -> str:
    found = shutil.which(name)
    assert found, f"{name} is missing: install poppler-utils (make test does so on Debian)"
    return found


def text_of(path: Path) -> list[str]:
    """Text of each page."""
    done = subprocess.run(
        [tool("pdftotext"), "-layout", str(path), "-"], capture_output=True, check=True
    )
    return done.stdout.decode("utf-8").split("\f")[:-1]


def test_pdf_is_the_same_each_time(pdf: Path, result: StudyResult) -> None:
    data = pdf.read_bytes()
    assert data.startswith(b"%PDF-")
    assert render_pdf(gather(result)) == data


def test_fonts_are_embedded(pdf: Path) -> None:
    done = subprocess.run([tool("pdffonts"), str(pdf)], capture_output=True, check=True, text=True)
    rows = done.stdout.splitlines()[2:]
    assert rows
    for row in rows:
        assert re.search(r"\byes yes yes\b", row), row


def test_every_page_has_number_name_and_warning(pdf: Path, result: StudyResult) -> None:
    pages = text_of(pdf)
    assert len(pages) > 8
    for i, page in enumerate(pages, start=1):
        assert f"Page {i} of {len(pages)}" in page
        assert result.study.name in page
        assert "Invented data" in page
        assert "Not an accredited certificate" in page


def test_first_page_has_the_answer(pdf: Path, result: StudyResult) -> None:
    content = gather(result)
    first = text_of(pdf)[0]
    assert content.question in first
    for a in content.answers:
        assert a.specimen in first
        for _, value, _ in a.values:
            assert value in first
    assert "safety-critical" in first


def test_every_section_and_figure_is_there(pdf: Path, result: StudyResult) -> None:
    content = gather(result)
    text = "\n".join(text_of(pdf))
    for i, s in enumerate(content.sections, start=1):
        assert re.search(rf"{i}\s+{re.escape(s.title)}", text)
    for i, _ in enumerate(content.pictures, start=1):
        assert re.search(rf"Figure\s+{i}\.", text)
    assert "�" not in text


def test_long_table_repeats_its_head(result: StudyResult, tmp_path: Path) -> None:
    rows = tuple((f"row {i}", str(i)) for i in range(200))
    long = Table("A long table.", (Column("Name of row"), Column("No.", "number")), rows)
    content = replace(gather(result), sections=(Section("long", "Long", (long,)),))
    path = tmp_path / "long.pdf"
    path.write_bytes(render_pdf(content))
    pages = text_of(path)[1:]
    assert len(pages) >= 3
    assert all("Name of row" in page for page in pages)


def test_words_that_look_like_markup_stay_words(result: StudyResult, tmp_path: Path) -> None:
    words = "#panic(1) $x$ *bold* <b> \\n @ref `raw` [a]"
    path = tmp_path / "words.pdf"
    path.write_bytes(render_pdf(replace(gather(result), title=words, sections=())))
    assert words in text_of(path)[0]


def test_folder_that_cannot_be_made_is_said(result: StudyResult, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x", encoding="utf-8")
    with pytest.raises(ReportError, match="folder"):
        write_pdf(result, tmp_path / "file" / "report.pdf")


def test_figures_as_files(result: StudyResult, tmp_path: Path) -> None:
    written = write_figures(result, tmp_path / "figures", png=False)
    assert len(written) == len(gather(result).pictures) + 1
    names = [p.name for p in written]
    assert len(set(names)) == len(names) and all(re.fullmatch(r"[\w.-]+", n) for n in names)
    assert all(p.stat().st_size > 0 for p in written)


def test_odd_names_and_bare_records(tmp_path: Path, shared_data: Path) -> None:
    """No approach, no drift hold, nothing declared, one specimen with one test only."""
    (tmp_path / "raw").mkdir()
    for i in (1, 2, 3):
        shutil.copy(shared_data / "raw_curves" / f"test_0{i}.csv", tmp_path / "raw" / f"${i}$_.csv")
    (tmp_path / "study.toml").write_text(ODD, encoding="utf-8")
    content = gather(run_study(tmp_path / "study.toml", write=False, use_cache=False))
    assert content.invented == "" and len(content.answers) == 2
    assert "cannot be known from one test" in content.answers[1].values[0][2]
    page = render_html(content)
    assert "a &lt;b&gt; $x$" in page and "a <b>" not in page
    path = tmp_path / "odd.pdf"
    path.write_bytes(render_pdf(content))
    pages = text_of(path)
    assert "Report R-17/2" in pages[1] and "Invented data" not in pages[1]
    assert "a <b> $x$" in pages[0]


ODD = """
drypoint = 1
[study]
name = "Three records"
report_number = "R-17/2"
[[records]]
files = ["raw/$[12]$_.csv"]
specimen = "a <b> $x$"
[[records]]
files = ["raw/$3$_.csv"]
specimen = "single"
[specimens."a <b> $x$"]
nu = 0.2
[specimens.single]
nu = 0.2
[specimens.single.analysis]
unloading = "linear"
epsilon = 0.75
[tips.T]
shape = "Berkovich"
"""
