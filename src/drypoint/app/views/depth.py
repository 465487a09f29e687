"""Properties against depth: unloadings, means with bands, windows along loading, films."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from starlette.requests import Request
from starlette.responses import Response

from drypoint.app.api import Endpoint, Form, session_of
from drypoint.app.blocks import blocks_values
from drypoint.app.buffers import MEDIA_TYPE, pack
from drypoint.app.faults import NotFound
from drypoint.app.pages import View
from drypoint.app.rows import cell
from drypoint.app.session import State
from drypoint.contact.film_models import MODELS
from drypoint.errors import Where
from drypoint.figures.labels import symbol_text
from drypoint.films.hardness import TITLES
from drypoint.recipe.decisions import unknown_test
from drypoint.reduction.result import Reduction
from drypoint.report.films import (
    given_table,
    hardness_table,
    remarks_on,
    structure_table,
    used_words,
    values_table,
)
from drypoint.run.budgets import film_of
from drypoint.run.coatings import FilmFound
from drypoint.run.columns import COLUMNS, DYNAMIC, MEANING, factor_of, unit_text
from drypoint.run.film_tables import value_rows
from drypoint.run.result import StudyResult
from drypoint.uncertainty.bins import Bin
from drypoint.uncertainty.rounding import round_pair

#: Symbols against depth that come first, and those that make no sense against it.
_FIRST = ("H_IT", "E_IT")
_NOT = ("h_c", "HV_conv")


class Property(Form):
    """Which property."""

    symbol: str


class OneTest(Form):
    """Which test, and which properties of its unloadings."""

    test: str
    symbols: str = "H_IT,E_IT"


class Specimen(Form):
    """Which coated specimen."""

    specimen: str


def context(request: Request, state: State) -> Mapping[str, Any]:
    """Properties to choose from."""
    shown = [*_FIRST, *(s for s in COLUMNS if s not in (*_FIRST, *_NOT))]
    return {
        "has_results": state.results is not None,
        "symbols": [(s, symbol_text(s), unit_text(s), MEANING[s]) for s in shown],
        "first": _FIRST,
    }


def values(request: Request, query: Property) -> Response:
    """A property of all unloadings against contact depth (nm; lab units), means, windows."""
    result = session_of(request).result()
    symbol = _known(result, query.symbol)
    r, nm, f = result.cycles, factor_of("h_c"), factor_of(symbol)
    tests = result.batch.tests
    excluded = result.cycles_table["excluded"].to_numpy()
    arrays: dict[str, Any] = {
        "x": r["h_c"].value / nm,
        "y": r[symbol].value / f,
        "u": r.u(symbol) / f,
        "test": r.test.astype(np.int32),
        "cycle": r.cycle.astype(np.int32),
        "out": excluded.astype(np.int32),
    }
    d = result.dynamic
    windows = d is not None and symbol in DYNAMIC
    if windows:
        assert d is not None
        x, y, start = _lines(d.rows, symbol, len(tests))
        arrays |= {"wx": x / nm, "wy": y / f, "wstart": start}
    bands = [
        *_bands(result.bins, symbol, False),
        *(_bands(d.bins, symbol, True) if d is not None else ()),
    ]
    body = pack(
        arrays,
        {
            "symbol": symbol,
            "unit": unit_text(symbol),
            "meaning": MEANING[symbol],
            "names": [t.name for t in tests],
            "specimens": [t.specimen for t in tests],
            "order": list(result.specimens),
            "bands": bands,
            "windows": windows,
            "level": 100 * result.study.file.output.level_of_confidence,
        },
    )
    return Response(body, media_type=MEDIA_TYPE)


def _known(result: StudyResult, symbol: str) -> str:
    if symbol not in COLUMNS or symbol in _NOT:
        raise NotFound(
            f"There is no quantity “{symbol}” against depth.",
            where=Where(str(result.study.path)),
            remedy="Quantities: " + ", ".join(s for s in COLUMNS if s not in _NOT) + ".",
        )
    return symbol


def _lines(r: Reduction, symbol: str, tests: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Windows as one line a test of the batch; tests without windows have an empty one."""
    order = np.argsort(r.test, kind="stable")
    start = np.searchsorted(r.test[order], np.arange(tests + 1)).astype(np.int32)
    return r["h_c"].value[order], r[symbol].value[order], start


def _bands(
    bins: Mapping[str, Mapping[str, Sequence[Bin]]], symbol: str, dynamic: bool
) -> list[dict[str, Any]]:
    """Means with expanded uncertainty of each specimen, by bin; bins without a value left out."""
    f, nm = factor_of(symbol), factor_of("h_c")
    out = []
    for specimen, by_symbol in bins.items():
        full = [
            (i, b, b.result)
            for i, b in enumerate(by_symbol.get(symbol, ()))
            if b.result is not None
        ]
        if not full:
            continue
        rows = []
        for i, b, s in full:
            mean, U = round_pair(s.mean / f, s.expanded / f)
            rows.append({"bin": i, "depth": f"{b.depth / nm:.4g}", "mean": mean, "U": U,
                         "n": s.n, "k": f"{s.k:.2f}"})  # fmt: skip
        out.append({
            "specimen": specimen,
            "dynamic": dynamic,
            "x": [b.depth / nm for _, b, _ in full],
            "mean": [s.mean / f for _, _, s in full],
            "U": [s.expanded / f for _, _, s in full],
            "rows": rows,
        })  # fmt: skip
    return out


