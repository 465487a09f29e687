"""How the numbers came about: method, and every choice with where it comes from."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from drypoint.figures.labels import number
from drypoint.recipe import Study
from drypoint.recipe.base import Section as Keys
from drypoint.recipe.base import model_in, source_of, unit_of
from drypoint.recipe.convert import choices_for
from drypoint.recipe.knobs import Choices
from drypoint.report.model import Block, Column, Facts, Heading, Items, Paragraph, Section, Table
from drypoint.report.words import between, level_text, without_places, yes
from drypoint.run.result import StudyResult

FORMULAS = (
    ("Contact depth", "h_c = h_max − ε F_max / S, S the slope of unloading at F_max"),
    ("Indentation hardness", "H_IT = F_max / A_p(h_c)"),
    ("Reduced modulus", "E_r = √π S / (2 β √A_p(h_c))"),
    ("Indentation modulus", "E_IT = (1 − ν²) / (1/E_r − (1 − ν_i²)/E_i)"),
    ("Martens hardness", "HM = F / A_s(h); HM_s from the slope of h against √F"),
    ("Creep, relaxation", "C_IT = 100 (h_2 − h_1)/h_1, R_IT = 100 (F_1 − F_2)/F_1, over the hold"),
    ("Elastic share of the work", "eta_IT = 100 W_elast / W_total"),
    ("Vickers-like number", "HV from H_IT by geometry: a conversion, not a measurement"),
)


def method(result: StudyResult) -> Section:
    """Method and choices."""
    blocks: list[Block] = [
        Paragraph(_practice(result)),
        Heading("In short"),
        Items(tuple(_short(result))),
        Heading("Definitions"),
        Facts(FORMULAS),
        Heading("Every choice"),
        choice_table(result.study, result.specimens, dynamic=result.dynamic is not None),
    ]
    return Section("method", "Method and choices", tuple(blocks))


def _practice(result: StudyResult) -> str:
    standard = result.study.file.study.standard
    start = f"Practice followed: {standard}. " if standard else ""
    level = result.study.file.output.level_of_confidence
    return (
        start + "Values of quantities follow the definitions of ISO 14577-1 and ASTM E2546. "
        "Uncertainties are propagated as in the GUM (JCGM 100); ± in tables of means is the "
        f"expanded uncertainty for a level of confidence of {level_text(level)}, u is a standard "
        "uncertainty."
    )


def _short(result: StudyResult) -> Iterator[str]:
    for names, choices in _by_choices(result.study, result.specimens):
        of = "" if len(names) == len(result.specimens) else f"{', '.join(names)}: "
        a, c = choices.analysis, choices.corrections
        fitted = a.window if a.unloading == "power law" else a.linear_window
        epsilon = (
            f"from the exponent m ({_epsilon_span(result, names)})"
            if a.epsilon == "exponent"
            else f"fixed at {a.epsilon:g}"
        )
        depth = "the record" if a.depth_at_F_max == "record" else "the fitted unloading curve"
        yield f"{of}Zero point: {c.zero.method}. Thermal drift: {c.drift.method}."
        yield f"{of}Compliance of frame and mount is subtracted as stated for the frame."
        yield (
            f"{of}Unloading: {a.unloading}, fitted from {100 * fitted[1]:.0f} % down to "
            f"{100 * fitted[0]:.0f} % of F_max; depth at F_max from {depth}."
        )
        yield (
            f"{of}epsilon {epsilon}; beta = {a.beta:g}; radial displacement corrected: "
            f"{yes(a.radial_correction)}."
        )
    for name in result.specimens:
        nu = result.study.specimen_nu(name)
        u = float(nu.sd[0])
        tail = f" with standard uncertainty {number(u, 2)}" if u else ", taken as exact"
        yield f"Poisson's ratio of {name}: {float(nu.mean[0]):g}{tail} ({nu.origin[0]})."


def _epsilon_span(result: StudyResult, names: tuple[str, ...]) -> str:
    keep = result.tests_table["specimen"].is_in(list(names)).to_numpy()
    return between(result.tests["epsilon"].value[keep])


def _by_choices(study: Study, specimens: Sequence[str]) -> list[tuple[tuple[str, ...], Choices]]:
    """Specimens that share all choices, with these."""
    out: list[tuple[list[str], Choices]] = []
    for name in specimens:
        mine = choices_for(study.file, study.specimen(name))
        for names, other in out:
            if other == mine:
                names.append(name)
                break
        else:
            out.append(([name], mine))
    return [(tuple(names), c) for names, c in out]


def choice_table(study: Study, specimens: Sequence[str], *, dynamic: bool) -> Table:
    """Every choice of the reduction with its value and where it comes from.

    ``dynamic`` lists those of records with an oscillation too.
    """
    groups = _by_choices(study, specimens)
    given = _given(study)
    rows = []
    for path, info, values in _leaves([c for _, c in groups], ""):
        if path.startswith("dynamic.") and not dynamic:
            continue
        unit = unit_of(info)
        texts = [_value(v, unit) for v in values]
        if len(set(texts)) == 1:
            shown = texts[0]
        else:
            shown = "; ".join(f"{', '.join(n)}: {t}" for (n, _), t in zip(groups, texts,
                                                                       strict=True))  # fmt: skip
        source = without_places(source_of(info))
        if path in given:
            origin = "set in the recipe"
        else:
            origin = f"default; {source}" if source else "default"
        rows.append((path, (info.description or "").rstrip("."), shown, origin))
    return Table(
        "Choices of the reduction as used, by their keys in the recipe.",
        (
            Column("Key", "code"),
            Column("Meaning", wide=True),
            Column("Value"),
            Column("From", wide=True),
        ),
        tuple(rows),
        "A standard uncertainty of 0 means that the choice counts as exact.",
    )


def _leaves(models: list[Any], path: str) -> Iterator[tuple[str, Any, list[Any]]]:
    """(path, field, value in each model) of every key that is no table."""
    for name, info in type(models[0]).model_fields.items():
        here = f"{path}.{name}".strip(".")
        values = [getattr(m, name) for m in models]
        inner, held = model_in(info.annotation)
        if inner is not None and not held:
            yield from _leaves(values, here)
        else:
            yield here, info, values


def _given(study: Study) -> set[str]:
    """Paths that the recipe sets, for the whole study or for one specimen."""
    out: set[str] = set()

    def walk(section: Keys | None, path: str) -> None:
        if section is None:
            return
        for name in section.model_fields_set:
            value = getattr(section, name)
            here = f"{path}.{name}".strip(".")
            if isinstance(value, Keys):
                walk(value, here)
            else:
                out.add(here)

    for part in Choices.model_fields:
        walk(getattr(study.file, part), part)
        for name in study.file.specimens:
            walk(getattr(study.specimen(name), part), part)
    return out


def _value(value: Any, unit: str) -> str:
    if isinstance(value, bool):
        return yes(value)
    if isinstance(value, tuple):
        return " to ".join(f"{v:g}" for v in value) + (f" {unit}" if unit else "")
    if isinstance(value, dict):
        return ", ".join(f"{k}: {v}" for k, v in value.items()) or "none"
    text = f"{value:g}" if isinstance(value, float) else str(value)
    return f"{text} {unit}" if unit else text
