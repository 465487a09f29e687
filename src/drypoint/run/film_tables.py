"""Film values as tables in laboratory units, and as plain values for the summary."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import polars as pl

from drypoint.contact.film_models import MODELS
from drypoint.films import FilmResult
from drypoint.films.hardness import TITLES
from drypoint.run.coatings import FilmFound
from drypoint.run.result import StudyResult
from drypoint.uncertainty.propagation import coverage_factor

#: Columns of ``films``: a row a number and a model. Name -> meaning.
VALUE_COLUMNS: dict[str, str] = {
    "specimen": "specimen, as in the study file",
    "quantity": "what was sought: layer or substrate, and E, nu or t (thickness)",
    "unit": "GPa, nm, or empty",
    "model": "exact layered contact, an approximation by its authors, the straight line to zero, "
    "sampling, the spread between models, or what pile-up and sink-in may do",
    "tests_within": "whether the tests lie where the model is held to be good and it describes "
    "them",
    "value": "the number; empty where these depths do not tell it",
    "u": "its standard uncertainty",
    "ur": "random part",
    "us": "systematic part: bench, layers as stated, the elastic solution",
    "low": "lower end of the interval at the study's level of confidence; of the spread: lowest; "
    "of pile-up and sink-in: with the contact areas at an end of their range",
    "high": "upper end",
    "remarks": "plain sentences",
}
#: Columns of ``film_tests``: a row an unloading that was used.
TEST_COLUMNS: dict[str, str] = {
    "specimen": "specimen",
    "test": "name of the test",
    "cycle": "number of the unloading, from 1",
    "h_c_nm": "contact depth",
    "a_nm": "contact radius",
    "a_over_t": "contact radius over the thickness of the uppermost layer",
    "E_star_GPa": "plane-strain modulus of film and substrate together; with pile_up counted, by "
    "the area in the middle of its range",
    "ur_E_star_GPa": "its random standard uncertainty",
    "E_star_fitted_GPa": "the same by the exact solution with the numbers found",
    "residual_percent": "measured less fitted, of the fitted",
    "information_percent": "this unloading's share in what is known of the first sought number",
    "area_ratio_low": "true over assumed contact area by h_p/h_max and the work of loading, at "
    "least; empty for tips for which it is not known",
    "area_ratio_high": "the same, at most",
}
#: Columns of ``film_hardness``: a row a way.
HARDNESS_COLUMNS: dict[str, str] = {
    "specimen": "specimen",
    "way": "plateau, or a model by its authors",
    "H_IT_GPa": "hardness of the film; empty where these depths do not tell it",
    "u_H_IT_GPa": "its standard uncertainty",
    "ur_H_IT_GPa": "random part",
    "us_H_IT_GPa": "systematic part",
    "from_h_over_t": "contact depth over thickness where the plateau begins",
    "to_h_over_t": "where it ends",
    "constant": "the model's constant",
    "u_constant": "its standard uncertainty",
}
TABLES = {
    "films": VALUE_COLUMNS,
    "film_tests": TEST_COLUMNS,
    "film_hardness": HARDNESS_COLUMNS,
}
#: Key of the row that holds the spread between models, and of the line to zero.
SPREAD, LINE, SAMPLED = "spread between models", "straight line to zero", "exact, sampled"
PILED = "pile-up and sink-in"
#: An interval whose ends are further apart than this factor is not shown.
WIDEST = 1e3


def unit_of(quantity: str) -> tuple[str, float]:
    """Unit of a sought number and how many SI units it is."""
    return {"E": ("GPa", 1e9), "t": ("nm", 1e-9), "nu": ("", 1.0)}[quantity.rpartition(".")[2]]


def film_tables(result: StudyResult) -> dict[str, pl.DataFrame]:
    """All tables of the film values, by the names of their files."""
    level = result.study.file.output.level_of_confidence
    makers = {
        "films": [r for f in result.films for r in value_rows(f, level)],
        "film_tests": [r for f in result.films for r in _test_rows(result, f)],
        "film_hardness": [r for f in result.films for r in hardness_rows(f)],
    }
    out = {}
    for stem, rows in makers.items():
        if rows:
            table = pl.DataFrame(rows, infer_schema_length=None, nan_to_null=True)
            assert table.columns == list(TABLES[stem])
            out[stem] = table
    return out


def value_rows(found: FilmFound, level: float) -> Iterator[dict[str, Any]]:
    """Rows of ``films`` for a specimen: exact first, then the models, then their spread."""
    c = found.solved.comparison
    for key, r in c.results.items():
        for name in r.names:
            yield _value_row(found, MODELS[key].title, key in c.within, r, name, level)
    first = c.results["exact"].names[0]
    samples = found.solved.samples
    if samples is not None:
        for name in found.exact.names:
            unit, f = unit_of(name)
            mid, low, high = samples.interval(name, level)
            u = float(np.std(samples.draws[:, samples.names.index(name)]))
            words = (f"{samples.steps_per_time:.0f} correlation times, "
                     f"{100 * samples.acceptance:.0f} % accepted.")  # fmt: skip
            if not samples.settled:
                nan = np.nan
                yield _row(found, name, unit, SAMPLED, False, nan, None, None, None, nan, nan,
                           f"Not settled: {words} Give more sampling_steps.")  # fmt: skip
                continue
            yield _row(found, name, unit, SAMPLED, True, mid / f, u / f, None, None,
                       low / f, high / f, words)  # fmt: skip
    if c.extrapolated is not None:
        e = c.extrapolated
        top = f"{found.coating.structure.layers[0].name}.E"
        bent = "The values bend: the line is drawn towards the substrate." if e.curved else ""
        wide = coverage_factor(np.inf, level) * e.u
        yield _row(found, top, "GPa", LINE, not e.curved, e.E / 1e9, e.u / 1e9,
                   e.u_random / 1e9, e.u_systematic / 1e9, (e.E - wide) / 1e9,
                   (e.E + wide) / 1e9, bent)  # fmt: skip
    unit, f = unit_of(first)
    if len(c.within) > 1:
        yield _row(found, first, unit, SPREAD, True, None, c.u_model / f, None, None,
                   c.spread[0] / f, c.spread[1] / f,
                   f"{len(c.within)} models hold where the tests lie; no part of any uncertainty "
                   "above.")  # fmt: skip
    ends = found.solved.at_ends
    if ends is not None:
        yield _row(found, first, unit, PILED, True, None, None, None, None, ends[0] / f,
                   ends[1] / f, "Exact, with all contact areas at either end of what h_p/h_max and "
                   "the work of loading allow, in the middle, or as the contact depth gives them; "
                   "where the substrate is known its tests take up what is common. "
                   + ("Counted above." if found.counted else "No part of any uncertainty above.")
                   )  # fmt: skip


def _value_row(
    found: FilmFound, title: str, within: bool, r: FilmResult, name: str, level: float
) -> dict[str, Any]:
    unit, f = unit_of(name)
    value, random, systematic = r.of(name)
    sure = bool(np.isfinite(value))
    low, high = r.interval(name, level)
    if not sure and not high < WIDEST * max(low, 1e-300):
        low = high = np.nan
    u = float(np.hypot(random, systematic))
    return _row(
        found, name, unit, title, within, value / f,
        *((u / f, random / f, systematic / f) if sure else (None, None, None)),
        low / f, high / f, " ".join(r.remarks),
    )  # fmt: skip


def _row(found: FilmFound, *values: Any) -> dict[str, Any]:
    return dict(zip(VALUE_COLUMNS, (found.specimen, *values), strict=True))


def _test_rows(result: StudyResult, found: FilmFound) -> Iterator[dict[str, Any]]:
    t, r, size = found.tests, found.exact, found.piled.size
    thickness = found.coating.structure.layers[0].t.value
    assert t.depth is not None
    for k, row in enumerate(found.rows.tolist()):
        yield {
            "specimen": found.specimen,
            "test": result.batch.tests[int(result.cycles.test[row])].name,
            "cycle": int(result.cycles.cycle[row]),
            "h_c_nm": t.depth[k] / 1e-9,
            "a_nm": t.radius[k] / 1e-9,
            "a_over_t": t.radius[k] / thickness,
            "E_star_GPa": t.E_star[k] / 1e9,
            "ur_E_star_GPa": t.u_random[k] / 1e9,
            "E_star_fitted_GPa": r.fitted[k] / 1e9,
            "residual_percent": 100 * (np.exp(r.residual[k]) - 1),
            "information_percent": 100 * r.information[k],
            "area_ratio_low": None if size is None or not size.known[k] else float(size.low[k]),
            "area_ratio_high": None if size is None or not size.known[k] else float(size.high[k]),
        }


def hardness_rows(found: FilmFound) -> Iterator[dict[str, Any]]:
    """Rows of ``film_hardness`` for a specimen."""
    nothing: dict[str, Any] = dict.fromkeys(HARDNESS_COLUMNS)
    p = found.solved.plateau
    if found.hardness_tests is not None:
        row = {**nothing, "specimen": found.specimen, "way": "plateau"}
        if p is not None:
            row |= {
                "H_IT_GPa": p.H / 1e9,
                "u_H_IT_GPa": float(np.hypot(p.u_random, p.u_systematic)) / 1e9,
                "ur_H_IT_GPa": p.u_random / 1e9,
                "us_H_IT_GPa": p.u_systematic / 1e9,
                "from_h_over_t": p.beta[0],
                "to_h_over_t": p.beta[1],
            }
        yield row
    for m in found.solved.hardness:
        row = {**nothing, "specimen": found.specimen, "way": TITLES[m.model]}
        if m.identified:
            row |= {
                "H_IT_GPa": m.H / 1e9,
                "u_H_IT_GPa": float(np.hypot(m.u_random, m.u_systematic)) / 1e9,
                "ur_H_IT_GPa": m.u_random / 1e9,
                "us_H_IT_GPa": m.u_systematic / 1e9,
                "constant": m.constant,
                "u_constant": m.u_constant,
            }
        yield row


def film_summary(found: FilmFound, level: float) -> dict[str, Any]:
    """A specimen's film values as plain values."""
    r, c = found.exact, found.solved.comparison
    given, _ = r.given(r.names[0])
    shown = given.names
    thickness = found.coating.structure.layers[0].t.value
    return {
        "specimen": found.specimen,
        "unloadings": len(found.tests),
        "left_out_too_deep": found.too_deep,
        "level": level,
        "values": list(value_rows(found, level)),
        "hardness": list(hardness_rows(found)),
        "models_left_out": dict(c.skipped),
        "correlation": {
            "names": list(r.names),
            "matrix": [[float(v) for v in row] for row in r.correlation],
        },
        "correlation_with_given": {
            a: {b: r.correlation_with(a, b) for b in r.inputs.names if b in shown} for a in r.names
        },
        "informative_a_over_t": [r.informative[0] / thickness, r.informative[1] / thickness],
        "extra_scatter_percent": 100 * r.scatter,
        "remarks": [*r.remarks, *found.solved.remarks],
        "given": [
            {"name": n, "value_SI": float(v), "u_SI": float(u), "origin": o}
            for n, v, u, o in zip(shown, given.mean, given.sd, given.origin, strict=True)
        ],
        "key": found.key,
    }
