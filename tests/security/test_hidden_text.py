"""Text that reorders, hides or breaks what stands around it: in names, remarks and file names, on
the terminal, in the report (page and PDF) and in the figures. Invented data.

The bidirectional controls are those of UAX 9 of Unicode; 30 combining marks stay on a letter, as in
the stream-safe text of UAX 15.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import unicodedata
from pathlib import Path

import pytest
from attacked import drypoint
from fontTools.fontBuilder import FontBuilder
from fontTools.pens.ttGlyphPen import TTGlyphPen

BIDI = "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
WHO = "A. Example (invented)"
NAMES = {
    "right to left override": "glass\u202essalg",
    "embedding never closed": "\u202b1 GPa\u202a glass",
    "isolates never closed": "gl\u2066a\u2067s\u2068s",
    "pop without a push": "glass\u202c\u2069\u202c",
    "marks": "g\u200elass\u200f\u061c",
    "a hundred thousand combining marks": "a" + "\u0301" * 100_000,
    "private use": "\ue000\uf8ff\U000f0000\U0010fffd",
    "control characters": "a\\u0001b\\u001b[31mc\\u007fd\\u009b2Je",
    "tags and noncharacters": "a\U000e0041\ufffe\ufdd0\U000e007f\ufeffb",
    "separators": "a\u2028b\u2029c",
    "joiners only": "\u200d\u200c\u200d",
    "Chinese, Devanagari, emoji": "玻璃 काच \U0001f9ea\U0001f600",
    "Hebrew and digits": "זכוכית 12 mN",
    "typesetter's own signs": "#panic(1) $x$ @label <a> \\\\u{202e} *b* _c_",
}


def renamed(study: Path, name: str) -> None:
    """Give the specimen a name, and the study the same as question and remark."""
    text = study.read_text(encoding="utf-8")
    text = text.replace('"glass"', f'"{name}"').replace("specimens.glass", f'specimens."{name}"')
    text = text.replace("seed = 7", f'seed = 7\nquestion = "{name} ?"\nremarks = "r {name} end"')
    study.write_text(text, encoding="utf-8")


def hidden(text: str) -> set[str]:
    """Characters that a reader cannot see, and long piles of marks."""
    found = {c for c in text if c in BIDI or (unicodedata.category(c) == "Cc" and c not in "\n\t")}
    return found | set(re.findall("\u0301{31,}", text))


def pdf_text(path: Path) -> str:
    """Words of a PDF."""
    found = shutil.which("pdftotext")
    assert found, "pdftotext is missing: install poppler-utils (make test does so on Debian)"
    done = subprocess.run([found, str(path), "-"], capture_output=True, check=True)
    return done.stdout.decode("utf-8").replace("\f", "\n")


@pytest.mark.parametrize("name", NAMES.values(), ids=NAMES)
def test_nothing_hidden_is_printed(study: Path, name: str) -> None:
    renamed(study, name)
    shutil.rmtree(study.parent / "results")
    for command in (("run",), ("report",), ("sign", "--who", WHO, "--no-ledger"), ("check",)):
        said = drypoint(command[0], study, *command[1:])
        assert said.code == 0, (command, said.text[-500:])
        assert not hidden(said.out + said.err), command
    report = study.parent / "report"
    page = (report / "report.html").read_text(encoding="utf-8")
    assert not hidden(page)
    words = pdf_text(report / "report.pdf")
    if any(unicodedata.bidirectional(c) == "R" for c in name):
        words = re.sub("[\u202b\u202c]", "", words)  # put in by the tool that reads the PDF
    assert not hidden(words)
    for path in (report / "figures").glob("*.txt"):
        assert not hidden(path.read_text(encoding="utf-8"))
    shown = {f"[U+{ord(c):04X}]" for c in name if c in BIDI}
    assert all(s in page for s in shown)


def test_file_names_are_shown_in_lists_and_errors(study: Path) -> None:
    raw = study.parent / "raw"
    (raw / "G-01.txt").rename(raw / "G-\u202e01.txt")
    (raw / "x\u2067bad.txt").write_text("no record at all\n", encoding="utf-8")
    for command in (("run",), ("inspect",), ("report",)):
        target = [study] if command[0] != "inspect" else sorted(raw.iterdir())
        said = drypoint(*command, *target)
        assert not hidden(said.out + said.err), command
    said = drypoint("inspect", *sorted(raw.iterdir()))
    assert "x\\u2067bad.txt" in said.text or "x[U+2067]bad.txt" in said.text


def test_what_is_written_for_programs_keeps_the_text(study: Path) -> None:
    """Tables hold the name as it is: they are data, not a page."""
    renamed(study, NAMES["right to left override"])
    assert drypoint("run", study).code == 0
    table = (study.parent / "results" / "tests.csv").read_text(encoding="utf-8")
    assert NAMES["right to left override"] in table


def small_font(path: Path, letters: str) -> None:
    """A font of our own that has squares for some letters."""
    names = [".notdef", *(f"g{k}" for k in range(len(letters)))]
    pen = TTGlyphPen(None)
    pen.moveTo((0, 0))
    for point in ((0, 700), (600, 700), (600, 0)):
        pen.lineTo(point)
    pen.closePath()
    square = pen.glyph()
    font = FontBuilder(1000, isTTF=True)
    font.setupGlyphOrder(names)
    font.setupCharacterMap({ord(c): n for c, n in zip(letters, names[1:], strict=True)})
    font.setupGlyf(dict.fromkeys(names, square))
    font.setupHorizontalMetrics(dict.fromkeys(names, (650, 0)))
    font.setupHorizontalHeader(ascent=800, descent=-200)
    font.setupNameTable(
        {"familyName": "Invented Squares", "styleName": "Regular", "psName": "InventedSquares"}
    )
    font.setupOS2(sTypoAscender=800, usWinAscent=800, usWinDescent=200)
    font.setupPost()
    path.parent.mkdir(parents=True, exist_ok=True)
    font.save(path)


def test_letters_that_no_font_has_are_listed_and_a_font_in_the_users_folder_serves(
    study: Path, own_home: Path
) -> None:
    """Two letters of an unencoded plane: no font has them, until one is put in place."""
    letters = "\U0003fff0\U0003fff1"
    renamed(study, f"glass {letters}")
    assert drypoint("report", study).code == 0
    text = "".join(pdf_text(study.parent / "report" / "report.pdf").split())
    assert "[U+3FFF0]" in text and "2charactersareshownascodepoints" in text
    font = own_home / "fonts" / "squares.ttf"
    small_font(font, letters)
    try:
        assert drypoint("report", study).code == 0
        text = "".join(pdf_text(study.parent / "report" / "report.pdf").split())
        assert "[U+3FFF0]" not in text and "shownascodepoints" not in text
        raw = subprocess.run(
            ["pdffonts", str(study.parent / "report" / "report.pdf")],
            capture_output=True, text=True, check=True,
        ).stdout  # fmt: skip
        assert "InventedSquares" in raw.replace(" ", "")
    finally:
        font.unlink()
