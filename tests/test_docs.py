"""The documentation holds: code runs, numbers are right, links lead somewhere, lists are whole.

What a fence means here:

``python``           run, page by page, in one namespace and one folder of its own
``text``             behind ``python``: what it prints; ``text file=NAME``: written to that file
``console``          ``$ drypoint ...`` is run; the lines below it must be printed, in that order
``toml``             must be valid in a study file
``… ``               in what is printed stands for any text

``<!-- exit 3 -->`` before a console block is the exit code that its last command has, and
``<!-- needs demo -->`` on a page puts a demo that has been run into its folder.
"""

from __future__ import annotations

import contextlib
import importlib.util
import io
import re
import shlex
import shutil
import sys
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

import drypoint
from calibrated_demo import calibrated_demo
from drypoint.cli import main as command_line
from drypoint.recipe import dumps, read_study
from drypoint.reduction.flags import GROUNDS
from drypoint.run import StudyResult, run_study
from drypoint.run.columns import COLUMNS, MEANING, column
from drypoint.run.gathering import bins_frame

ROOT = Path(__file__).resolve().parents[1]
DOCS = ROOT / "docs"
PAGES = [ROOT / "README.md", ROOT / "CHANGELOG.md", *sorted(DOCS.rglob("*.md"))]

FENCE = re.compile(r"^```([a-z]*)([^\n]*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
EXIT = re.compile(r"<!-- exit (\d+) -->")
LINK = re.compile(r"(?<!\!)\[[^\]]+\]\(([^)\s]+)\)")
PICTURE = re.compile(r"!\[([^\]]*)\]\(([^)\s]+)\)")
CITED = re.compile(r"(?<![\w\])`])\[([a-z][a-z0-9-]*(?:18|19|20)\d\d[a-z]?)\](?!\()")
TITLE = re.compile(r"^#+ +(.+)$", re.MULTILINE)


@dataclass(frozen=True)
class Block:
    """A fence: language, what stands behind it, text, its line, and the exit code it must have."""

    language: str
    info: str
    text: str
    line: int
    exit: int = 0


def name_of(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def read(path: Path) -> str:
    return path.read_text(encoding="utf-8")


def blocks_of(path: Path) -> list[Block]:
    text, out, last = read(path), [], 0
    for m in FENCE.finditer(text):
        codes = EXIT.findall(text[last : m.start()])
        line = text.count("\n", 0, m.start()) + 1
        out.append(Block(m[1], m[2].strip(), m[3], line, int(codes[-1]) if codes else 0))
        last = m.end()
    return out


def generator() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_docs", ROOT / "scripts" / "make_docs.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


MAKE_DOCS = generator()


# ---- code on the pages ----------------------------------------------------------------------


def runs_code(path: Path) -> bool:
    return any(b.language in ("python", "console") for b in blocks_of(path))


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the demo, run once."""
    folder = tmp_path_factory.mktemp("docs") / "demo"
    run_study(calibrated_demo(folder, seed=7))
    return folder


@pytest.fixture(scope="module")
def result(demo: Path) -> StudyResult:
    """The demo's result."""
    return run_study(demo / "study.toml", write=False)


@pytest.mark.parametrize("path", [p for p in PAGES if runs_code(p)], ids=name_of)
def test_code_of_page_runs(
    path: Path, request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    if "<!-- needs demo -->" in read(path):
        shutil.copytree(request.getfixturevalue("demo"), tmp_path / "demo")
    space: dict[str, Any] = {"__name__": "page"}
    printed: str | None = None
    for b in blocks_of(path):
        place = f"{name_of(path)}, line {b.line}"
        if b.language == "python":
            with captured() as out:
                exec(compile(b.text, place, "exec"), space)
            printed = out.getvalue()
            continue
        if b.language == "console":
            console(b, place)
        elif b.language == "text" and b.info.startswith("file="):
            file = tmp_path / b.info.removeprefix("file=")
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_text(b.text, encoding="utf-8")
        elif b.language == "text" and printed is not None:
            compare(b.text.splitlines(), printed, place)
        printed = None


@contextlib.contextmanager
def captured() -> Iterator[io.StringIO]:
    out = io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(out):
        yield out


def console(block: Block, place: str) -> None:
    parts = re.split(r"^\$ ", block.text, flags=re.MULTILINE)[1:]
    assert parts, f"{place}: no command"
    for i, part in enumerate(parts):
        command, _, shown = part.partition("\n")
        words = shlex.split(command)
        assert words[0] == "drypoint", f"{place}: only drypoint commands are run"
        code, out = run_command(words)
        assert code == (block.exit if i == len(parts) - 1 else 0), f"{place}: {command}\n{out}"
        compare(shown.splitlines(), out, f"{place}: {command}")


def run_command(words: list[str]) -> tuple[int, str]:
    before, sys.argv = sys.argv, words
    try:
        with captured() as out:
            try:
                command_line()
            except SystemExit as stop:
                return int(stop.code or 0), out.getvalue()
            return 0, out.getvalue()
    finally:
        sys.argv = before


def compare(shown: list[str], printed: str, place: str) -> None:
    """Each line that is shown must have been printed, one behind the other."""
    have = [" ".join(line.split()) for line in printed.splitlines()]
    at = 0
    for line in shown:
        want = " ".join(line.split())
        if want == "…" or not want.strip(" -"):
            continue
        pattern = ".*".join(re.escape(part) for part in want.split("…"))
        hits = [i for i in range(at, len(have)) if re.fullmatch(pattern, have[i])]
        assert hits, f"{place}: not printed:\n{line}\nPrinted:\n{printed}"
        at = hits[0] + 1


@pytest.mark.parametrize("path", PAGES, ids=name_of)
def test_toml_is_valid_in_a_study(path: Path, tmp_path: Path) -> None:
    for b in blocks_of(path):
        if b.language != "toml":
            continue
        whole = merged(tomllib.loads(STUDY), tomllib.loads(b.text))
        read_study(dumps(whole), tmp_path / "study.toml")


STUDY = """\
drypoint = 1
study = { name = "page" }
records = [{ files = ["raw/*.txt"], specimen = "glass", tip = "B1" }]
[specimens.glass]
nu = 0.17
u_nu = 0.01
[tips.B1]
shape = "modified Berkovich"
"""


def merged(base: dict[str, Any], more: dict[str, Any]) -> dict[str, Any]:
    out = dict(base)
    for k, v in more.items():
        both = isinstance(v, dict) and isinstance(out.get(k), dict)
        out[k] = merged(out[k], v) if both else v
    return out


def test_the_test_notices_what_is_not_printed() -> None:
    compare(["a  b", "…", "c … e"], "a b\nx\nc d e\n", "here")
    with pytest.raises(AssertionError, match="not printed"):
        compare(["b", "a"], "a\nb\n", "here")


# ---- links, pictures, citations ----------------------------------------------------------------


def slug(title: str) -> str:
    plain = re.sub(r"[`*]|\[|\]\([^)]*\)|\]", "", title).strip().lower()
    return re.sub(r"[^\w\- ]", "", plain).replace(" ", "-")


@pytest.mark.parametrize("path", PAGES, ids=name_of)
def test_links_lead_somewhere(path: Path) -> None:
    text = FENCE.sub("", read(path))
    broken = []
    for target in LINK.findall(text) + [t for _, t in PICTURE.findall(text)]:
        if re.match(r"https?://|mailto:", target):
            continue
        file, _, anchor = target.partition("#")
        place = (path.parent / file).resolve() if file else path
        titles = {slug(t) for t in TITLE.findall(FENCE.sub("", read(place)))} if anchor else set()
        if not place.exists() or (anchor and anchor not in titles):
            broken.append(target)
    assert not broken


def test_every_page_is_reached_from_the_index() -> None:
    seen: set[Path] = set()
    todo = [DOCS / "index.md"]
    while todo:
        page = todo.pop()
        if page in seen or page.suffix != ".md" or not page.exists():
            continue
        seen.add(page)
        for target in LINK.findall(read(page)):
            todo.append((page.parent / target.partition("#")[0]).resolve())
    assert set(DOCS.rglob("*.md")) <= seen


def test_pictures_are_small_and_told_in_words() -> None:
    used = set()
    for path in PAGES:
        for words, target in PICTURE.findall(read(path)):
            assert len(words) > 20, f"{name_of(path)}: {target} has no words for who cannot see it"
            used.add((path.parent / target).resolve())
    pictures = set((DOCS / "pictures").glob("*"))
    assert pictures and pictures == used
    assert all(p.stat().st_size < 200_000 for p in pictures)


@pytest.mark.parametrize("path", PAGES, ids=name_of)
def test_citations_stand_in_the_bibliography(path: Path) -> None:
    known = tomllib.loads(read(DOCS / "reference" / "bibliography.toml"))
    assert set(CITED.findall(FENCE.sub("", read(path)))) <= set(known)


def test_formulas_page_cites() -> None:
    cited = set(CITED.findall(read(DOCS / "reference" / "formulas.md")))
    assert {"iso14577-1-2015", "oliver1992", "pharr2002", "hay1999", "gum2008"} <= cited


@pytest.mark.parametrize("path", PAGES, ids=name_of)
def test_no_path_of_one_machine(path: Path) -> None:
    assert not re.search(r"(?<![\w.])/(?:work|root|home|tmp|Users)/|[A-Z]:\\", read(path))


# ---- lists that must be whole ------------------------------------------------------------------


@pytest.mark.parametrize("page", MAKE_DOCS.PAGES)
def test_made_page_is_current(page: str) -> None:
    path = DOCS / "reference" / page
    assert read(path) == MAKE_DOCS.PAGES[page](), "run python scripts/make_docs.py"


def test_columns_are_those_of_the_tables(result: StudyResult) -> None:
    assert list(MAKE_DOCS.FORMULAS) == list(COLUMNS) == list(MEANING)
    properties = [column(s, p) for s in COLUMNS for p in ("", "u_", "ur_", "us_")]
    whole = [*MAKE_DOCS.HEAD, *properties, *MAKE_DOCS.TAIL]
    assert result.cycles_table.columns == [c for c in whole if c not in MAKE_DOCS.TESTS_ONLY]
    assert result.tests_table.columns == [c for c in whole if c != "cycle"]
    bins = {
        re.sub(r"([HE])_IT(_GPa)?", lambda m: "SYMBOL" + ("_unit" if m[2] else ""), c)
        for c in bins_frame(result.bins).columns
    }
    assert bins == set(MAKE_DOCS.BINS)


def test_flags_are_those_of_the_code() -> None:
    assert set(MAKE_DOCS.flag_limits()) == set(GROUNDS)
    raised = set()
    for path in (ROOT / "src" / "drypoint").rglob("*.py"):
        raised |= set(re.findall(r'_flag\(\s*"([^"]+)"', read(path)))
    assert raised == set(GROUNDS)


def test_python_page_has_every_public_name() -> None:
    text = read(DOCS / "reference" / "python.md")
    assert {n for n in drypoint.__all__ if f"`{n}`" not in text} == set()


def test_formulas_page_has_every_property() -> None:
    text = read(DOCS / "reference" / "formulas.md")
    assert {s for s in COLUMNS if f"`{s}`" not in text} == set()


def test_make_targets_named_in_the_readme_exist() -> None:
    targets = set(re.findall(r"^([a-z-]+):", read(ROOT / "Makefile"), re.MULTILINE))
    assert set(re.findall(r"\bmake ([a-z]+)\b", read(ROOT / "README.md"))) <= targets


@pytest.mark.parametrize("path", sorted((DOCS / "decisions").glob("0*.md")), ids=name_of)
def test_decision_says_why_and_what_it_costs(path: Path) -> None:
    assert re.search(r"\n## Context\n.+\n## Choice\n.+\n## Why\n.+\n## What it costs\n",
                     read(path), re.DOTALL)  # fmt: skip
