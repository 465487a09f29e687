"""Specimens and the conditions under which they were tested."""

from __future__ import annotations

from drypoint.figures.labels import number
from drypoint.recipe.convert import film_thicknesses
from drypoint.report.model import Column, Heading, Section, Table
from drypoint.report.words import DASH, declared_span
from drypoint.run.result import StudyResult

NOT_STATED = "not stated"


def specimens(result: StudyResult) -> Section:
    """What was tested, and where and when."""
    return Section(
        "specimens",
        "Specimens and environment",
        (
            Heading("Specimens"),
            _specimens(result),
            Heading("Environment"),
            _environment(result),
        ),
    )


def _thickness(t: float, u: float | None) -> str:
    return f"{t:g} nm" if u is None else f"({t:g} ± {u:g}) nm"


def _specimens(result: StudyResult) -> Table:
    rows = []
    for name in result.study.file.specimens:
        s = result.study.specimen(name)
        poisson = DASH
        if s.nu is not None or s.reference is not None or s.nu_of is not None:
            nu = result.study.specimen_nu(name)
            value, u = float(nu.mean[0]), float(nu.sd[0])
            poisson = f"{value:g} ± {number(u, 2)}" if u else f"{value:g} (taken as exact)"
        size = " + ".join(_thickness(t, u) for t, u in film_thicknesses(s)) or DASH
        rows.append(
            (
                name,
                s.description or NOT_STATED,
                "; ".join(w for w in (s.preparation, s.mounting) if w) or NOT_STATED,
                poisson,
                size,
                DASH if s.roughness_Ra_nm is None else f"{s.roughness_Ra_nm:g} nm",
            )
        )
    return Table(
        "Specimens as stated in the recipe.",
        (
            Column("Specimen"),
            Column("Description", wide=True),
            Column("Preparation, mounting", wide=True),
            Column("Poisson's ratio ± u"),
            Column("Film thickness"),
            Column("Roughness Ra"),
        ),
        tuple(rows),
    )


def _environment(result: StudyResult) -> Table:
    rows = []
    table = result.tests_table
    for name in result.specimens:
        mine = table.filter(table["specimen"] == name)
        rows.append(
            (
                name,
                *(declared_span(mine[c].to_list())
                  for c in ("date", "temperature", "humidity", "operator")),
            )
        )  # fmt: skip
    return Table(
        "Conditions as the raw files or the recipe declare them, over the tests with results.",
        (
            Column("Specimen"),
            Column("Date", wide=True),
            Column("Temperature"),
            Column("Relative humidity"),
            Column("Operator", wide=True),
        ),
        tuple(rows),
    )
