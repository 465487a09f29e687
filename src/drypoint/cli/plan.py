"""What ``drypoint run --dry-run`` prints."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from drypoint.run.plan import Plan, plan_study

_SHOWN = 5


def plan_lines(plan: Plan) -> list[str]:
    """What a run would do, in sentences."""
    lines = []
    if not plan.earlier:
        lines.append(f"There are no earlier results. {_count(plan.new, 'file')} in the study.")
    elif plan.up_to_date:
        lines.append("The results are up to date: a run would write the same numbers again.")
    else:
        lines.append(f"Since the earlier results: {_count(plan.same, 'file')} as before.")
        for words, files in (("new", plan.new), ("changed", plan.changed), ("gone", plan.gone)):
            if files:
                lines.append(f"  {_count(files, 'file')} {words}: {_named(files)}")
        others = (("recipe", plan.recipe), ("decisions", plan.decisions), ("version", plan.version))
        named = [name for name, moved in others if moved]
        if named:
            lines.append(f"  Changed as well: {', '.join(named)}.")
    if plan.to_read:
        lines.append(
            f"To be read: {_count(plan.to_read, 'file')} (files are kept in pieces of some "
            f"dozens): {_named(plan.to_read)}"
        )
    else:
        lines.append("To be read: no file; all records are kept from earlier runs.")
    more = ", and the tests of the files to be read" if plan.to_read else ""
    if plan.to_reduce:
        named_tests = _named(plan.to_reduce)
        lines.append(f"To be computed: {_count(plan.to_reduce, 'test')}{more}: {named_tests}")
    else:
        lines.append(f"To be computed: {'no other test' if more else 'no test'}{more}.")
    lines.append(f"Kept from earlier runs: {_count(range(plan.kept), 'test')}.")
    if plan.to_solve:
        count = _count(plan.to_solve, "stress run")
        lines.append(f"To be solved: {count}: {_named(plan.to_solve)}")
    if plan.solved:
        lines.append(f"Kept from earlier runs: {_count(plan.solved, 'stress run')}.")
    lines.append("Nothing was changed.")
    return lines


def plan_command(study: Path, out: Path | None, fresh: bool) -> int:
    """Print what a run would do; return the exit code."""
    print("\n".join(plan_lines(plan_study(study, out=out, use_cache=not fresh))))
    return 0


def _count(what: Sequence[object], one: str) -> str:
    return f"{len(what)} {one}" + ("" if len(what) == 1 else "s")


def _named(names: Sequence[str]) -> str:
    more = len(names) - _SHOWN
    return ", ".join(names[:_SHOWN]) + (f" and {more} more" if more > 0 else "")
