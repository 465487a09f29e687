"""Critical loads that a person decided on, and what follows over the tracks of a specimen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations
from typing import Any

import numpy as np

from drypoint.errors import DecisionError, DrypointError
from drypoint.recipe import Decision, Effective, Study
from drypoint.recipe.base import to_si
from drypoint.recipe.scratching import AdhesionKeys, WidthKeys
from drypoint.recipe.to_scratch import inputs_of, track_bench
from drypoint.records.layout import SetAside
from drypoint.run.scratching import TrackResult, TrackRun, excluded_tracks
from drypoint.run.track_pictures import TrackPicture, track_pictures
from drypoint.scratch import (
    Candidate,
    CoatingComparison,
    Estimate,
    Known,
    Loads,
    Replicates,
    ScratchError,
    ScratchHardness,
    adhesion,
    compare_coatings,
    replicates,
    scratch_hardness,
    tracks_needed,
)
from drypoint.scratch.series import plain_name

#: Event, coating, coating, further tracks on each.
Needed = tuple[str, str, str, float]
#: How far from a candidate's load a decision may name it, as a share.
NEAR = 0.02


@dataclass(frozen=True)
class Verdict:
    """What was decided of a critical load: loads in N, ``how`` “confirmed”, “moved”, “set by hand”
    or “absent” (then ``load`` is the largest load). ``number`` is the candidate's, from 1."""

    event: str
    how: str
    load: float
    low: float
    high: float
    number: int | None
    decision: Decision


@dataclass(frozen=True)
class Decided:
    """What was decided on a track: by event, and the candidates that were rejected."""

    events: Mapping[str, Verdict]
    rejected: Mapping[int, Decision]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class ScratchResult:
    """All scratch tracks of a study.

    ``excluded`` maps track -> reason. ``loads`` and ``replicates`` are by (specimen, event);
    ``comparisons`` (event, comparison), ``needed`` (event, coating, coating, further tracks on
    each); ``events`` what was seen at each; ``adhesion`` (specimen, event, estimate or the reason
    why there is none). ``invented``: the tracks are.
    """

    tracks: tuple[TrackResult, ...]
    decided: Mapping[str, Decided]
    excluded: Mapping[str, str]
    set_aside: tuple[SetAside, ...]
    replicates: Mapping[tuple[str, str], Replicates] = field(default_factory=dict)
    comparisons: tuple[tuple[str, CoatingComparison], ...] = ()
    needed: tuple[tuple[str, str, str, float], ...] = ()
    hardness: Mapping[str, ScratchHardness] = field(default_factory=dict)
    adhesion: tuple[tuple[str, str, Estimate | str], ...] = ()
    notes: tuple[str, ...] = ()
    events: dict[str, str] = field(default_factory=dict)
    pictures: tuple[TrackPicture, ...] = ()
    invented: bool = False

    def of(self, specimen: str) -> tuple[TrackResult, ...]:
        """Tracks of a specimen."""
        return tuple(t for t in self.tracks if t.specimen == specimen)

    @property
    def specimens(self) -> tuple[str, ...]:
        """Specimens with tracks, in their order."""
        return tuple(dict.fromkeys(t.specimen for t in self.tracks))

    def verdict(self, track: str, number: int) -> str:
        """What was decided of a candidate: “confirmed as Lc1”, “rejected”, or “open”."""
        known = self.decided.get(track)
        if known is None:
            return "open"
        for v in known.events.values():
            if v.number == number:
                return f"{v.how} as {v.event}"
        return "rejected" if number in known.rejected else "open"


