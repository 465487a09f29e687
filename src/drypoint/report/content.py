"""Gather a report: one plain object with everything that it says."""

from __future__ import annotations

import weakref
from dataclasses import replace

from drypoint.report.bench import bench
from drypoint.report.budgets import budgets
from drypoint.report.cautions import INVENTED, STATEMENT, cautions
from drypoint.report.compared import compared
from drypoint.report.cycle import cycle
from drypoint.report.films import films
from drypoint.report.front import ANSWER_NOTE, answers, front_pairs, last_day
from drypoint.report.method import method
from drypoint.report.model import Content
from drypoint.report.record import record
from drypoint.report.remarks import remarks
from drypoint.report.results import results
from drypoint.report.signed import origin_of, signed_notices, version_pair
from drypoint.report.specimens import specimens
from drypoint.report.stress import stress
from drypoint.report.tracks import track_answers, tracks
from drypoint.run.result import StudyResult
from drypoint.run.signing import Standing, standing_of


def gather(result: StudyResult, *, issued: str = "", standing: Standing | None = None) -> Content:
    """Everything that the report of a study says, with its figures.

    Parameters
    ----------
    result : StudyResult
    issued : str
        Date of issue as it is to be printed; left out where empty. The clock is never asked, so
        that the same study gives the same report.
    standing : Standing, optional
        Version and signatures; read from beside the study file where left out.

    Returns
    -------
    Content
        The last one is kept as long as its result lives: page, PDF and figures of one result are
        gathered and drawn once.
    """
    standing = standing if standing is not None else standing_of(result)
    kept = _LAST.get("content")
    same = kept is not None and kept[0]() is result and kept[1] == issued
    if same and kept is not None and kept[2] == standing:
        return kept[3]
    # The figures are drawn once, whoever signs.
    bare = kept[4] if same and kept is not None else _gather(result, issued)
    content = _signed(bare, result, standing)
    _LAST["content"] = (weakref.ref(result), issued, standing, content, bare)
    return content


def _signed(content: Content, result: StudyResult, standing: Standing) -> Content:
    """The same with version and signatures on the first page."""
    return replace(
        content,
        front=(*content.front, *version_pair(standing)),
        notices=(*content.notices, *signed_notices(standing)),
        signed=bool(standing.mine),
        origin=origin_of(result, standing),
        study_file=result.study.path.name,
    )


_LAST: dict[str, tuple[weakref.ref[StudyResult], str, Standing, Content, Content]] = {}


def _gather(result: StudyResult, issued: str) -> Content:
    about = result.study.file.study
    if not result.study.file.records:
        return _of_tracks(result, issued)
    sections = (
        specimens(result),
        bench(result),
        cycle(result),
        method(result),
        results(result),
        budgets(result),
        remarks(result),
        compared(result),
        films(result),
        stress(result),
        tracks(result),
        record(result),
        cautions(),
    )
    return Content(
        title=about.name,
        report_number=about.report_number,
        question=about.question,
        invented=INVENTED if about.invented else "",
        front=front_pairs(result, issued),
        answers=(*answers(result), *track_answers(result)),
        answer_note=ANSWER_NOTE,
        statement=STATEMENT,
        sections=tuple(s for s in sections if s is not None),
        version=result.provenance.version,
        day=last_day(result),
    )


def _of_tracks(result: StudyResult, issued: str) -> Content:
    """The report of a study without indentation tests: scratch tracks, stress runs, or both."""
    about = result.study.file.study
    scratched = result.scratch is not None
    sections = (tracks(result), stress(result), record(result), cautions())
    return Content(
        title=about.name,
        report_number=about.report_number,
        question=about.question,
        invented=INVENTED if about.invented else "",
        front=front_pairs(result, issued),
        answers=track_answers(result),
        answer_note="Medians of critical loads over tracks, with their intervals. What each event "
        "is stands in the words of whoever looked at the tracks."
        if scratched
        else "",
        statement=STATEMENT,
        sections=tuple(s for s in sections if s is not None),
        version=result.provenance.version,
        kind="Report of scratch tests" if scratched else "Report of computed stresses",
    )
