"""The report's section on films: their own modulus and hardness, by every model."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from drypoint import figures
from drypoint.contact.film_models import MODELS
from drypoint.figures.labels import input_words, number, plural
from drypoint.films import Entry
from drypoint.films.problems import ONE_FILM
from drypoint.recipe.to_films import Coating
from drypoint.report.model import (
    Block,
    Column,
    Drawing,
    Heading,
    Items,
    Notice,
    Paragraph,
    Section,
    Table,
)
from drypoint.report.words import DASH, over, plain, typeset
from drypoint.run.coatings import FilmFound
from drypoint.run.film_tables import hardness_rows, unit_of, value_rows
from drypoint.run.result import StudyResult
from drypoint.uncertainty.rounding import round_pair

LEAVES_OUT = (
    "The elastic solution takes the surface as flat and the tip's dent as a contact of the same "
    "radius; what plastic flow changes is the uncertainty of the model.",
    "Layers and substrate are taken as isotropic and, unless said, as bonded everywhere.",
    "A plateau of the hardness is the film's own only where neither substrate, nor pile-up, nor a "
    "size effect hides in it.",
)


def films(result: StudyResult) -> Section | None:
    """Film values of coated specimens; ``None`` where no specimen states layers."""
    if not result.films and not result.films_failed:
        return None
    level = result.study.file.output.level_of_confidence
    blocks: list[Block] = [
        Paragraph(
            "The film's own modulus, from all unloadings of a specimen together, by the exact "
            "elastic solution for layers on a half-space. What all unloadings share (bench, layers "
            "as stated, the error of an elastic solution for a dent, the size of pile-up) is "
            "weighed together. Published approximations stand beside it where they apply; the "
            "spread between models has a line of its own and is part of no uncertainty."
        )
    ]
    for one in result.films:
        blocks += _film(one, level)
    for failed in result.films_failed:
        blocks += [
            Heading(failed.specimen),
            Notice(f"No film value: {failed.reason} {failed.remedy}".strip()),
        ]
    blocks += [Heading("What the film values leave out"), Items(LEAVES_OUT)]
    return Section("films", "Film and substrate", tuple(blocks))


def _film(one: FilmFound, level: float) -> list[Block]:
    curves = one.curves(level)
    blocks: list[Block] = [
        Heading(one.specimen),
        structure_table(one.coating),
        Paragraph(used_words(one)),
        values_table(one, level),
        Drawing((figures.film_modulus(one, curves),)),
    ]
    if one.hardness_tests is not None:
        blocks += [hardness_table(one), Drawing((figures.film_hardness(one, curves),))]
    words = remarks_on(one)
    blocks.append(given_table(one))
    if words:
        blocks.append(Items(tuple(words)))
    return blocks


def remarks_on(one: FilmFound) -> list[str]:
    """Plain sentences: what the tests do not tell, and which models are left out and why."""
    return [
        *one.exact.remarks,
        *one.solved.remarks,
        *_left_out(one.solved.comparison.skipped),
    ]


def _left_out(skipped: Mapping[str, str]) -> list[str]:
    """Which models are left out and why; one sentence where it is because of several layers."""
    titles = {
        k: "The straight line to zero" if k == "extrapolation" else MODELS[k].title for k in skipped
    }
    single = [titles[k] for k, why in skipped.items() if why.endswith(ONE_FILM)]
    out = [
        f"{titles[k]} is left out: {why}"
        for k, why in skipped.items()
        if not why.endswith(ONE_FILM)
    ]
    if single:
        out.append(f"Made for one bonded film, and left out here: {', '.join(single)}.")
    return out


def structure_table(c: Coating) -> Table:
    """Layers and substrate as the recipe states them."""
    rows = []
    for i, x in enumerate(c.structure.layers):
        stress = c.stresses[i]
        held = DASH if stress.value == 0 == stress.u else _entry(stress, 1e9)
        below = "free to slide" if x.slips else "bonded"
        rows.append(
            (x.name, _entry(x.E, 1e9), _entry(x.nu, 1), _entry(x.t, 1e-9), held, below)
        )  # fmt: skip
    s = c.structure.substrate
    rows.append((s.name, _entry(s.E, 1e9), _entry(s.nu, 1), "without end", DASH, DASH))
    return Table(
        "Layers as stated, with standard uncertainties.",
        (
            Column("Layer"),
            Column("E / GPa", "number"),
            Column("Poisson's ratio", "number"),
            Column("Thickness / nm", "number"),
            Column("Residual stress / GPa", "number"),
            Column("On what lies below"),
        ),
        tuple(rows),
    )


def _entry(e: Entry, unit: float) -> str:
    if e.sought:
        known = np.isfinite(e.u)
        return f"sought (before: {_pair(e.value / unit, e.u / unit)})" if known else "sought"
    return _pair(e.value / unit, e.u / unit)


def _pair(value: float, u: float) -> str:
    if u == 0:
        return typeset(f"{value:g}")
    left, right = round_pair(value, u)
    return f"{typeset(left)} ± {right}"


def used_words(one: FilmFound) -> str:
    """What was used, and which depths tell most."""
    t = one.coating.structure.layers[0].t.value
    x = one.tests.radius / t
    n = len(np.unique(one.tests.group)) if one.tests.group is not None else len(one.tests)
    lo, hi = (v / t for v in one.exact.informative)
    words = (
        f"{plural(len(one.tests), 'unloading')} of {plural(n, 'test')}, contact radius over "
        f"thickness {number(x.min(), 2)} to {number(x.max(), 2)}. The middle 80 % of what is known "
        f"of the {input_words(one.exact.names[0])} comes from {number(lo, 2)} to {number(hi, 2)}."
    )
    if one.too_deep:
        words += (
            f" {plural(one.too_deep, 'unloading')} deeper than "
            f"{one.coating.up_to_depth:g} of the thickness left out."
        )
    return words


def values_table(one: FilmFound, level: float) -> Table:
    """The film's numbers by every model, and the spread between models."""
    rows = []
    # Rows of ends only (spread, pile-up) get the digits of the exact solution's uncertainty.
    unit_size = {n: unit_of(n)[1] for n in one.exact.names}
    widest = {n: float(u) / unit_size[n] for n, u in zip(one.exact.names, one.exact.u, strict=True)}
    for row in value_rows(one, level):
        unit = row["unit"]
        name = input_words(row["quantity"]) + over(unit)
        if row["low"] is None or not np.isfinite(row["low"]):
            wide = DASH
        else:
            u = max(row["u"] or 0.0, widest.get(row["quantity"], 0.0))
            wide = " to ".join(typeset(round_pair(v, u)[0]) for v in (row["low"], row["high"]))
        if row["value"] is None:
            rows.append((row["model"], name, DASH, DASH, DASH, wide, ""))
            continue
        if not np.isfinite(row["value"]):
            rows.append((row["model"], name, "not identifiable", DASH, DASH, wide, ""))
            continue
        value, u = round_pair(row["value"], row["u"])
        parts = [
            DASH if row[k] is None else round_pair(row["value"], row[k])[1] for k in ("ur", "us")
        ]
        rows.append(
            (row["model"], name, f"{typeset(value)} ± {u}", *parts, wide,
             "yes" if row["tests_within"] else "no")
        )  # fmt: skip
    return Table(
        f"What was found, ± combined standard uncertainty; interval for {100 * level:g} %.",
        (
            Column("Model", wide=True),
            Column("Quantity"),
            Column("Value ± u", "number"),
            Column("u_r", "number"),
            Column("u_s", "number"),
            Column("Interval", "number"),
            Column("Good at these depths"),
        ),
        tuple(rows),
        "u_r is the random, u_s the systematic part. The spread spans the models that hold at "
        "these depths.",
    )


