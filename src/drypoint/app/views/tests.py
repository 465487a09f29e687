"""All tests of a study: a table linked with the load-depth curves of the whole series."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from starlette.requests import Request
from starlette.responses import Response

from drypoint.app.api import Endpoint, Form, session_of
from drypoint.app.buffers import MEDIA_TYPE, pack
from drypoint.app.faults import NotFound
from drypoint.app.pages import View
from drypoint.app.rows import (
    MOST_MATCHES,
    Choice,
    cell,
    chosen,
    flag_counts,
    heads,
    lean,
    rows_of,
    shown,
    with_state,
)
from drypoint.app.session import State
from drypoint.app.snippets import snippets
from drypoint.errors import Where
from drypoint.figures.load_depth import drawn, thinned
from drypoint.recipe.decisions import unknown_test
from drypoint.run.columns import COLUMNS, MEANING, unit_text
from drypoint.store.results import Results
from drypoint.uncertainty.rounding import round_pair

#: Most curves sent to a page, and most points of each (numbers are never thinned, only ink).
MOST_CURVES, MOST_POINTS = 2000, 400
_ANSWER = ("H_IT", "E_IT")


class TestName(Form):
    """The name of one test."""

    test: str


def results_of(state: State) -> Results:
    """The results that the last run wrote.

    Raises
    ------
    NotFound
        When there are none.
    """
    if state.results is None:
        raise NotFound(
            "The study has not been run yet.",
            where=Where(str(state.study.path)),
            remedy="Run it.",
        )
    return state.results


def context(request: Request, state: State) -> Mapping[str, Any]:
    """What the page's template knows."""
    return {"has_results": state.results is not None, "has_records": bool(state.study.file.records)}


def table(request: Request, choice: Choice) -> dict[str, Any]:
    """A part of the table, and which rows the whole of it has."""
    session = session_of(request)
    state = session.state()
    frame = lean(with_state(session.table(state), state.journal.effective), choice)
    found = chosen(frame, choice)
    symbols = shown(choice)
    matches = found["row"].to_list() if len(found) <= MOST_MATCHES else None
    return {
        "total": len(frame),
        "found": len(found),
        "start": choice.start,
        "rows": rows_of(found.slice(choice.start, choice.size), symbols),
        "columns": heads(symbols),
        "all_columns": heads(COLUMNS),
        "matches": matches,
        "excluded": frame.filter(frame["out"])["row"].to_list(),
        "specimens": frame["specimen"].unique(maintain_order=True).to_list(),
        "flags": flag_counts(frame),
        "version": state.version,
    }


def means(request: Request) -> dict[str, Any]:
    """Means of each specimen with and without what is excluded, as the last run gave them."""
    state = session_of(request).state()
    summary = results_of(state).json("summary.json")
    out = []
    for specimen, by_symbol in summary["series"].items():
        every = summary["series_with_excluded"].get(specimen, {})
        row: dict[str, Any] = {"specimen": specimen, "values": []}
        for symbol in _ANSWER:
            row["values"].append({
                "symbol": symbol,
                "unit": unit_text(symbol),
                "mean": _mean(by_symbol.get(symbol)),
                "with_excluded": _mean(every.get(symbol)),
            })  # fmt: skip
        out.append(row)
    films = [
        {"specimen": f["specimen"], "values": f.get("answers", [])}
        for f in summary.get("films", [])
    ]
    return {
        "means": out,
        "films": films,
        "populations": [
            f"{s}: {p['words']}"
            for s, found in summary.get("populations", {}).items()
            for p in found
        ],
        "standing": state.standing,
        "set_aside": summary["set_aside"],
    }


def _mean(s: Mapping[str, Any] | None) -> dict[str, Any] | None:
    if s is None:
        return None
    value, u = round_pair(s["mean"], s["U"])
    return {"mean": value, "U": u, "k": f"{s['k']:.2f}", "n": s["n"]}


def curves(request: Request) -> Response:
    """Load-depth curves of all tests, corrected, from first contact on (nm, mN)."""
    session = session_of(request)
    result = session.result()
    names = result.tests_table["test"].to_list()
    if not names:
        raise NotFound("No test of this study gave a curve.")
    pick = thinned(len(names), MOST_CURVES)
    parts = [drawn(result, names[i], MOST_POINTS) for i in pick]
    start = np.cumsum([0, *(len(h) for h, _ in parts)])
    specimens = result.tests_table["specimen"].to_list()
    body = pack(
        {
            "x": np.concatenate([h for h, _ in parts]),
            "y": np.concatenate([f for _, f in parts]),
            "start": start,
            "row": pick,
        },
        {
            "names": [names[i] for i in pick],
            "specimens": [specimens[i] for i in pick],
            "of": len(names),
        },
    )
    return Response(body, media_type=MEDIA_TYPE)


def detail(request: Request, query: TestName) -> dict[str, Any]:
    """One test: every property with its uncertainty, flags in sentences, decisions, origin."""
    session = session_of(request)
    state = session.state()
    frame = with_state(session.table(state), state.journal.effective)
    found = frame.filter(frame["test"] == query.test)
    if not len(found):
        raise unknown_test(query.test, frame["test"].to_list(), state.study.path)
    row = found.row(0, named=True)
    sentences: list[dict[str, str]] = []
    if state.standing == "current":
        sentences = [
            {"code": f.code, "sentence": f.sentence, "grounds": f.grounds}
            for f in session.result().flags_of(query.test)
        ]
    else:
        sentences = [
            {"code": f, "sentence": f, "grounds": ""} for f in row["flags"].split("; ") if f
        ]
    return {
        "test": query.test,
        "row": row["row"],
        "specimen": row["specimen"],
        "out": row["out"],
        "why": row["why"],
        "values": [
            {
                "symbol": s,
                "unit": unit_text(s),
                "meaning": MEANING[s],
                "text": cell(row, s),
            }
            for s in COLUMNS
        ],
        "flags": sentences,
        "zero": {"text": _pair(row["zero_nm"], row["u_zero_nm"]), "from": row["zero_from"]},
        "drift": {
            "text": _pair(row["drift_nm_per_s"], row["u_drift_nm_per_s"]),
            "from": row["drift_from"],
        },
        "tip": row["tip"],
        "source": row["source"],
        "source_sha256": row["source_sha256"],
        "decisions": [
            {**d.model_dump(mode="json"), **snippets(d, state.study)}
            for d in state.journal.decisions
            if d.test == query.test
        ],
        "version": state.version,
    }


def _pair(value: float | None, u: float | None) -> str:
    """Value and standard uncertainty as text; empty where there is none."""
    if value is None or not math.isfinite(value):
        return ""
    v, w = round_pair(value, math.nan if u is None else u)
    return v.replace("-", "\u2212") + (f" ± {w}" if w not in ("0", "n/a") else "")


_T = "/api/studies/{key}/tests"
VIEW = View(
    "tests",
    "Tests",
    context,
    (
        Endpoint("GET", f"{_T}/table", table, "A part of the table of tests", query=Choice),
        Endpoint("GET", f"{_T}/means", means, "Means of each specimen"),
        Endpoint("GET", f"{_T}/curves", curves, "Load-depth curves of all tests",
                 gives=MEDIA_TYPE),
        Endpoint("GET", f"{_T}/one", detail, "One test", query=TestName),
    ),
    needs="records",
)  # fmt: skip