def gather_tracks(study: Study, state: Effective, run: TrackRun) -> ScratchResult:
    """Decisions laid over the tracks, and what follows from them."""
    notes = [*run.notes, *_unheard(study, run.tracks)]
    decided = {}
    for t in run.tracks:
        one = decide(t, state.loads.get(t.name, ()), study.file.scratch.events)
        decided[t.name] = one
        notes += one.notes
    excluded = excluded_tracks(state, run.tracks)
    level = study.file.output.level_of_confidence
    loads = _loads(study, run.tracks, decided, excluded)
    fitted = {k: replicates(v, level=level) for k, v in loads.items()}
    compared, needed = _compared(study, loads, fitted, notes)
    hardness = _hardness(study, run.tracks, notes)
    pictures, said = track_pictures(study, run.tracks)
    notes += said
    return ScratchResult(
        run.tracks, decided, excluded, run.set_aside, fitted, compared, needed, hardness,
        _adhesion(study, run.tracks, fitted), tuple(notes), dict(study.file.scratch.events),
        pictures, study.invented,
    )  # fmt: skip


def _unheard(study: Study, tracks: Sequence[TrackResult]) -> list[str]:
    """Channels that the study file names as voices and no track has."""
    if "voices" not in study.file.scratch.model_fields_set:
        return []
    there = {plain_name(n) for t in tracks for n in t.profile.extra}
    known = ", ".join(sorted({n for t in tracks for n in t.profile.extra})) or "none"
    return [
        f"scratch.voices names “{v}”, which no track has; further channels: {known}."
        for v in study.file.scratch.voices
        if plain_name(v) not in there
    ]


def candidate_at(track: TrackResult, load: float) -> int | None:
    """Number (from 1) of the candidate at a load (N): within its interval, or very near."""
    return number_at([(c.load, c.low, c.high) for c in track.candidates], load)


def number_at(spots: Sequence[tuple[float, float, float]], load: float) -> int | None:
    """The same from (load, low, high) of each candidate."""
    best: tuple[float, int] | None = None
    for i, (middle, low, high) in enumerate(spots):
        off = abs(middle - load)
        if low <= load <= high or off <= NEAR * middle:
            best = min(best, (off, i + 1)) if best else (off, i + 1)
    return None if best is None else best[1]


def check_load(
    study: Study, track: str, value: Mapping[str, Any], spots: Sequence[tuple[float, float, float]]
) -> None:
    """Refuse a decision on a critical load that says nothing about this track.

    ``spots`` are (load, low, high) in mN of the track's candidates.

    Raises
    ------
    DecisionError
        When there is no such candidate, or the study does not explain the event.
    """
    at, event = value.get("candidate_mN"), value.get("event")
    if at is not None and number_at(spots, at) is None:
        loads = ", ".join(f"{s[0]:.4g}" for s in spots) or "none"
        raise DecisionError(
            f"“{track}” has no candidate at {at:g} mN.", remedy=f"Its candidates (mN): {loads}."
        )
    events = study.file.scratch.events
    if event is not None and event not in events:
        known = ", ".join(events) or "none"
        raise DecisionError(
            f"“{event}” is no critical load of this study.",
            remedy=f"Say under [scratch.events] what was seen there; it has: {known}.",
        )


def decide(track: TrackResult, decisions: Sequence[Decision], events: Mapping[str, str]) -> Decided:
    """What holds on a track after all decisions on it; a later one replaces an earlier one of the
    same event or candidate."""
    found: dict[str, Verdict] = {}
    rejected: dict[int, Decision] = {}
    notes = []
    for d in decisions:
        value: dict[str, Any] = d.value
        what = value["verdict"]
        event = str(value.get("event") or "")
        at = to_si(value.get("candidate_mN"), "mN")
        number = candidate_at(track, at) if at is not None else None
        if at is not None and number is None:
            notes.append(
                f"Decision {d.id} names a candidate of “{track.name}” at {at * 1e3:.4g} mN, which "
                "is not found any more."
            )
            if what != "move":
                continue
        if event and event not in events:
            notes.append(f"Decision {d.id} names “{event}”, which scratch.events does not explain.")
        if number is not None:
            rejected.pop(number, None)
            found = {k: v for k, v in found.items() if v.number != number}
        if what == "reject":
            assert number is not None
            rejected[number] = d
        else:
            found[event] = _verdict(track, d, what, event, number)
    return Decided(found, rejected, tuple(notes))


