"""The page: well formed, offline, readable without seeing its figures."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

from drypoint.report import gather, render_html, write_html
from drypoint.report.html import symbols
from drypoint.run import StudyResult

VOID = {"meta", "link", "br", "hr", "img", "input", "wbr"}


class Outline(HTMLParser):
    """Checks that tags nest, and keeps what a reader meets."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.ids: list[str] = []
        self.headings: list[int] = []
        self.tags: dict[str, int] = {}
        self.labels: list[str] = []
        self.links: list[str] = []
        self.text: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        named = dict(attrs)
        assert len(named) == len(attrs), f"attribute twice in <{tag}>"
        self.tags[tag] = self.tags.get(tag, 0) + 1
        if named.get("id"):
            self.ids.append(str(named["id"]))
        if re.fullmatch("h[1-6]", tag):
            self.headings.append(int(tag[1]))
        if tag == "svg":
            assert named.get("role") == "img"
            self.labels.append(str(named.get("aria-label") or ""))
        if tag == "a":
            self.links.append(str(named["href"]))
        if tag == "th":
            assert named.get("scope") in ("row", "col")
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.open and self.open.pop() == tag, f"</{tag}> closes what is not open"

    def handle_data(self, data: str) -> None:
        if not {"style", "svg"} & set(self.open):
            self.text.append(data)


@pytest.fixture(scope="session")
def page(result: StudyResult) -> str:
    return render_html(gather(result))


@pytest.fixture(scope="session")
def outline(page: str) -> Outline:
    parser = Outline()
    parser.feed(page)
    parser.close()
    assert parser.open == []
    return parser


def test_page_is_well_formed(page: str, outline: Outline) -> None:
    assert page.startswith("<!DOCTYPE html>")
    assert len(outline.ids) == len(set(outline.ids)), "an id stands twice"
    assert {link[1:] for link in outline.links} <= set(outline.ids)
    assert outline.headings[0] == 1 and outline.headings.count(1) == 1
    steps = [b - a for a, b in zip(outline.headings, outline.headings[1:], strict=False)]
    assert max(steps) <= 1, "a heading skips a level"
    assert outline.tags["caption"] == outline.tags["table"] == outline.tags["thead"]
    for tag in ("main", "nav", "header", "footer"):
        assert outline.tags[tag] == 1


def test_page_asks_nothing_of_anybody(page: str, outline: Outline) -> None:
    assert not re.search(r"https?:|//[a-z]+\.|url\((?!#)|@import|<script|<link|<iframe", page)
    assert "img" not in outline.tags


def test_every_figure_has_its_words(outline: Outline, result: StudyResult) -> None:
    pictures = gather(result).pictures
    assert outline.labels == [p.alt for p in pictures]
    assert all(len(label) > 40 for label in outline.labels)
    assert outline.tags["figure"] == len(pictures) + 1  # the recipe is one too
    assert outline.tags["figcaption"] == outline.tags["figure"]


def test_page_holds_the_answer_and_the_warnings(outline: Outline, result: StudyResult) -> None:
    text = " ".join("".join(outline.text).split())
    content = gather(result)
    for a in content.answers:
        for _, value, _ in a.values:
            assert value in text
    assert content.statement in text and content.invented in text
    for s in content.sections:
        assert s.title in text


def test_written_file_is_the_page_and_the_same_each_time(
    page: str, result: StudyResult, tmp_path: Path
) -> None:
    path = write_html(result, tmp_path / "new" / "report.html")
    assert path.read_text(encoding="utf-8") == page
    assert [p.name for p in path.parent.iterdir()] == ["report.html"]


def test_symbols_are_set_and_text_is_escaped() -> None:
    assert str(symbols("H_IT < 3")) == "<i>H</i><sub>IT</sub> &lt; 3"
    assert str(symbols("eta_IT")) == "<i>η</i><sub>IT</sub>"
    assert str(symbols("u_zero_nm")) == "u_zero_nm"
