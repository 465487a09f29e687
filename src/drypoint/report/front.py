"""The first page: what was asked, and the answer."""

from __future__ import annotations

import contextlib
import re
from datetime import date

from drypoint.figures.labels import plural
from drypoint.figures.rows import rows_of
from drypoint.report.model import Answer
from drypoint.report.words import between, declared_span, dof_text, level_text, own_text, with_unit
from drypoint.run.columns import unit_text
from drypoint.run.film_answers import TOGETHER, film_answers
from drypoint.run.result import StudyResult
from drypoint.uncertainty.series import SeriesResult

#: Quantities of the answer.
SYMBOLS = ("H_IT", "E_IT")
_DAY = re.compile(r"(\d{4})-(\d{2})-(\d{2})")


def answers(result: StudyResult) -> tuple[Answer, ...]:
    """The answer for each specimen that has results."""
    out = []
    for specimen in result.specimens:
        known = result.series.get(specimen, {})
        film = next((f for f in result.films if f.specimen == specimen), None)
        level = result.study.file.output.level_of_confidence
        values = [] if film is None else list(film_answers(film, level))
        for symbol in SYMBOLS:
            s = known.get(symbol)
            if s is None:
                values.append((symbol, "no value", "withheld or not found; see the flags"))
                continue
            values.append(
                (
                    symbol,
                    with_unit(symbol, s.mean, s.expanded),
                    f"{plural(s.n, 'test')}; k = {s.k:.2f} for {level_text(s.level)} with "
                    f"{_dof(s)}; the specimen's own variation {_own(symbol, s)}"
                    + ("" if film is None else f"; {TOGETHER}"),
                )
            )
        about = result.study.specimen(specimen).description
        out.append(Answer(specimen, about, tuple(values), _basis(result, specimen)))
    return tuple(out)


def _dof(s: SeriesResult) -> str:
    text = dof_text(s.dof).replace(">", "more than").replace("∞", "unlimited")
    return text + (" effective degree" if text == "1" else " effective degrees") + " of freedom"


def _own(symbol: str, s: SeriesResult) -> str:
    if s.n < 2:
        return "cannot be known from one test"
    unit = unit_text(symbol)
    text = own_text(symbol, s)
    return f"{text} {unit}" if text[0].isdigit() else text.replace(")", f" {unit})")


def _basis(result: StudyResult, specimen: str) -> str:
    rows, gone = rows_of(result, specimen)
    kept = rows[~gone]
    depth = between(result.tests["h_c"].value[kept] * 1e9)
    force = between(result.tests["F_max"].value[kept] * 1e3)
    text = f"At contact depths of {depth} nm and largest forces of {force} mN."
    if gone.any():
        text += f" {plural(int(gone.sum()), 'test')} excluded by decision."
    for p in result.populations.get(specimen, ()):
        text += f" {p.words}"
    return text


def front_pairs(result: StudyResult, issued: str) -> tuple[tuple[str, str], ...]:
    """Pairs of the first page; what the study does not say is left out."""
    s = result.study.file.study
    tests = len(result.tests_table)
    excluded = int(result.tests_table["excluded"].sum())
    counted = f"{tests} with results"
    has_tests = bool(result.study.file.records)
    if excluded:
        counted += f", of these {excluded} excluded by decision"
    if result.set_aside:
        counted += f"; {plural(len(result.set_aside), 'record')} set aside"
    pairs = [
        ("Report number", s.report_number),
        ("Date of issue", issued),
        ("Laboratory", s.laboratory),
        ("For", s.customer),
        ("Tests made by", s.operator),
        ("Tests made on", declared_span(result.tests_table["date"].to_list())),
        ("Practice followed", s.standard),
        ("Tests", counted if has_tests else ""),
        ("Scratch tracks", _tracks(result)),
        ("Remarks", s.remarks),
    ]
    return tuple((k, v) for k, v in pairs if v and v != "not stated")


def _tracks(result: StudyResult) -> str:
    if result.scratch is None:
        return ""
    excluded = len(result.scratch.excluded)
    text = f"{len(result.scratch.tracks)} with results"
    text += f", of these {excluded} excluded by decision" if excluded else ""
    if not result.study.file.records and result.set_aside:
        text += f"; {plural(len(result.set_aside), 'record')} set aside"
    return text


def last_day(result: StudyResult) -> tuple[int, int, int] | None:
    """The last day that the records name, for the date inside the PDF."""
    days = []
    for words in result.tests_table["date"].to_list():
        m = _DAY.search(words or "")
        with contextlib.suppress(ValueError):
            if m:
                days.append(date(int(m[1]), int(m[2]), int(m[3])))
    last = max(days, default=None)
    return None if last is None else (last.year, last.month, last.day)


ANSWER_NOTE = (
    "Each value is the mean over the tests with its expanded uncertainty, which holds the scatter "
    "between tests and everything that all tests share. The specimen's own variation is the "
    "standard deviation from test to test that the tests' own uncertainties do not explain."
)
