"""What ``run`` says of scratch tracks, and what the command ``critical-load`` does."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import ValidationError

from drypoint.cli.show import table
from drypoint.errors import DecisionError
from drypoint.recipe import Decision, append, load_study
from drypoint.recipe.decisions import decision_line, parse_decision, unknown_test
from drypoint.run import run_study
from drypoint.run.critical_loads import ScratchResult, check_load
from drypoint.scratch.replicates import Bounded

VERDICTS = ("confirm", "move", "reject", "absent")


def scratch_lines(result: ScratchResult) -> list[str]:
    """Critical loads of each specimen, and how many candidates wait for a decision."""
    rows = []
    for (specimen, event), r in result.replicates.items():
        fit = r.fit(r.better) if r.better is not None else None
        gone = len(r.loads.load) - r.loads.failures
        rows.append(
            [
                specimen,
                event,
                str(len(r.loads.load)),
                str(gone),
                "too few" if fit is None else _bounded(fit.median),
                "" if fit is None else fit.family,
            ]
        )
    head = ["specimen", "event", "tracks", "absent", "median / mN", "distribution"]
    out = table(head, rows).splitlines() if rows else []
    found = sum(len(t.candidates) for t in result.tracks)
    waiting = sum(
        result.verdict(t.name, n) == "open"
        for t in result.tracks
        for n in range(1, len(t.candidates) + 1)
    )
    out.append(
        f"{len(result.tracks)} scratch tracks, {found} candidates for critical loads, "
        f"{waiting} without a decision (results/track_candidates.csv)."
    )
    out += [f"{event}: {c.sentence}" for event, c in result.comparisons]
    return out


def _bounded(b: Bounded) -> str:
    ends = (f"{v * 1e3:.3g}" if np.isfinite(v) else "unbounded" for v in (b.low, b.high))
    return f"{b.value * 1e3:.3g} ({' to '.join(ends)})"


@dataclass(frozen=True)
class Said:
    """What was given to ``critical-load``."""

    verdict: str
    event: str | None
    candidate_mN: float | None
    load_mN: float | None
    low_mN: float | None
    high_mN: float | None


def critical_load_command(study: Path, track: str, said: Said, why: str, who: str) -> int:
    """Append a decision on a critical load to the decisions file beside a study."""
    loaded = load_study(study)
    value: dict[str, Any] = {k: v for k, v in vars(said).items() if v is not None}
    try:
        decision = Decision(who=who, what="critical_load", test=track, value=value, why=why)
    except ValidationError as error:
        raise DecisionError(
            "; ".join(e["msg"].removeprefix("Value error, ") for e in error.errors()) + "."
        ) from None
    parse_decision(decision_line(decision.model_copy(update={"when": "2000-01-01T00:00:00Z"})))
    scratch = run_study(loaded, write=False).scratch
    known = scratch.tracks if scratch is not None else ()
    found = next((t for t in known if t.name == track), None)
    if found is None:
        raise unknown_test(track, [t.name for t in known], loaded.path)
    spots = [(c.load * 1e3, c.low * 1e3, c.high * 1e3) for c in found.candidates]
    check_load(loaded, track, value, spots)
    entry = append(loaded.decisions, decision)
    print(f"Decision {entry.id} written to {loaded.decisions}.")
    print(f"Next: drypoint run {study}")
    return 0
