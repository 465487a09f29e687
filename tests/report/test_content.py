"""What the report says: its numbers are those of the tables, and nothing is missing."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from drypoint.report import gather
from drypoint.report.model import Content, Drawing, Facts, Items, Paragraph, Table
from drypoint.report.words import (
    declared_span,
    dof_text,
    plus_minus,
    typeset,
    without_places,
)
from drypoint.run import StudyResult
from drypoint.run.columns import column
from drypoint.uncertainty.rounding import round_pair


@pytest.fixture(scope="session")
def content(result: StudyResult) -> Content:
    return gather(result, issued="2025-03-14")


def table(content: Content, start: str) -> Table:
    return next(t for t in content.tables if t.caption.startswith(start))


def words(content: Content) -> str:
    out = [content.title, content.question, content.invented, content.statement]
    for s in content.sections:
        out.append(s.title)
        for b in s.blocks:
            if isinstance(b, Table):
                out += [b.caption, b.note, *(c for row in b.rows for c in row)]
            elif isinstance(b, Facts):
                out += [w for p in b.pairs for w in p]
            elif isinstance(b, Items):
                out += b.items
            elif isinstance(b, Paragraph):
                out.append(b.text)
    return "\n".join(out)


@pytest.mark.parametrize("symbol", ["H_IT", "E_IT", "h_c"])
def test_numbers_of_single_tests_are_those_of_the_table(
    symbol: str, content: Content, result: StudyResult
) -> None:
    frame = result.tests_table
    for specimen in result.specimens:
        shown = table(content, f"{specimen}: results test by test")
        at = next(i for i, c in enumerate(shown.columns) if c.head.startswith(f"{symbol} ± u"))
        mine = frame.filter(frame["specimen"] == specimen)
        assert len(shown.rows) == len(mine)
        for row, value, u in zip(
            shown.rows, mine[column(symbol)], mine[column(symbol, "u_")], strict=True
        ):
            if value is None:
                assert row[at] == "–"
                continue
            left, right = row[at].split(" ± ")
            assert (left, right) == tuple(map(typeset, round_pair(value, u)))
            # rounding never moves a value by more than half a unit of its last figure
            place = 10.0 ** -len(left.partition(".")[2])
            assert abs(float(left) - value) <= 0.5 * place * 1.0001


def test_means_are_those_of_the_series(content: Content, result: StudyResult) -> None:
    for specimen in result.specimens:
        shown = {r[0].split(" / ")[0]: r for r in table(content, f"{specimen}: means over").rows}
        for symbol in ("H_IT", "E_IT", "HM"):
            s = result.series[specimen][symbol]
            row = shown[symbol]
            assert row[2] == str(s.n)
            assert row[3] == " ± ".join(round_pair(s.mean / 1e9, s.expanded / 1e9))
            assert float(row[4]) == pytest.approx(s.k, abs=0.006)


def test_answer_is_the_mean_with_its_expanded_uncertainty(
    content: Content, result: StudyResult
) -> None:
    assert [a.specimen for a in content.answers] == list(result.specimens)
    for a in content.answers:
        of_film = [v for v in a.values if v[0].endswith("_f")]
        assert [v[0] for v in of_film] == (["E_f", "H_f"] if a.specimen == "film" else [])
        for symbol, value, basis in a.values[len(of_film) :]:
            assert ("film and substrate together" in basis) == (a.specimen == "film")
            s = result.series[a.specimen][symbol]
            left, right = round_pair(s.mean / 1e9, s.expanded / 1e9)
            assert value == f"({left} ± {right}) GPa"
            digits = right.replace(".", "").lstrip("0")
            assert len(digits) == 2 or float(right) >= 100
            assert f"{s.n} test" in basis and f"k = {s.k:.2f}" in basis and "95 %" in basis


def test_shares_of_a_budget_add_up(content: Content) -> None:
    found = [t for t in content.tables if ": budget of the mean" in t.caption]
    assert len(found) == 8
    for t in found:
        shares = [float(row[6].replace("−", "-")) for row in t.rows]
        assert sum(shares) == pytest.approx(100.0, abs=0.8)
        assert {row[1] for row in t.rows} == {"random", "systematic"}


def test_everything_asked_for_is_there(content: Content, result: StudyResult) -> None:
    keys = [s.key for s in content.sections]
    assert keys == ["specimens", "bench", "cycle", "method", "results", "budget", "remarks",
                    "comparison", "films", "stress", "record", "cautions"]  # fmt: skip
    text = words(content)
    for test in result.batch.tests:
        assert test.name in text
    for s in result.set_aside:
        assert s.reason in text and s.remedy in text
    for name, sha in result.provenance.inputs.items():
        assert name in text and sha in text
    for word in ("beta", "epsilon", "Poisson", "Radius", "98 %", "designation", "22.", "°C",
                 "accredited", "Drift hold", "covariance", "SHA-256"):  # fmt: skip
        assert word.lower() in text.lower(), word
    assert ("Date of issue", "2025-03-14") in content.front
    assert content.invented and content.day is not None and content.day[0] == 2025


def test_excluded_test_is_named_with_reason_and_person(content: Content) -> None:
    shown = table(content, "Excluded tests")
    assert shown.rows[0][0] == "G-05"
    assert shown.rows[0][2:4] == ("a door was slammed during the hold", "M. Example")
    back = table(content, "Means with the exclusions")
    assert {row[0] for row in back.rows} == {"glass"}
    assert [int(row[4]) - int(row[2]) for row in back.rows] == [1, 1]


def test_no_clause_or_annex_is_printed(content: Content) -> None:
    assert not re.search(r"\b(annex|clause)\b", words(content), re.IGNORECASE)


def test_every_choice_is_listed_with_its_origin(content: Content, result: StudyResult) -> None:
    rows = {row[0]: row for row in table(content, "Choices of the reduction").rows}
    assert rows["analysis.beta"][2:] == ("1", "set in the recipe")
    assert rows["analysis.window"][3].startswith("default; ")
    assert rows["corrections.zero.depth_window_nm"][2] == "15 nm"
    for row in rows.values():
        assert all(row), row


def test_tables_are_whole(content: Content) -> None:
    for t in content.tables:
        assert t.caption
        for row in t.rows:
            assert len(row) == len(t.columns), t.caption
            assert not any("nan" in cell.lower().split() for cell in row), row


def test_same_result_is_gathered_once(result: StudyResult, content: Content) -> None:
    assert gather(result, issued="2025-03-14") is content
    again = gather(result)
    assert again is not content and again.answers == content.answers


def test_declared_words_come_together() -> None:
    assert declared_span(["22,5 °C", "22.9 °C", None]) == "22.5 to 22.9 °C"
    assert declared_span(["41 %", "41 %"]) == "41 %"
    assert declared_span(["A", "B", "A"]) == "A, B"
    assert declared_span([None, ""]) == "not stated"
    assert declared_span(["22 °C", "295 K"]) == "22 °C, 295 K"


def test_small_words() -> None:
    assert without_places("ISO 14577-1 Annex I") == "ISO 14577-1"
    assert without_places("GUM, annex G") == "GUM"
    assert without_places("ISO 14577-1, clause 7.2, and more") == "ISO 14577-1, and more"
    assert (dof_text(np.inf), dof_text(2000.0), dof_text(12.9)) == ("∞", "> 1000", "12")
    assert plus_minus("H_IT", np.nan, 1.0) == "–"
    assert plus_minus("H_IT", 9.1666e9, 0.0616e9) == "9.167 ± 0.062"


def test_stress_under_the_tip_has_its_section(content: Content, result: StudyResult) -> None:
    """First yield of each solid, interface, as seen beside true, own errors, what it cannot show;
    the numbers are those of the run."""
    (section,) = (s for s in content.sections if s.key == "stress")
    (one,) = result.stress
    said = words(replace(content, sections=(section,)))
    wanted = ("If nothing yielded", "Film first yields", "Wafer first yields", "Interface 1",
              "Errors of the force", "body of revolution", "nothing here is measured")  # fmt: skip
    assert [word for word in wanted if word not in said] == []
    seen = next(b for b in section.blocks if isinstance(b, Table) and "finds" in b.caption)
    hardness = next(row for row in seen.rows if row[0] == "Hardness")
    assert one.seen is not None
    assert float(hardness[2]) == pytest.approx(one.seen.H_IT / 1e9, rel=5e-3)
    assert float(hardness[3]) == pytest.approx(one.run.hardness / 1e9, rel=5e-3)
    pictures = [p.name for b in section.blocks if isinstance(b, Drawing) for p in b.pictures]
    assert pictures == ["under-the-tip-film", "stress-maps-film", "interface-stress-film",
                        "impression-film"]  # fmt: skip
    assert all("film" in p.caption for b in section.blocks if isinstance(b, Drawing)
               for p in b.pictures)  # fmt: skip


def test_the_film_has_its_section(content: Content, result: StudyResult) -> None:
    """Structure, every model, the spread on a line of its own, plateau, what the given numbers
    bring; the numbers are those of the result."""
    (section,) = (s for s in content.sections if s.key == "films")
    (one,) = result.films
    tables = {b.caption: b for b in section.blocks if isinstance(b, Table)}
    found = next(t for c, t in tables.items() if c.startswith("What was found"))
    exact = found.rows[0]
    assert exact[0] == "exact layered contact" and exact[1] == "modulus of film / GPa"
    value, u = (float(v) for v in str(exact[2]).split(" ± "))
    E, random, systematic = (v / 1e9 for v in one.exact.of("film.E"))
    assert value == pytest.approx(E, abs=u / 10) and u == pytest.approx(
        np.hypot(random, systematic), rel=0.05
    )
    assert [r[0] for r in found.rows[-2:]] == ["spread between models", "pile-up and sink-in"]
    assert found.rows[-2][2] == found.rows[-1][2] == "–"
    hardness = next(t for c, t in tables.items() if c.startswith("Hardness of the film"))
    assert hardness.rows[0][0] == "plateau"
    brought = next(t for c, t in tables.items() if c.startswith("Systematic part"))
    assert brought.rows[0][0] == "elastic solution of a flat film"
    pictures = [p for b in section.blocks if isinstance(b, Drawing) for p in b.pictures]
    assert [p.name for p in pictures] == ["film-modulus-film", "film-hardness-film"]
    assert f"{len(one.tests)} unloadings" in pictures[0].alt and "Plateau" in pictures[1].alt


def test_a_film_without_a_value_is_said(result: StudyResult) -> None:
    from drypoint.report.films import films
    from drypoint.run.coatings import FilmFailure

    failed = FilmFailure("film", "No test has E.", "Test shallower.")
    section = films(replace(result, films=(), films_failed=(failed,)))
    assert section is not None
    assert any("No film value: No test has E." in str(b) for b in section.blocks)