def unloadings(request: Request, query: OneTest) -> dict[str, Any]:
    """The unloadings of one test with some properties, rounded."""
    result = session_of(request).result()
    symbols = [_known(result, s) for s in query.symbols.split(",") if s]
    table = result.cycles_table.filter(result.cycles_table["test"] == query.test)
    if not len(table):
        raise unknown_test(query.test, result.tests_table["test"].to_list(), result.study.path)
    return {
        "test": query.test,
        "specimen": table["specimen"][0],
        "columns": [{"symbol": s, "unit": unit_text(s), "meaning": MEANING[s]}
                    for s in ("h_c", *symbols)],
        "rows": [
            {
                "cycle": row["cycle"],
                "out": row["excluded"],
                "cells": [cell(row, s) for s in ("h_c", *symbols)],
            }
            for row in table.iter_rows(named=True)
        ],
    }  # fmt: skip


def films(request: Request) -> dict[str, Any]:
    """Coated specimens, and those whose film gave nothing."""
    result = session_of(request).result()
    return {
        "films": [f.specimen for f in result.films],
        "failed": [
            {"specimen": f.specimen, "what": f.reason, "remedy": f.remedy}
            for f in result.films_failed
        ],
    }


def film(request: Request, query: Specimen) -> Response:
    """One film: unloadings and curves of every model against a/t (GPa), residuals, hardness."""
    result = session_of(request).result()
    try:
        one = film_of(result, query.specimen)
    except KeyError as error:
        raise NotFound(
            f"Specimen “{query.specimen}” has no film values.",
            where=Where(str(result.study.path)),
            remedy="State its layers in the study file.",
        ) from error
    level = result.study.file.output.level_of_confidence
    c = one.curves(level)
    t = one.coating.structure.layers[0].t.value
    arrays: dict[str, Any] = {
        "x": one.tests.radius / t,
        "y": one.tests.E_star / 1e9,
        "u": one.tests.u_random / 1e9,
        "fitted": one.exact.fitted / 1e9,
        "residual": 100 * np.expm1(one.exact.residual),
        "u_residual": 100 * one.tests.u_random / one.tests.E_star,
        "test": result.cycles.test[one.rows].astype(np.int32),
        "cycle": result.cycles.cycle[one.rows].astype(np.int32),
        "cx": c.x,
        "exact": c.exact / 1e9,
        "low": c.low / 1e9,
        "high": c.high / 1e9,
        **{f"model{i}": y / 1e9 for i, y in enumerate(c.models.values())},
    }
    more: dict[str, Any] = {
        "specimen": one.specimen,
        "names": [i.name for i in result.batch.tests],
        "models": [
            {"words": MODELS[k].title, "within": k in one.solved.comparison.within}
            for k in c.models
        ],
        "exact_words": MODELS["exact"].title,
        "substrate": c.substrate / 1e9,
        "informative": [v / t for v in one.exact.informative],
        "level": 100 * level,
        "hardness": None,
    }
    if one.hardness_tests is not None:
        h, p = one.hardness_tests, one.solved.plateau
        arrays |= {
            "beta": h.beta,
            "H": h.H / 1e9,
            "u_H": h.u_random / 1e9,
            "test_H": result.cycles.test[one.hardness_rows].astype(np.int32),
            "cycle_H": result.cycles.cycle[one.hardness_rows].astype(np.int32),
            "cbeta": c.beta,
            **{f"hardness{i}": y / 1e9 for i, y in enumerate(c.hardness.values())},
        }
        more["hardness"] = {
            "models": [TITLES[k] for k in c.hardness],
            "plateau": None
            if p is None
            else {
                "beta": list(p.beta),
                "H": p.H / 1e9,
                "ends": [v / 1e9 for v in p.interval(level)],
            },
        }
    more |= _film_words(one, level)
    return Response(pack(arrays, more), media_type=MEDIA_TYPE)


def _film_words(one: FilmFound, level: float) -> dict[str, Any]:
    """Tables and sentences, those of the report; which rows have a budget."""
    hard = [] if one.hardness_tests is None else blocks_values([hardness_table(one)])
    exact = MODELS["exact"].title
    return {
        "used": used_words(one),
        "values": blocks_values([values_table(one, level)])[0],
        "hardness_values": hard[0] if hard else None,
        "budgets": [
            row["quantity"]
            if row["model"] == exact and row["value"] is not None and np.isfinite(row["value"])
            else ""
            for row in value_rows(one, level)
        ],
        "tables": blocks_values([structure_table(one.coating), given_table(one)]),
        "remarks": remarks_on(one),
    }


_D = "/api/studies/{key}/depth"
VIEW = View(
    "depth",
    "Depth",
    context,
    (
        Endpoint("GET", f"{_D}/values", values, "A property against depth", query=Property,
                 gives=MEDIA_TYPE),
        Endpoint("GET", f"{_D}/unloadings", unloadings, "Unloadings of one test", query=OneTest),
        Endpoint("GET", f"{_D}/films", films, "Coated specimens"),
        Endpoint("GET", f"{_D}/film", film, "One film with all models", query=Specimen,
                 gives=MEDIA_TYPE),
    ),
    needs="records",
)  # fmt: skip