def _verdict(track: TrackResult, d: Decision, what: str, event: str, number: int | None) -> Verdict:
    if what == "absent":
        top = track.last_load
        return Verdict(event, "absent", top, top, float("inf"), None, d)
    if what == "confirm":
        assert number is not None
        c: Candidate = track.candidates[number - 1]
        return Verdict(event, "confirmed", c.load, c.low, c.high, number, d)
    load = to_si(d.value["load_mN"], "mN")
    low = to_si(d.value.get("low_mN"), "mN") or load
    high = to_si(d.value.get("high_mN"), "mN") or load
    return Verdict(event, "moved" if number else "set by hand", load, low, high, number, d)


def _loads(
    study: Study, tracks: Sequence[TrackResult], decided: Mapping[str, Decided],
    excluded: Mapping[str, str],
) -> dict[tuple[str, str], Loads]:  # fmt: skip
    """Critical loads by specimen and event; a track of which nothing was decided does not count."""
    names = list(study.file.scratch.events)
    names += [e for d in decided.values() for e in d.events if e not in names]
    out = {}
    for specimen in dict.fromkeys(t.specimen for t in tracks):
        mine = [t for t in tracks if t.specimen == specimen and t.name not in excluded]
        for event in dict.fromkeys(names):
            known = [decided[t.name].events[event] for t in mine if event in decided[t.name].events]
            if known:
                out[specimen, event] = Loads(
                    specimen,
                    np.array([v.load for v in known]),
                    np.array([v.how == "absent" for v in known]),
                )
    return out


def _compared(
    study: Study, loads: Mapping[tuple[str, str], Loads],
    fitted: Mapping[tuple[str, str], Replicates], notes: list[str],
) -> tuple[tuple[tuple[str, CoatingComparison], ...], tuple[Needed, ...]]:  # fmt: skip
    level, seed = study.file.output.level_of_confidence, study.file.study.seed
    wish = to_si(study.file.scratch.difference_mN, "mN")
    out: list[tuple[str, CoatingComparison]] = []
    needed = []
    for event in dict.fromkeys(e for _, e in loads):
        able = [s for s, e in loads if e == event and fitted[s, e].fits]
        for a, b in combinations(able, 2):
            try:
                found = compare_coatings(loads[a, event], loads[b, event], level=level, seed=seed)
            except DrypointError as error:
                notes.append(f"{event}: {error.what}")
                continue
            out.append((event, found))
            if wish is not None:
                needed.append((event, a, b, _needed(fitted[a, event], fitted[b, event], wish,
                                                    level)))  # fmt: skip
    return tuple(out), tuple(needed)


def _needed(a: Replicates, b: Replicates, wish: float, level: float) -> float:
    spread = []
    for one in (a, b):
        fit = one.fit("normal")
        assert fit is not None
        spread.append(fit.sigma)
    counts = len(a.loads.load), len(b.loads.load)
    failing = min(a.loads.failures / counts[0], b.loads.failures / counts[1])
    return tracks_needed(
        spread[0], spread[1], wish, level=level, share_failing=failing, start=counts
    )


def _hardness(
    study: Study, tracks: Sequence[TrackResult], notes: list[str]
) -> dict[str, ScratchHardness]:
    out = {}
    by_name = {t.name: t for t in tracks}
    for keys in study.file.scratch.widths:
        t = by_name.get(keys.track)
        if t is None:
            notes.append(f"scratch.widths names the track “{keys.track}”, which is not there.")
            continue
        try:
            out[t.name] = _one_hardness(study, t, keys)
        except DrypointError as error:
            notes.append(f"No scratch hardness of “{t.name}”: {error}")
    return out


