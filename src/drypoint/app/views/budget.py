"""The uncertainty of one number: its inputs and their shares, and where each comes from."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from pydantic import Field
from starlette.requests import Request

from drypoint.app.api import Endpoint, Form, session_of
from drypoint.app.faults import NotFound
from drypoint.app.pages import View
from drypoint.app.session import State
from drypoint.app.snippets import snippets
from drypoint.app.views.tests import results_of
from drypoint.errors import Where
from drypoint.figures.labels import input_words, number
from drypoint.figures.shares import SMALLEST, shown_rows
from drypoint.recipe.decisions import unknown_test
from drypoint.report.inputs import input_in_units
from drypoint.report.words import DASH, dof_text, typeset
from drypoint.run.budgets import (
    BETWEEN,
    TOGETHER,
    bin_budget,
    bin_mean,
    cycle_budget,
    film_budget,
    film_of,
    pairs,
    series_budget,
    test_budget,
)
from drypoint.run.columns import COLUMNS, MEANING, factor_of, unit_text
from drypoint.run.film_tables import unit_of
from drypoint.run.result import StudyResult
from drypoint.uncertainty.budget import Budget, BudgetRow
from drypoint.uncertainty.joint import Joint
from drypoint.uncertainty.rounding import round_pair

#: Correlated pairs listed.
_MOST_PAIRS = 12
#: Raw files of a mean that are listed one by one.
_MOST_FILES = 400


class Number(Form):
    """Which number: of a test (or one of its unloadings), the mean of a specimen (or of one of its
    bins of depth), or with ``film`` a film's number, such as ``film.E``."""

    symbol: str
    test: str = ""
    cycle: int = Field(0, ge=0)
    specimen: str = ""
    depth_bin: int = Field(-1, ge=-1)
    dynamic: bool = False
    film: bool = False


@dataclass(frozen=True)
class _Found:
    """A budget, the coverage factor as the tables have it, and the call that makes it."""

    budget: Budget
    joint: Joint
    k: float
    dof: float
    of: str
    call: str
    imports: str
    interval: tuple[float, float] | None = None


def context(request: Request, state: State) -> Mapping[str, Any]:
    """Tests, specimens and symbols to choose from."""
    known = state.results is not None and state.work == "run"
    table = results_of(state).table("tests") if known else None
    return {
        "has_results": table is not None,
        "specimens": table["specimen"].unique(maintain_order=True).to_list() if table is not None
        else [],
        "symbols": [(s, MEANING[s]) for s in COLUMNS],
    }  # fmt: skip


def of_number(request: Request, query: Number) -> dict[str, Any]:
    """Budget of one number."""
    session = session_of(request)
    result = session.result()
    if query.symbol not in COLUMNS and not query.film:
        raise NotFound(
            f"There is no quantity “{query.symbol}”.",
            where=Where(str(result.study.path)),
            remedy="Quantities: " + ", ".join(COLUMNS) + ".",
        )
    if bool(query.test) == bool(query.specimen):
        raise NotFound("A number is of one test or of one specimen.", remedy="Name one of them.")
    found = _of_test(result, query) if query.test else _of_specimen(result, query)
    return {
        **_values(found, query.symbol),
        "test": query.test,
        "cycle": query.cycle,
        "specimen": query.specimen,
        "of": found.of,
        "chain": _chain(result, query),
        "decisions": [
            {**d.model_dump(mode="json"), **snippets(d, result.study)}
            for d in session.state().journal.decisions
            if query.test and d.test == query.test
        ],
        "python": _python(result, found),
        "version": session.state().version,
    }


def _of_test(result: StudyResult, q: Number) -> _Found:
    names = result.tests_table["test"].to_list()
    if q.test not in names:
        raise unknown_test(q.test, names, result.study.path)
    name, symbol = json.dumps(q.test, ensure_ascii=False), json.dumps(q.symbol)
    try:
        if q.cycle:
            b = cycle_budget(result, q.test, q.cycle, q.symbol)
            call, of = f"cycle_budget(result, {name}, {q.cycle}, {symbol})", "cycle_budget"
            joint, words = result.cycles.inputs, f"{q.test}, unloading {q.cycle}"
        else:
            b = test_budget(result, q.test, q.symbol)
            call, of = f"test_budget(result, {name}, {symbol})", "test_budget"
            joint, words = result.tests.inputs, q.test
    except (KeyError, ValueError) as error:
        raise _no_value(result, q, q.test) from error
    if not np.isfinite(b.value):
        raise _no_value(result, q, words)
    return _Found(b, joint, b.k, b.dof, words, call, of)


