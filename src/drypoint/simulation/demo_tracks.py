"""The scratch part of the demo: two invented coatings, eight tracks each, one with a sensor of
acoustic emission; raw files, study file, decisions and truth."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drypoint.scratch import Candidate, Pass, candidates, level
from drypoint.simulation.formats import INVENTED
from drypoint.simulation.tracks import AE, TrackEvent, TrackRecord, TrackTruth, simulate_track

Floats = NDArray[np.float64]

TRACKS = 8
SAMPLES = 3000
#: Event -> kind, ratio to the noise; critical loads (mN) as mean and spread, by coating.
EVENTS: dict[str, tuple[str, float]] = {
    "Lc1": ("cracks", 9.0),
    "Lc2": ("chips", 12.0),
    "Lc3": ("worn through", 14.0),
}
LOADS: dict[str, dict[str, tuple[float, float]]] = {
    "coating A": {"Lc1": (165.0, 14.0), "Lc2": (285.0, 22.0), "Lc3": (420.0, 26.0)},
    "coating B": {"Lc1": (120.0, 12.0), "Lc2": (215.0, 20.0), "Lc3": (470.0, 45.0)},
}
LAST = 500.0  # mN
WHO = "A. Example (invented)"
WHEN = "2025-03-20T{:02d}:{:02d}:00Z"


@dataclass(frozen=True)
class Planned:
    """A track of the demo with what happens on it: event -> load (N), or None where it is not
    reached."""

    name: str
    coating: str
    record: TrackRecord
    loads: dict[str, float | None]


def planned_tracks(seed: int) -> tuple[Planned, ...]:
    """All tracks, the same for the same seed."""
    out = []
    for c, (coating, loads) in enumerate(LOADS.items()):
        for k in range(TRACKS):
            rng = np.random.default_rng((seed, 6, c, k))
            found: dict[str, float | None] = {}
            for event, (mean, spread) in loads.items():
                at = mean + spread * float(rng.standard_normal())
                found[event] = at * 1e-3 if at < 0.985 * LAST else None
            events = tuple(
                TrackEvent(EVENTS[e][0], at, EVENTS[e][1]) for e, at in found.items() if at
            )
            truth = TrackTruth(
                name=f"{coating[-1]}-{k + 1:02d}", samples=SAMPLES, first=2e-3, last=LAST * 1e-3,
                friction=0.11 if c == 0 else 0.15, acoustic=c == 0, events=events,
                tilt=float(rng.normal(0, 2e-3)),
            )  # fmt: skip
            record = simulate_track(truth, (seed, 6, c, k, 1))
            out.append(Planned(truth.name, coating, record, found))
    return tuple(out)


def track_files(plan: Sequence[Planned]) -> dict[str, bytes]:
    """Raw files: coating A with all passes of a track in one file, told apart by a column;
    coating B with a file for each pass."""
    files = {}
    for p in plan:
        passes = p.record.track.passes
        if p.coating == "coating A":
            files[f"raw/{p.name}.txt"] = _whole(p, passes)
            continue
        for one, word in zip(passes, ("pre", "scratch", "post"), strict=True):
            files[f"raw/{p.name}_{word}.csv"] = _single(p, one)
    return files


def _whole(p: Planned, passes: Sequence[Pass]) -> bytes:
    lines = [
        f"# {INVENTED}", f"Specimen\t{p.coating}, invented", "Date\t2025-03-19",
        "Operator\tinvented operator A", "Indenter\tS1",
        "Pass\tTime [s]\tDistance [µm]\tNormal force [mN]\tLateral force [mN]\tDepth [nm]\t"
        "Acoustic emission",
    ]  # fmt: skip
    for one, word in zip(passes, ("pre", "scratch", "post"), strict=True):
        heard = one.extra.get(AE, np.zeros(len(one)))
        assert one.t is not None and one.F_l is not None and one.h is not None
        table = np.column_stack(
            [one.t, one.x * 1e6, one.F_n * 1e3, one.F_l * 1e3, one.h * 1e9, heard]
        )
        lines += [
            f"{word}\t{t:.3f}\t{x:.4f}\t{F:.4f}\t{L:.4f}\t{h:.2f}\t{a:.3f}"
            for t, x, F, L, h, a in table.tolist()
        ]
    return ("\n".join(lines) + "\n").encode("utf-8")


def _single(p: Planned, one: Pass) -> bytes:
    assert one.F_l is not None and one.h is not None
    table = np.column_stack([one.x * 1e6, one.F_n * 1e3, one.F_l * 1e3, one.h * 1e9])
    lines = [f"# {INVENTED}", f"# Specimen: {p.coating}", "# Date: 2025-03-20"]
    lines += ["Distance (µm),Load (mN),Friction force (mN),Depth (nm)"]
    lines += [f"{x:.4f},{F:.4f},{L:.4f},{h:.2f}" for x, F, L, h in table.tolist()]
    return ("\n".join(lines) + "\n").encode("utf-8")


def decisions(plan: Sequence[Planned]) -> bytes:
    """What an invented person decided at the microscope: every event confirmed where a candidate
    stands at it, moved to where it was seen else, and the other candidates rejected."""
    lines: list[str] = []

    def add(track: str, value: dict[str, object], why: str) -> None:
        n = len(lines) + 1
        entry = {
            "id": n, "when": WHEN.format(8 + n // 60, n % 60), "who": WHO,
            "what": "critical_load", "test": track, "value": value, "why": why,
        }  # fmt: skip
        lines.append(json.dumps(entry, ensure_ascii=False))

    for p in plan:
        open_ones = list(candidates(level(p.record.track)))
        for event, load in p.loads.items():
            if load is None:
                add(p.name, {"verdict": "absent", "event": event}, "not seen up to the end")
                continue
            c = _at(open_ones, load)
            if c is not None:
                open_ones.remove(c)
                at = round(c.load * 1e3, 2)
                value: dict[str, object] = {
                    "verdict": "confirm", "event": event, "candidate_mN": at,
                }  # fmt: skip
                add(p.name, value, "seen there at 500x")
            else:
                value = {
                    "verdict": "move", "event": event, "load_mN": round(load * 1e3, 1),
                    "low_mN": round(load * 990, 1), "high_mN": round(load * 1010, 1),
                }  # fmt: skip
                add(p.name, value, "seen there at 500x; no candidate stands at it")
        for c in open_ones:
            at = round(c.load * 1e3, 2)
            add(p.name, {"verdict": "reject", "candidate_mN": at}, "nothing begins there")
    return ("\n".join(lines) + "\n").encode("utf-8")


def _at(known: Sequence[Candidate], load: float) -> Candidate | None:
    near = [c for c in known if c.low <= load <= c.high or abs(c.load - load) < 0.015 * load]
    return min(near, key=lambda c: abs(c.load - load)) if near else None


def truth_text(plan: Sequence[Planned]) -> bytes:
    """True critical loads, one row per track; empty where the event is not reached."""
    lines = ["track,specimen,Lc1_mN,Lc2_mN,Lc3_mN,invented"]
    for p in plan:
        loads = ["" if v is None else f"{v * 1e3:.3f}" for v in p.loads.values()]
        lines.append(",".join([p.name, p.coating, *loads, "true"]))
    return ("\n".join(lines) + "\n").encode("utf-8")


def tracks_toml(mark: str, seed: int) -> str:
    """The study file of the demo's scratch tracks."""
    return f"""# {mark}
drypoint = 1

[study]
name = "Demo: scratch tracks on two coatings (invented)"
question = "At which loads do the coatings crack, chip and wear through, and which holds longer?"
laboratory = "invented laboratory"
operator = "invented operator A"
standard = "ISO 20502 practice"
remarks = "All tracks are invented. The truth stands in truth.csv."
invented = true
seed = {seed}

# All passes of a track in one file, told apart by a column.
[[tracks]]
files = ["raw/A-*.txt"]
specimen = "coating A"

# A file for each pass, joined by their names: B-01_pre, B-01_scratch, B-01_post.
[[tracks]]
files = ["raw/B-*.csv"]
specimen = "coating B"
date = "2025-03-20"
operator = "invented operator A"

[specimens."coating A"]
description = "hard nitride coating on steel, invented"
nu = 0.25
u_nu = 0.02
thickness_nm = 1800.0
u_thickness_nm = 60.0

[specimens."coating B"]
description = "the same from another batch, invented"
nu = 0.25
u_nu = 0.02
thickness_nm = 1750.0
u_thickness_nm = 60.0

[tips.S1]
shape = "sphero-cone"
half_angle_deg = 60.0
radius_nm = 50000.0

[frame]
compliance_nm_per_mN = 0.0
u_compliance_nm_per_mN = 0.02
u_force_scale = 0.005
u_depth_scale = 0.01

[scratch]
difference_mN = 30.0
[scratch.events]
Lc1 = "first cracks across the track"
Lc2 = "first chips along the edge of the track"
Lc3 = "coating worn through in the middle of the track"
[scratch.inputs]
u_lateral_scale = 0.01
u_crosstalk = 0.005
u_depth_zero_nm = 5.0
u_position_um = 1.0

[[scratch.widths]]
track = "A-08"
widths_um = [16.9, 17.2, 16.7, 17.1]
u_width_um = 0.3
u_scale = 0.01
load_mN = 480.0
how = "light microscope, 500x (invented)"

[[scratch.adhesion]]
specimen = "coating A"
event = "Lc2"
authors = ["Burnett and Rickerby", "Laugier"]
E_GPa = 350.0
u_E_GPa = 20.0
width_um = 12.5
u_width_um = 0.4
stress_GPa = 1.2
u_stress_GPa = 0.2
"""
