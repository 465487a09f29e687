"""What a calibration found, as arrays and plain values for a page; kept beside the study file, so
that a page is there at once after a restart. It may be deleted: calibrating makes it again."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from drypoint import paths
from drypoint.app.blocks import section_values
from drypoint.app.session import State
from drypoint.calibration import Calibration
from drypoint.errors import PathError
from drypoint.figures.area import ideal_area
from drypoint.parsing import toml_document
from drypoint.report.calibration import gather_calibration
from drypoint.run.bench_result import BenchResult, CheckedBlock
from drypoint.run.columns import MEANING, factor_of, unit_text
from drypoint.run.registering import accepted_as, calibration_text, identity_of
from drypoint.store import read_results
from drypoint.store.cache import Cache, Entry, cache_key
from drypoint.version import __version__

#: Points of the area function.
_POINTS = 160


def bench_values(result: BenchResult) -> tuple[dict[str, Any], dict[str, Any]]:
    """Arrays (nm, µm², GPa) and everything in words: the sections of the report."""
    c = result.calibrated.calibration
    h = np.geomspace(0.93 * c.rows.h_c.min(), 1.07 * c.rows.h_c.max(), _POINTS)
    A, u = c.area(h)
    ideal = ideal_area(c.tip, h)
    ideal_at = ideal_area(c.tip, c.rows.h_c)
    arrays: dict[str, Any] = {
        "h": h / factor_of("h_c"),
        "area": A / factor_of("A_p"),
        "ratio": A / ideal,
        "low": (A - 2 * u) / ideal,
        "high": (A + 2 * u) / ideal,
        "x": c.rows.h_c / factor_of("h_c"),
        "seen": c.rows.area_seen / ideal_at,
        "z": c.rows.standardised,
        "percent": 100 * c.rows.residual / c.rows.predicted,
        "H": c.rows.hardness / factor_of("H_IT"),
        "FS2": c.rows.force_over_stiffness_squared / factor_of("F_over_S2"),
        "material": c.tests.material.astype(np.int32),
        "test": c.tests.test.astype(np.int32),
    }
    for i, b in enumerate(result.blocks):
        q = b.reduced.tests[b.verification.block.quantity]
        f = factor_of(q.symbol)
        arrays |= {f"block{i}": q.value / f, f"u_block{i}": q.u_random / f}
    content = gather_calibration(result)
    return arrays, {
        "names": [t.name for t in result.batch.tests],
        "labels": [c.tests.label(i) for i in range(len(c.tests))],
        "materials": [m.name for m in c.tests.materials],
        "references": [m.words for m in c.tests.materials],
        "shape": c.tip.geometry.shape,
        "tip": c.tip.name,
        "frame": c.frame.name,
        "verdict": result.verdict,
        "identified_by": list(c.identification.by),
        "findings": [
            {"sentence": f.sentence, "next": f.next_step, "serious": f.serious}
            for f in result.findings
        ],
        "blocks": [_block(b) for b in result.blocks],
        "excluded": [list(e) for e in result.excluded],
        "sections": [section_values(s) for s in content.sections],
        "far": _far(c),
        "proposal": proposal_hash(result),
        "identity": list(identity_of(result.provenance)),
    }


def _block(b: CheckedBlock) -> dict[str, Any]:
    v = b.verification
    f = factor_of(v.block.quantity)
    return {
        "block": b.specimen,
        "quantity": v.block.quantity,
        "meaning": MEANING[v.block.quantity],
        "unit": unit_text(v.block.quantity),
        "certified": v.block.value / f,
        "U": v.block.U / f,
        "limits": [v.block.value * (1 + s * v.limits.error) / f for s in (-1, 1)],
        "mean": v.mean / f,
        "u_mean": v.u_mean / f,
        "verdict": v.verdict,
        "reasons": list(v.reasons),
        "tests": [b.batch.tests[int(t)].name for t in b.reduced.tests.test],
    }


def _far(c: Calibration) -> int:
    """Unloadings more than two standard uncertainties off the fit."""
    return int(np.sum(np.abs(c.rows.standardised) > 2))


def proposal_hash(result: BenchResult) -> str:
    """Stands for the calibration that is proposed, to the last digit."""
    return hashlib.sha256(calibration_text(result).encode("utf-8")).hexdigest()


def keep(state: State, arrays: Mapping[str, Any], more: Mapping[str, Any]) -> None:
    """Keep what a page shows of this state of the study."""
    made = {k: np.asarray(v) for k, v in arrays.items()}
    Cache.beside(state.study.path).put(_key(state), made, dict(more))


def kept(state: State) -> Entry | None:
    """What was kept of this very state, if anything was."""
    return Cache.beside(state.study.path).get(_key(state))


def _key(state: State) -> str:
    files = "" if state.results is None else repr(sorted(state.results.manifest.files.items()))
    return cache_key("bench page, references", __version__, state.version, files)


def acceptance(state: State, identity: list[str]) -> dict[str, Any]:
    """Whether this very calibration stands accepted in its file, and what the file says."""
    keys = state.study.file.calibration
    assert keys is not None
    path = state.study.folder / keys.file.replace("\\", "/")
    said = accepted_as(path, identity)
    return {
        "file": keys.file,
        "now": None if said is None else dict(said),
        "sha256": _hash(path) if said is not None else "",
        "before": {} if said is not None else _before(path),
    }


def accepted_values(state: State) -> dict[str, Any] | None:
    """What the calibration's file says of its acceptance, wherever that was done; ``same``: of the
    present recipe, decisions and program. ``None`` where nobody accepted any."""
    keys = state.study.file.calibration
    assert keys is not None
    said = _provenance(state.study.folder / keys.file.replace("\\", "/"))
    if not said.get("accepted_by"):
        return None
    now = {
        "recipe_sha256": state.study.recipe_hash,
        "decisions_sha256": state.journal.sha256,
        "program": f"Drypoint {__version__}",
    }
    shown = ("accepted_by", "accepted_on", "why", "accepted_despite")
    return {
        **{k: str(said.get(k, "")) for k in shown},
        "file": keys.file,
        "sha256": state.accepted_sha256,
        "same": all(said.get(k, "") == v for k, v in now.items()),
    }


def _hash(path: Path) -> str:
    return paths.sha256_of(path)


def _before(path: Path) -> dict[str, Any]:
    """Who accepted the calibration that the file holds, where it is another than this one."""
    said = _provenance(path)
    return {k: said[k] for k in ("name", "accepted_by", "accepted_on") if k in said}


def _provenance(path: Path) -> dict[str, Any]:
    """What a calibration file says of where it comes from and who accepted it."""
    try:
        table = toml_document(paths.read_bytes(path).decode("utf-8"))
    except (OSError, ValueError, PathError):
        return {}
    said = table.get("provenance", {})
    return said if isinstance(said, dict) else {}


def reread(state: State) -> State:
    """The state with the results that were just written."""
    return replace(state, results=read_results(state.study.results))