def _of_specimen(result: StudyResult, q: Number) -> _Found:
    name, symbol = json.dumps(q.specimen, ensure_ascii=False), json.dumps(q.symbol)
    try:
        if q.film:
            return _of_film(result, q)
        if q.depth_bin >= 0:
            s, r = bin_mean(result, q.specimen, q.symbol, q.depth_bin, dynamic=q.dynamic)
            b = bin_budget(result, q.specimen, q.symbol, q.depth_bin, dynamic=q.dynamic)
            more = ", dynamic=True" if q.dynamic else ""
            call = f"bin_budget(result, {name}, {symbol}, {q.depth_bin}{more})"
            words = f"mean of {q.specimen} in one bin of depth, {s.n} tests"
            return _Found(b, r.inputs, s.k, s.dof, words, call, "bin_budget")
        s = result.series[q.specimen][q.symbol]
        b = series_budget(result, q.specimen, q.symbol)
    except KeyError as error:
        raise _no_value(result, q, q.specimen) from error
    call = f"series_budget(result, {name}, {symbol})"
    words = f"mean of {q.specimen}, {s.n} tests"
    return _Found(b, result.tests.inputs, s.k, s.dof, words, call, "series_budget")


def _of_film(result: StudyResult, q: Number) -> _Found:
    b = film_budget(result, q.specimen, q.symbol)
    if not np.isfinite(b.value):
        raise KeyError(q.symbol)
    r = film_of(result, q.specimen).exact
    name, symbol = json.dumps(q.specimen, ensure_ascii=False), json.dumps(q.symbol)
    words = f"{q.specimen} by the exact solution for layers"
    call = f"film_budget(result, {name}, {symbol})"
    ends = r.interval(q.symbol, b.level)
    return _Found(b, r.given(q.symbol)[0], b.k, b.dof, words, call, "film_budget", ends)


def _no_value(result: StudyResult, q: Number, of: str) -> NotFound:
    return NotFound(
        f"There is no value of {q.symbol} for {of}, and so no budget.",
        where=Where(str(result.study.path)),
        remedy="The flags of the test say what was withheld and why."
        if q.test
        else "The report says which means were withheld and why.",
    )


def _values(found: _Found, symbol: str) -> dict[str, Any]:
    b = found.budget
    film = found.interval is not None
    unit, f = unit_of(symbol) if film else (unit_text(symbol), factor_of(symbol))
    meaning = input_words(symbol) if film else MEANING[symbol]
    value, u = round_pair(b.value / f, b.u / f)
    with_U, U = round_pair(b.value / f, found.k * b.u / f)
    shown = shown_rows(b)
    small = [r for r in b.rows if r not in shown and r.u > 0]
    linked = [p for p in pairs(b, found.joint) if abs(p.share) >= SMALLEST]
    return {
        "symbol": symbol,
        "meaning": meaning,
        "unit": unit,
        "interval": [typeset(round_pair(v / f, b.u / f)[0]) for v in found.interval or ()],
        "value": typeset(value),
        "u": u,
        "value_with_U": typeset(with_U),
        "U": U,
        "k": f"{found.k:.2f}",
        "dof": dof_text(found.dof),
        "level": f"{100 * b.level:.4g}",
        "u_random": number(b.u_random / f, 2),
        "u_systematic": number(b.u_systematic / f, 2),
        "relative": number(100 * b.u / abs(b.value), 2) if b.value else DASH,
        "rows": [_row(r, f) for r in shown],
        "small": {"n": len(small), "below": f"{100 * SMALLEST:g}"},
        "exact": [input_words(r.name) for r in b.rows if r.u == 0],
        "groups": [[input_words(g), 100 * s] for g, s in b.groups().items() if abs(s) >= SMALLEST],
        "pairs": [
            {"first": input_words(p.first), "second": input_words(p.second),
             "r": typeset(number(p.r, 2)), "share": typeset(f"{100 * p.share:.1f}")}
            for p in linked[:_MOST_PAIRS]
        ],
        "more_pairs": max(len(linked) - _MOST_PAIRS, 0),
    }  # fmt: skip