def hardness_table(one: FilmFound) -> Table:
    """Hardness of the film: plateau and models."""
    rows = []
    for row in hardness_rows(one):
        if row["H_IT_GPa"] is None:
            value = "none at these depths" if row["way"] == "plateau" else "not identifiable"
            rows.append((row["way"], value, DASH, DASH, DASH))
            continue
        left, right = round_pair(row["H_IT_GPa"], row["u_H_IT_GPa"])
        span = DASH
        if row["from_h_over_t"] is not None:
            span = f"{plain(row['from_h_over_t'], 2)} to {plain(row['to_h_over_t'], 2)}"
        parts = (
            round_pair(row["H_IT_GPa"], row[k])[1] for k in ("ur_H_IT_GPa", "us_H_IT_GPa")
        )  # fmt: skip
        rows.append((row["way"], f"{left} ± {right}", *parts, span))
    return Table(
        "Hardness of the film, ± combined standard uncertainty.",
        (
            Column("Way"),
            Column("H_IT / GPa", "number"),
            Column("u_r", "number"),
            Column("u_s", "number"),
            Column("h_c/t of the plateau", "number"),
        ),
        tuple(rows),
    )


def given_table(one: FilmFound) -> Table:
    """What the systematic part of the first sought number is made of."""
    r = one.exact
    unit, f = unit_of(r.names[0])
    inputs, sensitivity = r.given(r.names[0])
    part = sensitivity * inputs.sd / f
    share = part * part / max(float(np.sum(part * part)), 1e-300)
    order = np.argsort(-share)
    rows = [
        (input_words(inputs.names[i]), plain(float(part[i]), 2),
         plain(100 * float(share[i]), 2))
        for i in order
        if share[i] > 0.001
    ]  # fmt: skip
    return Table(
        f"Systematic part of the {input_words(r.names[0])}: what each given number brings.",
        (
            Column("Given number", wide=True),
            Column("Contribution" + over(unit), "number"),
            Column("Share without correlation / %", "number"),
        ),
        tuple(rows),
    )
