"""Long work of the pages, each as one function that a process of its own calls."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from drypoint.run import Watch, run_study


def run(study: Path, options: dict[str, Any], watch: Watch) -> dict[str, Any]:
    """What ``drypoint run STUDY.toml`` does."""
    result = run_study(study, watch=watch)
    return {
        "tests": len(result.tests),
        "flagged": sum(1 for f in result.tests.flags if f),
        "excluded": int(result.tests_table["excluded"].sum()),
        "set_aside": len(result.set_aside),
        "notes": [*result.notes, *result.cache_notes],
    }


def report(study: Path, options: dict[str, Any], watch: Watch) -> dict[str, Any]:
    """What ``drypoint report STUDY.toml`` does."""
    from drypoint.report import write_report

    result = run_study(study, watch=watch, write=False)
    folder = write_report(result, watch=watch)
    return {"folder": folder.name, "decisions_sha256": result.provenance.decisions_hash}


def sign(study: Path, options: dict[str, Any], watch: Watch) -> dict[str, Any]:
    """What ``drypoint sign STUDY.toml`` does."""
    from drypoint.keys import find_key, open_key
    from drypoint.report import sign_study

    words = options.get("passphrase", "")
    key = open_key(find_key(options["who"]), words) if words else None
    book = None
    if options["ledger"]:
        from drypoint.ledger import Ledger

        book = Ledger.open()
    recipe, decisions = options["seen"]
    made = sign_study(
        study, who=options["who"], why=options["why"], seen=(recipe, decisions), ledger=book,
        watch=watch, meaning=options.get("meaning", "approval"), key=key,
    )  # fmt: skip
    return {
        "number": made.number,
        "version": made.version,
        "seal": made.seal,
        "ledger": str(book.place) if book is not None else None,
    }


def stress(study: Path, options: dict[str, Any], watch: Watch) -> dict[str, Any]:
    """What ``drypoint stress STUDY.toml NAME`` does, with other numbers where some are given."""
    from drypoint.app.views.stress import Asked
    from drypoint.recipe import load_study
    from drypoint.run.stress_view import changed_run
    from drypoint.run.stressing import run_stress

    asked = Asked(**options)
    result = run_stress(
        changed_run(load_study(study), asked.name, asked.what_if), asked.name, watch=watch
    )
    return {"name": asked.name, "key": result.key, "stopped": result.run.stopped}


def calibrate(study: Path, options: dict[str, Any], watch: Watch) -> dict[str, Any]:
    """What ``drypoint calibrate BENCH.toml`` does."""
    from drypoint.app.bench_values import bench_values, keep, reread
    from drypoint.app.session import Session
    from drypoint.run.bench_tables import write_bench
    from drypoint.run.calibrating import calibrate_study

    state = Session("", study).state()
    result = calibrate_study(state.study, watch=watch)
    write_bench(result, state.study.results)
    watch.at("writing", 0, 1, "page")
    keep(reread(state), *bench_values(result))
    watch.at("writing", 1, 1)
    return {
        "verdict": result.verdict,
        "serious": len(result.obstacles),
        "set_aside": len(result.set_aside),
        "notes": list(result.notes),
    }


def accept(study: Path, options: dict[str, Any], watch: Watch) -> dict[str, Any]:
    """What ``drypoint calibrate BENCH.toml --accept`` does, for the calibration on the page."""
    from drypoint.app.bench_values import proposal_hash
    from drypoint.app.faults import Overtaken
    from drypoint.ledger import Ledger
    from drypoint.run.calibrating import calibrate_study
    from drypoint.run.registering import accept_calibration, check_acceptance

    result = calibrate_study(study, watch=watch)
    if proposal_hash(result) != options["proposal"]:
        raise Overtaken(
            "The calibration is not the one that was looked at: the raw files or the program "
            "changed since. Nothing was accepted.",
            remedy="Calibrate again, look at it, and decide again.",
        )
    who, why, despite = options["who"], options["why"], options["despite"]
    check_acceptance(result, who=who, despite=despite)
    book = Ledger.open() if options["ledger"] else None
    done = accept_calibration(result, who=who, why=why, despite=despite, ledger=book)
    return {
        "file": done.path.name,
        "sha256": done.acceptance.sha256,
        "entries": done.entries,
        "ledger": str(book.place) if book is not None else "",
    }