def _row(r: BudgetRow, f: float) -> dict[str, Any]:
    value, unit = input_in_units(r.name, r.value)
    u, _ = input_in_units(r.name, r.u)
    left, right = (DASH, DASH) if r.kind == "random" else round_pair(value, u)
    return {
        "name": r.name,
        "words": input_words(r.name),
        "kind": r.kind,
        "value": typeset(left),
        "u": right,
        "unit": "" if unit == "1" else unit,
        "contribution": typeset(number(r.contribution / f, 2)),
        "share": 100 * r.share,
        "share_text": typeset(f"{100 * r.share:.1f}"),
        "dof": dof_text(r.dof),
        "origin": r.origin if r.kind == "systematic" else _RANDOM.get(r.name, r.origin),
    }


_RANDOM = {
    TOGETHER: "scatter about the fitted curve",
    BETWEEN: "scatter of the tests; holds the own parts of each",
    "fit": "residuals of the unloading fit",
    "noise": "noise of the readings of this test",
    "reading": "readings of this test",
    "zero": "first contact of this test",
    "drift": "drift hold of this test",
}


def _chain(result: StudyResult, q: Number) -> dict[str, Any]:
    """What the number goes back to: raw files, calibration, certificates, recipe, decisions."""
    table, p = result.tests_table, result.provenance
    mine = table.filter(
        table["test"] == q.test
        if q.test
        else (table["specimen"] == q.specimen) & ~table["excluded"]
    )
    files = mine.select("source", "source_sha256").unique(maintain_order=True)
    tips = mine["tip"].unique(maintain_order=True).to_list()
    specimen = mine["specimen"][0] if len(mine) else q.specimen
    left_out = [] if q.test else [
        {"test": t, "why": result.excluded[t]}
        for t in table.filter(table["specimen"] == q.specimen)["test"].to_list()
        if t in result.excluded
    ]  # fmt: skip
    return {
        "specimen": specimen,
        "tests": len(mine),
        "left_out": left_out,
        "raw": [{"file": f, "sha256": h} for f, h in files.rows()[:_MOST_FILES]],
        "raw_files": len(files),
        "benches": [bench_of(result, tip) for tip in tips],
        "recipe": {"file": result.study.path.name, "sha256": p.recipe_hash},
        "decisions": {"file": result.study.decisions.name, "sha256": p.decisions_hash},
        "version": p.version,
    }


def bench_of(result: StudyResult, tip: str) -> dict[str, Any]:
    """Tip and frame of some tests: the calibration file with its hash, or what was declared."""
    group = next(g for g in result.groups if g.tip == tip)
    out: dict[str, Any] = {"tip": tip, "frame": group.frame, "file": "", "sha256": "", "said": {}}
    for loaded in result.study.benches.values():
        if loaded.exchanged.bench == group.bench:
            out |= {
                "file": loaded.file,
                "sha256": loaded.sha256,
                "said": dict(loaded.exchanged.provenance),
                "identified_by": list(loaded.exchanged.identified_by),
                "verified": [
                    f"{v['block']}, {v['quantity']}: {v['verdict']}"
                    for v in loaded.exchanged.verified
                ],
            }
    if not out["file"]:
        keys = result.study.file.tips.get(tip)
        out["declared"] = keys.certificate if keys is not None else ""
    return out


def _python(result: StudyResult, found: _Found) -> str:
    path = json.dumps(str(result.study.path), ensure_ascii=False)
    return "\n".join(
        [
            "from drypoint import run_study",
            f"from drypoint.run.budgets import {found.imports}",
            "",
            f"result = run_study({path}, write=False)",
            f"b = {found.call}",
            'print(b.value, b.u, b.unit or "1")',
            "for row in b.sorted():",
            "    print(row.name, row.kind, row.contribution, row.share, row.origin)",
        ]
    )


VIEW = View(
    "budget",
    "Budget",
    context,
    (
        Endpoint("GET", "/api/studies/{key}/budget", of_number, "Uncertainty budget of a number",
                 query=Number),
    ),
    needs="records",
)  # fmt: skip