def _one_hardness(study: Study, t: TrackResult, keys: WidthKeys) -> ScratchHardness:
    tip, frame = track_bench(study, t.table)
    inputs = inputs_of(study, frame)
    load = to_si(keys.load_mN, "mN")
    if load is None:
        if not t.constant:
            raise ScratchError(
                "The load is not held.", remedy="Say at which load_mN the width was read."
            )
        load = float(np.nanmedian(t.profile.load))
    relative = inputs.normal_scale.u / inputs.normal_scale.value
    known = Known(load, float(np.hypot(load * relative, inputs.normal_zero.u)))
    widths = np.array(to_si(keys.widths_um, "µm"))
    u = to_si(keys.u_width_um, "µm")
    if len(widths) == 1:
        return scratch_hardness(
            known, Known(float(widths[0]), u), u_width_scale=keys.u_scale, tip=tip
        )
    return scratch_hardness(known, widths, u_width_scale=keys.u_scale, u_edge=u, tip=tip)


def _adhesion(
    study: Study, tracks: Sequence[TrackResult], fitted: Mapping[tuple[str, str], Replicates]
) -> tuple[tuple[str, str, Estimate | str], ...]:
    out: list[tuple[str, str, Estimate | str]] = []
    for asked in study.file.scratch.adhesion:
        one = fitted.get((asked.specimen, asked.event))
        fit = one.fit("normal") if one is not None else None
        for author in asked.authors:
            if one is None or fit is None:
                why = f"{author}: too few critical loads {asked.event} are decided on."
                out.append((asked.specimen, asked.event, why))
                continue
            u = fit.sigma / float(np.sqrt(max(one.loads.failures, 1)))
            given = _given(study, asked, Known(fit.scale.value, u), tracks)
            try:
                out.append((asked.specimen, asked.event, adhesion(author, given)))
            except DrypointError as error:
                out.append((asked.specimen, asked.event, f"{author}: {error.what}"))
    return tuple(out)


def _given(
    study: Study, asked: AdhesionKeys, load: Known, tracks: Sequence[TrackResult]
) -> dict[str, Known]:
    """What is known for the models; friction at the critical load from the tracks."""
    specimen = study.specimen(asked.specimen)
    given = {"L_c": load}
    stated = (
        ("t", specimen.thickness_nm, specimen.u_thickness_nm, "nm"),
        ("E", asked.E_GPa, asked.u_E_GPa, "GPa"),
        ("nu", specimen.nu, specimen.u_nu, ""),
        ("d", asked.width_um, asked.u_width_um, "µm"),
        ("A_t", asked.section_um2, asked.u_section_um2, "µm²"),
        ("sigma_0", asked.stress_GPa, asked.u_stress_GPa, "GPa"),
        ("H", asked.hardness_GPa, asked.u_hardness_GPa, "GPa"),
        ("k", asked.k, asked.u_k, ""),
    )
    for symbol, value, u, unit in stated:
        if value is not None:
            given[symbol] = Known(to_si(value, unit), to_si(u or 0.0, unit))
    mine = [t for t in tracks if t.specimen == asked.specimen]
    mu = []
    for t in mine:
        good = np.isfinite(t.friction.mu) & np.isfinite(t.friction.load)
        if good.any() and not t.constant:
            load_at, mu_at = t.friction.load[good], t.friction.mu[good]
            order = np.argsort(load_at)
            mu.append(float(np.interp(load.value, load_at[order], mu_at[order])))
    if mu:
        spread = float(np.std(mu, ddof=1) / np.sqrt(len(mu))) if len(mu) > 1 else 0.0
        shared = float(np.nanmedian(mine[0].friction.us_mu))
        given["mu"] = Known(float(np.mean(mu)), float(np.hypot(spread, shared)))
    if mine:
        tip, _ = track_bench(study, mine[0].table)
        if tip is not None and tip.geometry.radius is not None:
            given["R"] = Known(tip.geometry.radius)
    return given
