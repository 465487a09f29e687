"""The report's section on scratch tracks."""

from __future__ import annotations

import numpy as np

from drypoint import figures
from drypoint.figures.labels import plural
from drypoint.notices import DEBRIS
from drypoint.report.model import (
    Answer,
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
from drypoint.report.words import DASH, level_text, plain, typeset
from drypoint.run.critical_loads import ScratchResult
from drypoint.run.result import StudyResult
from drypoint.run.scratching import TrackResult
from drypoint.scratch import CODES, Estimate, Replicates
from drypoint.scratch.replicates import Bounded
from drypoint.uncertainty.rounding import NOT_KNOWN, round_pair

#: What the section cannot say.
CANNOT = (
    "A candidate says that signals changed together at a load, and how sure that is; what happened "
    "there only a person can say who looked at the track. No candidate is called a failure here "
    "that nobody confirmed.",
    "Critical loads depend on tip, speed and rate of load as well as on the coating: compare only "
    "tracks made alike.",
    "The share of ploughing takes the material to flow around the tip without piling up, and the "
    "contact to reach to the depth that is stated.",
)


def track_answers(result: StudyResult) -> tuple[Answer, ...]:
    """Critical loads of each specimen for the first page."""
    scratch = result.scratch
    if scratch is None:
        return ()
    out = []
    for specimen in scratch.specimens:
        values = []
        for (owner, event), r in scratch.replicates.items():
            if owner != specimen:
                continue
            fit = r.fit(r.better) if r.better is not None else None
            said = "no distribution" if fit is None else f"{_bounded(fit.median)} mN"
            basis = f"median; {_counted(r)}; {scratch.events.get(event, 'not explained')}"
            values.append((event, said, basis))
        tracks = scratch.of(specimen)
        about = result.study.specimen(specimen).description
        loads = [t.last_load * 1e3 for t in tracks]
        text = f"{plural(len(tracks), 'scratch track')} up to {plain(max(loads))} mN."
        gone = sum(t.name in scratch.excluded for t in tracks)
        if gone:
            text += f" {gone} excluded by decision."
        out.append(Answer(specimen, about, tuple(values), text))
    return tuple(out)


def _counted(r: Replicates) -> str:
    n, gone = len(r.loads.load), len(r.loads.load) - r.loads.failures
    text = plural(n, "track")
    if gone:
        text += f", {gone} of them without it up to the largest load"
    return text + (f"; {r.better} distribution, {level_text(r.level)}" if r.better else "")


def _bounded(b: Bounded, factor: float = 1e3) -> str:
    low, high = (plain(v * factor) if np.isfinite(v) else "∞" for v in (b.low, b.high))
    return f"{plain(b.value * factor)} ({low} to {high})"


def tracks(result: StudyResult) -> Section | None:
    """Friction, depths, candidates, decisions and replicates; ``None`` without tracks."""
    scratch = result.scratch
    if scratch is None:
        return None
    blocks: list[Block] = [
        Notice(DEBRIS),
        Paragraph(
            "Depths are measured from the surface that the light pass before the scratch found; "
            "friction is lateral over normal force after zero and cross-talk. Candidates come from "
            "several channels together; their confidence is the share of such candidates that are "
            "events on simulated tracks."
        ),
    ]
    if scratch.events:
        blocks += [
            Heading("What was seen"),
            Items(tuple(f"{event}: {seen}" for event, seen in scratch.events.items())),
        ]
    over = over_tracks(scratch)
    first = next((i for i, b in enumerate(over[1:], 1) if isinstance(b, Heading)), len(over))
    blocks += over[:first]
    for specimen in scratch.specimens:
        blocks += _specimen(scratch, specimen)
    blocks += over[first:]
    blocks += [Heading("What the tracks cannot show"), Items(CANNOT)]
    return Section("scratch", "Scratch tracks", tuple(blocks))


def over_tracks(scratch: ScratchResult) -> list[Block]:
    """What follows from all tracks together: critical loads, hardness, estimates of adhesion."""
    return [
        Heading("Critical loads"),
        *_replicates(scratch),
        *_hardness(scratch),
        *_adhesion(scratch),
    ]


def _replicates(scratch: ScratchResult) -> list[Block]:
    if not scratch.replicates:
        return [Paragraph("Nobody has decided on any candidate yet; there are no critical loads.")]
    rows = []
    for (specimen, event), r in scratch.replicates.items():
        gone = len(r.loads.load) - r.loads.failures
        head = (specimen, event, str(len(r.loads.load)), str(gone))
        for f in r.fits:
            weibull = f.family == "weibull"
            name = f"{f.family}{' (better)' if f.family == r.better else ''}"
            shape = _bounded(f.shape, 1.0 if weibull else 1e3)
            rows.append((*head, name, _bounded(f.median), _bounded(f.tenth), shape))
        if not r.fits:
            rows.append((*head, "too few", DASH, DASH, DASH))
    level = next(iter(scratch.replicates.values())).level
    table = Table(
        "Critical loads over tracks, with intervals.",
        (Column("Specimen"), Column("Event"), Column("Tracks", "number"),
         Column("Absent", "number"), Column("Distribution"), Column("Median / mN", "number"),
         Column("One in ten below / mN", "number"), Column("Shape", "number")),
        tuple(rows),
        f"Intervals: {level_text(level)}, profile likelihood. Absent: no such event up to the "
        "largest load (censored). Shape: modulus of the Weibull distribution, or standard "
        "deviation of the normal one in mN.",
    )  # fmt: skip
    blocks: list[Block] = [table, Drawing((figures.replicate_loads(scratch),))]
    said = [f"{event}: {c.sentence}" for event, c in scratch.comparisons]
    for event, a, b, n in scratch.needed:
        more = "no further tracks are" if n == 0 else f"{n:g} further tracks on each are"
        said.append(
            f"{event}: {more} needed to show the difference asked for between {a} and {b}."
            if np.isfinite(n)
            else f"{event}: no number of tracks would show the difference between {a} and {b}."
        )
    if said:
        blocks.append(Items(tuple(said)))
    remarks = [
        f"{r.loads.name}, {event}: {text}"
        for (_, event), r in scratch.replicates.items()
        for text in r.remarks
        if "equally well" not in text
    ]
    if remarks:
        blocks.append(Items(tuple(remarks)))
    return blocks


def _specimen(scratch: ScratchResult, specimen: str) -> list[Block]:
    mine = scratch.of(specimen)
    blocks: list[Block] = [
        Heading(specimen),
        Drawing((figures.tracks_on_load(scratch, specimen),)),
        _summary(scratch, mine),
        *_candidates(scratch, mine),
    ]
    pictured = {p.track for p in scratch.pictures}
    most = max(mine, key=lambda t: len(t.candidates))
    for t in mine:
        if t is most or t.name in pictured:
            blocks.append(Drawing((figures.one_track(scratch, t.name),)))
        blocks += [
            Drawing((figures.loose_picture(p),))
            for p in scratch.pictures
            if p.track == t.name and p.span is None
        ]
    problems = _problems(mine)
    if problems:
        blocks.append(Items(tuple(problems)))
    return blocks


def _pair(value: float, u: float) -> str:
    left, right = round_pair(value, u)
    return DASH if left == NOT_KNOWN else f"{typeset(left)} ± {right}"


def _summary(scratch: ScratchResult, mine: tuple[TrackResult, ...]) -> Table:
    from drypoint.run.track_tables import scratch_tables

    known = {r["track"]: r for r in scratch_tables(scratch)["tracks"].to_dicts()}
    rows = []
    for t in mine:
        r = {k: float("nan") if v is None else v for k, v in known[t.name].items()}
        loads = [
            f"{e} {'>' if v.how == 'absent' else ''}{plain(v.load * 1e3)}"
            for e, v in scratch.decided[t.name].events.items()
        ]
        rows.append(
            (
                t.name + (" (excluded)" if t.name in scratch.excluded else ""),
                ", ".join(t.passes),
                f"{plain(t.first_load * 1e3)} to {plain(t.last_load * 1e3)}",
                _pair(r["mu_slope"], r["u_mu_slope"]),
                _pair(r["mu_last"], r["u_mu_last"]),
                _pair(r["h_last_nm"], r["u_h_last_nm"]),
                _pair(r["h_residual_last_nm"], r["u_h_residual_last_nm"]),
                ", ".join(loads) or DASH,
            )
        )
    return Table(
        f"{mine[0].specimen}: the tracks. µ, depth under load h and residual depth h_r at the "
        "largest load.",
        (Column("Track"), Column("Passes", wide=True), Column("Load / mN"),
         Column("Slope µ", "number"), Column("µ", "number"), Column("h / nm", "number"),
         Column("h_r / nm", "number"), Column("Critical loads / mN", wide=True)),
        tuple(rows),
        "± is the standard uncertainty, shared part included.",
    )  # fmt: skip


def _candidates(scratch: ScratchResult, mine: tuple[TrackResult, ...]) -> list[Block]:
    rows = []
    for t in mine:
        for n, c in enumerate(t.candidates, start=1):
            rows.append(
                (
                    f"{t.name}, {n}",
                    f"{plain(c.load * 1e3)} ({plain(c.low * 1e3)} to {plain(c.high * 1e3)})",
                    f"{100 * c.confidence:.0f} %",
                    ", ".join(c.channels),
                    scratch.verdict(t.name, n),
                )
            )
    if not rows:
        return [Paragraph(f"No candidate was found on the tracks of {mine[0].specimen}.")]
    level = mine[0].candidates[0].level if mine[0].candidates else 0.95
    return [
        Table(
            f"{mine[0].specimen}: candidates for critical loads and what was decided.",
            (
                Column("Track, number"),
                Column("Load / mN", "number"),
                Column("Confidence", "number"),
                Column("Channels", wide=True),
                Column("Decision"),
            ),
            tuple(rows),
            f"In brackets the {level_text(level)} interval. Who decided, when and why stands "
            "under Decisions.",
        )
    ]


def _problems(mine: tuple[TrackResult, ...]) -> list[str]:
    """What is wrong with tracks, those alike together."""
    by_code: dict[str, list[str]] = {}
    only: dict[str, str] = {}
    for t in mine:
        for p in t.problems:
            by_code.setdefault(p.code, []).append(t.name)
            only[p.code] = p.sentence
    out = []
    for code, names in by_code.items():
        names = list(dict.fromkeys(names))
        said = only[code] if len(names) == 1 else CODES[code]
        out.append(f"{', '.join(names)}: {said}")
    remarks: dict[str, list[str]] = {}
    for t in mine:
        for r in t.remarks:
            remarks.setdefault(r, []).append(t.name)
    out += [f"{', '.join(names)}: {r}" for r, names in remarks.items()]
    return out


def _hardness(scratch: ScratchResult) -> list[Block]:
    if not scratch.hardness:
        return []
    rows = tuple(
        (name, plain(h.load.value * 1e3), _pair(h.width.value * 1e6, h.width.u * 1e6),
         _pair(h.value / 1e9, h.u / 1e9), " ".join(h.remarks))
        for name, h in scratch.hardness.items()
    )  # fmt: skip
    return [
        Heading("Scratch hardness"),
        Table(
            "Scratch hardness from the width of the track, 8 F_n / (π w²) (ASTM G171 practice).",
            (Column("Track"), Column("Load / mN", "number"), Column("Width / µm", "number"),
             Column("HS_P / GPa", "number"), Column("Remarks", wide=True)),
            rows,
            "± is the standard uncertainty.",
        ),
    ]  # fmt: skip


def _adhesion(scratch: ScratchResult) -> list[Block]:
    if not scratch.adhesion:
        return []
    rows, assumed = [], []
    for specimen, event, one in scratch.adhesion:
        if not isinstance(one, Estimate):
            rows.append((specimen, event, one, DASH))
            continue
        factor, unit = (1e-6, "MPa") if one.unit == "Pa" else (1.0, "J/m²")
        value = f"{_pair(one.value * factor, one.u * factor)} {unit}"
        rows.append((specimen, event, one.author, value))
        assumed.append(f"{one.author}: {'; '.join(one.assumptions)}.")
    blocks: list[Block] = [
        Heading("Adhesion: estimates"),
        Notice(
            "These are estimates. Each rests on its author's assumptions, which are seldom met in "
            "full; models differ by large factors. None replaces a test made for adhesion."
        ),
        Table(
            "Estimates of adhesion from critical loads.",
            (Column("Specimen"), Column("Event"), Column("Model", wide=True),
             Column("Estimate", "number")),
            tuple(rows),
            "± is the standard uncertainty from the inputs alone, not that of the model.",
        ),
        Items(tuple(dict.fromkeys(assumed))),
    ]  # fmt: skip
    return blocks
