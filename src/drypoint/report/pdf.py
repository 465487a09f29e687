"""The report as PDF, set by Typst; the same study gives the same bytes."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import typst

from drypoint.errors import ReportError
from drypoint.figures.fonts import own_folder
from drypoint.report.content import gather
from drypoint.report.drawn import svg_of
from drypoint.report.folder import folder_of
from drypoint.report.letters import set_letters, visible_content
from drypoint.report.model import (
    Block,
    Code,
    Content,
    Drawing,
    Facts,
    Heading,
    Items,
    Notice,
    Paragraph,
    Table,
)
from drypoint.report.symbols import breakable, parts
from drypoint.run.result import StudyResult
from drypoint.run.signing import Standing
from drypoint.store.atomic import atomic_write
from drypoint.visible import visible


def render_pdf(content: Content) -> bytes:
    """A report's content as PDF with all fonts embedded.

    The date inside is the last day that the records name, so that no clock is asked.

    Raises
    ------
    ReportError
        When the typesetter refuses the document.
    """
    content, further, _ = set_letters(visible_content(content))
    data = json.dumps(_document(content), ensure_ascii=False)
    template = files("drypoint.report").joinpath("templates/report.typ").read_bytes()
    try:
        with _fonts(further) as fonts:
            made = typst.compile(
                template, font_paths=fonts, format="pdf", sys_inputs={"data": data}
            )
    except (KeyboardInterrupt, SystemExit, MemoryError):
        raise
    except BaseException as error:  # a panic inside the typesetter is no Exception
        words = " ".join(visible(str(error)).split())[:500] or type(error).__name__
        raise ReportError(
            f"The PDF cannot be set: {words}.",
            remedy="Write the report without it (drypoint report STUDY --no-pdf), and tell the "
            "developers with the study file.",
        ) from error
    return bytes(made)


@contextmanager
def _fonts(further: tuple[Path, ...]) -> Iterator[typst.Fonts]:
    """Fonts of the typesetter (Libertinus) and of Matplotlib (DejaVu), and others of this computer
    only for letters that these lack."""
    if not further:
        yield _plain_fonts()
        return
    with TemporaryDirectory(prefix="drypoint-fonts-") as name:
        for k, font in enumerate(further):  # the typesetter takes folders, not files
            link = Path(name) / f"{k}{font.suffix}"
            try:
                link.symlink_to(font)
            except OSError:
                shutil.copyfile(font, link)
        yield typst.Fonts(include_system_fonts=False, font_paths=[own_folder(), Path(name)])


@lru_cache(maxsize=1)
def _plain_fonts() -> typst.Fonts:
    return typst.Fonts(include_system_fonts=False, font_paths=[own_folder()])


def _text(words: str) -> list[list[str]]:
    """Text with symbols taken apart, for the template."""
    return [list(p) for p in parts(words)]


def _document(content: Content) -> dict[str, Any]:
    number = {id(p): i for i, p in enumerate(content.pictures, start=1)}
    return {
        "title": content.title,
        "report_number": content.report_number,
        "question": content.question,
        "invented": content.invented,
        "front": [list(p) for p in content.front],
        "answers": [
            {
                "specimen": a.specimen,
                "about": a.about,
                "values": [[_text(s), v, _text(b)] for s, v, b in a.values],
                "basis": _text(a.basis),
            }
            for a in content.answers
        ],
        "answer_note": _text(content.answer_note),
        "statement": content.statement,
        "kind": content.kind,
        "notices": [_text(n) for n in content.notices],
        "version": content.version,
        "signed": content.signed,
        "day": list(content.day) if content.day else [],
        "sections": [
            {"title": s.title, "blocks": [_block(b, number) for b in s.blocks]}
            for s in content.sections
        ],
    }


def _block(b: Block, number: dict[int, int]) -> dict[str, Any]:
    if isinstance(b, Table):
        return {
            "block": b.block,
            "caption": _text(b.caption),
            "columns": [{"head": _text(c.head), "kind": c.kind, "wide": c.wide}
                        for c in b.columns],
            "rows": [[_cell(cell, c.kind) for cell, c in zip(row, b.columns, strict=True)]
                     for row in b.rows],
            "note": _text(b.note),
        }  # fmt: skip
    if isinstance(b, Facts):
        return {"block": b.block, "pairs": [[_text(k), _text(v)] for k, v in b.pairs]}
    if isinstance(b, (Paragraph, Notice, Heading)):
        return {"block": b.block, "text": _text(b.text)}
    if isinstance(b, Items):
        return {"block": b.block, "items": [_text(i) for i in b.items]}
    if isinstance(b, Code):
        return {"block": b.block, "caption": b.caption, "text": b.text}
    assert isinstance(b, Drawing)
    return {
        "block": b.block,
        "pictures": [
            {
                "svg": svg_of(p),
                "alt": p.alt,
                "caption": _text(p.caption),
                "number": number[id(p)],
                "half": bool(p.get_figwidth() < 4),
            }
            for p in b.pictures
        ],
    }


def _cell(cell: str, kind: str) -> Any:
    """A cell: text with symbols, or (a fixed pitch) text with places where it may break."""
    return [["\u200b".join(breakable(cell)), ""]] if kind == "code" else _text(cell)


def write_pdf(
    result: StudyResult,
    path: Path | str,
    *,
    issued: str = "",
    standing: Standing | None = None,
) -> Path:
    """Write the report of a study as PDF; the earlier file stays until it is whole.

    Parameters
    ----------
    result : StudyResult
    path : Path or str
        Its folder is made where it is missing.
    issued : str
        Date of issue as it is to be printed.
    standing : Standing, optional
        Version and signatures; read from beside the study file where left out.

    Raises
    ------
    ReportError
        When the report cannot be made.
    StoreError
        When the file cannot be written.
    """
    target = folder_of(path)
    atomic_write(target, render_pdf(gather(result, issued=issued, standing=standing)))
    return target
