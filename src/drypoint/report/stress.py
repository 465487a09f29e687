"""The report's section on stress under the tip."""

from __future__ import annotations

from drypoint import figures
from drypoint.figures.picture import Picture
from drypoint.report.model import (
    Block,
    Drawing,
    Heading,
    Items,
    Notice,
    Paragraph,
    Section,
)
from drypoint.report.stress_words import (
    CANNOT,
    elastic_words,
    error_words,
    found_words,
    problem_words,
    seen_table,
    solids_table,
    uncertain_table,
)
from drypoint.run.elastic_first import names_of
from drypoint.run.result import StudyResult
from drypoint.run.stress_tables import plain_name
from drypoint.run.stressing import StressResult


def stress(result: StudyResult) -> Section | None:
    """What the tests did below the surface; ``None`` where the study does not ask."""
    if not result.stress and not result.stress_failed:
        return None
    blocks: list[Block] = [
        Paragraph(
            "Computed with finite elements from the solids as the recipe states them; nothing here "
            "is measured. Tension is positive."
        )
    ]
    for one in result.stress:
        blocks += _run(one)
    for failed in result.stress_failed:
        blocks += [
            Heading(failed.name),
            Notice(f"This run gave nothing: {failed.reason} {failed.remedy}".strip()),
        ]
    blocks += [Heading("What the model cannot show"), Items(CANNOT)]
    return Section("stress", "Stress under the tip", tuple(blocks))


def _run(one: StressResult) -> list[Block]:
    title = one.name if not one.specimen else f"{one.name}: specimen {one.specimen}"
    blocks: list[Block] = [
        Heading(title),
        Paragraph(problem_words(one.problem, names_of(one.problem))),
    ]
    if one.run.stopped:
        blocks.append(
            Notice(f"The run ended early: {one.run.stopped}. What follows holds up to there.")
        )
    section, *others = stress_pictures(one)
    blocks += [
        Paragraph(" ".join(elastic_words(one.problem, one.elastic))),
        Items(tuple(found_words(one))),
        Drawing((section,)),
        solids_table(one),
        *(Drawing((picture,)) for picture in others),
    ]
    blocks += [t for t in (seen_table(one), uncertain_table(one)) if t is not None]
    blocks.append(Paragraph(_how(one)))
    return blocks


def stress_pictures(one: StressResult) -> tuple[Picture, ...]:
    """All figures of a run: section and record, maps, interfaces where there are any, surface."""
    made = [figures.under_the_tip(one), figures.stress_maps(one)]
    if one.problem.stack.layers:
        made.append(figures.interface_stress(one))
    made.append(figures.impression(one))
    return tuple(_named(picture, one) for picture in made)


def _how(one: StressResult) -> str:
    e = one.run.estimate
    return (
        f"{error_words(one)} Quality {one.problem.mesh}: {e.elements} elements, {e.unknowns} "
        f"unknowns, {len(one.run.force)} load steps, {one.run.iterations} iterations. The input "
        f"has the SHA-256 {one.key[:16]}…; tables and fields stand in the files of results."
    )


def _named(picture: Picture, one: StressResult) -> Picture:
    """A figure with the run in its name and caption."""
    picture.name = f"{picture.name}-{plain_name(one.name)}"
    picture.caption = f"{one.name}: {picture.caption[0].lower()}{picture.caption[1:]}"
    return picture
